"""How every stack behaves: facts of the trade that hold whatever its figures are.

Each example draws a stack and a state over the whole range of inputs and moves one figure in steps
side by side. What runs away or boils over has no figure; it counts as beyond all others.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.physics.stack import StackAnswer, solve_stack
from noseroom.physics.stack_parts import Opening, Stack, StackState, Zone
from stack_makers import (
    FACE_M2,
    GRILLE,
    SHARP,
    compression,
    condenser,
    fan,
    radiator,
    stack,
    state,
)

STEPS = 6
CLOSE = 1e-6


@st.composite
def noses(draw: Any, sealed: bool = False, **instead: Any) -> dict[str, Any]:
    """Figures of a stack and a state, from poor ones to good ones."""

    def between(low: float, high: float) -> float:
        return float(draw(st.floats(low, high)))

    shrouded = draw(st.booleans())
    found: dict[str, Any] = {
        "covered": between(0.3, 1.0),
        "drawn": 1.0 if sealed else between(0.85, 1.0) if shrouded else between(0.4, 0.7),
        "beside": 0.0 if sealed else between(0.0, 0.05),
        "rim": 0.0 if sealed else between(0.0, 0.04),
        "leak": 0.0 if sealed else between(0.002, 0.02) if shrouded else between(0.03, 0.15),
        "drag": between(0.5, 3.0),
        "heat": between(0.8, 1.5),
        "grille": between(0.06, 0.3),
        "outlet": between(0.05, 0.4),
        "speed": between(0.3, 2.0),
        "ram": between(0.0, 400.0),
        "base": between(-80.0, 20.0),
        "celsius": between(15.0, 45.0),
        "humidity": between(0.0, 1.0),
        "coolant_w": between(2000.0, 25000.0),
        "bay_w": between(0.0, 6000.0),
        "returned": 0.0 if sealed else between(0.0, 0.15),
        "load": between(1500.0, 7000.0),
        "rpm": between(700.0, 4000.0),
        "running": draw(st.booleans()),
    }
    return {**found, **instead}


def solved(figures: dict[str, Any]) -> StackAnswer:
    made, asked = nose_of(figures)
    return solve_stack(made, asked, STEPS)


def nose_of(at: dict[str, Any]) -> tuple[Stack, StackState]:
    running = at["running"]
    made = stack(
        at["covered"],
        at["drawn"],
        at["beside"],
        at["rim"],
        condenser=condenser(drag_factor=at["drag"], heat_factor=at["heat"]),
        radiator=radiator(heat_factor=at["heat"]),
        grille=Opening(at["grille"], GRILLE),
        outlet=Opening(at["outlet"], SHARP),
        fans=(fan(leak=Opening(at["leak"], SHARP)),),
    )
    asked = state(
        at["celsius"],
        running,
        at["speed"],
        humidity=at["humidity"],
        ram_pa=at["ram"],
        base_pa=at["base"],
        coolant_w=at["coolant_w"],
        bay_w=at["bay_w"],
        returned=at["returned"],
        compression=compression(at["load"], at["rpm"]) if running else None,
    )
    return made, asked


def rises(values: Any, least: float = -CLOSE) -> bool:
    """Whether figures never fall, those that are known next to each other."""
    known = np.asarray(values)[np.isfinite(values)]
    return bool((np.diff(known) >= least * np.maximum(np.abs(known[1:]), 1e-3)).all())


def head_of(found: StackAnswer) -> Any:
    """Pa; without end where it runs away."""
    assert found.head is not None
    return np.where(found.head.runs_away, np.inf, found.head.pressure)


@given(at=noses())
@settings(derandomize=True, max_examples=40, deadline=None)
def test_mass_and_energy_close_and_all_that_does_not_settle_is_said(at: dict[str, Any]) -> None:
    found = solved({**at, "speed": np.linspace(0.0, 2.0, STEPS)})
    ok = found.settled
    assert (found.mass_gap[ok] < 1e-6).all()
    assert (found.energy_gap[ok] < 1e-6).all()
    known = ok | found.overheats
    if found.head is not None:
        known |= found.head.runs_away
    assert known.all(), found.why_not
    for name in ("radiator_kg_s", "coolant_k", "condenser_w"):
        assert (np.isfinite(getattr(found, name)) == ok).all()
    assert (np.isfinite(found.into_radiator_k) == (found.radiator_kg_s > 0)).all()
    assert bool(found.why_not) == (not ok.all())


@given(at=noses(sealed=True, running=False))
@settings(derandomize=True, max_examples=30, deadline=None)
def test_more_blockage_never_gives_more_air_in_a_sealed_stack(at: dict[str, Any]) -> None:
    drag = solved({**at, "drag": np.geomspace(0.3, 6.0, STEPS)})
    assert rises(-drag.radiator_kg_s)
    cover = solved({**at, "covered": np.linspace(0.2, 0.95, STEPS)})
    assert rises(-cover.radiator_kg_s)
    grille = solved({**at, "grille": np.geomspace(0.03, 0.3, STEPS)})
    assert rises(grille.radiator_kg_s)


@given(at=noses(sealed=True, running=True))
@settings(derandomize=True, max_examples=30, deadline=None)
def test_nor_with_the_air_conditioning_on(at: dict[str, Any]) -> None:
    found = solved({**at, "drag": np.geomspace(0.3, 6.0, STEPS)})
    assert rises(-found.radiator_kg_s)


@given(at=noses())
@settings(derandomize=True, max_examples=30, deadline=None)
def test_more_fan_never_gives_less_air_through_the_radiator(at: dict[str, Any]) -> None:
    found = solved({**at, "speed": np.linspace(0.2, 2.0, STEPS)})
    assert rises(found.radiator_kg_s)


@given(at=noses(running=True))
@settings(derandomize=True, max_examples=30, deadline=None)
def test_a_hotter_day_never_gives_less_head_pressure(at: dict[str, Any]) -> None:
    found = solved({**at, "celsius": np.linspace(15.0, 48.0, STEPS)})
    assert rises(head_of(found))
    known = head_of(found)
    # Once it has run away it does not come back on a hotter day.
    away = np.isinf(known)
    assert (np.diff(away.astype(int)) >= 0).all()


@given(at=noses())
@settings(derandomize=True, max_examples=30, deadline=None)
def test_more_heat_never_gives_a_cooler_coolant(at: dict[str, Any]) -> None:
    found = solved({**at, "coolant_w": np.linspace(1000.0, 30000.0, STEPS)})
    assert rises(found.coolant_k)


@given(at=noses())
@settings(derandomize=True, max_examples=30, deadline=None)
def test_sealing_the_sides_never_gives_more_recirculation(at: dict[str, Any]) -> None:
    found = solved({**at, "beside": np.linspace(0.0, 0.06, STEPS)})
    assert rises(found.recirculated)


@given(at=noses(running=True))
@settings(derandomize=True, max_examples=20, deadline=None)
def test_heat_of_the_loop_is_the_condenser_s(at: dict[str, Any]) -> None:
    """Given off is what evaporator and compressor take up; no part of a zone is negative."""
    found = solved({**at, "load": np.linspace(500.0, 8000.0, STEPS)})
    assert found.head is not None
    ok, loop = found.settled, found.head.loop
    both = found.head.duty * (loop.cooling + loop.work)
    np.testing.assert_allclose(found.condenser_w[ok], both[ok], rtol=1e-6)
    assert all((one[ok] > 0).all() for one in found.head.faces_m2)
    face = sum(found.head.faces_m2)
    np.testing.assert_allclose(face[ok], FACE_M2 * at["covered"], rtol=1e-4)
    assert ((found.head.duty[ok] > 0) & (found.head.duty[ok] <= 1)).all()


def test_no_draw_of_many_is_left_open() -> None:
    """Wherever a coil is held, a fan leaves its curve or air turns back, rounds come to an end."""
    draws, rng = 400, np.random.default_rng(8)

    def between(low: float, high: float) -> Any:
        return rng.uniform(low, high, draws)

    made = stack(
        between(0.3, 0.97),
        between(0.4, 0.97),
        between(0.0, 0.05),
        between(0.0, 0.04),
        condenser=condenser(drag_factor=between(0.5, 3.0), heat_factor=between(0.7, 1.4)),
        grille=Opening(between(0.06, 0.3), GRILLE),
        outlet=Opening(between(0.05, 0.4), SHARP),
        fans=(fan(leak=Opening(between(0.002, 0.1), SHARP), rise_scale=between(0.7, 1.3)),),
    )
    asked = state(
        between(12.0, 45.0),
        speed=between(0.3, 1.6),
        ram_pa=np.where(rng.random(draws) < 0.5, 0.0, between(0.0, 400.0)),
        coolant_w=between(3000.0, 20000.0),
        returned=between(0.0, 0.1),
        compression=compression(between(1500.0, 6000.0), between(700.0, 3000.0)),
    )
    found = solve_stack(made, asked, draws)
    assert found.head is not None
    assert (found.settled | found.overheats | found.head.runs_away).all(), found.why_not
    assert found.settled.mean() > 0.4
    assert (found.energy_gap[found.settled] < 1e-6).all()
    assert found.rounds < 60


def test_draws_side_by_side_are_those_alone() -> None:
    speeds, days = np.array([0.5, 0.8, 1.6]), np.array([42.0, 30.0, 36.0])
    many = solve_stack(stack(), state(days, speed=speeds), 3)
    for k in range(3):
        one = solve_stack(stack(), state(float(days[k]), speed=float(speeds[k])))
        for name in ("radiator_kg_s", "coolant_k", "into_radiator_k", "condenser_w"):
            assert getattr(many, name)[k] == pytest.approx(getattr(one, name)[0], rel=1e-6)


def test_a_head_that_runs_away_is_a_finding_and_no_number() -> None:
    small = solve_stack(
        stack(0.12), state(45.0, speed=np.array([0.25, 1.5]), compression=compression(6000.0)), 2
    )
    assert small.head is not None
    assert small.head.runs_away[0]
    assert np.isnan(small.head.pressure[0])
    assert np.isnan(small.coolant_k[0])
    assert "the head pressure runs away" in small.why_not[0]


def test_too_little_air_for_the_heat_boils_over() -> None:
    found = solve_stack(stack(0.0), state(running=False, speed=0.05, coolant_w=30000.0))
    assert found.overheats.all()
    assert np.isnan(found.coolant_k).all()
    assert found.why_not == ("the coolant boils over in 1 of 1: too little air for its heat",)


def test_what_is_outside_its_range_is_named() -> None:
    """Chang and Wang tested louvers from Re 100 on; a condenser at idle is below."""
    found = solve_stack(stack(), state(speed=0.5))
    assert any("Chang and Wang" in one.correlation for one in found.remarks)
    fast = solve_stack(stack(), state(running=False, ram_pa=900.0, base_pa=-150.0))
    assert fast.fans["fan"].beyond.all()
    assert any(one.correlation == "the fan's curve" for one in fast.remarks)


BARE = Zone(name="a", area_m2=0.2, drawn_by="fan")


@pytest.mark.parametrize(
    ("instead", "says"),
    [
        ({"zones": (BARE, BARE), "condenser": None}, "two zones of the name 'a'"),
        ({"zones": (), "condenser": None}, "no zone"),
        ({"fans": ()}, "a zone with a fan 'fan'"),
        ({"fans": (fan(), fan(name="other"))}, "fan 'other' on no zone"),
        ({"condenser": None}, "a covered zone without the other"),
        ({"zones": (BARE,)}, "a condenser without the other"),
        ({"zones": (Zone(name="b", area_m2=0.1, beyond=True), BARE)}, "'b' beyond the radiator"),
        ({"grille": Opening(0.0, 1.0)}, "a closed grille"),
    ],
)
def test_what_does_not_fit_each_other_is_refused(instead: dict[str, Any], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        stack(**instead)


def test_a_state_that_does_not_fit_the_stack_is_refused() -> None:
    with pytest.raises(ValueError, match="a speed of fan 'none'"):
        solve_stack(stack(), state(speeds={"none": 1.0}))
    with pytest.raises(ValueError, match="an A/C that is on and no condenser"):
        solve_stack(stack(0.0), state())
