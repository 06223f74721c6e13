"""Bumper bar, as the box that it fills."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
width_mm = 1600.0  # left to right, 200 to 2300
height_mm = 150.0  # bottom to top, 20 to 400
depth_mm = 80.0  # fore and aft, 10 to 300

plugin.register()
bumper_bar = cq.Workplane().bumperBar(
    width_mm=width_mm,
    height_mm=height_mm,
    depth_mm=depth_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("bumperBar")}
    show_object(bumper_bar, name="bumper bar", options=look)  # noqa: F821
else:
    box = bumper_bar.val().BoundingBox()
    print(f"bumper bar: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
