"""Hose from one port to another, or a stub from one port."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
diameter_mm = 22.0  # outside, 6 to 90
stub_mm = 80.0  # straight out of the port, without a far end, 10 to 400
start = (0.0, 0.0, 0.0)  # points of the centre line
bend = (90.0, 0.0, 0.0)
end = (140.0, 60.0, 80.0)

plugin.register()
hose = cq.Workplane().hose(
    diameter_mm=diameter_mm,
    stub_mm=stub_mm,
    run=(start, bend, end),
)

if "show_object" in globals():
    look = {"color": plugin.colour("hose")}
    show_object(hose, name="hose", options=look)  # noqa: F821
else:
    box = hose.val().BoundingBox()
    print(f"hose: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
