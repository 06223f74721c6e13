"""A fan, the space that it sweeps, and how near that comes to a radiator ahead of it."""

import cadquery as cq

from noseroom import plugin

diameter_mm = 430.0  # over the blade tips
blades = 6
width_mm = 55.0  # leading edge to trailing edge, along the axis
ahead_mm = 30.0  # leading edge ahead of the fan's mounting face
gap_mm = 22.0  # leading edges to the radiator's core, square to it, at the fan's middle
nose_up_deg = 3.0  # how far the crank's line leans against the core
core_width_mm = 570.0
core_height_mm = 430.0
core_thickness_mm = 50.0

plugin.register()
fan_sizes = {
    "diameter_mm": diameter_mm,
    "blades": blades,
    "width_mm": width_mm,
    "ahead_mm": ahead_mm,
}
place = cq.Location((core_thickness_mm + gap_mm + ahead_mm, 0, 0), (0, 1, 0), nose_up_deg)
fan = cq.Workplane().fan(**fan_sizes)
sweep = cq.Workplane().fan(**fan_sizes, swept=True)
radiator = cq.Workplane().radiator(
    core_width_mm=core_width_mm,
    core_height_mm=core_height_mm,
    core_thickness_mm=core_thickness_mm,
    filler="no",
)
swept_gap = radiator.clearanceTo(sweep.val().moved(place))

if "show_object" in globals():
    assembly = cq.Assembly(name="fan and radiator")
    assembly.add(radiator, name="radiator", color=cq.Color(plugin.colour("radiator")))
    assembly.add(fan, name="fan", loc=place, color=cq.Color(plugin.colour("fan")))
    show_object(assembly, name="fan and radiator")  # noqa: F821
    ghost = {"color": plugin.colour("fan"), "alpha": 0.7}
    show_object(sweep.val().moved(place), name="swept space", options=ghost)  # noqa: F821
print(f"radiator to what the fan sweeps: {swept_gap}")
