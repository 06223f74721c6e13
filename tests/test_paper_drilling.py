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
from noseroom.parts.spacer import Spacer
from noseroom.workshop.drill_templates import drill_figures
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
    assert figure.seen_from.endswith(f"the {'rear' if rear else 'front'} of the left side flange")
    assert any("12.0 mm [0.472 in] from the opening's left edge" in one for one in figure.notes)
    assert any("90.0 mm [3.543 in] from the top edge" in one for one in figure.notes)
    assert any("Look behind the panel" in one for one in figure.notes)


@pytest.mark.parametrize("hole_at", [(-300.0, 150.0), (-320.0, 20.0), (-311.0, 61.0)])
def test_edges_are_named_beside_their_lines_and_words_meet_nothing(
    hole_at: tuple[float, float],
) -> None:
    (figure,) = drill_figures(design(hole_at=hole_at))  # type: ignore[arg-type]
    assert {one.text for one in figure.labels} == {
        "on the opening's left edge",
        "on the top edge of the lower rail",
    }
    view = View(0.0, 0.0)
    boxes = [label_box(one, view) for one in figure.labels]
    assert not any(a.overlaps(b) for a, b in combinations(boxes, 2))
    lines = union_all(view.on_sheet(lines_of(figure)))
    for where in boxes:
        assert not box(*where).buffer(-0.4).intersects(lines)
    for paper in PAPERS:
        sheets = template_sheets([figure], paper, "A nose")
        assert "drill 9/32" in sheets[-1]


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
