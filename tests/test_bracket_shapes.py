"""Brackets between planes: exact where they are bolted, whatever the tilt; else a rule.

The folded solids are those of the CAD kernel, and what they touch is measured by it too: a second
method beside the plane geometry that laid the flats out.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from noseroom.checks import bracket_load
from noseroom.checks.bracket_bolts import bolted, fastener_for, fasteners
from noseroom.checks.bracket_forms import angle, angle_place, hat, offset, straps, two_piece
from noseroom.checks.bracket_job import ANGLE, HAT, JOGGLE, OFFSET, Job
from noseroom.checks.bracket_shape import (
    Flat,
    Opening,
    Plane,
    ShapeError,
    Sheet,
    hull_of_discs,
    made_blank,
)
from noseroom.checks.bracket_sites import RailFace, TabSite
from noseroom.checks.bracket_slots import Take, TakeUp
from noseroom.checks.bracket_strength import Carried
from noseroom.checks.spacer_bolts import Span
from noseroom.findings import Verdict
from noseroom.geometry.kernel import transformed, volume_mm3
from noseroom.geometry.sheet import folded_places
from noseroom.geometry.sheet_rules import sheet_faults
from noseroom.geometry.sheet_solids import folded_solid
from noseroom.parts import shapes
from noseroom.tables.sheet import sheet_materials

SHEET = Sheet(2.0, 3.0, 0.4)
BOLT = fastener_for(6.6, "mm")
NO_TAKE = TakeUp((), one_way=False)


def unit(*figures):
    way = np.array(figures, dtype=float)
    return way / np.sqrt(way @ way)


def face(sheet_mm=1.5):
    """A flange that looks aft, 60 by 400 mm, its plane x = 0."""
    return RailFace(
        host=None, name="rear of a flange", plane=Plane(np.zeros(3), unit(1, 0, 0)),
        ways=np.array([[0.0, 1, 0], [0, 0, 1]]), low=np.array([-60.0, -200]),
        high=np.array([0.0, 200]), sheet_mm=sheet_mm, component="sides", feature="face",
        edges=(), must_read=(),
    )  # fmt: skip


def site(middle, normal, thickness=3.0):
    """A tab of 32 by 32 mm with a hole of 6.6 mm."""
    return TabSite(
        host=None, name="tab", hand="left", feature="", middle=np.array(middle, dtype=float),
        normal=normal, thickness_mm=thickness, hole_mm=6.6, room_mm=16.0, edge_mm=16.0,
        component="tabs", must_read=(),
    )  # fmt: skip


def job(middle, normal, side=1, upside=1, take=NO_TAKE, sheet=SHEET):
    return Job(site(middle, normal), face(), side, upside, sheet, BOLT, BOLT, take)


def boxed(plane_point, up, way, size, deep):
    """A plate of size by size, `deep` thick below a plane, drilled: as the metal is."""
    across = np.cross(up, way)
    pose = np.eye(4)
    pose[:3, 0], pose[:3, 1], pose[:3, 2], pose[:3, 3] = way, across, up, plane_point
    half = size / 2
    plate = shapes.joined(
        [shapes.box((-half, -half, -deep), (half, half, 0.0))],
        without=[shapes.cylinder((0.0, 0.0, -deep), (0.0, 0.0, 1.0), deep, 3.3)],
    )
    return transformed(plate, pose)


def assert_sits_on_both(made):
    """Against the kernel: no common volume with tab or rail, no gap, its holes over theirs."""
    solid = transformed(folded_solid(made.blank), made.home)
    work = made.job
    tab = boxed(
        work.site.face(work.side).point, work.side * work.site.normal,
        unit(*np.cross(work.site.normal, [0.3, 0.2, 0.9])), 24.0, work.site.thickness_mm,
    )  # fmt: skip
    pads = [tab]
    for at in made.rail_at:
        pads.append(boxed(at, work.face.plane.up, work.face.ways[0], 24.0, 1.5))
    for pad in pads:
        assert solid.distance(pad) == pytest.approx(0.0, abs=1e-6)
        assert volume_mm3(solid.intersect(pad)) == pytest.approx(0.0, abs=1e-6)
    holes = [hole for flange in made.blank.flanges for hole in flange.holes]
    assert len(holes) == 1 + len(made.rail_at)
    places = folded_places(made.blank)
    seat = work.tab_at
    number = made.tab_flat
    tab_hole = made.blank.flanges[number].holes[-1]
    middle = (made.home @ places[number] @ [*tab_hole.centre, 0.0, 1.0])[:3]
    assert middle == pytest.approx(seat, abs=1e-9)


def contact_area(made, which):
    """How much of its flat lies on tab or rail, mm²: by pressing it in by a hundredth of a mm."""
    work = made.job
    solid = transformed(folded_solid(made.blank), made.home)
    up, at = (
        (work.side * work.site.normal, work.site.face(work.side).point)
        if which == "tab"
        else (work.face.plane.up, made.rail_at[0])
    )
    way = unit(*np.cross(up, [0.3, 0.2, 0.9]))
    pad = boxed(at + 0.01 * up, up, way, 14.0, 1.0)
    return volume_mm3(solid.intersect(pad)) / 0.01


@pytest.mark.parametrize("seed", range(12))
def test_a_joggled_strap_lies_flat_on_tab_and_rail_however_the_tab_is_tilted(seed):
    rng = np.random.default_rng(seed)
    normal = unit(1.0, *rng.uniform(-0.03, 0.03, 2))
    middle = [rng.uniform(4.0, 9.0), 55.0, rng.uniform(-15, 15)]
    made = offset(job(middle, normal), np.array([0.0, -15.0, 0.0]), 20.0, 0.5, None)
    assert made.form == JOGGLE
    assert_sits_on_both(made)
    pad = 14.0**2 - math.pi * 3.3**2
    assert contact_area(made, "tab") == pytest.approx(pad, rel=1e-3)
    assert contact_area(made, "rail") == pytest.approx(pad, rel=1e-3)


@pytest.mark.parametrize("seed", range(8))
def test_a_z_bracket_takes_up_an_offset_and_a_tilt(seed):
    rng = np.random.default_rng(100 + seed)
    normal = unit(1.0, *rng.uniform(-0.12, 0.12, 2))
    side = int(rng.choice([-1, 1]))
    middle = [rng.choice([-1, 1]) * rng.uniform(35.0, 60.0), 60.0, rng.uniform(-8, 8)]
    made = offset(job(middle, normal, side, side), np.array([0.0, -20.0, 0.0]), 75.0, 0.5, None)
    assert made.form == OFFSET
    assert_sits_on_both(made)


@pytest.mark.parametrize("seed", range(8))
def test_one_bend_joins_a_flange_and_a_lug_that_stand_across_each_other(seed):
    rng = np.random.default_rng(200 + seed)
    normal = unit(rng.uniform(-0.1, 0.1), 1.0, rng.uniform(-0.1, 0.1))
    side = int(rng.choice([-1, 1]))
    work = job([40.0, 20.0, 5.0], normal, side, side)
    found = []
    for foot, way, least in angle_place(work):
        try:
            found.append(angle(work, foot + (least + 5.0) * way, foot, None))
        except ShapeError:
            continue
    assert [one.form for one in found] == [ANGLE]
    assert_sits_on_both(found[0])


def test_a_hat_stands_on_two_feet():
    made = hat(job([30.0, 0.0, 0.0], unit(1.0, 0.0, 0.01), -1, -1),
               np.array([0.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0]), 90.0)  # fmt: skip
    assert made.form == HAT
    assert len(made.rail_at) == 2
    assert_sits_on_both(made)


def test_a_flat_strap_joins_what_lies_in_one_plane_and_nothing_else():
    flush = straps(job([-1.5, 50.0, 0.0], unit(1, 0, 0)), np.array([0.0, -15.0, 0.0]), None)
    assert flush.bend_count == 0
    solid = transformed(folded_solid(flush.blank), flush.home)
    box = solid.BoundingBox()
    assert (box.xmin, box.xmax) == pytest.approx((0.0, 2.0), abs=1e-6)
    with pytest.raises(ShapeError, match=r"stands 2\.0 mm off"):
        straps(job([0.5, 50.0, 0.0], unit(1, 0, 0)), np.array([0.0, -15.0, 0.0]), None)
    with pytest.raises(ShapeError, match=r"tilted by 2\.9°"):
        straps(job([-1.5, 50.0, 0.0], unit(1, 0.05, 0)), np.array([0.0, -15.0, 0.0]), None)


def test_what_cannot_be_bent_says_which_rule_and_by_how_much():
    at = np.array([0.0, -15.0, 0.0])
    with pytest.raises(ShapeError, match="mm flat between two bends") as flat:
        offset(job([4.0, 55.0, 0.0], unit(1, 0, 0)), at, 60.0, 0.5, None)
    # Plane geometry: 5.5 / sin 60° less both tangents, (2 R + t) tan 30°; four thicknesses asked.
    left = 5.5 / math.sin(math.radians(60)) - 8.0 * math.tan(math.radians(30))
    assert flat.value.rule == "flat between bends"
    assert flat.value.short_mm == pytest.approx(8.0 - left)
    with pytest.raises(ShapeError, match="too near to each other") as near:
        offset(job([30.0, 10.0, 0.0], unit(1, 0, 0)), at, 90.0, 0.5, None)
    assert near.value.rule == "room for the bend"
    assert near.value.short_mm > 0
    with pytest.raises(ShapeError, match="too near to parallel"):
        list(angle_place(job([30.0, 30.0, 0.0], unit(1, 0.1, 0))))


def test_a_slot_lies_along_its_way_and_as_long_as_it_was_asked():
    take = TakeUp(
        (Take("tab slot", unit(0, 0, 1), 4.0, 6.0, np.zeros(3)),
         Take("rail slot", unit(0, 1, 0), 5.0, 8.0, np.zeros(3))), one_way=False,
    )  # fmt: skip
    made = offset(
        job([40.0, 70.0, 0.0], unit(1, 0, 0), take=take), np.array([0.0, -25.0, 0]), 90.0, 0.5, None
    )
    places = folded_places(made.blank)
    for number, way, travel in ((0, [0, 1, 0], 8.0), (2, [0, 0, 1], 6.0)):
        (hole,) = made.blank.flanges[number].holes
        a, b, c, d = (np.array([*point, 0.0, 1.0]) for point in hole.points)
        ends = [
            (made.home @ places[number] @ (one + other))[:3] / 2 for one, other in ((a, d), (b, c))
        ]
        run = ends[1] - ends[0]
        assert np.abs(run) == pytest.approx(travel * np.array(way), abs=1e-9)


def test_a_rubber_band_round_discs_has_the_length_and_area_of_plane_geometry():
    """Closed forms: two equal discs give a stadium; a disc and a far point, two tangents."""
    stadium = hull_of_discs([((0.0, 0.0), 5.0), ((20.0, 0.0), 5.0)])
    assert stadium.area_mm2 == pytest.approx(math.pi * 25 + 200)
    assert stadium.length_mm == pytest.approx(math.pi * 10 + 40)
    drop = hull_of_discs([((0.0, 0.0), 3.0), ((5.0, 0.0), 0.0)])
    tangent = 4.0
    assert drop.length_mm == pytest.approx(2 * tangent + 3.0 * (math.tau - 2 * math.acos(3 / 5)))
    within = hull_of_discs([((0.0, 0.0), 5.0), ((1.0, 0.0), 2.0)])
    assert within.area_mm2 == pytest.approx(math.pi * 25)


def test_flats_of_any_tree_fold_back_into_their_planes():
    """Whatever the planes, each flat's underside comes to lie in its own, holes where they were."""
    rng = np.random.default_rng(7)
    made = 0
    while made < 40:
        planes = [Plane(rng.uniform(-5, 5, 3), unit(1, *rng.uniform(-0.2, 0.2, 2)))]
        planes.append(
            Plane(rng.uniform(-5, 5, 3) + np.array([20, 30, 0]), unit(*rng.uniform(-1, 1, 3)))
        )
        planes.append(
            Plane(
                rng.uniform(-5, 5, 3) + np.array([40, 60, 0]), unit(1, *rng.uniform(-0.3, 0.3, 2))
            )
        )
        first, last = (
            plane.point - 25.0 * sign * unit(0, 1, 0) * (1 - abs(plane.up[1]))
            for plane, sign in ((planes[0], 1), (planes[2], -1))
        )
        first = first - planes[0].height_mm(first) * planes[0].up
        last = last - planes[2].height_mm(last) * planes[2].up
        flats = [
            Flat(planes[0], -1, (Opening(first, 7.0),), 11.0),
            Flat(planes[1], 0, turn_at=planes[1].point, width_mm=22.0),
            Flat(planes[2], 1, (Opening(last, 7.0),), 11.0, planes[2].point, 22.0),
        ]
        try:
            blank, home = made_blank(flats, SHEET)
        except ShapeError:
            continue
        made += 1
        for flat, place in zip(flats, folded_places(blank), strict=True):
            stands = home @ place
            assert stands[:3, 2] == pytest.approx(flat.plane.up, abs=1e-9)
            assert flat.plane.height_mm(stands[:3, 3]) == pytest.approx(0.0, abs=1e-8)


def test_bolts_are_as_long_as_what_they_clamp_asks():
    """ISO 7089 washers 1.8 mm, ISO 4032 nut M6 5.2 mm at most; three pitches of 1 mm beyond it."""
    m6 = next(one for one in fasteners("mm") if one.thread.size == "M6")
    joint = bolted("tab", m6, (Span(2.0, 2.0), Span(3.0, 3.0)))
    assert joint.grip.most_mm == pytest.approx(5.0 + 2 * 1.8)
    assert joint.bolt is not None
    # 8.6 + 5.2 + 3 = 16.8 mm; M6 x 20 is at least 19.58 mm long, M6 x 16 is not enough.
    assert joint.bolt.label == "20"
    assert m6.hole.normal_mm == 6.6  # ISO 273, medium
    assert fastener_for(5.0, "mm") is None


@pytest.mark.parametrize("lift", [1, -1])
@pytest.mark.parametrize("side", [1, -1])
def test_two_angles_lie_on_rail_and_tab_and_on_each_other(lift, side):
    take = TakeUp(
        (
            Take("rail slot", unit(0, 1, 0), 4.0, 6.0, np.zeros(3)),
            Take("leg slot", unit(1, 0, 0), 5.0, 8.0, np.zeros(3)),
            Take("leg slot", unit(0, 0, 1), 3.0, 4.0, np.zeros(3)),
        ),
        one_way=False,
    )
    work = job([6.0, 70.0, 4.0], unit(1.0, 0.02, -0.03), side, side, take=take)
    made = two_piece(work, np.array([0.0, -20.0, 0.0]), lift, None)
    first, second = (transformed(folded_solid(blank), home) for blank, home in made.blanks)
    assert first.distance(second) == pytest.approx(0.0, abs=1e-6)
    assert volume_mm3(first.intersect(second)) == pytest.approx(0.0, abs=1e-6)
    way = unit(*np.cross(work.site.normal, [0.3, 0.2, 0.9]))
    tab = boxed(work.site.face(side).point, side * work.site.normal, way, 16.0, 3.0)
    rail = boxed(made.rail_at[0], work.face.plane.up, work.face.ways[0], 16.0, 1.5)
    for piece, metal in ((first, rail), (second, tab)):
        assert piece.distance(metal) == pytest.approx(0.0, abs=1e-6)
        assert volume_mm3(piece.intersect(metal)) == pytest.approx(0.0, abs=1e-6)
    # A bolt through the joint meets no metal: the two slots cross there.
    pose = np.eye(4)
    pose[:3, 3] = made.joint - 20.0 * made.leg_up
    bolt = shapes.cylinder((0.0, 0.0, 0.0), tuple(made.leg_up), 40.0, 3.0)
    shank = transformed(bolt, pose)
    for piece in (first, second):
        assert volume_mm3(piece.intersect(shank)) == pytest.approx(0.0, abs=1e-6)


def test_of_two_pieces_no_sum_is_made_and_a_second_bolt_is_asked_for(monkeypatch):
    """Common practice: one bolt in a lap joint holds by friction alone against turning."""
    take = TakeUp((Take("leg slot", unit(1, 0, 0), 5.0, 8.0, np.zeros(3)),), one_way=False)
    made = two_piece(
        job([6.0, 70.0, 4.0], unit(1, 0, 0), take=take), np.array([0.0, -20.0, 0.0]), 1, None
    )
    monkeypatch.setattr(bracket_load, "carried_by", lambda *_: Carried(5.0, 4, "the file"))
    found, strength = bracket_load.strength_finding(
        None, "bracket 1", made, sheet_materials()["mild steel"], with_remedies=False
    )
    assert strength is None
    assert found.verdict is Verdict.NOT_KNOWN
    assert "second bolt" in found.remedies[0]
    assert not any("weigh" in one for one in found.remedies)


def test_an_open_slot_slips_under_a_bolt_along_the_foot():
    sheet = Sheet(2.0, 3.5, 0.4)
    work = replace(job([40.0, 70.0, 0.0], unit(1, 0, 0), sheet=sheet), fork=True)
    made = offset(work, np.array([0.0, -25.0, 0.0]), 90.0, 0.5, None)
    solid = transformed(folded_solid(made.blank), made.home)
    for back in (0.0, 6.0, 30.0):
        pose = np.eye(4)
        pose[:3, 3] = made.rail_at[0] + [-10.0, -back, 0.0]
        shank = transformed(shapes.cylinder((0, 0, 0), (1.0, 0.0, 0.0), 30.0, 3.2), pose)
        assert volume_mm3(solid.intersect(shank)) == pytest.approx(0.0, abs=1e-6)
    assert sheet_faults(made.blank, sheet_materials()["mild steel"]) == ()
