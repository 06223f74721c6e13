"""Grille, as the box that it fills."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
width_mm = 900.0  # left to right, 100 to 2000
height_mm = 260.0  # bottom to top, 50 to 900
depth_mm = 30.0  # fore and aft, 2 to 250

plugin.register()
grille = cq.Workplane().grille(
    width_mm=width_mm,
    height_mm=height_mm,
    depth_mm=depth_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("grille")}
    show_object(grille, name="grille", options=look)  # noqa: F821
else:
    box = grille.val().BoundingBox()
    print(f"grille: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
