"""Panel that carries the radiator: opening, rails, side flanges, latch brace."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
brace = "none"  # brace between the rails, in front: none, vertical
opening_width_mm = 690.0  # clear, left to right, 250 to 1400
opening_height_mm = 480.0  # clear, rail to rail, 200 to 900
thickness_mm = 1.2  # of the side flanges' sheet, 0.6 to 6
side_width_mm = 60.0  # flange beside the opening, each, 10 to 300
upper_height_mm = 50.0  # above the opening, 10 to 200
upper_depth_mm = 40.0  # ahead of the rear face, 8 to 200
lower_height_mm = 60.0  # below the opening, 10 to 200
lower_depth_mm = 50.0  # ahead of the rear face, 8 to 200
bow_mm = 0.0  # out of line at mid span, either way, 0 to 25
brace_width_mm = 60.0  # left to right, 10 to 200 (vertical only)
brace_depth_mm = 40.0  # fore and aft, 2 to 150 (vertical only)
brace_ahead_mm = 40.0  # from the radiator face to the brace's rear face, 0 to 300 (vertical only)
bolt_mm = 8.0  # bolt holes in the flanges, 4 to 16

plugin.register()
core_support = cq.Workplane().coreSupport(
    brace=brace,
    opening_width_mm=opening_width_mm,
    opening_height_mm=opening_height_mm,
    thickness_mm=thickness_mm,
    side_width_mm=side_width_mm,
    upper_height_mm=upper_height_mm,
    upper_depth_mm=upper_depth_mm,
    lower_height_mm=lower_height_mm,
    lower_depth_mm=lower_depth_mm,
    bow_mm=bow_mm,
    brace_width_mm=brace_width_mm,
    brace_depth_mm=brace_depth_mm,
    brace_ahead_mm=brace_ahead_mm,
    bolt_mm=bolt_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("coreSupport")}
    show_object(core_support, name="core support", options=look)  # noqa: F821
else:
    box = core_support.val().BoundingBox()
    print(f"core support: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
