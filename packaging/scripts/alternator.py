"""Alternator or generator with its own pulley."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
pivot = "below"  # side of the axis the pivot is on: below, above
body_diameter_mm = 130.0  # outside, 80 to 220
body_length_mm = 135.0  # front face to rear, 60 to 300
gap_mm = 8.0  # pulley's rear face to body's front, 1 to 80
pulley_diameter_mm = 70.0  # outside, 45 to 150
pulley_width_mm = 22.0  # face to face, 8 to 60
ear_out_mm = 18.0  # body's flank to the hole's middle, 10 to 80
ear_width_mm = 28.0  # side to side, 20 to 60
ear_thickness_mm = 15.0  # along the axis, 5 to 50
hole_mm = 10.0  # bolt hole, 5 to 16

plugin.register()
alternator = cq.Workplane().alternator(
    pivot=pivot,
    body_diameter_mm=body_diameter_mm,
    body_length_mm=body_length_mm,
    gap_mm=gap_mm,
    pulley_diameter_mm=pulley_diameter_mm,
    pulley_width_mm=pulley_width_mm,
    ear_out_mm=ear_out_mm,
    ear_width_mm=ear_width_mm,
    ear_thickness_mm=ear_thickness_mm,
    hole_mm=hole_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("alternator")}
    show_object(alternator, name="alternator", options=look)  # noqa: F821
else:
    box = alternator.val().BoundingBox()
    print(f"alternator: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
