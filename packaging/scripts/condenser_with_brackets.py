"""A condenser hung by its four tabs, with a strap bolted to each and the clearances between all."""

import cadquery as cq

from noseroom import plugin
from noseroom.parts.condenser import Condenser

core_width_mm = 530.0  # between the headers
core_height_mm = 350.0  # bottom to top
core_thickness_mm = 18.0  # front to rear face
header_diameter_mm = 22.0  # outside
tab_hole_mm = 8.0  # in the condenser's tabs
strap_width_mm = 25.0
strap_thickness_mm = 3.0
upper_apart_mm = 60.0  # hole to hole, of the straps that go up
lower_apart_mm = 90.0  # hole to hole, of the straps that go down
cap_mm = 25.0  # clearances that are larger are only counted

plugin.register()
condenser = Condenser(
    core_width_mm=core_width_mm,
    core_height_mm=core_height_mm,
    core_thickness_mm=core_thickness_mm,
    header_diameter_mm=header_diameter_mm,
    tab_hole_mm=tab_hole_mm,
)
assembly = cq.Assembly(name="condenser and straps")
assembly.add(
    cq.Workplane().condenser(
        core_width_mm=core_width_mm,
        core_height_mm=core_height_mm,
        core_thickness_mm=core_thickness_mm,
        header_diameter_mm=header_diameter_mm,
        tab_hole_mm=tab_hole_mm,
    ),
    name="condenser",
    color=cq.Color(plugin.colour("condenser")),
)
for name, port in condenser.ports().items():
    if not name.endswith("tab"):
        continue
    # A tab's port is its hole where it comes out of the rear face, against which the strap lies.
    up = name.startswith("upper")
    strap = cq.Workplane().bracket(
        width_mm=strap_width_mm,
        thickness_mm=strap_thickness_mm,
        hole_mm=tab_hole_mm,
        edge_mm=12.0,
        apart_mm=upper_apart_mm if up else lower_apart_mm,
    )
    place = cq.Location(tuple(port.point), (1, 0, 0), 0 if up else 180)
    colour = cq.Color(plugin.colour("bracket"))
    assembly.add(strap, loc=place, name=f"{name} strap", color=colour)

clearances = assembly.clearances(cap_mm)

if "show_object" in globals():
    show_object(assembly, name="condenser and straps")  # noqa: F821
print(clearances)
