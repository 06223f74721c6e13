"""Nothing of a car: a robot's gripper comes down on a bottle. What touches, and what is in the way?

Each finger is the same group of parts, placed twice; the right one lags behind a little.
"""

import cadquery as cq

from noseroom import plugin

left_deg = 10.0  # how far each finger is open
right_deg = 12.5
height_mm = 4.0  # palm above the bottle's cap
bottle_diameter_mm = 62.0
camera_out_mm = 22.0  # camera in front of the middle of the palm
link_mm = 60.0  # pin to pin
palm_mm = 10.0  # palm's middle above the fingers' upper pins, and its underside below them
bottle_mm = 160.0  # over the cap
cap_mm = 15.0  # clearances that are larger are only counted

plugin.register()
link = (
    cq.Workplane("XZ")
    .center(0, -link_mm / 2)
    .slot2D(link_mm + 18, 18, 90)
    .extrude(4, both=True)
    .faces("<Y")
    .workplane(origin=(0, 0, 0))
    .pushPoints([(0, 0), (0, -link_mm)])
    .hole(6.2)
)
tip = (
    cq.Workplane(origin=(0, 0, -26))
    .box(12, 22, 72)
    .edges("|Y and <Z")
    .fillet(5)
    .cut(cq.Workplane(origin=(0, 0, 0)).box(30, 9, 24))
    .cut(cq.Workplane("XZ").cylinder(40, 3.1))
)
pad = cq.Workplane(origin=(-9, 0, -38)).box(6, 26, 34).edges("<X").fillet(2)
pin = cq.Workplane("XZ").cylinder(26, 3)


def finger(opening_deg: float, steel: cq.Color, rubber: cq.Color) -> cq.Assembly:
    """Link, tip, pad and the two pins they turn on; the link hangs from the origin."""
    lower = cq.Assembly(name="lower", loc=cq.Location((0, 0, -link_mm), (0, 1, 0), opening_deg))
    lower.add(tip, name="tip", color=steel).add(pad, name="pad", color=rubber)
    lower.add(pin, name="pin", color=cq.Color("#55585f"))
    made = cq.Assembly(loc=cq.Location((38, 0, 0), (0, 1, 0), -opening_deg))
    made.add(link, name="link", color=steel).add(pin, name="pin", color=cq.Color("#55585f"))
    return made.add(lower)


palm = (
    cq.Workplane(origin=(0, 0, palm_mm))
    .box(120, 46, 4 * palm_mm)
    .edges("|Y and >Z")
    .chamfer(12)
    .cut(cq.Workplane().pushPoints([(38, 0), (-38, 0)]).box(44, 10, 44))
    .cut(cq.Workplane("XZ").pushPoints([(38, 0), (-38, 0)]).cylinder(60, 3.1))
)
camera = cq.Workplane(origin=(0, -camera_out_mm, -palm_mm - 7)).cylinder(14, 9)
radius = bottle_diameter_mm / 2
bottle = (
    cq.Workplane("XZ")
    .polyline(
        [
            (0, 0),
            (radius, 0),
            (radius, bottle_mm - 60),
            (13, bottle_mm - 35),
            (13, bottle_mm - 22),
            (16, bottle_mm - 22),
            (16, bottle_mm),
        ]
    )
    .lineTo(0, bottle_mm)
    .close()
    .revolve(360, (0, 0, 0), (0, 1, 0))
)

steel, rubber = cq.Color("#b9c2cc"), cq.Color("#3b7a57")
gripper = cq.Assembly(name="gripper")
gripper.add(palm, name="palm", color=cq.Color("#8fa3b8"))
gripper.add(camera, name="camera", color=cq.Color("#d98324"))
gripper.add(finger(right_deg, steel, rubber), name="right")
left = finger(left_deg, steel, rubber)
half_turn = cq.Location((0, 0, 0), (0, 0, 1), 180)
gripper.add(left, name="left", loc=half_turn * left.loc)
cell = cq.Assembly(name="cell").add(gripper)
cell.add(
    bottle,
    name="bottle",
    loc=cq.Location(0, 0, -palm_mm - height_mm - bottle_mm),
    color=cq.Color(0.45, 0.66, 0.86, 0.55),
)

clearances = cell.clearances(cap_mm)

if "show_object" in globals():
    show_object(cell, name="cell")  # noqa: F821
print(clearances)
