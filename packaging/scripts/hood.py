"""Hood, shut, as the slab that it fills."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
hinged = "rear"  # at which end its hinges are: alligator or tilt: rear, front
length_mm = 1100.0  # front edge to rear edge, 300 to 2200
width_mm = 1300.0  # left to right, 300 to 2000
thickness_mm = 60.0  # lowest of its frame to highest of its skin, crown and all, 1 to 400
pin_in_mm = 30.0  # how far the pins are in from the edge at that end, -250 to 500
pin_below_mm = 40.0  # how far the pins are below the underside, -300 to 400

plugin.register()
hood = cq.Workplane().hood(
    hinged=hinged,
    length_mm=length_mm,
    width_mm=width_mm,
    thickness_mm=thickness_mm,
    pin_in_mm=pin_in_mm,
    pin_below_mm=pin_below_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("hood")}
    show_object(hood, name="hood", options=look)  # noqa: F821
else:
    box = hood.val().BoundingBox()
    print(f"hood: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
