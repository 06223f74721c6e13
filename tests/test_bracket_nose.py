"""Brackets of whole noses: each is put back among the parts, and told apart from what is there."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from noseroom.checks.bodies import Bodies
from noseroom.checks.bracket_sites import rail_faces, tab_sites
from noseroom.checks.bracket_slots import take_up_by_legs, take_ups
from noseroom.checks.brackets import design_brackets
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.checks.stand_ins import StandIns
from noseroom.envelope.reader import read, read_text
from noseroom.findings import Verdict
from noseroom.geometry.kernel import transformed, volume_mm3
from noseroom.geometry.separation import Uncertainty
from noseroom.geometry.sheet import folded_places
from noseroom.layout import arrange
from noseroom.memo import Memo
from noseroom.parts.made_bracket import PLATE
from noseroom.parts.registry import KINDS

DEMOS = Path(__file__).parents[1] / "vehicle_envelopes"


def designed(layout, *only):
    return design_brackets(
        Pairs(layout, memo=Memo()), Rules(layout.envelope), lambda done, of, what: None, only
    )


@pytest.fixture(scope="module")
def pickup():
    return arrange(read(DEMOS / "farm_pickup.yaml", KINDS))


@pytest.fixture(scope="module")
def made(pickup):
    return designed(pickup)


def test_the_pickup_gets_a_bracket_for_each_tab_and_for_the_drier(made):
    assert [one.name for one in made.not_made] == []
    assert [(one.site.title, one.hand) for one in made.made] == [
        ("condenser upper left tab", "left"),
        ("condenser upper right tab", "right"),
        ("condenser lower left tab", "left"),
        ("condenser lower right tab", "right"),
        ("drier lug", "left"),
    ]


def test_each_touches_its_tab_and_its_rail_at_the_holes_and_runs_into_neither(pickup, made):
    """By the CAD kernel on the solids of the nose itself."""
    for one in made.made:
        solid = one.placed.part.solids()[PLATE]
        support = pickup.parts["core support"].part.solids()["sides"]
        host = one.site.host
        tab = transformed(host.part.solids()[one.site.component], host.pose)
        for metal in (support, tab):
            assert solid.distance(metal) == pytest.approx(0.0, abs=1e-6), one.name
            assert volume_mm3(solid.intersect(metal)) == pytest.approx(0.0, abs=1e-6), one.name
        (hole,) = one.rail_holes
        assert abs(hole.point[0]) in (0.0, pytest.approx(1.5875))
        blank, home = one.blanks[0]
        places = folded_places(blank)
        for number, wanted in (
            (0, hole.point),
            (one.tab_flat, one.site.face(one.made.job.side).point),
        ):
            (cut,) = blank.flanges[number].holes
            middle = cut.centre if hasattr(cut, "centre") else np.mean(cut.points, axis=0)
            stands = home @ places[number]
            t = 0.0
            if number and float(stands[:3, 2] @ one.site.normal) * one.made.job.side < 0:
                t = blank.thickness_mm  # its upper side lies on the tab
            assert (stands @ [*middle, t, 1.0])[:3] == pytest.approx(wanted, abs=1e-6), one.name


def test_none_fouls_anything_and_all_can_be_bolted(made):
    for one in made.made:
        fit = [found for found in one.findings if not found.id.startswith("strength: ")]
        assert {found.verdict for found in fit} == {Verdict.FITS}, one.name
        assert any(found.id.startswith("bolting: ") for found in fit)
        assert all(joint.bolt is not None for joint in one.bolts)


def test_left_and_right_come_out_alike(made):
    by_name = {one.site.name: one for one in made.made}
    for end in ("upper", "lower"):
        left, right = by_name[f"{end} left tab"], by_name[f"{end} right tab"]
        assert left.form == right.form
        assert left.stock == right.stock
        assert left.rail_holes[0].point * [1, -1, 1] == pytest.approx(right.rail_holes[0].point)


def test_slots_are_as_long_as_the_readings_leave_hole_from_hole(pickup, made):
    """An independent sum: two deviations and the whole reach of how one hole leaves the other."""
    sure = pickup.uncertainty
    for one in made.made:
        face = one.made.job.face
        apart = one.site.host.touch_point(one.site.feature)[2] - face.moves(one.rail_holes[0].point)
        takes = one.made.job.take.takes
        total = sum(np.outer(take.along, take.form) for take in takes)
        # The three ways together make up all of it.
        assert total == pytest.approx(apart, abs=1e-9)
        for take in takes:
            assert take.spread_mm == pytest.approx(float(sure.spread(take.form)))
            if take.travel_mm and "slot" in take.kind:
                play = one.made.job.bolt.play_mm + one.made.job.rail_bolt.play_mm
                assert take.travel_mm / 2 + play >= take.spread_mm


def test_a_bracket_moves_with_the_rail_and_with_the_tab(pickup, made):
    """Its pieces follow both ends as the parts themselves do."""
    for one in made.made:
        point, _, tab = one.site.host.touch_point(one.site.feature)
        piece = one.placed.plates[1][0]
        corner = piece.corners[0]
        arm = point - piece.origin
        moves = piece.shift + np.cross(piece.turn, arm[:, None], axis=0)
        if piece.swell is not None:
            moves = moves + piece.swell[0]
        assert moves == pytest.approx(tab, abs=1e-9)
        assert np.isfinite(corner).all()


def test_guesses_are_not_bent_into_metal():
    text = (DEMOS / "farm_pickup.yaml").read_text(encoding="utf-8")
    tabs = next(line for line in text.splitlines() if line.startswith("  tabs:"))
    layout = arrange(read_text(text.replace(f"{tabs}\n", ""), KINDS, name="pickup"))
    (upper,) = designed(layout, "condenser upper left tab").not_made
    assert "cannot be made to guesses" in upper.why
    assert "tabs.hole" in upper.why
    assert upper.would_do[0].startswith("read ")


def test_what_was_only_roughly_placed_is_read_first():
    text = (DEMOS / "farm_pickup.yaml").read_text(encoding="utf-8")
    placed = "    - core centred in core support.opening\n    - level"
    loose = text.replace(placed, placed.replace("opening", "opening ± 1"))
    assert loose != text
    layout = arrange(read_text(loose, KINDS, name="pickup"))
    found = designed(layout, "condenser upper left tab")
    for one in (*found.made, *found.not_made):
        (loose,) = [fell for fell in one.fell if fell.rule == "adjustment"]
        assert "hole may be" in loose.text
        assert loose.short_mm > 0
        assert "measure" in loose.would_do or "read line" in loose.would_do
    assert all(one.made.job.take.fault() is None for one in found.made)


def test_a_nose_without_a_core_support_says_so():
    text = "format: 1\nunits: mm\ncar mat: {is: box, depth: 9, width: 9, height: 9}\n"
    layout = arrange(read_text(text, KINDS, name="bare"))
    assert designed(layout).why_none


def test_a_part_in_the_way_is_named_with_how_near_it_stands():
    text = (DEMOS / "farm_pickup.yaml").read_text(encoding="utf-8")
    wall = """
left wall:
  is: box
  depth: 12
  width: 1 3/4
  height: 30
  place:
    - front 6 ahead of core support.face
    - right 13 left of centreline
    - bottom 6 below core support.opening.bottom
    - plumb ± 1/8 deg
    - level ± 1/8 deg
    - square across ± 1/8 deg
"""
    layout = arrange(read_text(text + wall, KINDS, name="pickup"))
    (one,) = designed(layout, "drier lug").not_made
    said = " ".join([one.why, *one.would_do, *(fell.text for fell in one.fell)])
    assert "left wall" in said
    assert "mm too near" in said


@pytest.mark.parametrize(("bolt", "ending"), [("none", "strap"), ("stays in", "a U-foot")])
def test_a_hole_that_is_there_is_taken_before_one_is_drilled(bolt, ending):
    text = (DEMOS / "farm_pickup.yaml").read_text(encoding="utf-8")
    hole = f"""
spare bolt hole:
  faces: aft
  bolt: {bolt}
  diameter: 9/32 ± 1/64
  carried by: core support
  place:
    - rim flush with core support.face ± 1/32
    - rim 5/8 ± 1/32 left of core support.opening.left
    - rim 15 ± 1/32 above core support.opening.bottom
"""
    layout = arrange(read_text(text + hole, KINDS, name="pickup"))
    (upper,) = designed(layout, "condenser upper left tab").made
    assert [one.existing for one in upper.rail_holes] == ["spare bolt hole"]
    assert upper.form.endswith(ending)
    assert upper.rail_holes[0].point == pytest.approx([0.0, -346.075 - 15.875, 381.0], abs=4.0)


def test_sites_and_faces_are_those_of_the_parts(pickup):
    sites = {one.name: one for one in tab_sites(pickup)}
    condenser = pickup.parts["condenser"]
    for name in ("upper left tab", "lower right tab"):
        point, _, _ = condenser.touch_point(f"{name}.hole")
        assert sites[name].middle == pytest.approx(point, abs=1e-9)
        front, out, _ = condenser.touch_point(f"{name}.front")
        assert sites[name].face(-1).height_mm(front) == pytest.approx(0.0, abs=1e-9)
        assert sites[name].face(-1).up == pytest.approx(out, abs=1e-9)
    support = Bodies(pickup, Memo()).of("core support")
    for face in rail_faces(pickup):
        middle = face.at((face.low + face.high) / 2)
        shape = pickup.parts["core support"].part.solids()[face.component]
        from cadquery import Vector, Vertex

        assert shape.distance(Vertex.makeVertex(*middle)) == pytest.approx(0.0, abs=1e-6), face.name
        out = Vector(*(middle + 0.5 * face.plane.up))
        assert shape.distance(Vertex.makeVertex(*out.toTuple())) == pytest.approx(0.5, abs=1e-6)
    assert support


def test_a_bracket_is_judged_like_any_other_part(pickup, made):
    """Pushed into the radiator it fouls it."""
    from dataclasses import replace

    from noseroom.checks.fit import check_part

    one = made.made[0]
    shifted = tuple(tuple(piece.moved(np.array([45.0, 60.0, 0])) for piece in some)
                    for some in one.placed.plates)  # fmt: skip
    home = np.array(one.placed.part.homes[0]).reshape(4, 4)
    home[:2, 3] += [45.0, 60.0]
    part = replace(one.placed.part, homes=(tuple(home.ravel()),))
    pushed = replace(one.placed, part=part, plates=shifted)
    there = StandIns(Pairs(pickup), {pushed.name: pushed})
    found = check_part(there, Bodies(there.layout, Memo()), Rules(pickup.envelope), pushed)
    assert Verdict.FOULS in {each.verdict for each in found}


def test_what_is_not_known_either_way_is_taken_up_by_packing_on_one_side_only():
    """Plane geometry: between a rail and a tab that face each other washers only push apart."""
    apart = np.zeros((3, 1))
    apart[0, 0] = 1.0
    sure = Uncertainty(np.array([2.0]), np.zeros(1))
    strip, x = np.array([0.0, 50.0, 0.0]), np.array([1.0, 0.0, 0.0])
    same = take_ups(apart, sure, x, x, strip, (0.3, 0.3), drilled=True)[0]
    facing = take_ups(apart, sure, x, -x, strip, (0.3, 0.3), drilled=True)[0]
    assert [(one.kind, one.spread_mm) for one in same.takes if one.spread_mm] == [("packing", 4.0)]
    assert same.fault() is None
    assert same.packing_mm == 4.0
    assert facing.one_way
    assert facing.fault() is not None


def test_the_same_nose_gives_the_same_bracket(pickup, made):
    (again,) = designed(pickup, "drier lug").made
    first = next(one for one in made.made if one.site.title == "drier lug")
    assert again.blanks[0][0] == first.blanks[0][0]
    assert (again.blanks[0][1] == first.blanks[0][1]).all()
    assert again.notes == first.notes


def test_a_tab_that_stands_straight_over_its_hole_is_taken_up_too():
    """Three ways that are square to each other make up whatever the holes may be apart."""
    sure, x = Uncertainty(np.full(3, 0.5), np.zeros(3)), np.array([1.0, 0.0, 0.0])
    for made in (
        take_ups(np.eye(3), sure, x, x, 40.0 * x, (0.3, 0.3), drilled=True)[0],
        take_up_by_legs(np.eye(3), sure, x, 40.0 * x, (0.3, 0.3)),
    ):
        assert [one.spread_mm for one in made.takes] == pytest.approx([1.0, 1.0, 1.0])
