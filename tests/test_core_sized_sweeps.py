"""Sweeps of bodies whose sizes differ from pose to pose, against closed forms and brute force."""

import cadquery as cq
import numpy as np
import pytest

from noseroom.errors import GeometryError
from noseroom.geometry.clearance import clearance
from noseroom.geometry.draws import Drawn
from noseroom.geometry.mesh import body_from_shape
from noseroom.geometry.sweeps import sweep
from truth_makers import at

COUNT = 60


def ball(radius):
    return body_from_shape("ball", cq.Workplane().sphere(radius).val())


def bar(length):
    """From its middle, along x."""
    return body_from_shape("bar", cq.Workplane().box(length, 20, 20).val())


def along_x(places):
    poses = np.tile(np.eye(4), (len(places), 1, 1))
    poses[:, 0, 3] = places
    return poses


def growing_ball(usual, radii, build=True):
    made = (lambda size: ball(size[0])) if build else None
    return Drawn(ball(usual), np.eye(4), radii[:, None], [usual], [1.0], build=made)


def growing_bar(usual, lengths, build=True):
    made = (lambda size: bar(size[0])) if build else None
    axes = [[[-0.5, 0.5], [0, 0], [0, 0]]]
    return Drawn(bar(usual), np.eye(4), lengths[:, None], [usual], [0.5], axes, made)


def check(found, truth_mm, slack_mm):
    """The smallest of the true clearances (n,), found in the right pose, and no bound above it."""
    assert found.distance_mm[0, 0] == pytest.approx(truth_mm.min(), abs=slack_mm)
    assert truth_mm[found.pose[0, 0]] == pytest.approx(truth_mm.min(), abs=2 * slack_mm)
    assert truth_mm.min() - 2 * slack_mm <= found.bound_mm[0, 0] <= truth_mm.min() + 1e-6


def test_a_ball_that_grows_along_its_way_past_another():
    """Analytic: the distance of the centres less both radii; largest long after it has passed."""
    x = np.linspace(-60, 60, COUNT)
    radii = 10 + np.linspace(0, 25, COUNT)
    poses = along_x(x)
    poses[:, 1, 3] = 80
    truth = np.hypot(x, 80) - radii - 12
    mover = growing_ball(22.5, radii)
    found = sweep([mover], poses, [ball(12)], [None], cap_mm=100)
    check(found, truth, ball(35).mesh.bound_mm + ball(12).mesh.bound_mm)
    assert found.pose[0, 0] > COUNT * 0.6
    assert 0 < found.built < COUNT / 4
    plain = sweep([ball(22.5)], poses, [ball(12)], [None], cap_mm=100)
    assert abs(plain.pose[0, 0] - COUNT / 2) <= 1
    assert found.bound_mm[0, 0] < plain.bound_mm[0, 0] - 1


def test_a_bar_that_lengthens_on_its_way_to_a_wall():
    """Analytic: plane faces, so no chord error: the gap is linear in place and length."""
    rng = np.random.default_rng(0)
    x, lengths = np.linspace(0, 30, COUNT), 40 + rng.uniform(-8, 8, COUNT)
    truth = 95 - x - lengths / 2
    wall = body_from_shape("wall", cq.Workplane().box(10, 80, 80).val())
    found = sweep([growing_bar(40.0, lengths)], along_x(x), [wall], [at(100)], cap_mm=60)
    check(found, truth, 1e-6)
    assert found.pose[0, 0] == truth.argmin()
    assert 0 < found.built < COUNT / 4


def test_what_stands_still_may_grow_too():
    """Analytic: both balls' radii are drawn; the nearest pose is told from the others."""
    rng = np.random.default_rng(1)
    x = 60 + rng.uniform(0, 2, COUNT)
    one, other = 10 + rng.uniform(-2, 2, COUNT), 20 + rng.uniform(-2, 2, COUNT)
    found = sweep(
        [growing_ball(10.0, one)], along_x(x), [growing_ball(20.0, other)], [None], cap_mm=100
    )
    check(found, x - one - other, ball(12).mesh.bound_mm + ball(22).mesh.bound_mm)


def test_what_cannot_be_built_leaves_its_growth_between_bound_and_distance():
    """Analytic: a bar that may lengthen or not, at both ends by half of what its size does."""
    x, lengths = np.linspace(0, 30, COUNT), 40 + np.linspace(0, 8, COUNT)
    wall = body_from_shape("wall", cq.Workplane().box(10, 80, 80).val())
    mover = growing_bar(40.0, lengths, build=False)
    found = sweep([mover], along_x(x), [wall], [at(100)], cap_mm=80)
    grown = (lengths - 40) / 2
    assert found.bound_mm[0, 0] == pytest.approx((75 - x - grown).min(), abs=1e-6)
    assert found.distance_mm[0, 0] == pytest.approx((75 - x + grown).min(), abs=1e-6)
    assert found.built == 0


def test_a_body_of_its_own_place_is_moved_from_there():
    """By hand: 30 of its own and 20 of the sweep's, a radius of 10 and one of 15."""
    mover = Drawn(ball(10), at(30), np.array([[10.0], [15.0]]), [10.0], [1.0], build=None)
    found = sweep([mover], along_x([20.0, 20.0]), [ball(5)], [None], cap_mm=100)
    assert found.bound_mm[0, 0] == pytest.approx(50 - 15 - 5, abs=0.3)
    assert found.bound_mm[0, 0] <= 30


def test_a_shell_that_closes_round_a_ball_holds_it():
    """By hand: the bar reaches the ball in no pose but the one in which it is long enough."""
    lengths = np.array([40.0, 200.0, 40.0])
    found = sweep([growing_bar(40.0, lengths)], along_x([0.0] * 3), [ball(3)], [at(50)], cap_mm=60)
    assert found.distance_mm[0, 0] == found.bound_mm[0, 0] == 0
    assert found.pose[0, 0] == 1


def test_beyond_the_cap_only_a_bound_is_given():
    """Analytic: 200 between the centres, radii up to 20 and 5."""
    found = sweep(
        [growing_ball(10.0, np.array([10.0, 20.0]))],
        along_x([200.0] * 2),
        [ball(5)],
        [None],
        cap_mm=50,
    )
    assert np.isnan(found.distance_mm[0, 0])
    assert found.pose[0, 0] == -1
    assert 50 <= found.bound_mm[0, 0] <= 175
    assert found.built == 0


def test_drawn_twists_against_brute_force():
    """Independent: each pose's bodies built and measured exactly."""
    rng = np.random.default_rng(2)
    count = 25

    def blade(size):
        return body_from_shape("blade", cq.Workplane().rect(size[0], 4).twistExtrude(80, 50).val())

    widths = 40 + rng.uniform(-3, 3, count)
    poses = np.stack([at(*one) for one in rng.uniform(-4, 4, (count, 3))])
    drawn = Drawn(blade([40.0]), np.eye(4), widths[:, None], [40.0], [0.5], build=blade)
    post = body_from_shape("post", cq.Workplane().cylinder(200, 8).val())
    found = sweep([drawn], poses, [post], [at(45, 5)], cap_mm=60)
    truth = np.array(
        [
            clearance(blade([width]), post, pose, at(45, 5)).distance_mm
            for width, pose in zip(widths, poses, strict=True)
        ]
    )
    check(found, truth, post.mesh.bound_mm + drawn.body.mesh.bound_mm)


@pytest.mark.parametrize(
    ("mover", "words"),
    [
        (Drawn(ball(5), along_x([0.0, 1.0])), "one pose"),
        (growing_ball(5.0, np.full(3, 5.0)), r"sizes for \[3\]"),
        (Drawn(ball(5), np.eye(4), np.full((2, 1), 5.0), [5.0], [-1.0]), "movement"),
    ],
)
def test_a_drawn_body_that_does_not_fit_the_sweep_is_refused(mover, words):
    with pytest.raises(GeometryError, match=words):
        sweep([mover], along_x([50.0, 60.0]), [ball(5)], [None], cap_mm=5)
