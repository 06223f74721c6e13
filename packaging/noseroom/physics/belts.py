"""A belt over pulleys: where it runs, how long it is, how fast it turns what, when it slips.

The run is found by oriented tangents. A pulley inside the loop has a positive radius and is gone
round against the clock, one that the belt's back runs on a negative radius and is gone round with
it; a free span is the one directed line that both circles touch in their own sense. All functions
take leading axes, so that ten thousand places of one pulley are one call, and none raises for a
run that cannot be: what is wrong with it is data.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_ROUNDING_RAD = 1e-9
_ROUNDING_MM = 1e-9


@dataclass(frozen=True, eq=False)
class BeltRun:
    """Closed runs of a belt, one for each leading index.

    xyr: (..., n, 3) mm, centre and radius of each pulley, in the order of the run. sense: (n,), 1
    for a pulley inside the loop and -1 for one on the belt's back. headings: (..., n) rad, the way
    of the span from pulley k to the next. spans: (..., n) mm, their lengths; nan where no tangent
    is. wraps: (..., n) rad, the angle that the belt lies on each pulley; below zero: the belt would
    have to be bent the other way there, it misses that pulley. turning: (...), how often the run
    turns round in all: 1 for a belt that can be, 0 for one that crosses itself once.
    """

    xyr: Floats
    sense: Floats
    headings: Floats
    spans: Floats
    wraps: Floats
    turning: NDArray[np.int64]

    @cached_property
    def length(self) -> Floats:
        """(...) mm along the given radii; for effective radii the effective length."""
        return np.asarray(self.spans.sum(axis=-1) + (self.xyr[..., 2] * self.wraps).sum(axis=-1))

    @cached_property
    def overlap_mm(self) -> Floats:
        """(..., n, n) mm by which two pulleys reach into one another; -inf for one with itself."""
        return np.asarray(-_apart(self.xyr))

    @cached_property
    def no_tangent(self) -> Flags:
        """(..., n): whether there is no span from this pulley to the next."""
        return np.isnan(self.spans)

    @cached_property
    def missed(self) -> Flags:
        """(..., n): whether the belt does not reach a pulley."""
        return np.asarray(self.wraps < -_ROUNDING_RAD)

    @cached_property
    def ends(self) -> tuple[Floats, Floats]:
        """Where each span begins and ends, both (..., n, 2) mm."""
        left = np.stack([-np.sin(self.headings), np.cos(self.headings)], axis=-1)
        signed = self.sense * self.xyr[..., 2]
        start = self.xyr[..., :2] - signed[..., None] * left
        following = np.roll(self.xyr[..., :2], -1, axis=-2)
        end = following - np.roll(signed, -1, axis=-1)[..., None] * left
        return start, end

    @cached_property
    def blocked_mm(self) -> Floats:
        """(..., n, n) mm by which the span from pulley k reaches into pulley m.

        -inf for the two pulleys at its ends, which it only touches.
        """
        start, end = self.ends
        along = end - start
        to = self.xyr[..., None, :, :2] - start[..., :, None, :]
        long = np.maximum((along**2).sum(axis=-1), 1e-30)
        share = np.clip((to * along[..., :, None, :]).sum(axis=-1) / long[..., None], 0.0, 1.0)
        off = to - share[..., None] * along[..., :, None, :]
        deep = self.xyr[..., None, :, 2] - np.sqrt((off**2).sum(axis=-1))
        count = self.xyr.shape[-2]
        k = np.arange(count)
        deep[..., k, k] = deep[..., k, (k + 1) % count] = -np.inf
        return np.asarray(deep)

    @cached_property
    def crossed(self) -> Flags:
        """(..., n, n): whether two spans cross each other."""
        start, end = self.ends
        along = end - start
        a, b = along[..., :, None, :], along[..., None, :, :]
        to = start[..., None, :, :] - start[..., :, None, :]
        with np.errstate(all="ignore"):
            area = _cross(a, b)
            first, second = _cross(to, b) / area, _cross(to, a) / area
            return np.asarray((first > 0) & (first < 1) & (second > 0) & (second < 1))

    @cached_property
    def ok(self) -> Flags:
        """(...): whether the belt can run like this and lies on every pulley."""
        bad = self.no_tangent.any(axis=-1) | self.missed.any(axis=-1) | (self.turning != 1)
        bad |= (self.overlap_mm > _ROUNDING_MM).any(axis=(-2, -1))
        bad |= (self.blocked_mm > _ROUNDING_MM).any(axis=(-2, -1))
        return np.asarray(~bad & ~self.crossed.any(axis=(-2, -1)))

    def length_by_place(self) -> Floats:
        """(..., n, 3): how the length changes with each centre and radius, mm per mm.

        A tight string pulls each pulley along its two spans, and longer radii are felt by wrap.
        """
        way = np.stack([np.cos(self.headings), np.sin(self.headings)], axis=-1)
        return np.concatenate([np.roll(way, 1, axis=-2) - way, self.wraps[..., None]], axis=-1)

    def headings_by_place(self) -> tuple[Floats, Floats]:
        """How each span's heading changes, rad per mm: both (..., n, 3).

        First with centre and radius of the pulley that it leaves, then with those of the next.
        From the tangent's equation n·(c' - c) = ρ' - ρ, with n to the left of the span.
        """
        left = np.stack([-np.sin(self.headings), np.cos(self.headings)], axis=-1)
        with np.errstate(all="ignore"):
            per = 1.0 / self.spans
        there = np.broadcast_to(np.roll(self.sense, -1), per.shape)
        here = np.broadcast_to(self.sense, per.shape)
        ahead = np.concatenate([left, -there[..., None]], axis=-1) * per[..., None]
        behind = np.concatenate([-left, here[..., None]], axis=-1) * per[..., None]
        return np.asarray(behind), np.asarray(ahead)


def belt_run(xyr: ArrayLike, back: ArrayLike | None = None) -> BeltRun:
    """The belt over pulleys in the order given, inside the loop against the clock.

    xyr: (..., n, 3) mm, n at least 2: centres and radii in the belt's plane; for a pulley on the
    back the radius of the line whose length is asked, as everywhere. back: (n,), whether the belt
    runs on a pulley with its back; None: on none.

    Raises ValueError for shapes that are none of these.
    """
    placed = np.asarray(xyr, dtype=float)
    if placed.ndim < 2 or placed.shape[-1] != 3 or placed.shape[-2] < 2:
        raise ValueError("a belt's run is (..., n, 3) with at least two pulleys")
    count = placed.shape[-2]
    behind = np.zeros(count, bool) if back is None else np.asarray(back, dtype=bool)
    if behind.shape != (count,):
        raise ValueError("back says of each pulley whether the belt's back runs on it")
    sense = np.where(behind, -1.0, 1.0)
    signed = sense * placed[..., 2]
    to = np.roll(placed[..., :2], -1, axis=-2) - placed[..., :2]
    grown = np.roll(signed, -1, axis=-1) - signed
    far = (to**2).sum(axis=-1)
    square = far - grown**2
    with np.errstate(all="ignore"):
        spans = np.where(square > 0, np.sqrt(np.abs(square)), np.nan)
        lean = np.arctan2(grown, spans)
    headings = np.arctan2(to[..., 1], to[..., 0]) - lean
    turned = sense * (headings - np.roll(headings, 1, axis=-1))
    wraps = np.mod(turned + _ROUNDING_RAD, math.tau) - _ROUNDING_RAD
    wraps = _unwound(wraps, sense)
    total = (sense * wraps).sum(axis=-1) / math.tau
    turning = np.where(np.isfinite(total), np.round(total), -1).astype(np.int64)
    return BeltRun(placed, sense, headings, spans, wraps, turning)


def _unwound(wraps: Floats, sense: Floats) -> Floats:
    """The same where the run turns round once: what turns it more often is bent the other way.

    A pulley that the belt passes by a little would have to be wrapped by nearly a full turn, or by
    a little less than nothing; the largest angles are taken back until the run closes with one
    turn. Only pulleys inside the loop add turns, and only those on the back take them.
    """
    wraps, count = wraps.copy(), wraps.shape[-1]
    for _ in range(count if count > 2 else 0):  # two pulleys, one on the back: a crossed belt
        over = np.round((sense * wraps).sum(axis=-1) / math.tau) - 1.0
        if not (np.abs(np.nan_to_num(over)) > 0).any():
            break
        for sign in (1.0, -1.0):
            excess = np.nan_to_num(sign * over) > 0
            largest = np.where(sense == sign, np.nan_to_num(wraps, nan=-np.inf), -np.inf)
            at = largest.argmax(axis=-1)
            bent = np.take_along_axis(largest, at[..., None], axis=-1)[..., 0] > math.pi
            taken = np.zeros_like(wraps)
            np.put_along_axis(
                taken, at[..., None], np.where(excess & bent, math.tau, 0.0)[..., None], axis=-1
            )
            wraps -= taken
    return wraps


def _apart(xyr: Floats) -> Floats:
    """(..., n, n) mm between the rims of two pulleys; inf for one with itself."""
    to = xyr[..., :, None, :2] - xyr[..., None, :, :2]
    radii = xyr[..., :, None, 2] + xyr[..., None, :, 2]
    apart = np.sqrt((to**2).sum(axis=-1)) - radii
    k = np.arange(xyr.shape[-2])
    apart[..., k, k] = np.inf
    return np.asarray(apart)


def _cross(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def pitch_length(length_mm: Any, offset_mm: float) -> Any:
    """The length of the line that lies offset_mm further out than the one measured.

    A loop that turns round once grows by 2π for each mm, whatever pulleys it runs on: from
    effective to pitch length with b_e (ISO 9981:1998, 5.4), to outside length with the ride-out.
    """
    return length_mm + math.tau * offset_mm


def speed_ratio(driver_mm: Any, driven_mm: Any, offset_mm: float) -> Any:
    """Turns of the driven pulley for one of the driver, by effective diameters.

    The belt's own speed is that of its pitch line, which lies b_e outside the effective line: d +
    2 b_e counts (ISO 9981:1998, 5.4). For a pulley on the back give its diameter at the effective
    line; the pitch line then lies nearer to its middle, so give a negative offset as `speed_at`.
    """
    return speed_at(driver_mm, offset_mm) / speed_at(driven_mm, offset_mm)


def speed_at(effective_mm: Any, offset_mm: float, sense: float = 1.0) -> Any:
    """The pitch diameter of a pulley, mm. sense: -1 for one that the belt's back runs on."""
    return effective_mm + 2.0 * sense * offset_mm


def wedged(friction: Any, groove_rad: float) -> Any:
    """Friction as a groove makes it felt: μ / sin(half its angle); Euler's formula with a wedge."""
    return friction / np.sin(groove_rad / 2.0)


def capstan(friction: Any, wrap_rad: Any) -> Any:
    """The most that the tight span's tension may be of the slack one's: e^(μ θ), Euler."""
    return np.exp(friction * np.maximum(wrap_rad, 0.0))


@dataclass(frozen=True, eq=False)
class Grip:
    """How a belt holds its loads.

    reserves: (..., n), by how much all loads together may grow until each pulley slips; inf where
    none slips. tension_n: (..., n) N, of each span from pulley k, with the loads as they are.
    """

    reserves: Floats
    tension_n: Floats


def grip(
    set_n: Any,
    pulls_n: ArrayLike,
    ratios: ArrayLike,
    spans_mm: ArrayLike,
    driver: int,
    *,
    held: int | None = None,
) -> Grip:
    """How far the loads of a drive may grow until the belt slips.

    set_n: tension of every span at rest, N. pulls_n: (..., n) N, what each pulley takes out of the
    belt: torque over its pitch radius; the driver's own is left out. ratios: (..., n), `capstan`
    of each. spans_mm: (..., n), from each pulley to the next in the way that the belt runs. driver:
    its number. held: the pulley of a tensioner that holds its two spans at set_n; None: the shafts
    stand still, and the belt's whole stretch stays as it was set, so that the mean over its length
    does.

    What the belt's own weight takes off at speed is not counted.
    """
    loads = np.array(pulls_n, dtype=float)
    count = loads.shape[-1]
    ratio, spans = np.asarray(ratios, dtype=float), np.asarray(spans_mm, dtype=float)
    order = (np.arange(count) + driver + 1) % count
    back = np.argsort(order)
    loads[..., driver] = 0.0
    # From the driver on, each load is pulled by a span that is tighter by so much.
    gained = np.cumsum(loads[..., order], axis=-1)
    leaves = np.where(order == driver, 0.0, gained)[..., back]
    mean = (leaves * spans).sum(axis=-1) / spans.sum(axis=-1)
    if held is not None:
        mean = leaves[..., held]
    enters = np.roll(leaves, 1, axis=-1)
    slack = np.minimum(leaves, enters)
    step = np.abs(leaves - enters)
    need = step + (ratio - 1.0) * (mean[..., None] - slack)
    with np.errstate(all="ignore"):
        reserves = np.where(need > 0, (ratio - 1.0) * np.asarray(set_n)[..., None] / need, np.inf)
    reserves = np.where(step > 0, reserves, np.inf)
    tension = np.asarray(set_n)[..., None] + leaves - mean[..., None]
    return Grip(np.asarray(reserves), np.asarray(tension))
