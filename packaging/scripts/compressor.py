"""Belt-driven compressor: body, clutch nose, ears, ports."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
ears = "below"  # where the ears stand: below, both, none
bolts = "along"  # how their bolts lie: along, across
place = "rear"  # where the hoses leave: rear, top
suction = "right"  # side of the suction port: right, left
body_diameter_mm = 120.0  # outside, 90 to 200
body_length_mm = 160.0  # behind the clutch nose, 100 to 350
nose_diameter_mm = 125.0  # clutch pulley, outside, 60 to 220
nose_length_mm = 55.0  # front face to the body, 20 to 120
belt_mm = 25.0  # front face to the belt plane, 3 to 110
ear_out_mm = 18.0  # body's flank to the hole's middle, 12 to 60
ear_width_mm = 32.0  # side to side, 20 to 80
ear_thickness_mm = 22.0  # along the axis, 14 to 45
hole_mm = 9.0  # bolt hole, 5 to 13
port_diameter_mm = 24.0  # fitting, outside, 10 to 28
port_length_mm = 12.0  # beyond body or pad, 3 to 60
spacing_mm = 38.0  # middle to middle, 30 to 50
elbow_mm = 50.0  # straight room beyond a port, 5 to 150

plugin.register()
compressor = cq.Workplane().compressor(
    ears=ears,
    bolts=bolts,
    place=place,
    suction=suction,
    body_diameter_mm=body_diameter_mm,
    body_length_mm=body_length_mm,
    nose_diameter_mm=nose_diameter_mm,
    nose_length_mm=nose_length_mm,
    belt_mm=belt_mm,
    ear_out_mm=ear_out_mm,
    ear_width_mm=ear_width_mm,
    ear_thickness_mm=ear_thickness_mm,
    hole_mm=hole_mm,
    port_diameter_mm=port_diameter_mm,
    port_length_mm=port_length_mm,
    spacing_mm=spacing_mm,
    elbow_mm=elbow_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("compressor")}
    show_object(compressor, name="compressor", options=look)  # noqa: F821
else:
    box = compressor.val().BoundingBox()
    print(f"compressor: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
