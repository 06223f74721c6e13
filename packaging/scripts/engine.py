"""Crank line and front of the block; carries the drive."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
shown = "yes"  # whether the block is there as a box: no, yes
width_mm = 450.0  # side to side, 150 to 900 (yes only)
height_mm = 400.0  # above the crank's axis, 80 to 800 (yes only)
below_mm = 120.0  # below the crank's axis, 20 to 400 (yes only)
length_mm = 650.0  # front face to rear, 150 to 1200 (yes only)

plugin.register()
engine = cq.Workplane().engine(
    shown=shown,
    width_mm=width_mm,
    height_mm=height_mm,
    below_mm=below_mm,
    length_mm=length_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("engine")}
    show_object(engine, name="engine", options=look)  # noqa: F821
else:
    box = engine.val().BoundingBox()
    print(f"engine: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
