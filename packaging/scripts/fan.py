"""Fan driven by the engine: spider, blades, clutch."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
drive = "rigid"  # what it is, between hub and blades: rigid, flexible, clutch
rotation = "clockwise"  # seen from the front of the car: clockwise, anticlockwise
diameter_mm = 430.0  # over the blade tips, 250 to 700
blades = 6  # how many, 2 to 12
width_mm = 55.0  # projected: leading edge to trailing edge, along the axis, 10 to 150
ahead_mm = 30.0  # leading edge ahead of the fan's mounting face, -60 to 150
thickness_mm = 1.6  # blade sheet, 0.8 to 3
spider_diameter_mm = 150.0  # where the blades begin, 50 to 180
spider_thickness_mm = 8.0  # hub plates and rivets, 2 to 50
clutch_diameter_mm = 180.0  # body, over its fins, 60 to 300 (clutch only)
clutch_depth_mm = 35.0  # body, rear face to the fan's mounting face, 5 to 150 (clutch only)
shaft_diameter_mm = 75.0  # over its flange or nut, 20 to 150 (clutch only)
shaft_length_mm = 30.0  # flange's rear face to the body, 5 to 120 (clutch only)
nose_diameter_mm = 110.0  # what comes through the fan, 20 to 300 (clutch only)
nose_length_mm = 25.0  # ahead of the spider, spring and all, 2 to 100 (clutch only)

plugin.register()
fan = cq.Workplane().fan(
    drive=drive,
    rotation=rotation,
    diameter_mm=diameter_mm,
    blades=blades,
    width_mm=width_mm,
    ahead_mm=ahead_mm,
    thickness_mm=thickness_mm,
    spider_diameter_mm=spider_diameter_mm,
    spider_thickness_mm=spider_thickness_mm,
    clutch_diameter_mm=clutch_diameter_mm,
    clutch_depth_mm=clutch_depth_mm,
    shaft_diameter_mm=shaft_diameter_mm,
    shaft_length_mm=shaft_length_mm,
    nose_diameter_mm=nose_diameter_mm,
    nose_length_mm=nose_length_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("fan")}
    show_object(fan, name="fan", options=look)  # noqa: F821
else:
    box = fan.val().BoundingBox()
    print(f"fan: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
