"""Anti-roll bar with its arms."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
arms = "aft"  # which way its arms point: aft, ahead
width_mm = 900.0  # over its ends, left to right, 200 to 1800
diameter_mm = 22.0  # of the bar, 8 to 60
arm_length_mm = 250.0  # bar's axis to the link's eye, 40 to 600
arm_diameter_mm = 30.0  # of an arm, or of the round that holds it, 8 to 120

plugin.register()
anti_roll_bar = cq.Workplane().antiRollBar(
    arms=arms,
    width_mm=width_mm,
    diameter_mm=diameter_mm,
    arm_length_mm=arm_length_mm,
    arm_diameter_mm=arm_diameter_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("antiRollBar")}
    show_object(anti_roll_bar, name="anti-roll bar", options=look)  # noqa: F821
else:
    box = anti_roll_bar.val().BoundingBox()
    print(f"anti-roll bar: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
