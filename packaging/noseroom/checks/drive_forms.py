"""How a belt's length, its wraps and the room between its pulleys follow the readings.

A run is solved once where its pulleys stand as adjusted; length and headings have derivatives in
closed form by every centre and radius (`noseroom.physics.belts`), and those by the sources. What
is of second order is bounded by how far the readings may move two pulleys against each other.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.drive import Drive, Wrap
from noseroom.geometry.separation import Uncertainty
from noseroom.parts.belt_path import belt_path, in_order
from noseroom.physics.belts import BeltRun, belt_run

Floats = NDArray[np.float64]

_ROUNDING_MM = 1e-9


class RunForms:
    """One belt's run with its derivatives by the sources of the survey.

    moved: shifts (3,) mm in the vehicle frame to try, by pulley. order: (m,) numbers of the pulleys
    as the belt goes round; one that it touches twice is there twice.
    """

    def __init__(self, drive: Drive, moved: Mapping[str, Floats] | None = None) -> None:
        self.drive = drive
        placed, back = drive.run(moved), np.array(drive.back)
        if back.any():
            self.order = in_order(placed, back)
        else:
            self.order = np.array([arc.pulley for arc in belt_path(placed).arcs], dtype=np.intp)
        self.back = back[self.order]
        self.placed = placed

    @cached_property
    def run(self) -> BeltRun | None:
        """The run; None round a single pulley."""
        if len(self.order) < 2:
            return None
        return belt_run(self.placed[self.order], self.back)

    @property
    def whole(self) -> bool:
        """Whether the belt can run as it should, over every pulley that it names."""
        run = self.run
        if run is None or len(set(self.order)) < len(self.placed):
            return False
        if not self.twice:
            return bool(run.ok)
        # A run in which a pulley stands twice overlaps with itself: pulleys are asked one by one.
        return not (belt_run(self.placed).overlap_mm > _ROUNDING_MM).any()

    @property
    def twice(self) -> tuple[int, ...]:
        """Numbers of the pulleys that the belt lies on in two places, one on either side."""
        counts = np.bincount(self.order, minlength=len(self.placed))
        return tuple(int(k) for k in np.flatnonzero(counts > 1))

    @cached_property
    def forms(self) -> Floats:
        """(n, 3, s): how (y, z, r) of each pulley follow the sources, seen from the first."""
        found = self.drive.centre_forms
        assert found is not None, "only of a drive whose pulleys have a place"
        radii = np.array([one.radius_moves for one in self.drive.circles])
        return np.concatenate([found[0], radii[:, None]], axis=1)

    @cached_property
    def _strays(self) -> Floats:
        """(n,) mm: how far each centre may stray beyond its forms."""
        found = self.drive.centre_forms
        assert found is not None
        return found[1]

    @cached_property
    def _loose(self) -> Floats:
        """(m,) mm: how far the two ends of each span may move against each other."""
        strays = self._strays[self.order]
        return loose_mm(self.forms[self.order], strays, self.drive.layout.uncertainty)

    def length(self) -> tuple[float, float, Floats]:
        """Length mm, how far the readings may leave it, mm, and its form (s,)."""
        run = self.run
        assert run is not None
        by = run.length_by_place()
        form = np.einsum("kc,kcs->s", by, self.forms[self.order])
        pull = np.sqrt((by[:, :2] ** 2).sum(axis=-1))
        spread = float(self.drive.layout.uncertainty.spread(form))
        spread += float((pull * self._strays[self.order]).sum())
        rest = np.maximum(run.spans - self._loose, 1e-6)
        spread += float((self._loose**2 / (2.0 * rest)).sum())
        # What stands on the belt's back lies by as much further out as the back does.
        proud = self.drive.belt.entry.sizes["proud"].half_width
        return float(run.length), spread + proud * float(run.wraps[self.back].sum()), form

    def wraps(self) -> tuple[Floats, Floats, Floats]:
        """Wraps (m,) rad, how far each may be off, rad, and their forms (m, s)."""
        run = self.run
        assert run is not None
        proud = self.drive.belt.entry.sizes["proud"].half_width * self.back
        forms, strays = self.forms[self.order], self._strays[self.order]
        found = wraps_by_sources(run, forms, strays, proud, self.drive.layout.uncertainty)
        return run.wraps, *found

    def loose_mm(self) -> float:
        """How far at most any pulley may stand from where it is drawn against the others, mm."""
        each = self.drive.layout.uncertainty.spread(self.forms)
        return float(2.0 * (np.sqrt((each**2).sum(axis=-1)) + self._strays).max())

    def overlaps(self) -> list[tuple[int, int, float, float]]:
        """Pairs of pulleys whose metal overlaps as adjusted: by how much, and give or take, mm."""
        found = []
        circles, spread = self.drive.circles, self.drive.layout.uncertainty.spread
        for b in range(len(circles)):
            for a in range(b):
                line = self.placed[b, :2] - self.placed[a, :2]
                apart = math.hypot(*line)
                deep = circles[a].metal_mm + circles[b].metal_mm - apart
                if deep <= 0:
                    continue
                way = line / max(apart, 1e-9)
                form = self.forms[a, 2] + self.forms[b, 2]
                form = form - way @ (self.forms[b, :2] - self.forms[a, :2])
                loose = float(spread(form)) + float(self._strays[a] + self._strays[b])
                found.append((a, b, deep, loose))
        return found


def loose_mm(forms: Floats, strays: Floats, sure: Uncertainty) -> Floats:
    """(..., m) mm: how far the two ends of each span may move against each other.

    forms: (..., m, 3, s), of (y, z, r) of the pulleys in the order of the run. strays: (m,) mm.
    """
    each = sure.spread(np.roll(forms, -1, axis=-3) - forms)
    return np.asarray(np.sqrt((each**2).sum(axis=-1)) + strays + np.roll(strays, -1))


def wraps_by_sources(
    run: BeltRun, forms: Floats, strays: Floats, proud_mm: Floats, sure: Uncertainty
) -> tuple[Floats, Floats]:
    """How far each wrap may be off, (..., m) rad, and its form by the sources, (..., m, s).

    forms, strays: as for `loose_mm`. proud_mm: (m,), how far the radii may be off besides.
    """
    behind, ahead = run.headings_by_place()
    headings = np.einsum("...kc,...kcs->...ks", behind, forms)
    headings += np.einsum("...kc,...kcs->...ks", ahead, np.roll(forms, -1, axis=-3))
    found = run.sense[:, None] * (headings - np.roll(headings, 1, axis=-2))
    loose = loose_mm(forms, strays, sure)
    rest = np.maximum(run.spans - loose, 1e-6)
    # First order of what has no form, and second order of all.
    bent = (strays + np.roll(strays, -1) + proud_mm + np.roll(proud_mm, -1)) / rest
    bent += 2.0 * (loose / rest) ** 2
    return np.asarray(sure.spread(found) + bent + np.roll(bent, 1, axis=-1)), np.asarray(found)


def wraps_in_turn(drive: Drive) -> tuple[Wrap, ...]:
    """The wrap of every pulley of a belt that also runs on some with its back."""
    forms = RunForms(drive)
    run = forms.run
    count = len(drive.circles)
    assert run is not None
    if not np.isfinite(run.wraps).all():
        nothing = np.zeros(len(drive.layout.survey.sources))
        return tuple(Wrap(one.part.name, 0.0, 0.0, 0.0, 0.0, nothing) for one in drive.circles)
    wraps, spreads, found = forms.wraps()
    by_pulley: list[Wrap | None] = [None] * count
    for place, pulley in enumerate(forms.order):
        wrap, loose = math.degrees(wraps[place]), math.degrees(spreads[place])
        by_pulley[pulley] = Wrap(
            drive.circles[pulley].part.name,
            max(wrap, 0.0),
            max(wrap - loose, 0.0),
            max(wrap + loose, 0.0),
            _passes(run, place),
            np.degrees(found[place]),
        )
    return tuple(one for one in by_pulley if one is not None)


def _passes(run: BeltRun, place: int) -> float:
    """How far the belt of the others passes one pulley, mm; below zero: how far it presses on it.

    Only the belt between its two neighbours is looked at.
    """
    count = run.xyr.shape[-2]
    if count < 3:
        return 0.0
    others = np.delete(np.arange(count), place)
    rest = belt_run(run.xyr[others], run.sense[others] < 0)
    before = int(np.flatnonzero(others == (place - 1) % count)[0])
    start, _ = rest.ends
    heading = rest.headings[before]
    left = np.array([-np.sin(heading), np.cos(heading)])
    off = float(left @ (run.xyr[place, :2] - start[before]))
    return float(run.sense[place] * off - run.xyr[place, 2])
