"""The body's parts over their whole size ranges, against hand formulas (`body_by_hand`)."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from body_by_hand import BY_HAND
from noseroom.envelope.reader import read_text
from noseroom.errors import EnvelopeError
from noseroom.geometry.mesh import body_from_shape
from noseroom.geometry.overlap import inside
from noseroom.parts.base import Part
from noseroom.parts.bracket import Bracket
from noseroom.parts.condenser import Condenser
from noseroom.parts.core_support import CoreSupport
from noseroom.parts.drier import Drier
from noseroom.parts.electric_fan import ElectricFan
from noseroom.parts.hose import Hose
from noseroom.parts.obstacles import Mark
from noseroom.parts.registry import KINDS
from noseroom.parts.shroud import Shroud
from noseroom.pipeline import arranged
from part_checks import (
    COARSE,
    HERE,
    bodies,
    check_faces_on_metal,
    check_follows_sizes,
    check_kind,
    check_movement_bounds,
    check_pieces_cover,
    check_pieces_tight,
    check_solids,
    draws,
    outside_mm,
)

EVERY = [pytest.param(part, id=part.about.name) for part in BY_HAND]

# Faces whose middles need not be metal: an opening's edges; a bowed rail's, named where it is not
# bowed; those of a ringed plate and a frame; those with a hole.
FREE = {
    Condenser: tuple(
        f"{end} {side} tab." for end in ("upper", "lower") for side in ("left", "right")
    ),
    Bracket: ("first leg.", "second leg."),
    CoreSupport: ("face", "front", "opening.", "upper rail."),
    Shroud: ("front", "rear", "ring.rear"),
    ElectricFan: ("front", "rear", "left", "right", "bottom", "top"),
}


@pytest.mark.parametrize(
    "part", [*EVERY, *(pytest.param(p, id=p.about.name) for p in (Mark, Hose))]
)
def test_declarations_hang_together(part: type[Part]) -> None:
    check_kind(part)


@pytest.mark.parametrize("part", EVERY)
def test_solids_are_valid_and_as_worked_by_hand_and_pieces_contain_them(part: type[Part]) -> None:
    for k, made in enumerate(draws(part, seed=20)):
        solids = check_solids(made, BY_HAND[part](made))
        # Meshing is what takes time; 5 shares no factor with any part's number of choices. Every
        # vertex of a coarse mesh is on the true surface too.
        if k % 5 < 2 or len(made.pieces()) < 4:
            meshed = bodies(made, COARSE, solids)
            check_pieces_cover(made, meshed, seed=k)
            check_faces_on_metal(made, meshed, free=FREE.get(part, ()))


# Small mounting holes are filled by the pieces, never deeper than their largest radius.
HOLES = {Condenser: 7.0, Drier: 7.0, ElectricFan: 6.0, Bracket: 7.0}


@pytest.mark.parametrize("part", EVERY)
def test_pieces_stand_no_further_off_the_metal_than_a_circumscribed_prism(part: type[Part]) -> None:
    for made in list(draws(part, seed=21, count=2))[:2]:
        check_pieces_tight(made, bodies(made), filled_mm=HOLES.get(part, 0.0))


@pytest.mark.parametrize("part", EVERY)
def test_features_and_pieces_follow_sizes_with_exact_derivatives(part: type[Part]) -> None:
    for made in list(draws(part, seed=4, count=2))[:2]:
        check_follows_sizes(made)


@pytest.mark.parametrize("part", EVERY)
def test_no_point_of_the_surface_moves_further_than_the_part_says(part: type[Part]) -> None:
    check_movement_bounds(next(draws(part, seed=5)))


# -- what the closed forms do not show -----------------------------------------------------------


def test_the_opening_is_as_free_in_the_pieces_as_in_the_metal() -> None:
    made = Shroud(diameter_mm=440.0, left_mm=5.0, right_mm=120.0, top_mm=3.0, bottom_mm=60.0)
    y, z = (made.left_mm - made.right_mm) / 2, (made.bottom_mm - made.top_mm) / 2
    turn = np.linspace(0.0, 2 * math.pi, 361)
    # The chords of 72 wedges reach r (1 - cos(pi / 72)) = 0.095 % of r into the opening.
    r = 220.0 * (1 - 0.00096)
    for x in np.linspace(0.0, made.depth_mm + made.ring_depth_mm, 23):
        circle = np.stack([np.full_like(turn, x), y + r * np.cos(turn), z + r * np.sin(turn)], -1)
        for piece in made.pieces():
            hull = ConvexHull(piece.corners).equations
            assert float(outside_mm(circle, [hull]).min()) > -1e-9, piece


@pytest.mark.parametrize("number", ["single", "twin"])
def test_a_fans_sweep_runs_free_of_its_frame_in_the_pieces(number: str) -> None:
    made = ElectricFan(number=number, diameter_mm=300.0, depth_mm=60.0, motor_depth_mm=40.0)
    frame = [ConvexHull(p.corners).equations for p in made.pieces() if p.component == "frame"]
    for piece in made.pieces():
        if piece.component == "sweep":
            assert float(outside_mm(piece.corners, frame).min()) >= 0.0


def test_a_fan_in_front_is_the_mirror_image_of_one_behind() -> None:
    sizes = {"diameter_mm": 300.0, "depth_mm": 60.0, "motor_depth_mm": 40.0}
    behind, front = ElectricFan(**sizes), ElectricFan(mounting="in front", **sizes)
    for name, solid in behind.solids().items():
        there, here = solid.Center(), front.solids()[name].Center()
        assert here.x == pytest.approx(60.0 - there.x, abs=1e-6), name
        assert (here.y, here.z) == pytest.approx((there.y, there.z), abs=1e-6), name
    assert front.features()["motor.face"].point[0] == pytest.approx(-40.0)


def test_openings_edges_face_into_the_opening() -> None:
    made = CoreSupport(opening_width_mm=700.0, opening_height_mm=480.0)
    middle = made.features()["opening"].point
    np.testing.assert_allclose(middle, [0.0, 0.0, 240.0])
    for edge, at in {
        "left": (0.0, -350.0, 240.0),
        "right": (0.0, 350.0, 240.0),
        "bottom": (0.0, 0.0, 0.0),
        "top": (0.0, 0.0, 480.0),
    }.items():
        feature = made.features()[f"opening.{edge}"]
        np.testing.assert_allclose(feature.point, at)
        assert float((middle - feature.point) @ feature.direction) > 0.0


def test_a_bowed_rail_takes_up_its_bow_on_both_sides() -> None:
    straight = CoreSupport(opening_width_mm=700.0, opening_height_mm=480.0)
    bowed = dataclasses.replace(straight, bow_mm=6.0)
    before, after = (p.solids()["rails"].BoundingBox() for p in (straight, bowed))
    assert after.xmax == pytest.approx(before.xmax + 6.0, abs=5e-3)
    upper = bowed.pieces()[0].corners
    assert upper[:, 0].min() == pytest.approx(-straight.upper_depth_mm - 6.0)


@pytest.mark.parametrize("part", [Condenser, Drier, ElectricFan, Bracket, CoreSupport])
def test_ports_lie_on_metal_and_point_out_of_it(part: type[Part]) -> None:
    for made in list(draws(part, seed=9, count=2))[:4]:
        metal = {n: s for n, s in made.solids().items() if n not in made.sweeps()}
        meshed = bodies(made, COARSE, metal)
        for name, port in made.ports().items():
            assert float(np.linalg.norm(port.direction)) == pytest.approx(1.0)
            # A hole's middle is no metal, its rim is; a spout's end is metal up to its rim.
            helper = np.cross(port.direction, [0.3, 0.5, 0.8])
            rim = port.point + helper / np.linalg.norm(helper) * port.bore_mm / 2
            assert any(
                inside(np.array([rim * 1.0 - 1e-3 * port.direction]), body, HERE)[0]
                or _near(body, rim)
                for body in meshed.values()
            ), f"{name}: {made}"
            ahead = np.array([port.point + 0.5 * port.direction])
            own = "core" if part is CoreSupport else None
            for component, body in meshed.items():
                if component != own:
                    assert not inside(ahead, body, HERE)[0], f"{name} points into {component}"


def _near(body: Any, point: Any) -> bool:
    from noseroom.geometry.trees import point_distance

    return point_distance(body.tree, HERE, point) <= 2 * body.mesh.bound_mm + 1e-6


def test_marks_have_features_but_no_body() -> None:
    made = Mark()
    assert made.pieces() == ()
    assert made.solids() == {}
    assert set(made.features()) == {"line", "face"}


# -- hoses ---------------------------------------------------------------------------------------

BALL = 1.0705
"""How far the corners of the polyhedron round a unit ball stand out: a twice-split icosahedron."""


def random_run(rng: np.random.Generator, radius: float) -> tuple[Any, list[float], list[float]]:
    """Points of a run, its legs' lengths, the turns at its bends (rad); it never meets itself."""
    legs = [float(rng.uniform(4, 8)) * radius for _ in range(int(rng.integers(1, 5)))]
    turns = [float(rng.uniform(0.05, 1.2)) for _ in legs[1:]]
    way = rng.normal(size=3)
    way /= np.linalg.norm(way)
    points = [rng.uniform(-50, 50, size=3)]
    for leg, turn in zip(legs, [*turns, 0.0], strict=True):
        points.append(points[-1] + leg * way)
        side = np.cross(way, rng.normal(size=3))
        side /= np.linalg.norm(side)
        way = math.cos(turn) * way + math.sin(turn) * np.cross(side, way)
    return tuple(tuple(float(v) for v in point) for point in points), legs, turns


def test_hoses_have_the_volume_of_legs_and_ball_wedges() -> None:
    """At a bend by t the outside gains a ball's wedge, the inside loses where the legs overlap.

    The wedge is 2/3 t r³; the loss, twice the hoof that the mitre plane cuts from a leg, is
    4/3 r³ tan(t/2).
    """
    rng = np.random.default_rng(11)
    for _ in range(12):
        radius = float(rng.uniform(3, 45))
        run, legs, turns = random_run(rng, radius)
        made = Hose(diameter_mm=2 * radius, run=run)
        solid = made.solids()["hose"]
        wanted = math.pi * radius**2 * sum(legs) + sum(
            radius**3 * (2 / 3 * turn - 4 / 3 * math.tan(turn / 2)) for turn in turns
        )
        assert solid.isValid()
        assert solid.Volume() == pytest.approx(wanted, rel=1e-6)
        meshed = {"hose": body_from_shape("hose", solid, COARSE)}
        check_pieces_cover(made, meshed)
        check_pieces_tight(made, meshed, share=0.0, filled_mm=(BALL - 1.0) * radius)


def test_a_hoses_surface_moves_by_half_of_its_diameters_change() -> None:
    made = Hose(diameter_mm=40.0, run=((0, 0, 0), (200, 0, 0), (200, 150, 40)))
    bound = made.movement_bounds()["diameter_mm"]
    assert 0.5 <= bound <= 0.5 * BALL
    check_movement_bounds(made)


def test_a_leg_too_short_for_its_bends_still_makes_valid_solids() -> None:
    made = Hose(diameter_mm=40.0, run=((0, 0, 0), (100, 0, 0), (101, 0, 2), (101, 200, 2)))
    shape = made.solids()["hose"]
    assert shape.isValid()
    meshed = {"hose": body_from_shape("hose", shape, COARSE)}
    check_pieces_cover(made, meshed)
    box = shape.BoundingBox()
    assert (box.zmin, box.zmax) == pytest.approx((-20.0, 22.0), abs=5e-3)


def test_a_hose_without_a_run_has_no_body() -> None:
    assert Hose().solids() == {}
    assert Hose().pieces() == ()


def test_a_clamp_above_its_canister_is_a_fault_with_its_line() -> None:
    text = (
        "format: 1\nunits: mm\ncore support: {opening: {width: 600, height: 400}}\n"
        "drier:\n  diameter: 60\n  height: 180\n  clamp: {up: 170, height: 30}\n"
        "  place:\n    - axis 90 ahead of core support.face\n"
        "    - bottom 60 above core support.opening.bottom\n"
    )
    envelope = read_text(text, KINDS, name="clamped.yaml")
    with pytest.raises(EnvelopeError) as caught:
        arranged("clamped.yaml", envelope, {})
    (fault,) = caught.value.faults
    assert fault.line == 7
    assert "20.0 mm above the canister's top" in fault.found
    assert "no more than the height" in fault.expected
    # What reading it may be off by is no contradiction, and what nobody has read gives way.
    for clamp in ("{up: 150.5, height: 30}", "{height: 30}"):
        good = text.replace("{up: 170, height: 30}", clamp)
        arranged("clamped.yaml", read_text(good, KINDS, name="clamped.yaml"), {})


def test_no_drier_is_drawn_whose_band_holds_nothing() -> None:
    for made in draws(Drier, seed=9, count=60):
        assert made.clamp == "no" or made.clamp_up_mm + made.clamp_height_mm <= made.height_mm
