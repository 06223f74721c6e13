"""Loose pulley that guides a belt or tightens it: an idler, or a tensioner's."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
section = "flat"  # which belt it is cut for: flat, v, ribbed
web = "front"  # where the web closes the rim: front, middle, rear
diameter_mm = 70.0  # over the rim, 50 to 400
grooves = 1  # V grooves, 1 to 4 (v only)
groove_width_mm = 12.7  # across the top of one V, 6 to 17 (v only)
land_mm = 2.5  # beside and between the Vs, 1 to 10 (v only)
ribs = 6  # grooves of a multi-rib pulley, 2 to 12 (ribbed only)
edge_mm = 3.0  # outermost groove's middle to the face, 2 to 12 (ribbed only)
wall_mm = 3.0  # rim, under the grooves, 1 to 6
web_thickness_mm = 3.0  # plate, 0.8 to 10
face_mm = 25.0  # face to face, 8 to 60 (flat only)

plugin.register()
idler_pulley = cq.Workplane().idlerPulley(
    section=section,
    web=web,
    diameter_mm=diameter_mm,
    grooves=grooves,
    groove_width_mm=groove_width_mm,
    land_mm=land_mm,
    ribs=ribs,
    edge_mm=edge_mm,
    wall_mm=wall_mm,
    web_thickness_mm=web_thickness_mm,
    face_mm=face_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("idlerPulley")}
    show_object(idler_pulley, name="idler pulley", options=look)  # noqa: F821
else:
    box = idler_pulley.val().BoundingBox()
    print(f"idler pulley: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
