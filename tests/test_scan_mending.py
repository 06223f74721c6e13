"""Mending tells what it found, in counts that are right, and never makes room."""

from __future__ import annotations

import re

import numpy as np
import pytest
from scipy.spatial import ConvexHull

import scan_makers as make
from noseroom.geometry.scan_bound import one_sided_bound
from noseroom.geometry.scan_holes import hole_of
from noseroom.geometry.scan_types import DEFAULT_LIMITS, Limits, UnreadableError
from noseroom.geometry.scan_worker import scan_from
from noseroom.geometry.scans import Scan, scan_cells, unseen_cells

_ROUNDING_MM = 1e-4  # an STL file's 32-bit floats


def _scan(soup, most: int = 60_000, limits: Limits = DEFAULT_LIMITS) -> Scan:
    return scan_from(make.stl(soup), "stl", 1.0, most, limits)


def _count(scan: Scan, words: str) -> int:
    """The number that the remark with these words begins with; 0 without such a remark."""
    found = [remark for remark in scan.remarks if words in remark]
    assert len(found) <= 1
    return int(found[0].split()[0].replace(",", "")) if found else 0


def _samples(soup, count: int, seed: int = 0):
    rng = np.random.default_rng(seed)
    soup = soup[np.isfinite(soup).all(axis=(1, 2))]
    share = rng.dirichlet([1, 1, 1], count)
    return np.einsum("nk,nkd->nd", share, soup[rng.integers(0, len(soup), count)])


def _distance(points, corners):
    """Distance of each point (n, 3) from the nearest of triangles (m, 3, 3), by brute force."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    best = np.full(len(points), np.inf)
    normal = np.cross(b - a, c - a)
    normal = normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    for number, point in enumerate(points):
        inside = np.ones(len(corners), bool)
        nearest = np.full(len(corners), np.inf)
        for p, q in ((a, b), (b, c), (c, a)):
            side = q - p
            share = ((point - p) * side).sum(axis=1) / np.maximum((side**2).sum(axis=1), 1e-300)
            foot = p + np.clip(share, 0, 1)[:, None] * side
            nearest = np.minimum(nearest, np.linalg.norm(foot - point, axis=1))
            inside &= (np.cross(side, point - p) * normal).sum(axis=1) >= 0
        level = np.abs(((point - a) * normal).sum(axis=1))
        best[number] = np.where(inside, level, nearest).min()
    return best


def _in_cells(cells, points, slack: float = 1e-6):
    """Which points (n, 3) are in the hull of any cell, grown by the slack."""
    found = np.zeros(len(points), bool)
    for cell in cells:
        ways = np.linalg.svd(cell - cell.mean(axis=0))[2]
        flat = (cell @ ways.T)[:, 2]
        level = points @ ways[2]
        if np.ptp(flat) > 1e-5 and len(cell) > 3:
            sides = ConvexHull(cell).equations
            found |= (points @ sides[:, :3].T + sides[:, 3] <= slack).all(axis=1)
            continue
        near = (level >= flat.min() - slack) & (level <= flat.max() + slack)
        sides = ConvexHull((cell @ ways.T)[:, :2]).equations
        plane = points @ ways[:2].T
        found |= near & (plane @ sides[:, :2].T + sides[:, 2] <= slack).all(axis=1)
    return found


DAMAGES = {
    "sound": make.Damage(),
    "one of each": make.Damage(1, 1, 1, 1, 1, 1, 1),
    "much of all": make.Damage(holes=4, flips=37, slivers=25, flat=11, twice=19, lost=7, islands=3),
    "flips alone": make.Damage(flips=60),
    "slivers alone": make.Damage(slivers=60),
}


@pytest.mark.parametrize("name", DAMAGES)
def test_every_sort_of_damage_is_told_with_its_count(name):
    damage = DAMAGES[name]
    scan = _scan(make.damaged_panel(100, 80, damage))
    assert _count(scan, "faced the wrong way") == damage.flips
    assert _count(scan, "less than 0.01 mm high") == damage.slivers + damage.flat
    assert "left in" not in " ".join(scan.remarks)
    assert _count(scan, "twice") == damage.twice
    assert _count(scan, "not a number" if damage.lost == 1 else "not numbers") == damage.lost
    assert len(scan.holes) == damage.holes + damage.lost
    assert _count(scan, "hole,") + _count(scan, "holes,") == len(scan.holes)
    assert len(scan.border) == 1
    assert _count(scan, "open edge, where") == 1
    assert _count(scan, "separate pieces") == (damage.islands + 1 if damage.islands else 0)
    # Every triangle of the panel is still there but those that are lost; no other came.
    kept = 2 * 100 * 80 - 2 * make.HOLE_SQUARES**2 * damage.holes - damage.lost
    assert len(scan.triangles) == kept + 4 * damage.islands + 2 * damage.slivers
    assert scan.deflection_mm < 0.01
    if name == "sound":
        assert len(scan.remarks) == 1


def test_a_damaged_panel_is_where_it_was():
    """Nothing that was seen is gone, and nothing else is there."""
    soup = make.damaged_panel(40, 30, make.Damage(1, 9, 9, 4, 4, 3, 2))
    scan = _scan(soup)
    slack = scan.deflection_mm + _ROUNDING_MM
    assert _distance(_samples(soup, 400), scan.vertices[scan.triangles]).max() <= slack
    sound = soup[np.isfinite(soup).all(axis=(1, 2))]
    assert _distance(_samples(scan.vertices[scan.triangles], 400), sound).max() <= slack


def test_neighbours_agree_after_turning():
    scan = _scan(make.damaged_panel(60, 50, make.Damage(holes=2, flips=50, slivers=10)))
    sides = np.concatenate([scan.triangles[:, pair] for pair in ([0, 1], [1, 2], [2, 0])])
    assert len(np.unique(sides, axis=0)) == len(sides)


def test_a_hole_is_as_wide_as_it_was_cut():
    """Six squares of 8 x 6.25 mm in the panel's flat, as seen square to it."""
    scan = _scan(make.damaged_panel(100, 80, make.Damage(holes=1)))
    (hole,) = scan.holes
    assert hole.width_mm == pytest.approx(37.5, abs=2.0)
    assert hole.length_mm == pytest.approx(48.0, abs=3.0)
    assert len(hole.loop) == 4 * make.HOLE_SQUARES
    assert any(
        re.search(r"1 hole, 3\d mm wide: what lies behind it is not known", remark)
        for remark in scan.remarks
    )


def test_a_closed_body_is_closed_and_outward_however_it_came():
    points, triangles = make.ball()
    soup = make.as_soup(points, triangles)
    rng = np.random.default_rng(5)
    mixed = soup.copy()
    turned = rng.permutation(len(soup))[:200]
    mixed[turned] = mixed[turned][:, ::-1]
    inside_out = soup[:, ::-1]
    for given, remark in ((soup, ""), (mixed, "200 triangles faced"), (inside_out, "inside out")):
        scan = _scan(given)
        assert scan.closed
        assert not scan.holes
        assert not scan.border
        volume = np.linalg.det(scan.vertices[scan.triangles]).sum() / 6
        assert volume == pytest.approx(np.linalg.det(soup).sum() / 6, rel=1e-5)
        assert any(remark in one for one in scan.remarks) or not remark


def test_cracks_that_no_tape_can_see_are_welded():
    """Each triangle on its own, its corners up to 4 µm off: one closed body all the same."""
    soup = make.as_soup(*make.ball())
    soup = soup + np.random.default_rng(2).uniform(-0.002, 0.002, soup.shape)
    scan = _scan(soup)
    assert scan.closed
    assert 0 < scan.deflection_mm <= 0.012


THIN = {
    "a needle": [[[0, 0, 0], [0, 0.004, 0], [90, 0, 0]]],
    "a needle with its ends in a line": [[[0, 0, 0], [45, 0, 0], [90, 0, 0]]],
    "a ribbon": [[[10 * k, 0, 0], [10 * k + 10, 0, 0], [10 * k, 0.006, 0]] for k in range(9)]
    + [[[10 * k + 10, 0, 0], [10 * k + 10, 0.006, 0], [10 * k, 0.006, 0]] for k in range(9)],
    "a strip of ribbons": [
        [[0, 0.008 * k, 0], [90, 0.008 * k, 0], [90 * (k % 2), 0.008 * (k + 1), 0]]
        for k in range(20)
    ],
}


@pytest.mark.parametrize("name", THIN)
def test_a_piece_that_is_all_slivers_does_not_vanish(name):
    """To drop it would make room, however thin it is."""
    thin = np.array(THIN[name], dtype=np.float64) + np.array([-50.0, 0, 250])
    scan = _scan(np.concatenate([make.as_soup(*make.panel(20, 15)), thin]))
    away = _distance(_samples(thin, 60), scan.vertices[scan.triangles])
    assert away.max() <= scan.deflection_mm + _ROUNDING_MM
    assert scan.deflection_mm < 0.1


def test_small_pieces_do_not_vanish_when_thinned_out():
    soup = make.damaged_panel(60, 45, make.Damage(islands=8))
    scan = _scan(soup, most=1000)
    assert scan.deflection_mm < 5
    assert _count(scan, "separate pieces") == 9
    bits = soup[soup[:, :, 0].min(axis=1) < -150]
    assert len(bits) == 32
    assert _distance(bits.reshape(-1, 3), scan.vertices[scan.triangles]).max() < _ROUNDING_MM


def test_a_crack_that_matters_is_not_closed():
    """A cut 0.05 mm wide stays a hole: what is in it is not known."""
    points, triangles = make.ball()
    soup = make.as_soup(points, triangles)
    upper = soup.mean(axis=1)[:, 2] > 20
    soup[upper] += [0, 0, 0.05]
    assert not _scan(soup).closed


def test_the_mouth_of_a_tub_is_a_border_and_a_bolt_hole_in_it_is_a_hole():
    points, triangles = make.tub()
    middle = points[triangles].mean(axis=1)
    floor = np.hypot(middle[:, 0] - 100, middle[:, 1] - 100) < 25
    scan = _scan(make.as_soup(points, triangles[~(floor & (middle[:, 2] < 1))]))
    assert len(scan.border) == len(scan.holes) == 1
    assert scan.border[0].width_mm == pytest.approx(200, rel=0.5)
    assert 35 < scan.holes[0].width_mm < 60


def test_every_cap_spans_its_line():
    """A cap's only free edges are the line's own."""
    points, _ = make.panel(40, 30)
    spiral = np.linspace(0, 4 * np.pi, 30)
    bent = np.stack([10 * np.cos(spiral), 10 * np.sin(spiral), 5 * spiral], axis=1)
    scan = _scan(make.damaged_panel(100, 80, make.Damage(holes=3, lost=2)))
    for hole in (*scan.holes, *scan.border, hole_of(bent), hole_of(points[[0, 5, 900, 40]])):
        vertices, cap = hole.cap
        sides = np.sort(np.concatenate([cap[:, [0, 1]], cap[:, [1, 2]], cap[:, [2, 0]]]), axis=1)
        edges, uses = np.unique(sides, axis=0, return_counts=True)
        free = edges[uses == 1]
        assert len(free) == len(hole.loop)
        assert set(free.ravel().tolist()) == set(range(len(hole.loop)))
        assert np.array_equal(vertices[: len(hole.loop)], hole.loop)


def test_many_stray_bits_become_boxes_that_contain_them():
    rng = np.random.default_rng(4)
    places = rng.uniform([200, -300, -300], [800, 300, 300], (3000, 3))
    bits = places[:, None] + rng.uniform(-3, 3, (3000, 3, 3))
    scan = _scan(np.concatenate([make.as_soup(*make.panel(40, 30)), bits]))
    assert _count(scan, "separate pieces") == 3001
    assert _count(scan, "stray bits") == 3001 - 200
    assert len(scan.triangles) < 2400 + 200 + 12 * 301
    cells = (*scan_cells(scan.vertices, scan.triangles), *unseen_cells(scan, border_open=True))
    assert _in_cells(cells, bits.reshape(-1, 3), slack=1e-3).all()


def test_a_million_islands_are_bounded_and_none_makes_room():
    """A cloud of a million bits of 1 mm, 3 mm apart."""
    side = 100
    at = 3.0 * np.stack(np.unravel_index(np.arange(side**3), (side,) * 3), axis=1)
    bits = at[:, None] + np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    scan = _scan(bits)
    assert _count(scan, "separate pieces") == 1_000_000
    assert len(scan.triangles) <= 200 + 12 * 300
    cells = (*scan_cells(scan.vertices, scan.triangles), *unseen_cells(scan, border_open=True))
    some = bits.reshape(-1, 3)[::30_011]
    assert _in_cells(cells, some, slack=1e-3).all()


def test_too_many_large_pieces_are_refused_not_left_out():
    soup = make.as_soup(*make.box(high=(40, 30, 20)))
    many = np.concatenate([soup + np.array([100 * k, 0, 0]) for k in range(260)])
    with pytest.raises(UnreadableError, match="260 separate pieces"):
        _scan(many, limits=Limits(pieces=250))
    assert _count(_scan(many), "separate pieces") == 260


@pytest.mark.parametrize("noise_mm", [0.0, 0.1])
def test_thinning_out_stays_within_what_it_tells(noise_mm):
    """Against brute force, with other points than any that the bound looked at."""
    soup = make.as_soup(*make.panel(60, 45, noise_mm=noise_mm))
    scan = _scan(soup, most=1500)
    assert len(scan.triangles) <= 1530
    far = _distance(_samples(soup, 1500), scan.vertices[scan.triangles]).max()
    back = _distance(_samples(scan.vertices[scan.triangles], 500), soup).max()
    assert far <= scan.deflection_mm + _ROUNDING_MM
    assert back <= scan.deflection_mm + _ROUNDING_MM
    # The bound is of use: not far above what the samples find.
    assert scan.deflection_mm <= 2.0 * max(far, back) + 0.1


def test_a_body_stays_closed_when_it_is_thinned_out():
    scan = _scan(make.as_soup(*make.ball(columns=80, rows=40)), most=2000)
    assert len(scan.triangles) <= 2040
    assert scan.closed
    assert scan.deflection_mm < 1.0


def test_holes_keep_their_edges_when_thinned_out():
    damaged = make.damaged_panel(100, 80, make.Damage(holes=2))
    whole, thin = _scan(damaged), _scan(damaged, most=4000)
    assert [hole.width_mm for hole in thin.holes] == [hole.width_mm for hole in whole.holes]
    assert "thinned out to" in thin.remarks[-1]


def test_the_bound_between_two_planes_is_their_distance():
    triangles = make.grid_triangles(7, 5)
    y, z = np.meshgrid(np.arange(8.0), np.arange(6.0))
    points = np.stack([0 * y, 20 * y, 20 * z], axis=-1).reshape(-1, 3)
    other = np.array([[3.0, 0, 0], [3, 140, 0], [3, 140, 100], [3, 0, 100]])
    pair = np.array([[0, 1, 2], [0, 2, 3]])
    assert one_sided_bound(points, triangles, other, pair) == pytest.approx(3.0)
    assert one_sided_bound(other, pair, points, triangles) == pytest.approx(3.0)


def test_the_bound_sees_a_spike_between_the_corners():
    """A ridge 7 mm high against a flat sheet: 7 mm one way, and at most that the other."""
    ridge = np.array(
        [[0.0, 0, 0], [0, 0, 100], [7, 50, 0], [7, 50, 100], [0, 100, 0], [0, 100, 100]]
    )
    folds = np.array([[0, 2, 1], [1, 2, 3], [2, 4, 3], [3, 4, 5]])
    flat = ridge * [0, 1, 1]
    sheet = np.array([[0, 4, 1], [1, 4, 5]])
    assert one_sided_bound(ridge, folds, flat, sheet) == pytest.approx(7.0, rel=0.11)
    assert one_sided_bound(ridge, folds, flat, sheet) >= 7.0 - 1e-9


SURFACES = {
    "panel": lambda: make.panel(60, 45),
    "rough panel": lambda: make.panel(60, 45, noise_mm=0.5),
    "tub": make.tub,
    "ball": make.ball,
    "two large triangles": lambda: make.panel(1, 1),
    "box of large triangles": lambda: make.box(high=(900, 600, 400)),
}


@pytest.mark.parametrize("name", SURFACES)
@pytest.mark.parametrize("size_mm", [40.0, 5.0])
def test_cells_contain_every_triangle(name, size_mm):
    points, triangles = SURFACES[name]()
    cells = scan_cells(points, triangles, size_mm=size_mm)
    assert 0 < len(cells) <= 400
    corners = points[np.unique(triangles)]
    samples = np.concatenate([corners, _samples(points[triangles], 2000)])
    assert _in_cells(cells, samples).all()


def test_cells_are_tight_where_the_surface_is_smooth():
    """Most are thinner than 2 mm; so is what they take up beside the surface."""
    points, triangles = make.panel(60, 45)
    cells = scan_cells(points, triangles)
    thick = [np.ptp((cell @ np.linalg.svd(cell - cell.mean(axis=0))[2].T)[:, 2]) for cell in cells]
    assert np.median(thick) < 1.0
    assert np.mean(np.array(thick) < 2.5) > 0.85
    # 4 mm before the surface, along X, a part still has room.
    ahead = points - np.array([4.0, 0, 0])
    flat = np.abs(np.gradient(points.reshape(46, 61, 3)[:, :, 0])[1]).ravel() < 1
    assert _in_cells(cells, ahead[flat]).mean() < 0.05


def test_cells_of_a_thinned_scan_contain_the_surface_as_it_was():
    soup = make.as_soup(*make.panel(60, 45, noise_mm=0.1))
    scan = _scan(soup, most=1500)
    cells = scan_cells(scan.vertices, scan.triangles)
    assert _in_cells(cells, _samples(soup, 3000), scan.deflection_mm + _ROUNDING_MM).all()


def test_no_cells_for_no_triangles():
    assert scan_cells(np.zeros((0, 3)), np.zeros((0, 3), np.int32)) == ()


def test_what_may_span_a_hole_is_in_the_unseen_cells():
    """A cone at 45 degrees over the hole, to either side, touches nothing that is known free."""
    scan = _scan(make.damaged_panel(100, 80, make.Damage(holes=2)))
    cells = unseen_cells(scan, border_open=True)
    for hole in scan.holes:
        middle = hole.loop.mean(axis=0)
        radius = np.linalg.norm((hole.loop - middle)[:, 1:], axis=1).min()
        for side in (-1, 1):
            for share in (0.2, 0.6, 0.95):
                tip = middle + np.array([side * share * radius, 0, 0])
                assert _in_cells(cells, tip[None]).all()
        assert not _in_cells(cells, (middle + np.array([3 * hole.width_mm, 0, 0]))[None]).any()
    # Beside the holes nothing is unknown.
    assert not _in_cells(cells, np.array([[-20.0, 380, 250], [20, -380, 30]])).any()


def test_a_panel_whose_border_is_open_hides_nothing_else():
    assert unseen_cells(_scan(make.as_soup(*make.panel())), border_open=True) == ()


def test_a_tub_is_empty_with_its_mouth_open_and_full_with_it_closed():
    scan = _scan(make.as_soup(*make.tub()))
    inside = np.random.default_rng(1).uniform([1, 1, 1], [199, 199, 119], (500, 3))
    outside = np.random.default_rng(2).uniform([-40, -40, -40], [240, 240, -2], (500, 3))
    assert unseen_cells(scan, border_open=True) == ()
    cells = unseen_cells(scan, border_open=False)
    assert _in_cells(cells, inside).all()
    assert not _in_cells(cells, outside).any()


@pytest.mark.parametrize("border_open", [True, False])
def test_a_closed_body_is_full(border_open):
    scan = _scan(make.as_soup(*make.ball()))
    cells = unseen_cells(scan, border_open=border_open)
    way = np.random.default_rng(3).normal(size=(2000, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    reach = np.random.default_rng(4).uniform(0, 1, (2000, 1)) ** (1 / 3)
    # The mesh is inside its ball by less than 1 mm: 100 (1 - cos(pi / 24)).
    assert _in_cells(cells, way * reach * 99.0).all()
    assert not _in_cells(cells, way * 101.0).any()
    assert len(cells) < 500


def test_a_body_with_a_hole_in_it_is_full_all_the_same():
    points, triangles = make.ball()
    soup = make.as_soup(points, triangles)
    scan = _scan(soup[soup.mean(axis=1)[:, 2] < 92])
    assert len(scan.holes) == 1
    assert not scan.border
    cells = unseen_cells(scan, border_open=True)
    way = np.random.default_rng(3).normal(size=(1000, 3))
    inside = 98.0 * way / np.linalg.norm(way, axis=1, keepdims=True)
    inside = inside[inside[:, 2] < 85] * np.random.default_rng(4).uniform(0, 1, (1, 1))
    assert _in_cells(cells, inside).all()
    # Above the hole is where something may stand out of it.
    assert _in_cells(cells, np.array([[0.0, 0, 100], [0, 0, 110]])).all()


def test_a_deep_slot_of_a_body_is_not_filled():
    """A U-shaped block, 30 mm between its arms: a part may go in between."""
    low, high = (0.0, 0, 0), (30.0, 100, 100)
    left, right = make.box(low, high), make.box((60, 0, 0), (90, 100, 100))
    floor = make.box((0, 0, -30), (90, 100, -0.5))
    soup = np.concatenate([make.as_soup(*one) for one in (left, right, floor)])
    cells = unseen_cells(_scan(soup), border_open=True)
    assert not _in_cells(cells, np.array([[45.0, 50, 50], [31, 50, 60], [45, 50, 25]])).any()
    assert _in_cells(
        cells, np.array([[15.0, 50, 50], [29, 99, 1], [61, 1, 99], [45, 5, -29]])
    ).all()


def test_a_scan_that_is_odd_in_size_is_remarked_on():
    tiny = _scan(make.as_soup(*make.box()) * 0.1)
    assert any("is its unit right?" in remark for remark in tiny.remarks)
