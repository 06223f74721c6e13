"""Engine radiator: core, two tanks, necks, cap and side brackets."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
flow = "down"  # which way the water goes: down, cross
upper_side = "right"  # side of the upper neck: right, left
lower_side = "left"  # side of the lower neck: left, right
filler = "yes"  # whether the cap sits on the tank: yes, no
brackets = "plates"  # flanges beside the core: plates, none
core_width_mm = 570.0  # finned face, 200 to 1000
core_height_mm = 430.0  # finned face, 150 to 800
core_thickness_mm = 50.0  # front to rear face, 12 to 150
top_height_mm = 50.0  # above the core, 15 to 200 (down only)
top_depth_mm = 70.0  # fore and aft, 20 to 250 (down only)
bottom_height_mm = 50.0  # below the core, 15 to 200 (down only)
bottom_depth_mm = 65.0  # fore and aft, 20 to 250 (down only)
left_width_mm = 50.0  # beside the core, 15 to 200 (cross only)
left_depth_mm = 65.0  # fore and aft, 20 to 250 (cross only)
right_width_mm = 50.0  # beside the core, 15 to 200 (cross only)
right_depth_mm = 65.0  # fore and aft, 20 to 250 (cross only)
neck_diameter_mm = 38.0  # outside, 15 to 80
neck_length_mm = 35.0  # from the tank's rear face, 10 to 150
upper_from_end_mm = 80.0  # to the neck's axis, 15 to 500
lower_from_end_mm = 80.0  # to the neck's axis, 15 to 500
cap_diameter_mm = 65.0  # outside, 25 to 100
cap_height_mm = 30.0  # above the tank, cap on, 10 to 100
bracket_width_mm = 25.0  # beyond core and tanks, 5 to 120
bracket_thickness_mm = 2.0  # sheet, 0.8 to 8

plugin.register()
radiator = cq.Workplane().radiator(
    flow=flow,
    upper_side=upper_side,
    lower_side=lower_side,
    filler=filler,
    brackets=brackets,
    core_width_mm=core_width_mm,
    core_height_mm=core_height_mm,
    core_thickness_mm=core_thickness_mm,
    top_height_mm=top_height_mm,
    top_depth_mm=top_depth_mm,
    bottom_height_mm=bottom_height_mm,
    bottom_depth_mm=bottom_depth_mm,
    left_width_mm=left_width_mm,
    left_depth_mm=left_depth_mm,
    right_width_mm=right_width_mm,
    right_depth_mm=right_depth_mm,
    neck_diameter_mm=neck_diameter_mm,
    neck_length_mm=neck_length_mm,
    upper_from_end_mm=upper_from_end_mm,
    lower_from_end_mm=lower_from_end_mm,
    cap_diameter_mm=cap_diameter_mm,
    cap_height_mm=cap_height_mm,
    bracket_width_mm=bracket_width_mm,
    bracket_thickness_mm=bracket_thickness_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("radiator")}
    show_object(radiator, name="radiator", options=look)  # noqa: F821
else:
    box = radiator.val().BoundingBox()
    print(f"radiator: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
