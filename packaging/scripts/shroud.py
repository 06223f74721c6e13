"""Fan shroud: a box over the core with a ringed opening, or a ring."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
form = "box"  # a box over the core, or a ring alone: box, ring
diameter_mm = 460.0  # clear, 150 to 800
ring_depth_mm = 40.0  # fore and aft, 5 to 150
wall_mm = 1.5  # of the sheet, 0.6 to 5
depth_mm = 60.0  # front face to the ring's foot, 10 to 200 (box only)
left_mm = 40.0  # sheet left of the opening, 3 to 400 (box only)
right_mm = 40.0  # sheet right of the opening, 3 to 400 (box only)
top_mm = 40.0  # sheet above the opening, 3 to 400 (box only)
bottom_mm = 40.0  # sheet below the opening, 3 to 400 (box only)

plugin.register()
shroud = cq.Workplane().shroud(
    form=form,
    diameter_mm=diameter_mm,
    ring_depth_mm=ring_depth_mm,
    wall_mm=wall_mm,
    depth_mm=depth_mm,
    left_mm=left_mm,
    right_mm=right_mm,
    top_mm=top_mm,
    bottom_mm=bottom_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("shroud")}
    show_object(shroud, name="shroud", options=look)  # noqa: F821
else:
    box = shroud.val().BoundingBox()
    print(f"shroud: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
