"""Air that mixes and is warmed, against hand sums and the balance of energy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.physics.air_heat import Stream, Warmth, warmth

CP = 1007.0


def air(kg_s: float) -> np.ndarray:
    return np.array([kg_s])


def test_two_exchangers_one_behind_the_other() -> None:
    """0.5 kg/s at 38 °C: behind a condenser at 60 °C with 0.6, (1 - 0.6) 22 K are left."""
    found = warmth(
        [
            Stream("outside air", "gap", air(0.5), "condenser", 0.6),
            Stream("gap", "bay", air(0.5), "coolant", 0.4),
            Stream("bay", "outside air", air(0.5)),
        ],
        ["outside air"],
        {},
        CP,
        1,
    )
    at = {"condenser": 60.0, "coolant": 95.0, "outside": 38.0}
    gap = 60.0 - 0.4 * 22.0
    assert found.temperature("gap", **at)[0] == pytest.approx(gap)
    assert found.temperature("bay", **at)[0] == pytest.approx(95.0 - 0.6 * (95.0 - gap))
    assert found.watts("condenser", **at)[0] == pytest.approx(0.5 * CP * 0.6 * 22.0)
    assert found.watts("coolant", **at)[0] == pytest.approx(0.5 * CP * 0.4 * (95.0 - gap))


def test_air_that_comes_round_again() -> None:
    """A share r of what goes in is what came out: T_in = (T_out + r K) where K it gains each time.

    With r = 0.2 recirculated and a source that gives 10 kW to 1 kg/s, the rise is 9.93 K each
    time, and the front stands r/(1 - r) of that above the outside: 2.483 K (a geometric series).
    """
    rise = 10_000.0 / CP
    found = warmth(
        [
            Stream("outside air", "front", air(0.8)),
            Stream("front", "bay", air(1.0)),
            Stream("bay", "front", air(0.2)),
            Stream("bay", "outside air", air(0.8)),
        ],
        ["outside air"],
        {"bay": 10_000.0},
        CP,
        1,
    )
    assert found.temperature("front", outside=30.0)[0] == pytest.approx(30.0 + 0.25 * rise)


def test_air_that_runs_back_is_warmed_on_its_way() -> None:
    found = warmth(
        [
            Stream("front", "bay", air(-0.3), "coolant", 0.5),
            Stream("outside air", "bay", air(0.3)),
            Stream("front", "outside air", air(0.3)),
        ],
        ["outside air"],
        {},
        CP,
        1,
    )
    at = {"coolant": 90.0, "outside": 30.0}
    assert found.temperature("bay", **at)[0] == pytest.approx(30.0)
    assert found.temperature("front", **at)[0] == pytest.approx(60.0)


def test_a_node_without_air_is_as_warm_as_the_outside() -> None:
    found = warmth(
        [Stream("outside air", "dead", air(0.0)), Stream("dead", "outside air", air(0.0))],
        ["outside air"],
        {},
        CP,
        1,
    )
    assert found.temperature("dead", outside=21.0)[0] == pytest.approx(21.0)


def _random(seed: int) -> tuple[list[Stream], Warmth, dict[str, np.ndarray], np.ndarray]:
    """A stack with flows that balance at every node, some backwards, and the bay's own heat."""
    rng = np.random.default_rng(seed)
    n = 8
    grille, leak, beside = (rng.uniform(-0.2, 1.0, n) for _ in range(3))
    bare = rng.uniform(-0.3, 0.6, n)
    core = grille + leak - beside - bare
    streams = [
        Stream("outside air", "front", grille),
        Stream("bay", "front", leak),
        Stream("front", "gap", core, "condenser", rng.uniform(0, 1, n)),
        Stream("front", "gap", beside),
        Stream("gap", "bay", core + beside, "coolant", rng.uniform(0, 1, n)),
        Stream("front", "bay", bare, "coolant", rng.uniform(0, 1, n)),
        Stream("bay", "outside air", grille),
    ]
    heat = rng.uniform(0, 5000, n)
    found = warmth(streams, ["outside air"], {"bay": heat}, CP, n)
    at = {
        "condenser": rng.uniform(40, 80, n),
        "coolant": rng.uniform(70, 120, n),
        "outside": rng.uniform(-10, 45, n),
    }
    return streams, found, at, heat


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.integers(0, 100_000))
def test_all_heat_leaves_with_the_air(seed: int) -> None:
    """First law: what the sources and the engine give is what the air carries off."""
    streams, found, at, heat = _random(seed)
    given_off = found.watts("condenser", **at) + found.watts("coolant", **at) + heat
    carried = np.zeros(8)
    for one in streams:
        for sign, here, there in ((1.0, one.start, one.end), (-1.0, one.end, one.start)):
            if there == "outside air":
                flow = np.maximum(sign * one.flow, 0.0)
                carried += flow * CP * (found.temperature(here, **at) - at["outside"])
    moving = np.min([_inflow(streams, node) for node in ("front", "gap", "bay")], axis=0) > 1e-6
    scale = np.abs(given_off) + np.abs(carried) + 1.0
    assert (np.abs(given_off - carried)[moving] <= 1e-6 * scale[moving]).all()


def _inflow(streams: list[Stream], node: str) -> np.ndarray:
    total = np.zeros(8)
    for one in streams:
        total += np.maximum(one.flow, 0.0) * (one.end == node)
        total += np.maximum(-one.flow, 0.0) * (one.start == node)
    return total


def test_the_slope_is_what_a_kelvin_more_changes() -> None:
    _, found, at, _ = _random(3)
    more = at | {"coolant": at["coolant"] + 1.0}
    change = found.watts("condenser", **more) - found.watts("condenser", **at)
    assert change == pytest.approx(found.slope("condenser", "coolant"), abs=1e-6)
