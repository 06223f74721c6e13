"""Threshold Monte Carlo: every verdict is the one that the exact distance would give."""

import cadquery as cq
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from noseroom.errors import GeometryError
from noseroom.geometry.clearance import Relation, clearance
from noseroom.geometry.draws import Drawn, Growth, below
from noseroom.geometry.mesh import body_from_mesh, body_from_shape
from truth_makers import at

COUNT = 200


def block(*size):
    return body_from_shape("block", cq.Workplane().box(*size).val())


def ball(radius):
    return body_from_shape("ball", cq.Workplane().sphere(radius).val())


def rod(height, radius):
    return body_from_shape("rod", cq.Workplane().cylinder(height, radius).val())


def blade():
    return body_from_shape("blade", cq.Workplane().rect(40, 4).twistExtrude(100, 60).val())


def placed(points, turns=None):
    poses = np.tile(np.eye(4), (len(points), 1, 1))
    poses[:, :3, 3] = points
    if turns is not None:
        poses[:, :3, :3] = Rotation.from_rotvec(turns).as_matrix()
    return poses


def sized_ball(radius, radii, poses):
    return Drawn(
        ball(radius), poses, radii[:, None], [radius], [1.0], build=lambda size: ball(size[0])
    )


def check(found, pair, truth_mm, limit_mm):
    """No verdict against the truth, and none left open that is not at the threshold itself."""
    said, left_open = found.below[:, pair], found.undecided[:, pair]
    assert not (said & (truth_mm >= limit_mm + 1e-6)).any()
    assert not (~said & ~left_open & (truth_mm < limit_mm - 1e-6)).any()
    assert not (left_open & (np.abs(truth_mm - limit_mm) > 1e-4)).any()
    assert not (said & left_open).any()


# --- Closed forms ---------------------------------------------------------------------------


def test_balls_at_drawn_places():
    """Analytic: the distance of the centres less both radii."""
    rng = np.random.default_rng(0)
    points = np.array([30.0, 0, 0]) + rng.normal(0, 2, (COUNT, 3))
    truth = np.linalg.norm(points, axis=1) - 25
    found = below([Drawn(ball(10), placed(points)), Drawn(ball(15), np.eye(4))], [(0, 1)], 5.0)
    check(found, 0, truth, 5.0)
    assert 0.2 < found.below.mean() < 0.8
    assert found.measured < COUNT / 2


def test_balls_of_drawn_radii_at_drawn_places():
    """Analytic, and few of the balls are built: a radius moves the surface as it may at most."""
    rng = np.random.default_rng(1)
    points = np.array([30.0, 0, 0]) + rng.normal(0, 1, (COUNT, 3))
    radii = 10 + rng.normal(0, 0.5, COUNT)
    truth = np.linalg.norm(points, axis=1) - radii - 15
    moving = sized_ball(10.0, radii, placed(points))
    found = below([moving, Drawn(ball(15), np.eye(4))], [(0, 1)], 5.0)
    check(found, 0, truth, 5.0)
    assert 0.2 < found.below.mean() < 0.8
    assert 0 < found.built < COUNT / 10


def box_gap(offset, size_a, size_b):
    apart = np.abs(offset) - (size_a + size_b) / 2
    return np.linalg.norm(np.maximum(apart, 0.0), axis=1)


@pytest.mark.parametrize("movement", ["any way", "by axes"])
def test_boxes_of_drawn_sizes_at_drawn_places(movement):
    """Analytic: the gaps along the axes; two sizes of one box, one of the other."""
    rng = np.random.default_rng(2)
    offset = np.array([26.0, 3, 1]) + rng.normal(0, 1, (COUNT, 3))
    a, b = np.tile([20.0, 20, 20], (COUNT, 1)), np.tile([20.0, 30, 40], (COUNT, 1))
    a[:, :2] += rng.normal(0, 0.4, (COUNT, 2))
    b[:, 0] += rng.normal(0, 0.4, COUNT)
    half, flat = [-0.5, 0.5], [0.0, 0.0]
    along = movement == "by axes"
    moving = Drawn(
        block(20, 20, 20),
        placed(offset),
        a[:, :2],
        [20, 20],
        [0.5, 0.5],
        [[half, flat, flat], [flat, half, flat]] if along else None,
        lambda size: block(size[0], size[1], 20),
    )
    standing = Drawn(
        block(20, 30, 40),
        np.eye(4),
        b[:, :1],
        [20],
        [0.5],
        [[half, flat, flat]] if along else None,
        lambda size: block(size[0], 30, 40),
    )
    found = below([moving, standing], [(0, 1)], 6.0)
    check(found, 0, box_gap(offset, a, b), 6.0)
    assert 0.2 < found.below.mean() < 0.8
    assert found.built < (12 if along else COUNT)


def test_a_disc_over_a_plate_that_is_never_quite_level():
    """Analytic: the lowest point of a tilted disc's rim. Level faces are hard for triangles."""
    rng = np.random.default_rng(9)
    height, tilt = 13 + rng.normal(0, 0.5, COUNT), rng.normal(0, 0.004, (COUNT, 2))
    turns = np.c_[tilt, np.zeros(COUNT)]
    angle = np.linalg.norm(tilt, axis=1)
    truth = height - 4 * np.cos(angle) - 60 * np.sin(angle) - 4
    disc = Drawn(rod(8, 60), placed(np.c_[0 * height, 0 * height, height], turns))
    found = below([disc, Drawn(rod(8, 90), np.eye(4))], [(0, 1)], 4.8)
    check(found, 0, truth, 4.8)
    assert 0.2 < found.below.mean() < 0.8
    assert found.measured < COUNT / 5


def test_a_ball_in_a_bore_is_within_the_hull_and_clear_all_the_same():
    """Analytic: the bore's radius less the ball's and how far it is off the axis."""
    rng = np.random.default_rng(10)
    points = rng.normal(0, 2, (COUNT, 3))
    truth = 30 - 12 - np.linalg.norm(points[:, :2], axis=1)
    ring = cq.Workplane().circle(50).circle(30).extrude(80, both=True).val()
    bodies = [Drawn(ball(12), placed(points)), Drawn(body_from_shape("ring", ring), np.eye(4))]
    found = below(bodies, [(0, 1)], 15.5)
    check(found, 0, truth, 15.5)
    assert 0.2 < found.below.mean() < 0.8


def test_growth_alone_turns_the_verdicts():
    """Analytic: nothing moves; the gap of 6 is below 5 where both radii grow by more than 1."""
    rng = np.random.default_rng(3)
    a, b = 10 + rng.uniform(-1, 1.5, COUNT), 12 + rng.uniform(-1, 1.5, COUNT)
    bodies = [sized_ball(10.0, a, np.eye(4)), sized_ball(12.0, b, at(28))]
    assert not below(
        [Drawn(ball(10), np.eye(4)), Drawn(ball(12), at(28))], [(0, 1)], 5.0
    ).below.any()
    found = below(bodies, [(0, 1)], 5.0)
    check(found, 0, 28 - a - b, 5.0)
    assert 0.1 < found.below.mean() < 0.6


def test_a_size_that_moves_a_face_the_other_way_than_it_may():
    """Analytic: a plate whose near face backs off as it gets thinner, and one that stays.

    The movement that is allowed, 1 mm a mm either way, does not say which.
    """
    rng = np.random.default_rng(4)
    thick, x = 10 + rng.normal(0, 0.5, COUNT), 36 + rng.normal(0, 0.5, COUNT)

    def plate(size):
        made = cq.Workplane().box(size[0], 50, 50, centered=(False, True, True))
        return body_from_shape("plate", made.val())

    for turned in (0.0, np.pi):
        stand = at(0, 0, 0, Rotation.from_rotvec([0, 0, turned]))
        rear = thick if turned == 0 else 0.0
        drawn = Drawn(plate([10.0]), stand, thick[:, None], [10], [1.0], build=plate)
        shift = 0.0 if turned == 0 else -10.0
        post = Drawn(block(20, 20, 20), placed(np.c_[x + shift, 0 * x, 0 * x]))
        found = below([post, drawn], [(0, 1)], 16.0)
        check(found, 0, x + shift - 10 - rear, 16.0)
        assert 0.2 < found.below.mean() < 0.8


def test_a_size_that_moves_one_of_two_tanks_only():
    """Analytic: a short tank and one that gets deeper, and a wall that each may be nearest to.

    If it is told what moves and what does not, the bodies at the ends of the size tell it all.
    """
    rng = np.random.default_rng(8)
    depth, gap = 19 + rng.normal(0, 1, COUNT), 5 + rng.normal(0, 1, COUNT)

    def tanks(size):
        deep = cq.Workplane().box(size[0], 40, 20, centered=(False, True, True))
        short = cq.Workplane().box(20, 40, 20, centered=(False, True, True))
        both = [deep.translate((0, 0, 50)).val(), short.translate((0, 0, -50)).val()]
        return body_from_shape("tanks", cq.Compound.makeCompound(both))

    still, grows = np.zeros((1, 3, 2)), np.array([[[0, 1], [0, 0], [0, 0]]])
    growths = [
        Growth([[0, -20, 40], [20, 20, 60]], grows),
        Growth([[0, -20, -60], [20, 20, -40]], still),
    ]
    poses, wall = placed(np.c_[-gap, 0 * gap, 0 * gap]), Drawn(block(10, 100, 200), at(25))
    built = []
    for told in ((), growths):
        moving = Drawn(
            tanks([19.0]), poses, depth[:, None], [19.0], [1.0], grows, tanks, growths=told
        )
        found = below([moving, wall], [(0, 1)], 4.5)
        check(found, 0, np.minimum(gap, gap + 20 - depth), 4.5)
        assert 0.2 < found.below.mean() < 0.8
        built.append(found.built)
    assert built[1] <= 2
    assert built[0] > built[1]


# --- Brute force ----------------------------------------------------------------------------


def test_a_small_stack_against_brute_force():
    """Independent: each body built at the sample's sizes, put in place, measured exactly."""
    rng = np.random.default_rng(5)
    count, limit = 60, np.array([5.5, 4.0, 4.0, 4.0])
    radii = 8 + rng.normal(0, 0.4, count)
    turns = rng.normal(0, 0.02, (count, 3))
    twist = placed(np.array([30.0, 5, 0]) + rng.normal(0, 1.0, (count, 3)), turns)
    post = placed(np.array([0.0, 20, 40]) + rng.normal(0, 1.0, (count, 3)), turns[::-1])
    bodies = [
        Drawn(blade(), twist),
        Drawn(rod(120, 8), post, radii[:, None], [8], [1.0], build=lambda size: rod(120, size[0])),
        Drawn(block(30, 60, 30), at(10, 10, 119)),
        Drawn(block(10, 60, 90), at(-17, 20, 60)),
    ]
    pairs = [(0, 1), (0, 2), (1, 2), (1, 3)]
    found = below(bodies, pairs, limit)
    for k, (i, j) in enumerate(pairs):
        for n in range(count):
            made = []
            for one in (bodies[i], bodies[j]):
                body = one.body if one.build is None else one.build(np.asarray(one.sizes)[n])
                poses = np.asarray(one.poses)
                made.append((body, poses if poses.ndim == 2 else poses[n]))
            (a, pose_a), (b, pose_b) = made
            truth = clearance(a, b, pose_a, pose_b)
            if not found.undecided[n, k]:
                assert found.below[n, k] == (truth.distance_mm < limit[k]), (i, j, n, truth)
    share = found.below.mean(axis=0)
    assert ((share > 0.1) & (share < 0.9)).sum() >= 2
    assert not found.undecided.any()


def test_a_body_within_another_is_below_whatever_its_surfaces_say():
    poses = np.stack([at(x) for x in np.linspace(-150, 150, 41)])
    found = below([Drawn(block(4, 4, 4), poses), Drawn(block(100, 100, 100), at())], [(0, 1)], 3.0)
    inside = clearance(block(4, 4, 4), block(100, 100, 100), poses[20], None)
    assert inside.relation is Relation.INSIDE
    x = poses[:, 0, 3]
    assert found.below[:, 0].tolist() == (np.abs(x) - 52 < 3).tolist()


def test_a_growing_body_that_swallows_another():
    """By hand: a pin in the bore of a tube is clear of it; solid, the tube would hold it."""
    tube = body_from_shape("tube", cq.Workplane().circle(40).circle(20).extrude(100).val())
    pin = Drawn(rod(10, 4), np.stack([at(0, 0, 50), at(30, 0, 50)]))
    found = below([pin, Drawn(tube, np.eye(4))], [(0, 1)], 3.0)
    assert found.below[:, 0].tolist() == [False, True]


# --- What cannot be told ----------------------------------------------------------------------


def test_a_scan_within_its_own_error_of_the_threshold_is_undecided():
    """Analytic: a flat scan that may be off by 0.5, and a block at 5 less and more than that."""
    x, y = 100.0, 100.0
    wall = body_from_mesh(
        "scan",
        [[0, -x, -y], [0, x, -y], [0, x, y], [0, -x, y]],
        [[0, 1, 2], [0, 2, 3]],
        deflection_mm=0.5,
    )
    gaps = np.array([3.0, 4.4, 4.6, 5.0, 5.4, 5.6, 7.0])
    block_at = placed(np.c_[gaps + 10, 0 * gaps, 0 * gaps])
    found = below([Drawn(block(20, 20, 20), block_at), Drawn(wall, np.eye(4))], [(0, 1)], 5.0)
    assert found.below[:, 0].tolist() == [True, True, False, False, False, False, False]
    assert found.undecided[:, 0].tolist() == [False, False, True, True, True, False, False]
    assert found.below_count.tolist() == [2]
    assert found.undecided_count.tolist() == [3]


def test_what_cannot_be_built_stays_undecided_where_its_size_matters():
    """Analytic: a gap of 5 to 7 under a size that may take up to 1 of it, or give it."""
    off = np.array([0.0, 1.0, -1.0])
    grid = np.array([[gap, size] for gap in (4.9, 5.5, 6.5) for size in off])
    poses = placed(np.c_[grid[:, 0] + 20, 0 * grid])
    moving = Drawn(block(20, 20, 20), poses, grid[:, 1:], [0.0], [1.0])
    found = below([moving, Drawn(block(20, 20, 20), np.eye(4))], [(0, 1)], 5.0)
    assert found.undecided[:, 0].tolist() == [False, True, True, False, True, True] + [False] * 3
    assert found.below[:, 0].tolist() == [True] + [False] * 8
    assert found.built == 0


def test_samples_and_pairs_are_put_together():
    gaps = np.array([1.0, 3.0, 9.0])
    mover = Drawn(block(10, 10, 10), placed(np.c_[gaps + 10, 0 * gaps, 0 * gaps]))
    stands = [Drawn(block(10, 10, 10), at()), Drawn(block(10, 10, 10), at(32))]
    found = below([mover, *stands], [(0, 1), (0, 2)], [2.0, 4.0])
    assert found.below.tolist() == [[True, False], [False, False], [False, True]]
    assert found.any_below.tolist() == [True, False, True]
    assert found.any_undecided.tolist() == [False, False, False]


# --- The same again, progress, and what is refused ----------------------------------------------


def two_balls(count=50):
    rng = np.random.default_rng(6)
    points = np.array([30.0, 0, 0]) + rng.normal(0, 1, (count, 3))
    radii = 10 + rng.normal(0, 0.5, count)
    return [sized_ball(10.0, radii, placed(points)), Drawn(ball(15), np.eye(4))]


def test_the_same_draws_give_the_same_answer():
    one, other = (below(two_balls(), [(0, 1)], 5.0) for _ in range(2))
    assert np.array_equal(one.below, other.below)
    assert np.array_equal(one.undecided, other.undecided)
    assert (one.measured, one.exact, one.built) == (other.measured, other.exact, other.built)


def test_progress_is_told_before_each_pair_and_at_the_end():
    told = []
    bodies = [*two_balls(), Drawn(block(5, 5, 5), at(900))]
    below(bodies, [(0, 1), (0, 2)], 5.0, progress=lambda *words: told.append(words))
    assert told == [(0, 2, "ball and ball"), (1, 2, "ball and block"), (2, 2, "done")]


def test_far_pairs_cost_nothing():
    found = below([two_balls()[0], Drawn(block(5, 5, 5), at(900))], [(0, 1)], 5.0)
    assert (found.measured, found.exact, found.built) == (0, 0, 0)
    assert not found.below.any()
    assert not found.undecided.any()


SIZES = np.full((3, 1), 10.0)


def grown(boxes, axes):
    growths = [Growth(box, [moved]) for box, moved in zip(boxes, axes, strict=True)]
    return Drawn(ball(10), at(40), SIZES, [10.0], [1.0], growths=growths)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (Drawn(ball(10), at(40), SIZES, [10.0], [np.nan]), "movement"),
        (Drawn(ball(10), at(40), SIZES, [10.0], [-0.1]), "movement"),
        (Drawn(ball(10), at(40), SIZES, [10.0], [[1.0]]), r"\(k,\)"),
        (Drawn(ball(10), at(40), SIZES, [10.0], [1.0], [[[1, -1]] * 3]), "from least to most"),
        (Drawn(ball(10), at(40), SIZES, [10.0], [1.0], [[[0, np.inf]] * 3]), "finite"),
        (Drawn(ball(10), at(40), SIZES * np.nan, [10.0], [1.0]), "finite"),
        (Drawn(ball(10), at(40), SIZES, [10.0]), "need"),
        (grown([[[-10] * 3, [10] * 3]], [[[1, -1]] * 3]), "least to most"),
        (grown([[[-10] * 3, [9] * 3]], [[[0, 1]] * 3]), "leave some of it out"),
        (grown([[[10] * 3, [-10] * 3]], [[[0, 1]] * 3]), "a growth has"),
        (grown([[[-10] * 3, [10] * 3]], [[[0, 1]] * 2]), "a growth has"),
        (grown([[[-10] * 3, [np.inf] * 3]], [[[0, 1]] * 3]), "not finite"),
        (Drawn(ball(10), np.eye(4) * [1, 1, -1, 1]), "turns and moves"),
        (Drawn(ball(10), np.eye(4)[None] * [2, 1, 1, 1]), "number 0"),
        (Drawn(ball(10), np.zeros((0, 4, 4))), r"n of 1 or more"),
        (Drawn(ball(10), np.tile(np.eye(4), (2, 1, 1)), SIZES, [10.0], [1.0]), "2 poses but 3"),
    ],
)
def test_a_body_that_cannot_be_is_refused(wrong, words):
    with pytest.raises(GeometryError, match=words):
        below([wrong, Drawn(ball(5), np.eye(4))], [(0, 1)], 5.0)


@pytest.mark.parametrize(
    ("pairs", "limit"),
    [
        ([(0, 2)], 5.0),
        ([(1, 1)], 5.0),
        ([(0, 1)], 0.0),
        ([(0, 1)], np.nan),
        ([(0, 1)], [5.0, 5.0]),
    ],
)
def test_a_question_that_is_none_is_refused(pairs, limit):
    with pytest.raises(GeometryError):
        below([Drawn(ball(10), at(40)), Drawn(ball(5), np.eye(4))], pairs, limit)


def test_numbers_of_samples_that_differ_are_refused():
    three, two = (Drawn(ball(10), placed(np.zeros((n, 3)))) for n in (3, 2))
    with pytest.raises(GeometryError, match=r"\[2, 3\]"):
        below([three, two], [(0, 1)], 5.0)


def test_a_body_that_outgrows_its_movement_is_refused():
    """What no bound can hold for is caught where it shows: in the box of what was built."""
    radii = np.linspace(9.0, 11.0, 30)
    wrong = Drawn(ball(10), at(30), radii[:, None], [10.0], [0.2], build=lambda size: ball(size[0]))
    with pytest.raises(GeometryError, match="movement"):
        below([wrong, Drawn(ball(15), np.eye(4))], [(0, 1)], 5.0)
