"""Anything in the way, as a cylinder: pipe, starter, sway bar."""

import cadquery as cq

from noseroom import plugin

# Sizes in mm and words, as the part in an envelope file has them. Change them here or in CQGI.
lies = "along"  # which way of the car its axis runs: along, across, up
diameter_mm = 28.0  # outside, 1 to 1000
length_mm = 600.0  # end to end, 1 to 3000

plugin.register()
obstacle_cylinder = cq.Workplane().obstacleCylinder(
    lies=lies,
    diameter_mm=diameter_mm,
    length_mm=length_mm,
)

if "show_object" in globals():
    look = {"color": plugin.colour("obstacleCylinder")}
    show_object(obstacle_cylinder, name="cylinder", options=look)  # noqa: F821
else:
    box = obstacle_cylinder.val().BoundingBox()
    print(f"cylinder: {box.xlen:.0f} x {box.ylen:.0f} x {box.zlen:.0f} mm")
