"""V or multi-rib belt over the pulleys that it names."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
section = "v"  # which belt it is: v, ribbed
width_mm = 12.7  # across its back, 6 to 25 (v only)
height_mm = 9.0  # back to inside, 4 to 16 (v only)
ribs = 6  # how many, 2 to 12 (ribbed only)
thickness_mm = 4.8  # back to rib tips, 3 to 8 (ribbed only)
proud_mm = 1.5  # its back beyond the pulleys' outside, 0 to 8
first_pulley = (0.0, 0.0, 65.0)  # middle (y, z) and outside radius
second_pulley = (170.0, 90.0, 35.0)
third_pulley = (20.0, 260.0, 60.0)

plugin.register()
belt = cq.Workplane().belt(
    section=section,
    width_mm=width_mm,
    height_mm=height_mm,
    ribs=ribs,
    thickness_mm=thickness_mm,
    proud_mm=proud_mm,
    run=(first_pulley, second_pulley, third_pulley),
)

if "show_object" in globals():
    look = {"color": plugin.colour("belt")}
    show_object(belt, name="belt", options=look)  # noqa: F821
else:
    box = belt.val().BoundingBox()
    print(f"belt: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
