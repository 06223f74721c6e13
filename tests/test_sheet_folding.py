"""Sheet metal folded and laid flat again: volumes by closed forms, two ways there and back."""

from __future__ import annotations

import itertools
import math
import re
import shutil
import subprocess

import numpy as np
import pytest

from noseroom.errors import GeometryError
from noseroom.geometry.exports import check_stl, write_stl
from noseroom.geometry.kernel import volume_mm3
from noseroom.geometry.mesh import body_from_shape
from noseroom.geometry.outlines import Circle, Path, rectangle, slot, tidied
from noseroom.geometry.sheet import Bend, Blank, Flange, folded_places
from noseroom.geometry.sheet_flat import (
    bend_lines,
    blank_area_mm2,
    flat_holes,
    flat_outline,
    folded_volume_mm3,
)
from noseroom.geometry.sheet_hulls import folded_hulls
from noseroom.geometry.sheet_solids import flat_solid, folded_solid
from noseroom.geometry.sheet_unfold import unfold
from sheet_makers import brackets, strip

MANY = 60  # tests/benchmarks/sheet_truth.py does 300


@pytest.fixture(scope="module")
def some():
    return list(brackets(MANY))


def angle_bracket(angle_deg: float = 90.0, k: float = 0.4) -> Blank:
    """Two legs of 40 mm by 30 mm, 2 mm thick, R 3, a hole in each."""
    bend = Bend(0, 1, (0.0, 0.0), (40.0, 0.0), angle_deg, 3.0, k)
    edge = bend.far_edge(2.0)[0][1]
    return Blank(
        2.0,
        (
            Flange(rectangle((0.0, 0.0), (40.0, 30.0)), (Circle((20.0, 18.0), 9.0),)),
            Flange(
                rectangle((0.0, edge - 30.0), (40.0, edge)),
                (slot((20.0, edge - 18.0), 6.0, 7.0),),
            ),
        ),
        (bend,),
    )


def test_a_right_angle_stands_where_a_square_laid_to_it_would_show_it() -> None:
    """Legs of 30 mm, R 3, 2 mm of sheet: both outsides are 35 mm from the mould line."""
    box = folded_solid(angle_bracket()).BoundingBox()
    assert (box.zmin, box.zmax) == pytest.approx((0.0, 2.0 + 3.0 + 30.0))
    assert (box.ymin, box.ymax) == pytest.approx((-5.0, 30.0))


def test_a_bend_down_is_the_mirror_image_of_a_bend_up() -> None:
    up = folded_solid(angle_bracket(70.0)).BoundingBox()
    down = folded_solid(angle_bracket(-70.0)).BoundingBox()
    assert (down.zmin, down.zmax) == pytest.approx((2.0 - up.zmax, 2.0 - up.zmin))
    assert (down.ymin, down.ymax) == pytest.approx((up.ymin, up.ymax))


@pytest.mark.parametrize("angle", [10.0, 45.0, 90.0, -120.0, 150.0])
def test_volume_of_an_angle_by_hand(angle: float) -> None:
    """Pappus: the bend's section goes round at R + t/2."""
    turn = math.radians(abs(angle))
    legs = 2 * 40.0 * 30.0 * 2.0
    holes = 2.0 * (math.pi * 4.5**2 + math.pi * 3.5**2 + 6.0 * 7.0)
    wanted = legs - holes + turn * (3.0 + 1.0) * 2.0 * 40.0
    assert volume_mm3(folded_solid(angle_bracket(angle))) == pytest.approx(wanted, rel=1e-9)


def test_folded_and_flat_differ_by_what_a_bend_does_to_its_neutral_line(some) -> None:
    """Flat area × t and folded volume, both by the kernel, differ by Σ θ t² w (1/2 - K)."""
    laid = 0
    for blank, solid in some:
        t = blank.thickness_mm
        try:
            flat = volume_mm3(flat_solid(blank))
        except GeometryError:
            continue  # folded it is clear of itself, and not in the flat
        laid += 1
        more = sum(
            math.radians(abs(one.angle_deg)) * t**2 * one.length_mm * (0.5 - one.k)
            for one in blank.bends
        )
        found = volume_mm3(solid) - flat
        assert found == pytest.approx(more, abs=1e-6 * flat)
        assert volume_mm3(solid) == pytest.approx(folded_volume_mm3(blank), rel=1e-9)
        assert flat == pytest.approx(blank_area_mm2(blank) * t, rel=1e-9)
    assert laid > 0.9 * len(some)


def test_unfolding_gives_the_blank_back(some) -> None:
    """From faces alone, without the formulas that fold: outlines, holes, angles, radii, lines."""
    for blank, solid in some:
        again = unfolded(blank, solid)
        assert again.thickness_mm == pytest.approx(blank.thickness_mm, abs=1e-6)
        same_bends(blank, again)
        for one, other in zip(blank.flanges, in_order_of(blank, again), strict=True):
            same_outline(one.outline, other.outline)
            assert len(one.holes) == len(other.holes)
            for hole in one.holes:
                assert any(same_hole(hole, found) for found in other.holes)


def test_folding_what_was_unfolded_gives_the_solid_again(some) -> None:
    for blank, solid in some[::3]:
        again = folded_solid(unfolded(blank, solid))
        assert volume_mm3(again) == pytest.approx(volume_mm3(solid), rel=1e-9)
        assert corners_of(again) == pytest.approx(corners_of(solid), abs=1e-5)


def unfolded(blank: Blank, solid: object) -> Blank:
    x, y = blank.flanges[0].outline.points[0]
    return unfold(solid, blank.bends[0].k, (x, y, blank.thickness_mm))


def corners_of(solid) -> np.ndarray:
    points = np.array([one.toTuple() for one in solid.Vertices()])
    keys = points.round(4)
    return points[np.lexsort(keys.T)]


def same_bends(blank: Blank, again: Blank) -> None:
    left = {round(one.start[0], 4): one for one in again.bends}
    assert len(left) == len(blank.bends)
    for one in blank.bends:
        other = left[round(one.start[0], 4)]
        assert other.start == pytest.approx(one.start, abs=1e-6)
        assert other.end == pytest.approx(one.end, abs=1e-6)
        assert other.angle_deg == pytest.approx(one.angle_deg, abs=1e-6)
        assert other.inside_mm == pytest.approx(one.inside_mm, abs=1e-6)


def in_order_of(blank: Blank, again: Blank) -> list[Flange]:
    """The flanges that were found, in the order of those that they ought to be."""
    number = {0: 0}
    by_start = {round(one.start[0], 4): one.child for one in again.bends}
    for one in blank.bends:
        number[one.child] = by_start[round(one.start[0], 4)]
    return [again.flanges[number[k]] for k in range(len(blank.flanges))]


def same_outline(one: Path, other: Path) -> None:
    first, second = tidied(one, 1e-6), tidied(other, 1e-6)
    assert len(first.points) == len(second.points)
    begin = min(
        range(len(second.points)), key=lambda k: math.dist(second.points[k], first.points[0])
    )
    points = second.points[begin:] + second.points[:begin]
    bulges = second.bulges[begin:] + second.bulges[:begin]
    assert np.array(points) == pytest.approx(np.array(first.points), abs=1e-6)
    assert bulges == pytest.approx(first.bulges, abs=1e-6)


def same_hole(one, other) -> bool:
    if isinstance(one, Circle):
        return isinstance(other, Circle) and math.dist(one.centre, other.centre) < 1e-6
    if isinstance(other, Circle):
        return False
    far = [min(math.dist(p, q) for q in other.points) for p in one.points]
    return len(one.points) == len(other.points) and max(far) < 1e-6


def test_convex_pieces_hold_all_of_the_metal(some) -> None:
    """Every point of the solid's own mesh is inside of a piece, by half-spaces of its hull."""
    from scipy.spatial import ConvexHull

    for blank, solid in some[::4]:
        planes = [ConvexHull(one).equations for one in folded_hulls(blank)]
        mesh = body_from_shape("bracket", solid).mesh
        points = np.concatenate([mesh.vertices, mesh.vertices[mesh.triangles].mean(axis=1)])
        out = np.min([(points @ p[:, :3].T + p[:, 3]).max(axis=1) for p in planes], axis=0)
        assert out.max() < 1e-6 + mesh.bound_mm


def test_convex_pieces_leave_a_deep_notch_free() -> None:
    """An L in the flat: no piece reaches into the middle of its corner."""
    outline = Path(((0, 0), (60, 0), (60, 20), (20, 20), (20, 60), (0, 60)))
    pieces = folded_hulls(Blank(2.0, (Flange(outline),)))
    assert len(pieces) == 2
    assert not any((one.min(0)[:2] < 40).all() and (one.max(0)[:2] > 40).all() for one in pieces)


def test_flat_outline_runs_round_all_flanges_once() -> None:
    outline = flat_outline(angle_bracket())
    zone = math.pi / 2 * (3.0 + 0.4 * 2.0)
    assert outline.area_mm2 == pytest.approx(40.0 * (60.0 + zone))
    assert outline.length_mm == pytest.approx(2 * 40.0 + 2 * (60.0 + zone))
    assert len(outline.points) == 4
    assert len(flat_holes(angle_bracket())) == 2


def test_bend_lines_say_angle_direction_and_radius() -> None:
    (line,) = bend_lines(angle_bracket(-89.96))
    assert line.text == "90° down, R 3.0"
    (start, end), zone = (line.start, line.end), math.radians(89.96) * 3.8
    assert (start, end) == (pytest.approx((0, -zone / 2)), pytest.approx((40, -zone / 2)))


def test_flanges_of_a_hat_stand_as_two_bends_of_90_degrees_put_them() -> None:
    """A hat of five flats: the feet lie in one plane again, the top in another."""
    t, r, k, width = 1.5, 3.0, 0.4, 20.0
    places = folded_places(
        strip([25.0, 20.0, 40.0, 20.0, 25.0], [90, -90, -90, 90], t, r, k, width)
    )
    up = [place[2, 2] for place in places]
    assert up == pytest.approx([1, 0, 1, 0, 1], abs=1e-12)
    assert places[4] @ [0, 0, 0, 1] == pytest.approx([0, places[4][1, 3], 0, 1], abs=1e-9)


def test_channel_of_the_airframe_handbook_folds_to_its_mould_lines() -> None:
    """FAA-H-8083-31, vol. 1, figs 4-124 to 4-126: T .040, R .16, mould lines 1.00, 2.00, 1.00 in.

    Flats of .8, 1.6 and .8 in, each leg a set-back of .2 in shorter at every bend.
    """
    inch = 25.4
    flats = [0.8 * inch, 1.6 * inch, 0.8 * inch]
    blank = strip(flats, [90, 90], 0.040 * inch, 0.16 * inch, 0.5, 30.0)
    box = folded_solid(blank).BoundingBox()
    assert sorted((box.ylen / inch, box.zlen / inch)) == pytest.approx([1.0, 2.0])


@pytest.mark.parametrize(
    ("angles", "words"),
    [([150, 150, 150], "runs into itself"), ([90, 90, 90, 90], "runs into itself")],
)
def test_a_part_that_runs_into_itself_is_refused(angles, words) -> None:
    lengths = [40.0] * (len(angles) + 1)
    with pytest.raises(GeometryError, match=words):
        folded_solid(strip(lengths, angles, 2.0, 3.0, 0.4, 20.0))


@pytest.mark.parametrize(
    ("hole", "words"),
    [
        (Circle((20.0, 2.0), 9.0), "meets another, or the edge of flange 0"),
        (Circle((23.0, 18.0), 9.0), "meets another"),
        (Circle((20.0, 60.0), 9.0), "meets another, or the edge"),
    ],
)
def test_holes_stay_on_their_flange(hole, words) -> None:
    blank = angle_bracket()
    first = Flange(blank.flanges[0].outline, (*blank.flanges[0].holes, hole))
    spoilt = Blank(2.0, (first, blank.flanges[1]), blank.bends)
    for ask in (flat_holes, flat_solid, folded_solid):
        with pytest.raises(GeometryError, match=words):
            ask(spoilt)


def test_a_bend_off_its_flange_is_refused() -> None:
    flange = Flange(rectangle((0.0, 0.0), (40.0, 30.0)))
    bend = Bend(0, 1, (5.0, 0.0), (45.0, 0.0), 90.0, 3.0, 0.4)
    with pytest.raises(GeometryError, match="does not lie on a straight side"):
        flat_outline(Blank(2.0, (flange, flange), (bend,)))


def test_what_is_no_sheet_is_not_unfolded() -> None:
    import cadquery as cq

    with pytest.raises(GeometryError, match="neither plane nor rolled"):
        unfold(cq.Workplane().sphere(10).val(), 0.4)
    wedge = cq.Workplane("XZ").polyline([(0, 0), (40, 0), (0, 30)]).close().extrude(20).val()
    with pytest.raises(GeometryError, match="no sheet"):
        unfold(cq.Workplane().box(40, 30, 2).union(cq.Workplane().box(9, 9, 9)).val(), 0.4)
    assert unfold(wedge, 0.4).thickness_mm == pytest.approx(20.0)  # a plate, three-cornered


def test_a_tube_cannot_be_laid_flat() -> None:
    import cadquery as cq

    outer = cq.Workplane().rect(40, 30).extrude(50).edges("|Z").fillet(5)
    inner = cq.Workplane().rect(36, 26).extrude(50).edges("|Z").fillet(3)
    with pytest.raises(GeometryError, match="closed on itself"):
        unfold(outer.cut(inner).val(), 0.4)


def test_an_angle_drawn_by_hand_unfolds_to_the_length_of_its_neutral_line() -> None:
    """A profile drawn with fillets, extruded: nothing of it was made as a blank."""
    import cadquery as cq

    legs = [(0, 0), (50, 0), (50, 2), (2, 2), (2, 35), (0, 35)]
    part = cq.Workplane("XZ").polyline(legs).close().extrude(30)
    part = part.edges("|Y").edges(cq.selectors.NearestToPointSelector((2, -15, 2))).fillet(3)
    part = part.edges("|Y").edges(cq.selectors.NearestToPointSelector((0, -15, 0))).fillet(5)
    blank = unfold(part.val(), lambda r, t: 0.325 + 0.25 * math.log10(r / t))
    assert blank.thickness_mm == pytest.approx(2.0)
    # DIN 6935, v at r = 3, s = 2: 50 + 35 - 4.12829.
    assert flat_outline(blank).area_mm2 / 30.0 == pytest.approx(50 + 35 - 4.12829, abs=1e-4)


@pytest.mark.skipif(shutil.which("admesh") is None, reason="needs admesh (a reader of STL)")
def test_admesh_has_nothing_to_mend(some, tmp_path) -> None:
    for number, (_, solid) in enumerate(itertools.islice(some, 6)):
        path = tmp_path / f"{number}.stl"
        body = body_from_shape("bracket", solid)
        write_stl(body, path)
        check_stl(path, volume_mm3(solid), body.mesh)
        run = subprocess.run(["admesh", str(path)], check=True, capture_output=True, text=True)
        counts = dict(re.findall(r"(\w[\w ]+?)\s*:\s+(\d+)", run.stdout))
        for mended in ("Edges fixed", "Facets removed", "Facets added", "Facets reversed"):
            assert counts[mended] == "0"
