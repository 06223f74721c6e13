"""Paper to drill by: the hole lies on it as it does on the metal, for who stands before it."""

from __future__ import annotations

from itertools import combinations
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from shapely import LineString, Point, box, union_all

from noseroom.checks.bracket_records import RailHole
from noseroom.checks.bracket_shape import Plane
from noseroom.checks.bracket_sites import RailEdge, RailFace
from noseroom.geometry.outlines import Circle, rectangle
from noseroom.geometry.sheet import Blank, Flange
from noseroom.parts.spacer import Spacer
from noseroom.workshop.bracket_flat import flat_of
from noseroom.workshop.bracket_place import upright_of
from noseroom.workshop.drill_templates import drill_figures
from noseroom.workshop.figures import sampled
from noseroom.workshop.paper import template_sheets
from noseroom.workshop.paper_draw import View, label_box, lines_of
from noseroom.workshop.paper_sheet import PAPERS
from noseroom.workshop.spacer_template import spacer_figure

ACROSS, UP = np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0])
AFT = np.array([1.0, 0.0, 0.0])


def design(
    *, rear: bool = True, hole_at: tuple[float, float] = (-300.0, 150.0), **more: Any
) -> SimpleNamespace:
    """A hole in an upright flange, with edges at y = -312 and z = 60 to measure it from."""
    y, z = hole_at
    face = RailFace(
        host=None,  # type: ignore[arg-type]
        name=f"{'rear' if rear else 'front'} of the left side flange",
        plane=Plane(np.array([40.0, -330.0, 0.0]), AFT if rear else -AFT),
        ways=np.array([ACROSS, UP]),
        low=np.array([0.0, 0.0]),
        high=np.array([60.0, 400.0]),
        sheet_mm=1.5,
        component="sides",
        feature="face",
        edges=(
            RailEdge(0, 18.0, "edge", "the opening's left edge"),
            RailEdge(1, 60.0, "rail", "the top edge of the lower rail"),
        ),
        must_read=(),
    )
    hole = {
        "face": face.name,
        "point": np.array([40.0, y, z]),
        "diameter_mm": 7.14,
        "drill": "9/32",
        "existing": "",
        "from_edges": (
            ("the opening's left edge", abs(y + 312.0)),
            ("the top edge of the lower rail", abs(z - 60.0)),
        ),
        "marked_last": False,
    }
    return SimpleNamespace(
        name="condenser upper left tab bracket",
        title="Bracket for the condenser upper left tab",
        hand="left",
        rail_holes=(RailHole(**(hole | more)),),
        made=SimpleNamespace(job=SimpleNamespace(face=face)),
    )


@pytest.mark.parametrize("rear", [True, False], ids=["from the rear", "from the front"])
@pytest.mark.parametrize("hole_at", [(-300.0, 150.0), (-320.0, 20.0)])
def test_the_hole_is_as_far_from_the_edges_as_on_the_metal(
    rear: bool, hole_at: tuple[float, float]
) -> None:
    (figure,) = drill_figures(design(rear=rear, hole_at=hole_at))  # type: ignore[arg-type]
    (centre,) = figure.centres
    assert centre.at == (0.0, 0.0)
    assert centre.diameter_mm == 7.14
    away = sorted(LineString(one.points).distance(Point(0, 0)) for one in figure.guides)
    assert away == pytest.approx(sorted((abs(hole_at[0] + 312.0), abs(hole_at[1] - 60.0))))


@pytest.mark.parametrize("rear", [True, False], ids=["from the rear", "from the front"])
def test_it_is_drawn_as_one_sees_it_from_where_one_drills(rear: bool) -> None:
    """Up is up. Facing forward the car's left is to the left; facing the grille, to the right.

    The edge is 12 mm nearer to the car's left than the hole.
    """
    (figure,) = drill_figures(design(rear=rear))  # type: ignore[arg-type]
    upright = next(
        one for one in figure.guides if one.points[0][0] == pytest.approx(one.points[1][0])
    )
    level = next(one for one in figure.guides if one is not upright)
    assert upright.points[0][0] == pytest.approx(-12.0 if rear else 12.0)
    assert level.points[0][1] == pytest.approx(-90.0)
    side = "rear" if rear else "front"
    assert figure.seen_from.endswith(f"the {side} of the car's left side flange")
    edge = "12.0 mm [0.472 in] from the opening's edge on the car's left"
    assert any(edge in one for one in figure.notes)
    assert any("90.0 mm [3.543 in] from the top edge" in one for one in figure.notes)
    assert any("Look behind the panel" in one for one in figure.notes)


@pytest.mark.parametrize("hole_at", [(-300.0, 150.0), (-320.0, 20.0), (-311.0, 61.0)])
def test_edges_are_named_beside_their_lines_and_words_meet_nothing(
    hole_at: tuple[float, float],
) -> None:
    (figure,) = drill_figures(design(hole_at=hole_at))  # type: ignore[arg-type]
    assert {one.text for one in figure.labels} == {
        "opening's edge, car's left",
        "top edge of the lower rail",
        "UP (in the car)",
        "L",
    }
    (arrow,) = figure.arrows
    assert arrow.foot[0] == arrow.tip[0]
    assert arrow.foot[1] < arrow.tip[1]
    view = View(0.0, 0.0)
    boxes = [label_box(one, view) for one in figure.labels]
    assert not any(a.overlaps(b) for a, b in combinations(boxes, 2))
    lines = union_all(view.on_sheet(lines_of(figure)))
    for where in boxes:
        assert not box(*where).buffer(-0.4).intersects(lines)
    for paper in PAPERS:
        sheets = template_sheets([figure], paper, "A nose")
        assert "drill 9/32" in sheets[-1]


FACES = {
    # name: out of the metal, the ways along it, what is up on paper, what is to the right
    "rear of an upright flange": (AFT, (ACROSS, UP), UP, ACROSS),
    "front of an upright flange": (-AFT, (ACROSS, UP), UP, -ACROSS),
    "top of a level rail": (UP, (ACROSS, AFT), -AFT, ACROSS),
    "bottom of a level rail": (-UP, (ACROSS, AFT), -AFT, -ACROSS),
}
"""As somebody sees them: from behind the car's right is to the right, facing it to the left. Over a
level rail, looking down with ahead up the paper, the car's right is to the right."""


@pytest.mark.parametrize("name", FACES)
@pytest.mark.parametrize("turn", [0.0, 1.1, 3.0, -2.0])
def test_a_brackets_flat_lies_on_paper_as_its_foot_does_in_the_car(name: str, turn: float) -> None:
    """Whatever the blank's own axes: two points of the foot, apart as given in the car."""
    normal, ways, up, right = FACES[name]
    home = np.eye(4)
    first = np.cos(turn) * ways[0] + np.sin(turn) * np.cross(normal, ways[0])
    home[:3, :3] = np.column_stack([first, np.cross(normal, first), normal])
    home[:3, 3] = (40.0, -330.0, 200.0)
    face = SimpleNamespace(ways=np.array(ways), plane=SimpleNamespace(up=normal))
    foot = Flange(rectangle((0, 0), (60, 25)), (Circle((12, 12), 7.0),))
    made = SimpleNamespace(
        blanks=((Blank(2.0, (foot,)), home),),
        form="flat strap",
        made=SimpleNamespace(job=SimpleNamespace(face=face)),
    )
    upright = upright_of(made, 0)  # type: ignore[arg-type]
    assert upright.level == ("level" in name)
    assert upright.words.startswith("AHEAD" if "level" in name else "UP")
    flat = flat_of(made.blanks[0][0], upright.turn_rad)
    back = np.linalg.inv(home)
    for way, wanted in ((up, (0.0, 10.0)), (right, (10.0, 0.0))):
        ends = [back @ np.array([*(home[:3, 3] + k * way), 1.0]) for k in (0.0, 10.0)]
        (x0, y0), (x1, y1) = (flat.at((float(one[0]), float(one[1]))) for one in ends)
        assert (x1 - x0, y1 - y0) == pytest.approx(wanted, abs=1e-9)
    # Nothing of the flat is left of or below the blank that is cut first.
    points = np.concatenate([sampled(one) for one in (flat.outline, *flat.holes)])
    assert points.min() > -1e-9
    assert points.max(axis=0) == pytest.approx(flat.size)


def test_a_hole_that_is_there_or_is_marked_through_the_bracket_has_no_template() -> None:
    assert drill_figures(design(existing="bolt hole")) == ()  # type: ignore[arg-type]
    assert drill_figures(design(marked_last=True)) == ()  # type: ignore[arg-type]


def test_the_spacers_face_has_its_holes_on_their_circle() -> None:
    spacer = Spacer(
        thickness_mm=25, diameter_mm=76.2, bore_mm=16, bolt_circle_mm=44.45, hole_mm=8.7
    )
    figure = spacer_figure(spacer, "spacer", "Fan spacer")
    holes = [one for one in figure.cuts if one.diameter_mm == 8.7]  # type: ignore[union-attr]
    assert len(holes) == spacer.bolt_count
    for one in holes:
        assert np.hypot(*one.centre) == pytest.approx(44.45 / 2)  # type: ignore[union-attr]
    assert figure.box() == pytest.approx((-38.1, -38.1, 38.1, 38.1), abs=0.01)
