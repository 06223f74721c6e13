"""Hollows and cuts for printing: volumes by hand, roofs no flatter than 45 degrees, walls kept."""

from __future__ import annotations

import math

import numpy as np
import pytest

from noseroom.errors import GeometryError
from noseroom.geometry.hollow import HollowRules, corners_of, faces_of, hollows
from noseroom.geometry.split_pegs import PegRules, joints, peg
from noseroom.geometry.split_solids import arrays, box_of, box_solid, hull_solid, section, union
from noseroom.geometry.split_to_bed import Rules, parted
from noseroom.geometry.split_ways import UPS, Bore, best_way, ways

RULES = HollowRules(wall_mm=2.0, rib_mm=1.2, least_mm=5.0, widest_mm=40.0)
BED = Rules((216.0, 216.0, 250.0), 45.0, 50.0, 60)
PEGS = PegRules((6.0, 4.0), 8.0, 0.2, 0.5, 2.0)


def block(*size: float):
    """A box from the origin, and its corners."""
    return box_solid(np.zeros(3), np.array(size)), np.array(
        [(x, y, z) for x in (0, size[0]) for y in (0, size[1]) for z in (0, size[2])], dtype=float
    )


def steepest(solid, up) -> float:
    """The flattest underside that a hollow's roof makes, degrees from upright."""
    vertices, triangles = arrays(solid)
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    normals = np.cross(b - a, c - a)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    # A hollow's own normals point out of it: its roof's look up.
    rise = up[1] * normals[:, up[0]]
    return math.degrees(math.asin(float(rise.clip(-1, 1).max())))


@pytest.mark.parametrize("up", UPS)
def test_a_box_is_hollow_under_gables(up) -> None:
    size = (30.0, 34.0, 60.0)
    solid, corners = block(*size)
    made = hollows(solid, [corners], up, RULES)
    inner = np.array(size) - 4.0
    high = inner[up[0]]
    others = [inner[k] for k in range(3) if k != up[0]]
    # A bay is a house: as wide as its share of the side that it parts, the ridge along the other.
    wanted = []
    for across, along in (others, others[::-1]):
        bay = 2 * math.sqrt(1.2 * high)
        count = max(1, math.ceil((across + 1.2) / (bay + 1.2) - 1e-9))
        wide = (across + 1.2) / count - 1.2
        wanted.append((count, count * along * (wide * high - wide**2 / 4)))
    by_hand = [volume for count, volume in wanted if count == len(made)]
    total = sum(one.volume() for one in made)
    assert min(abs(total - one) for one in by_hand) < 1e-6 * total
    assert total >= max(volume for _, volume in wanted) * 0.999
    assert all(steepest(one, up) < 45.0 + 1e-6 for one in made)


def test_no_roof_is_flat_in_a_cell_of_any_form() -> None:
    """From each point the way at 45 degrees to the ridge stays inside: random convex cells."""
    dice = np.random.default_rng(5)
    for _ in range(12):
        corners = dice.normal(size=(24, 3)) * (40.0, 30.0, 25.0)
        solid = hull_solid(corners)
        outside = box_solid(*(box_of(solid) + np.array([[-9.0], [9.0]]))) - solid
        for up in ((2, 1), (0, -1)):
            made = hollows(solid, [corners], up, RULES)
            assert made
            for one in made:
                assert steepest(one, up) < 45.0 + 1e-3
                assert one.min_gap(outside, 5.0) > RULES.wall_mm - 0.021
            apart = union(made).volume() - sum(one.volume() for one in made)
            assert abs(apart) < 1e-6


def test_a_hollow_keeps_its_wall_from_a_hole_that_its_cell_does_not_know() -> None:
    solid, corners = block(60.0, 60.0, 60.0)
    drilled = solid - hull_solid(corners * (0.1, 0.1, 2.0) + (27.0, 0.0, -10.0))
    outside = box_solid(np.full(3, -9.0), np.full(3, 69.0)) - drilled
    made = hollows(drilled, [corners], (2, 1), RULES)
    assert all(one.min_gap(outside, 5.0) > RULES.wall_mm - 0.021 for one in made)


def test_what_is_thin_stays_solid() -> None:
    solid, corners = block(50.0, 50.0, 8.0)
    assert hollows(solid, [corners], (2, 1), RULES) == []


def test_faces_and_corners_are_each_others_inverse() -> None:
    _, corners = block(3.0, 4.0, 5.0)
    faces = faces_of(corners)
    assert faces is not None
    back = corners_of(faces)
    assert back is not None
    assert np.allclose(np.unique(back.round(6), axis=0), np.unique(corners, axis=0))
    assert faces_of(corners * (1.0, 1.0, 0.0)) is None


def test_overhang_is_what_looks_down_and_lies_on_nothing() -> None:
    """A T of 60 x 20 on a stem of 20 x 20: two shelves of 20 x 20 on its stem, none on its head."""
    head = box_solid(np.array([0.0, 0.0, 30.0]), np.array([60.0, 20.0, 40.0]))
    stem = box_solid(np.array([20.0, 0.0, 0.0]), np.array([40.0, 20.0, 30.0]))
    found = {one.up: one for one in ways(union([head, stem]), 45.0)}
    assert found[2, 1].overhang_mm2 == pytest.approx(800.0)
    assert found[2, -1].overhang_mm2 == pytest.approx(0.0)
    assert found[2, -1].foot_mm2 == pytest.approx(1200.0)
    best = best_way(list(found.values()), 50.0)
    assert best is not None
    assert best.overhang_mm2 == pytest.approx(0.0)


def test_a_small_lying_hole_needs_no_support() -> None:
    import manifold3d

    solid, _ = block(30.0, 30.0, 30.0)
    hole = manifold3d.Manifold.cylinder(40.0, 4.0, 4.0, 48).rotate((90.0, 0.0, 0.0))
    drilled = solid - hole.translate((15.0, 35.0, 15.0))
    bore = Bore(np.array([15.0, 0.0, 15.0]), np.array([0.0, 1.0, 0.0]), 4.0)
    bare = next(one for one in ways(drilled, 45.0) if one.up == (2, 1))
    told = next(one for one in ways(drilled, 45.0, [bore]) if one.up == (2, 1))
    assert bare.overhang_mm2 == pytest.approx(math.pi / 2 * 4.0 * 30.0, rel=0.1)
    assert told.overhang_mm2 == 0.0


def test_a_long_bar_is_cut_into_as_few_even_pieces_as_the_bed_allows() -> None:
    solid, _ = block(500.0, 40.0, 30.0)
    parts = parted(solid, [], BED)
    lengths = sorted(float(np.ptp(box_of(one.solid)[:, 0])) for one in parts)
    assert len(parts) == 3
    assert lengths[-1] - lengths[0] < 60.0
    assert sum(lengths) == pytest.approx(500.0, abs=1e-3)
    assert all(one.way.fits(BED.bed_mm) for one in parts)


def test_a_piece_that_hangs_over_whichever_way_is_cut_where_that_helps() -> None:
    """A plate with a round boss on either face lies flat on neither."""
    plate, corners = block(80.0, 80.0, 10.0)
    bosses = [
        hull_solid(corners * (0.25, 0.25, 1.0) + np.array([30.0, 30.0, z])) for z in (-10.0, 10.0)
    ]
    solid = union([plate, *bosses])
    bare = parted(solid, [], BED)
    cut = parted(solid, [(2, 0.0), (2, 10.0)], BED)
    assert len(bare) == 1
    assert len(cut) == 2
    assert all(one.way.overhang_mm2 <= 50.0 for one in cut)


def test_a_bed_that_would_take_too_many_pieces_is_refused() -> None:
    solid, _ = block(900.0, 900.0, 40.0)
    few = Rules((80.0, 80.0, 80.0), 45.0, 50.0, 60)
    with pytest.raises(GeometryError, match="more than 60 pieces on a bed of 80 x 80 x 80 mm"):
        parted(solid, [], few)


@pytest.mark.parametrize("axis", range(3))
@pytest.mark.parametrize("up", UPS)
def test_pegs_find_their_sockets(axis, up) -> None:
    """Two blocks that meet: sockets face each other, hold the peg, and their roofs are at 45."""
    size = np.array([50.0, 44.0, 38.0])
    shift = np.zeros(3)
    shift[axis] = size[axis]
    solids = [box_solid(np.zeros(3), size), box_solid(shift, size + shift)]
    found, made = joints(solids, [up, up], PEGS)
    assert len(found) == 1
    assert found[0].area_mm2 == pytest.approx(size.prod() / size[axis])
    assert [side for side, _ in found[0].pegs] == [6.0, 6.0]
    for solid, one in zip(solids, made, strict=True):
        whole = solid - union(one.sockets)
        way = next(w for w in ways(whole, 45.0) if w.up == up)
        assert way.overhang_mm2 == pytest.approx(0.0, abs=1e-6)
        boss = next(w for w in ways(solid ^ union(one.bosses), 45.0) if w.up == up)
        # What carries a socket inside a hollow hangs over nowhere but on the joint itself.
        assert boss.overhang_mm2 <= found[0].area_mm2
        mouth = section(whole, axis, size[axis] + (0.01 if solid is solids[1] else -0.01))
        assert mouth.area == pytest.approx(found[0].area_mm2 - 2 * 6.2**2, rel=1e-3)


def test_a_peg_lies_without_overhang() -> None:
    lying = next(one for one in ways(peg(6.0, PEGS), 45.0) if one.up == (2, 1))
    assert lying.size_mm == (16.0, 6.0, 6.0)
    assert lying.overhang_mm2 == pytest.approx(0.0)
