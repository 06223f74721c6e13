"""Electric fan, single or twin: frame, motor, swept space."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
mounting = "behind"  # which side of the core it is on: behind, in front
number = "single"  # how many fans the frame holds: single, twin
diameter_mm = 300.0  # swept by the blades, 150 to 600
depth_mm = 40.0  # front to rear face, without motor, 16 to 150
motor_depth_mm = 35.0  # beyond the frame, 2 to 150
motor_diameter_mm = 100.0  # outside, or the hub's if larger, 40 to 140
tip_gap_mm = 4.0  # blade tip to the ring, 1 to 20
ring_mm = 6.0  # inside to outside, 3 to 40
plate_mm = 4.0  # at the mounting side, 1 to 12
beyond_mm = 10.0  # past the ring at its sides, 2 to 100
hole_mm = 6.0  # mounting holes in the corners, 3 to 12
inset_mm = 12.0  # hole's middle to either edge, 8 to 20
set_back_mm = 4.0  # from either face of the frame, 1 to 6
between_mm = 10.0  # from one ring to the other, 1 to 200 (twin only)

plugin.register()
electric_fan = cq.Workplane().electricFan(
    mounting=mounting,
    number=number,
    diameter_mm=diameter_mm,
    depth_mm=depth_mm,
    motor_depth_mm=motor_depth_mm,
    motor_diameter_mm=motor_diameter_mm,
    tip_gap_mm=tip_gap_mm,
    ring_mm=ring_mm,
    plate_mm=plate_mm,
    beyond_mm=beyond_mm,
    hole_mm=hole_mm,
    inset_mm=inset_mm,
    set_back_mm=set_back_mm,
    between_mm=between_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("electricFan")}
    show_object(electric_fan, name="electric fan", options=look)  # noqa: F821
else:
    box = electric_fan.val().BoundingBox()
    print(f"electric fan: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
