"""Nothing of a car: a desk lamp under a shelf. How near does it come to what stands round it?

Every joint of the lamp turns within its stops, and what hangs on it goes along. No single joint
brings the lamp to the shelf; two together do.
"""

import cadquery as cq

from noseroom import plugin

back_deg = 25.0  # lower arm, from upright
forward_deg = 35.0
up_deg = 50.0  # upper arm, from level
down_deg = 15.0
tilt_deg = 30.0  # shade, either way
lower_mm = 300.0  # pin to pin
upper_mm = 260.0
shelf_mm = 530.0  # its underside over the desk
shelf_ahead_mm = 330.0  # its front edge ahead of the lamp's post
pin_mm = 4.0  # radius
play_mm = 0.3  # of a pin in its hole, all round
cap_mm = 60.0  # clearances that are larger are only counted
ghost_mm = 8.0  # by how much the space that the upper arm passes through may be too large

plugin.register()


def bar(length_mm: float, pinned_mm: float) -> cq.Workplane:
    """An arm up from its lower hole, which turns on a pin; the upper hole holds the next pin."""
    return (
        cq.Workplane("XZ")
        .center(0, length_mm / 2)
        .slot2D(length_mm + 24, 24, 90)
        .extrude(4, both=True)
        .cut(cq.Workplane("XZ").cylinder(20, pin_mm + play_mm))
        .cut(cq.Workplane("XZ", origin=(0, 0, length_mm)).cylinder(20, pinned_mm))
    )


foot = cq.Workplane(origin=(0, 0, 10)).cylinder(20, 90).faces(">Z").edges().fillet(6)
ear = cq.Workplane(origin=(0, 10, 60)).box(30, 10, 90).edges("|Y and >Z").fillet(14)
post = foot.union(ear).cut(cq.Workplane("XZ", origin=(0, 0, 90)).cylinder(60, pin_mm))
pin = cq.Workplane("XZ").cylinder(22, pin_mm)
shade = (
    cq.Workplane("XZ")
    .polyline([(0, 0), (22, 0), (22, -25), (60, -75), (57, -75), (19, -27), (19, -3), (0, -3)])
    .close()
    .revolve(360, (0, 0, 0), (0, 1, 0))
    .union(cq.Workplane(origin=(0, 0, 21)).box(16, 8, 44))
    .cut(cq.Workplane("XZ", origin=(0, 0, 34)).cylinder(20, pin_mm + play_mm))
)

steel, brass = cq.Color("#aab4bf"), cq.Color("#b08d3c")
head = cq.Assembly(name="head", loc=cq.Location((0, 0, upper_mm), (0, 1, 0), -90))
head.add(shade, name="shade", loc=cq.Location(0, -9, -34), color=cq.Color("#3b7a57"))
upper = cq.Assembly(name="upper", loc=cq.Location((0, -9, lower_mm), (0, 1, 0), 90))
upper.add(bar(upper_mm, pin_mm), name="bar", color=steel)
upper.add(pin, name="pin", loc=cq.Location(0, -4, upper_mm), color=brass)
upper.add(head)
lower = cq.Assembly(name="lower", loc=cq.Location(0, 0, 90))
lower.add(bar(lower_mm, pin_mm), name="bar", color=steel)
lower.add(pin, name="pin", loc=cq.Location(0, -4, lower_mm), color=brass)
lower.add(upper)
lamp = cq.Assembly(name="lamp")
lamp.add(post, name="post", color=cq.Color("#4a5560"))
lamp.add(pin, name="pin", loc=cq.Location(0, 4, 90), color=brass)
lamp.add(lower)

room = cq.Assembly(name="room").add(lamp)
board = cq.Workplane().box(260, 420, 20, centered=(False, True, False))
room.add(
    board,
    name="shelf",
    loc=cq.Location(shelf_ahead_mm, 0, shelf_mm),
    color=cq.Color(0.72, 0.56, 0.38),
)
desk = cq.Workplane(origin=(170, 0, -10)).box(700, 420, 20)
room.add(desk, name="desk", color=cq.Color(0.82, 0.74, 0.62))

joint = {"through": (0, 0, 0), "axis": (0, 1, 0)}
joints = {
    "room/lamp/lower": plugin.Turn(**joint, low_deg=-back_deg, high_deg=forward_deg),
    "room/lamp/lower/upper": plugin.Turn(**joint, low_deg=-up_deg, high_deg=down_deg),
    "room/lamp/lower/upper/head": plugin.Turn(**joint, low_deg=-tilt_deg, high_deg=tilt_deg),
}
clearances = room.clearancesWhileMoving(joints, cap_mm)

if "show_object" in globals():
    show_object(room, name="room")  # noqa: F821
    both = dict(list(joints.items())[:2])
    space = room.sweptSpace("room/lamp/lower/upper/bar", both, ghost_mm)
    show_object(space, name="swept space", options={"alpha": 0.8})  # noqa: F821
print(clearances)
