"""Arm on the steering box, wheels straight."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
points_to = "aft"  # which way it points, wheels straight: aft, ahead
length_mm = 150.0  # shaft to ball joint, centres, 50 to 400
boss_mm = 50.0  # diameter about shaft and joint, 15 to 120
height_mm = 60.0  # bottom to top, joint and all, 8 to 200

plugin.register()
pitman_arm = cq.Workplane().pitmanArm(
    points_to=points_to,
    length_mm=length_mm,
    boss_mm=boss_mm,
    height_mm=height_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("pitmanArm")}
    show_object(pitman_arm, name="pitman arm", options=look)  # noqa: F821
else:
    box = pitman_arm.val().BoundingBox()
    print(f"pitman arm: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
