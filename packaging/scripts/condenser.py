"""Parallel-flow condenser: core, headers, ports, tabs."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
headers = "round"  # section of the headers: round, flat
side = "right"  # header that carries the ports: right, left
way = "out"  # where the ports point: out, aft, ahead
core_width_mm = 530.0  # between the headers, 200 to 1000
core_height_mm = 350.0  # bottom to top, 150 to 800
core_thickness_mm = 18.0  # front to rear face, 8 to 60
header_diameter_mm = 22.0  # outside, 10 to 60 (round only)
header_width_mm = 20.0  # beside the core, 8 to 60 (flat only)
header_depth_mm = 24.0  # fore and aft, 8 to 80 (flat only)
port_diameter_mm = 18.0  # outside, 6 to 30
port_length_mm = 25.0  # beyond the header, 5 to 120
port_from_top_mm = 50.0  # header's top to the upper axis, 5 to 600
port_spacing_mm = 200.0  # upper to lower axis, 32 to 700
elbow_diameter_mm = 35.0  # of a hose's first fitting, 10 to 90
elbow_length_mm = 50.0  # beyond the port's end, 10 to 150
tab_width_mm = 25.0  # out from the header, 16 to 100
tab_height_mm = 25.0  # up and down, 16 to 44
tab_thickness_mm = 2.5  # sheet, 0.8 to 8
tab_from_end_mm = 15.0  # header's end to the tab, 0 to 30
tab_hole_mm = 8.0  # diameter, 4 to 14

plugin.register()
condenser = cq.Workplane().condenser(
    headers=headers,
    side=side,
    way=way,
    core_width_mm=core_width_mm,
    core_height_mm=core_height_mm,
    core_thickness_mm=core_thickness_mm,
    header_diameter_mm=header_diameter_mm,
    header_width_mm=header_width_mm,
    header_depth_mm=header_depth_mm,
    port_diameter_mm=port_diameter_mm,
    port_length_mm=port_length_mm,
    port_from_top_mm=port_from_top_mm,
    port_spacing_mm=port_spacing_mm,
    elbow_diameter_mm=elbow_diameter_mm,
    elbow_length_mm=elbow_length_mm,
    tab_width_mm=tab_width_mm,
    tab_height_mm=tab_height_mm,
    tab_thickness_mm=tab_thickness_mm,
    tab_from_end_mm=tab_from_end_mm,
    tab_hole_mm=tab_hole_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("condenser")}
    show_object(condenser, name="condenser", options=look)  # noqa: F821
else:
    box = condenser.val().BoundingBox()
    print(f"condenser: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
