"""Anything in the way, as a box: battery tray, horn, steering box."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
depth_mm = 180.0  # fore and aft, 1 to 2000
width_mm = 260.0  # left to right, 1 to 2000
height_mm = 200.0  # bottom to top, 1 to 2000

plugin.register()
obstacle_box = cq.Workplane().obstacleBox(
    depth_mm=depth_mm,
    width_mm=width_mm,
    height_mm=height_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("obstacleBox")}
    show_object(obstacle_box, name="box", options=look)  # noqa: F821
else:
    box = obstacle_box.val().BoundingBox()
    print(f"box: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
