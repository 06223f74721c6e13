"""Air through resistances and fans, against closed forms, another solver and common sense."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq, root

from noseroom.physics.air_network import AirFlows, Link, Resistance, air_flows


@dataclass(frozen=True)
class FanLaw:
    """A fan: its rise of pressure falls from point to point as the flow grows.

    flows: (k,) kg/s, rising; rises: (k,) Pa, falling. flow_scale, rise_scale: factors, one a draw.
    Beyond its ends it goes on as its first and last stretch do.
    """

    flows: Any
    rises: Any
    flow_scale: Any = 1.0
    rise_scale: Any = 1.0

    def _points(self) -> tuple[np.ndarray, np.ndarray]:
        """Drops (that is, less the rises), rising, and flows."""
        return -np.asarray(self.rises, dtype=float), np.asarray(self.flows, dtype=float)

    def flow(self, drop_pa: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(n,) kg/s and kg/(s Pa), from stretch to stretch."""
        drops, flows = self._points()
        sp = np.asarray(self.rise_scale, dtype=float)
        sq = np.asarray(self.flow_scale, dtype=float)
        x = drop_pa / sp
        k = np.clip(np.searchsorted(drops, x, side="right") - 1, 0, len(drops) - 2)
        slopes = np.diff(flows) / np.diff(drops)
        m = flows[k] + slopes[k] * (x - drops[k])
        return sq * m, sq / sp * slopes[k]


FAN = FanLaw([0.0, 0.5, 1.0, 1.5, 2.0], [250.0, 200.0, 140.0, 70.0, 0.0])


def solved(links: Mapping[str, Link], **fixed: float) -> AirFlows:
    found = air_flows(links, fixed, 1)
    assert found.settled.all()
    return found


def flow(found: AirFlows, link: str) -> float:
    return float(found.flows[link][0])


def test_orifices_in_series_and_in_parallel() -> None:
    """Drops by the square of the flow: roots of the reciprocals add in parallel (closed form)."""
    a, b, c, drop = 40.0, 90.0, 10.0, 120.0
    links = {
        "a": Link("in", "mid", Resistance(1e-9, a)),
        "b": Link("in", "mid", Resistance(1e-9, b)),
        "c": Link("mid", "out", Resistance(1e-9, c)),
    }
    found = solved(links, **{"in": drop, "out": 0.0})
    both = (a**-0.5 + b**-0.5) ** -2
    assert flow(found, "c") == pytest.approx((drop / (both + c)) ** 0.5, rel=1e-6)
    assert flow(found, "a") / flow(found, "b") == pytest.approx((b / a) ** 0.5, rel=1e-6)


def test_a_fan_settles_where_its_curve_meets_the_resistance() -> None:
    found = solved(
        {"fan": Link("out", "shroud", FAN), "core": Link("shroud", "out", Resistance(20.0, 60.0))},
        out=0.0,
    )
    rise = lambda m: np.interp(m, FAN.flows, FAN.rises)  # type: ignore[arg-type]  # noqa: E731
    exact = brentq(lambda m: rise(m) - 20.0 * m - 60.0 * m * m, 0.0, 2.0)
    assert flow(found, "fan") == pytest.approx(exact, rel=1e-7)
    assert flow(found, "core") == pytest.approx(exact, rel=1e-7)


def test_a_network_agrees_with_a_general_solver() -> None:
    """Eight links with a leak that runs backwards, against scipy's hybrid Powell method."""
    rng = np.random.default_rng(7)
    compared = 0
    for _ in range(25):
        scale = rng.uniform(0.3, 3.0, 12)
        laws = {
            "grille": ("out", "front", scale[0], 20 * scale[1]),
            "condenser": ("front", "gap", 30 * scale[2], 40 * scale[3]),
            "past it": ("front", "gap", 5 * scale[4], 900 * scale[5]),
            "radiator": ("gap", "shroud", 40 * scale[6], 30 * scale[7]),
            "bay": ("bay", "out", 2 * scale[8], 30 * scale[9]),
            "leak": ("bay", "front", 5 * scale[10], 4000 * scale[11]),
        }
        links = {name: Link(a, b, Resistance(r, q)) for name, (a, b, r, q) in laws.items()}
        links["fan"] = Link("shroud", "bay", FAN)
        found = solved(links, out=0.0)
        mine = [float(found.pressures[name][0]) for name in NODES]
        other = root(losses, [1.3 * p - 2.0 for p in mine], (laws,), method="hybr", tol=1e-12)
        assert float(found.flows["leak"][0]) > 0.0  # warm air runs back to the front
        if other.success:
            compared += 1
            assert mine == pytest.approx(list(other.x), rel=1e-5, abs=1e-5)
    assert compared >= 15


NODES = ("front", "gap", "shroud", "bay")


def losses(p: np.ndarray, laws: Mapping[str, tuple[str, str, float, float]]) -> list[float]:
    """What each node loses at these pressures, each link's flow found by bisection."""
    at = dict(zip(NODES, p, strict=True)) | {"out": 0.0}
    total = dict.fromkeys(at, 0.0)
    for a, b, r, q in laws.values():
        m = brentq(lambda x, a=a, b=b, r=r, q=q: r * x + q * x * abs(x) - at[a] + at[b], -50, 50)
        total[a] += m
        total[b] -= m
    m = float(np.interp(at["shroud"] - at["bay"], -np.array(FAN.rises), FAN.flows))
    total["shroud"] += m
    total["bay"] -= m
    return [total[name] for name in NODES]


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    st.lists(st.floats(0.01, 1e4), min_size=6, max_size=6),
    st.floats(1.01, 50.0),
    st.floats(0.0, 600.0),
)
def test_more_in_the_way_never_lets_more_through(
    figures: list[float], times: float, ram: float
) -> None:
    """A sealed stack: what is made tighter anywhere never gets more air; nor does less fan."""

    def through(core: float, fan: float) -> float:
        links = {
            "grille": Link("out", "front", Resistance(figures[0], figures[1])),
            "core": Link("front", "shroud", Resistance(figures[2] * core, figures[3] * core)),
            "fan": Link("shroud", "bay", FanLaw(FAN.flows, FAN.rises, fan**0.5, fan)),
            "bay": Link("bay", "under", Resistance(figures[4], figures[5])),
        }
        return flow(solved(links, out=ram, under=0.0), "core")

    least = through(1.0, 1.0)
    assert through(times, 1.0) <= least * (1 + 1e-9) + 1e-9
    assert through(1.0, times) >= least * (1 - 1e-9) - 1e-9


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.integers(0, 10_000))
def test_no_node_loses_air(seed: int) -> None:
    """Whatever the figures, and for many draws at once: in and out agree to a millionth."""
    rng = np.random.default_rng(seed)
    n = 20

    def some(a: float, b: float) -> Resistance:
        return Resistance(a * 10 ** rng.uniform(-2, 2, n), b * 10 ** rng.uniform(-2, 2, n))

    links = {
        "grille": Link("out", "front", some(1, 20)),
        "condenser": Link("front", "gap", some(30, 40)),
        "beside": Link("front", "gap", some(5, 900)),
        "radiator": Link("gap", "shroud", some(40, 30)),
        "bare": Link("gap", "bay", some(60, 30)),
        "fan": Link("shroud", "bay", FanLaw(FAN.flows, FAN.rises, rng.uniform(0.3, 3, n), 1.0)),
        "bay": Link("bay", "under", some(2, 30)),
        "leak": Link("bay", "front", some(5, 4000)),
    }
    found = air_flows(links, {"out": rng.uniform(0, 600, n), "under": 0.0}, n)
    assert found.settled.all()
    for node in ("front", "gap", "shroud", "bay"):
        leaving = sum(
            (found.flows[k] for k, one in links.items() if one.start == node), np.zeros(n)
        )
        coming = sum((found.flows[k] for k, one in links.items() if one.end == node), np.zeros(n))
        most = np.max([np.abs(m) for m in found.flows.values()], axis=0)
        assert (np.abs(leaving - coming) <= 1e-6 * most + 1e-10).all()


def test_a_node_that_hangs_on_nothing_is_refused() -> None:
    links = {
        "a": Link("in", "out", Resistance(1.0, 1.0)),
        "b": Link("here", "there", Resistance(1.0, 1.0)),
    }
    with pytest.raises(ValueError, match="no link leads from here"):
        air_flows(links, {"in": 10.0, "out": 0.0}, 1)
