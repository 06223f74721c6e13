"""Hub, pilot and snout that fan and pulley sit on."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
hub_diameter_mm = 76.0  # outside, 30 to 200
hub_thickness_mm = 8.0  # flange, front to rear face, 2 to 60
pilot_diameter_mm = 16.0  # outside, 5 to 80
pilot_length_mm = 14.0  # ahead of the hub's face, 1 to 100
bolt_count = 4  # studs or bolts in the hub, 2 to 12
bolt_circle_mm = 50.0  # diameter through the bolts' middles, 20 to 180
snout_diameter_mm = 60.0  # outside, behind the hub, 20 to 200
snout_length_mm = 90.0  # hub's rear face to the housing, 5 to 250

plugin.register()
water_pump = cq.Workplane().waterPump(
    hub_diameter_mm=hub_diameter_mm,
    hub_thickness_mm=hub_thickness_mm,
    pilot_diameter_mm=pilot_diameter_mm,
    pilot_length_mm=pilot_length_mm,
    bolt_count=bolt_count,
    bolt_circle_mm=bolt_circle_mm,
    snout_diameter_mm=snout_diameter_mm,
    snout_length_mm=snout_length_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("waterPump")}
    show_object(water_pump, name="water pump", options=look)  # noqa: F821
else:
    box = water_pump.val().BoundingBox()
    print(f"water pump: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
