"""Hood latch and the striker above it, hood closed."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
width_mm = 100.0  # left to right, 20 to 300
height_mm = 60.0  # bottom to top, 10 to 250
depth_mm = 60.0  # fore and aft, 10 to 250
striker_diameter_mm = 25.0  # with its spring, 5 to 80
striker_length_mm = 60.0  # above the latch, 5 to 200

plugin.register()
hood_latch = cq.Workplane().hoodLatch(
    width_mm=width_mm,
    height_mm=height_mm,
    depth_mm=depth_mm,
    striker_diameter_mm=striker_diameter_mm,
    striker_length_mm=striker_length_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("hoodLatch")}
    show_object(hood_latch, name="hood latch", options=look)  # noqa: F821
else:
    box = hood_latch.val().BoundingBox()
    print(f"hood latch: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
