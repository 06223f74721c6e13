"""`Workplane.clearanceTo` and `Assembly.clearances`: relations, names, order, refusals, display."""

from __future__ import annotations

import dataclasses
import io
import math
import re
from collections.abc import Callable
from html.parser import HTMLParser
from typing import Any

import cadquery as cq
import numpy as np
import pytest
from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt, gp_Trsf
from rich.console import Console

from noseroom import _plugin_bodies
from noseroom.errors import GeometryError
from noseroom.geometry.mesh import body_from_shape
from noseroom.plugin import Clearances, Relation, register

register()


def cube(size: float = 10.0, at: tuple[float, float, float] = (0, 0, 0)) -> cq.Workplane:
    return cq.Workplane(origin=at).box(size, size, size)


# -- one pair ------------------------------------------------------------------------------------


def test_two_blocks_apart_have_a_gap_and_its_two_points() -> None:
    """By hand: corner to corner, 3, 4 and 12 mm apart along the axes, is 13."""
    found = cube().clearanceTo(cube(at=(13, 14, 22)))
    assert found.relation == "apart"
    assert found.distance_mm == pytest.approx(13.0, abs=1e-9)
    assert 13.0 - 1e-6 < found.bound_mm <= 13.0
    assert found.points is not None
    np.testing.assert_allclose(found.points, [[5, 5, 5], [8, 9, 17]], atol=1e-9)


@pytest.mark.parametrize(
    ("other", "relation", "shared_mm3"),
    [
        (cube(at=(10, 0, 0)), Relation.TOUCHING, 0.0),
        (cube(at=(8, 0, 0)), Relation.OVERLAPPING, 200.0),
        (cube(4, at=(1, 0, 0)), Relation.INSIDE, 64.0),
        (cube(30), Relation.INSIDE, 1000.0),
    ],
)
def test_touching_overlapping_and_inside_are_three_answers(
    other: cq.Workplane, relation: Relation, shared_mm3: float
) -> None:
    """By hand. The kernel's own distance is 0.0 for all of them."""
    assert cube().val().distance(other.val()) == 0.0
    found = cube().clearanceTo(other)
    assert found.relation is relation
    assert (found.distance_mm, found.bound_mm) == (0.0, 0.0)
    assert found.overlap_mm3 == pytest.approx(shared_mm3)


def test_a_part_in_a_cavity_is_apart_from_its_walls() -> None:
    """By hand: 4 mm all round a block of 12 in a hollow of 20."""
    hollow = cube(40).cut(cube(20))
    assert isinstance(hollow.val(), cq.Compound)
    found = hollow.clearanceTo(cube(12))
    assert found.relation == "apart"
    assert found.distance_mm == pytest.approx(4.0)
    assert hollow.clearanceTo(cube(4, at=(15, 0, 0))).relation == "inside"


def test_the_way_to_pull_apart_frees_the_other_one() -> None:
    """By hand: 2 mm deep along x, and nothing shorter."""
    other = cube(at=(8, 1, 1))
    move = cube().clearanceTo(other).pull_apart
    assert move is not None
    np.testing.assert_allclose(move.direction, [1, 0, 0], atol=1e-12)
    assert 2.0 <= move.distance_mm < 2.01
    freed = other.translate(cq.Vector(*(move.direction * move.distance_mm)))
    assert cube().clearanceTo(freed).relation in ("apart", "touching")


def test_shapes_workplanes_and_assemblies_can_be_asked_about() -> None:
    far, near = cube(at=(30, 0, 0)), cube(at=(0, 0, 11))
    assembly = cq.Assembly(name="bench").add(far, name="far").add(near, name="near")
    assert cube().clearanceTo(far.val()).distance_mm == pytest.approx(20.0)
    worst = cube().clearanceTo(assembly)
    assert (worst.b, worst.distance_mm) == ("bench/near", pytest.approx(1.0))


def test_everything_on_the_stack_counts() -> None:
    two = cq.Workplane().pushPoints([(0, 0), (100, 0)]).box(10, 10, 10, combine=False)
    assert two.size() == 2
    assert two.clearanceTo(cube(at=(112, 0, 0))).distance_mm == pytest.approx(2.0)
    assert two.clearanceTo(cube(at=(12, 0, 0))).distance_mm == pytest.approx(2.0)


def test_far_gaps_are_exact_too() -> None:
    """By hand: balls of 10, 300 apart; their meshes alone would be out by their chords."""
    ball = cq.Workplane().sphere(10)
    found = ball.clearanceTo(ball.translate((180, 0, 240)))
    assert found.distance_mm == pytest.approx(280.0, abs=1e-6)


def test_an_answer_cannot_be_changed() -> None:
    found = cube().clearanceTo(cube(at=(13, 0, 0)))
    with pytest.raises(dataclasses.FrozenInstanceError):
        found.distance_mm = 5.0  # type: ignore[misc]
    assert found.points is not None
    with pytest.raises(ValueError, match="read-only"):
        found.points[0, 0] = 5.0


# -- assemblies ----------------------------------------------------------------------------------


def nested() -> cq.Assembly:
    """Two arms on a base, each turned and with a tip of its own, the same two shapes twice.

    By hand: tips stand 30 from the axis of each arm's group, whose axes are 100 apart.
    """
    tip, arm = cq.Solid.makeBox(2, 2, 2), cq.Solid.makeBox(28, 2, 2)
    made = cq.Assembly(name="robot")
    for name, x, angle in (("left", 0.0, 0.0), ("right", 100.0, 180.0)):
        side = cq.Assembly(name=name, loc=cq.Location((x, 0, 0), (0, 0, 1), angle))
        side.add(arm, name="arm").add(tip, name="tip", loc=cq.Location(30, 0, 0))
        made.add(side)
    return made


def test_places_add_up_and_names_are_paths_from_the_root() -> None:
    found = nested().clearances(cap_mm=math.inf)
    assert found.names == (
        "robot/left/arm",
        "robot/left/tip",
        "robot/right/arm",
        "robot/right/tip",
    )
    tips = found.between("robot/right/tip", "robot/left/tip")
    assert tips is not None
    assert (tips.a, tips.b) == ("robot/left/tip", "robot/right/tip")
    # The left one ends at x = 32, the turned one at x = 68; they touch the plane y = 0 from
    # either side.
    assert tips.distance_mm == pytest.approx(36.0)
    np.testing.assert_allclose(tips.points[:, 0], [32, 68], atol=1e-9)
    arm = found.between("robot/left/arm", "robot/left/tip")
    assert arm is not None
    assert arm.distance_mm == pytest.approx(2.0)


def test_a_shape_is_meshed_once_however_often_it_stands_there(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    meshed: list[str] = []

    def counted(name: str, *rest: Any) -> object:
        meshed.append(name)
        return body_from_shape(name, *rest)

    monkeypatch.setattr(_plugin_bodies, "body_from_shape", counted)
    made = nested()
    block = cube(3, at=(0, 50, 0))
    for k in range(3):
        made.add(block, name=f"block {k}", loc=cq.Location(0, 0, 10 * k))
        made.add(block.val().moved(cq.Location(0, 20, 0)), loc=cq.Location(0, 0, 10 * k))
    assert len(made.clearances().names) == 10
    assert meshed == ["robot/left/arm", "robot/left/tip", "robot/block 0"]


def test_names_of_cadquerys_making_are_not_shown_and_all_are_unique() -> None:
    part = cube().val()
    group = cq.Assembly().add(part, loc=cq.Location(20, 0, 0)).add(part, loc=cq.Location(40, 0, 0))
    made = cq.Assembly(part).add(group).add(part, name="unnamed", loc=cq.Location(60, 0, 0))
    made.add(part, name="end", loc=cq.Location(80, 0, 0))
    made.children[-1].name = "unnamed"  # CadQuery would refuse it at the door
    expected = (
        "unnamed",
        "unnamed (2)/unnamed",
        "unnamed (2)/unnamed (2)",
        "unnamed (3)",
        "unnamed (4)",
    )
    assert made.clearances().names == expected
    again = cq.Assembly(part).add(group).add(part, name="unnamed").add(part, name="end")
    again.children[-1].name = "unnamed"
    assert again.clearances().names == expected


def test_a_nameless_root_adds_nothing_to_the_names() -> None:
    made = cq.Assembly().add(cube(), name="base").add(nested())
    assert made.clearances().names[:2] == ("base", "robot/left/arm")


def test_worst_comes_first_and_what_is_far_is_counted() -> None:
    """By hand, along x: overlap of 3 and of 2, contact, gaps of 4 and 45, and one beyond 50."""
    made = cq.Assembly()
    for name, x in (("a", 0), ("b", 8), ("c", 15), ("d", 25), ("e", 39), ("f", 94)):
        made.add(cube(), name=name, loc=cq.Location(x, 0, 0))
    found = made.clearances(cap_mm=45.5)
    assert [(one.a, one.b) for one in found[:5]] == [
        ("b", "c"),
        ("a", "b"),
        ("c", "d"),
        ("d", "e"),
        ("a", "c"),
    ]
    assert [one.relation for one in found[:3]] == ["overlapping", "overlapping", "touching"]
    assert [round(one.distance_mm) for one in found[3:]] == [4, 5, 7, 14, 15, 21, 29, 45]
    assert len(found) + found.beyond == 15
    assert found.between("a", "f") is None
    assert [one.a for one in found.of("overlapping")] == ["b", "a"]
    assert len(made.clearances(math.inf)) == 15
    assert len(made.clearances(0)) == 3
    assert made.clearances().cap_mm == 50.0


def test_a_pair_whose_boxes_meet_but_whose_solids_are_far_is_not_listed() -> None:
    """By hand: a block in the far corner of an L with legs of 200."""
    ell = cq.Workplane().box(200, 200, 10).cut(cq.Workplane(origin=(10, 10, 0)).box(180, 180, 10))
    made = cq.Assembly().add(ell, name="l").add(cube(at=(90, 90, 0)), name="block")
    assert len(made.clearances(50)) == 0
    assert made.clearances(50).beyond == 1


def test_a_single_object_has_no_pair() -> None:
    found = cq.Assembly(cube(), name="lone").clearances()
    assert (len(found), found.beyond, found.names) == (0, 0, ("lone",))
    assert str(found) == "a single object: there is no pair"


# -- refusals ------------------------------------------------------------------------------------


def with_trsf(change: Callable[[gp_Trsf], None]) -> cq.Location:
    trsf = gp_Trsf()
    change(trsf)
    return cq.Location(trsf)


MIRRORED = with_trsf(lambda t: t.SetMirror(gp_Ax2(gp_Pnt(0, 0, 0), gp_Dir(1, 0, 0))))
SCALED = with_trsf(lambda t: t.SetScale(gp_Pnt(0, 0, 0), 2.0))
HALF_OPEN = cq.Solid(cq.Shell.makeShell(cube().faces("not >Z").vals()).wrapped)


@pytest.mark.parametrize(
    ("thing", "told"),
    [
        (cq.Workplane(), "nothing on its stack"),
        (cq.Workplane().rect(2, 2), "bare wire, and no solid"),
        (cq.Workplane().moveTo(3, 3), "its stack holds Vector"),
        (cube().faces(">Z"), "bare face, and no solid"),
        (cube().faces(">Z").workplane(), "go back to the solid"),
        (cube().add(cube().faces(">Z")), "bare face"),
        (cq.Shell.makeShell(cube().faces().vals()), "bare shell, and no solid"),
        (cq.Compound.makeCompound([]), "holds no solid"),
        (cq.Sketch().rect(2, 2), "found Sketch; expected a Workplane"),
        (None, "found NoneType"),
        (12, "found int"),
        (cq.Assembly(), "without any object"),
        (cq.Assembly().add(cube().faces(">Z"), name="lid"), "lid: it holds a bare face"),
    ],
)
def test_what_has_no_volume_is_refused(thing: object, told: str) -> None:
    with pytest.raises(GeometryError) as raised:
        cube().clearanceTo(thing)
    assert told in str(raised.value)
    if isinstance(thing, cq.Workplane):
        with pytest.raises(GeometryError):
            thing.clearanceTo(cube())


@pytest.mark.parametrize("place", [MIRRORED, SCALED])
def test_a_location_that_mirrors_or_scales_is_refused_by_name(place: cq.Location) -> None:
    made = cq.Assembly(name="pair").add(cube(), name="one")
    made.add(cq.Assembly(name="other half", loc=place).add(cube(), name="two"))
    with pytest.raises(GeometryError, match="pair/other half: its location mirrors or scales"):
        made.clearances()


def test_a_mirrored_shape_is_measured() -> None:
    """By hand: mirrored at x = 0 it lies from -25 to -15."""
    mirrored = cube(at=(20, 0, 0)).mirror("YZ")
    assert cube().clearanceTo(mirrored).distance_mm == pytest.approx(10.0)


@pytest.mark.parametrize("cap", [-1, math.nan, "much", None])
def test_a_cap_that_is_no_length_is_refused(cap: object) -> None:
    with pytest.raises(GeometryError, match="expected a length of 0 mm or more"):
        nested().clearances(cap)


def test_a_question_about_what_is_not_there_is_refused() -> None:
    found = nested().clearances()
    with pytest.raises(GeometryError, match="no 'tip' here; there are robot/left/arm"):
        found.between("tip", "robot/left/arm")
    with pytest.raises(GeometryError, match="to itself"):
        found.between("robot/left/arm", "robot/left/arm")
    with pytest.raises(GeometryError, match="'crossing' is no relation"):
        found.of("crossing")


# -- display -------------------------------------------------------------------------------------


class Page(HTMLParser):
    """Tags that were opened and the text between them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.said = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.tags.append(tag)

    def handle_data(self, data: str) -> None:
        self.said += f"{data} "


def shown() -> Clearances:
    made = cq.Assembly().add(cube(), name="<script>alert(1)</script> & Co")
    made.add(cube(), name="b", loc=cq.Location(9, 0, 0))
    made.add(cube(), name="c", loc=cq.Location(9, 0, 15.0625))
    return made.add(cube(), name="d", loc=cq.Location(400, 0, 0)).clearances()


def test_a_notebook_shows_a_table_and_nothing_that_runs() -> None:
    page = Page(shown()._repr_html_())
    assert set(page.tags) == {"table", "thead", "tbody", "tr", "th", "td", "p"}
    assert "<script>alert(1)</script> & Co" in page.said
    assert "3 pairs are 50 mm apart or more" in page.said
    assert page.tags.count("tr") == 1 + 3


def test_figures_are_never_rounded_up() -> None:
    """By hand: b and c are 5.0625 apart; b comes free of the first by 1."""
    lines = str(shown()).splitlines()
    assert lines[0].startswith("<script>alert(1)</script> & Co / b: overlapping, 100 mm³ in common")
    assert "b comes free by 1.00" in lines[0]
    assert lines[1].split(": ")[1] == "apart, 5.062 mm, never below 5.062 mm"
    freeing = re.search(r"free by ([\d.]+) mm", lines[0])
    assert freeing
    assert 1.0 <= float(freeing[1]) < 1.01


def test_a_terminal_shows_the_same() -> None:
    stream = io.StringIO()
    Console(file=stream, width=160).print(shown())
    for said in ("overlapping", "5.062 mm", "<script>", "3 pairs are 50 mm apart or more"):
        assert said in stream.getvalue()


def test_a_lone_answer_says_itself() -> None:
    assert str(cube().clearanceTo(cube(at=(13, 0, 0)))) == "apart, 3.000 mm, never below 2.999 mm"
    assert str(cube().clearanceTo(cube(at=(10, 0, 0)))) == "touching"
    page = Page(cube().clearanceTo(cube(at=(13, 0, 0)))._repr_html_())
    assert page.said.split() == [
        "relation",
        "distance",
        "never",
        "below",
        "apart",
        "3.000",
        "mm",
        "2.999",
        "mm",
    ]
