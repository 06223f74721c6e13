"""Receiver-drier: canister, two ports on top, clamp."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
inlet = "left"  # side of the inlet: left, right
clamp = "yes"  # whether the clamp is on it: yes, no
lug = "aft"  # which way the clamp's lug points: aft, ahead, left, right
diameter_mm = 65.0  # of the canister, 40 to 150
height_mm = 190.0  # of the canister, without ports, 100 to 400
port_diameter_mm = 18.0  # outside, 6 to 24
port_length_mm = 20.0  # above the top, 5 to 80
port_spacing_mm = 36.0  # axis to axis, 26 to 120
elbow_diameter_mm = 35.0  # of a hose's first fitting, 10 to 90
elbow_length_mm = 50.0  # beyond the port's end, 10 to 150
clamp_up_mm = 80.0  # bottom to the band, 0 to 300 (yes only)
clamp_height_mm = 25.0  # of the band, 16 to 80 (yes only)
clamp_thickness_mm = 2.0  # of the band, 0.8 to 6 (yes only)
lug_length_mm = 25.0  # beyond the band, 16 to 80 (yes only)
lug_thickness_mm = 8.0  # along its bolt, 1 to 30 (yes only)
lug_hole_mm = 8.0  # diameter, 4 to 14 (yes only)

plugin.register()
drier = cq.Workplane().drier(
    inlet=inlet,
    clamp=clamp,
    lug=lug,
    diameter_mm=diameter_mm,
    height_mm=height_mm,
    port_diameter_mm=port_diameter_mm,
    port_length_mm=port_length_mm,
    port_spacing_mm=port_spacing_mm,
    elbow_diameter_mm=elbow_diameter_mm,
    elbow_length_mm=elbow_length_mm,
    clamp_up_mm=clamp_up_mm,
    clamp_height_mm=clamp_height_mm,
    clamp_thickness_mm=clamp_thickness_mm,
    lug_length_mm=lug_length_mm,
    lug_thickness_mm=lug_thickness_mm,
    lug_hole_mm=lug_hole_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("drier")}
    show_object(drier, name="drier", options=look)  # noqa: F821
else:
    box = drier.val().BoundingBox()
    print(f"drier: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
