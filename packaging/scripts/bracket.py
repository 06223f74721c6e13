"""Flat strap or angle with two holes."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
form = "flat"  # a flat strap or an angle: flat, angle
way = "aft"  # where an angle's second leg goes: aft, ahead
width_mm = 30.0  # left to right, 16 to 200
thickness_mm = 3.0  # of the plate, 0.8 to 10
hole_mm = 8.0  # of both, 3 to 14
edge_mm = 15.0  # hole's middle to the end, 8 to 60
apart_mm = 80.0  # hole to hole, 20 to 600 (flat only)
first_mm = 45.0  # first hole to the outer corner, 25 to 400 (angle only)
second_mm = 45.0  # outer corner to the second hole, 25 to 400 (angle only)

plugin.register()
bracket = cq.Workplane().bracket(
    form=form,
    way=way,
    width_mm=width_mm,
    thickness_mm=thickness_mm,
    hole_mm=hole_mm,
    edge_mm=edge_mm,
    apart_mm=apart_mm,
    first_mm=first_mm,
    second_mm=second_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("bracket")}
    show_object(bracket, name="bracket", options=look)  # noqa: F821
else:
    box = bracket.val().BoundingBox()
    print(f"bracket: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
