"""In which order a bracket is bolted up, and whether hands and tools get at its bolts.

Either the bracket is bolted to its part on the bench, and then to the core support in the car; or
it is bolted to the core support first, and the part is hung on it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.access import Access, Bolt, Reach, sources
from noseroom.checks.bracket_bolts import Bolted
from noseroom.checks.bracket_job import Candidate
from noseroom.checks.bracket_placed import placed_bracket
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.checks.service import RULE
from noseroom.checks.stand_ins import StandIns
from noseroom.findings import Finding, Rule, Verdict

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Order:
    """One order of work with how its bolts are reached. bench: whether the tab's comes first."""

    bench: bool
    tab: tuple[Reach, ...]
    rail: tuple[Reach, ...]

    @property
    def badness(self) -> tuple[int, int, int, bool]:
        """As that of each reach, added up; of equals, the bench comes first."""
        every = [one.badness for one in (*self.tab, *self.rail)]
        stays, may, out = (sum(column) for column in zip(*every, strict=True))
        return stays, may, out, not self.bench

    def names(self, key: str) -> list[str]:
        """Parts of all reaches by what they are: "before", "stays" or "open"."""
        return sorted({name for one in (*self.tab, *self.rail) for name in getattr(one, key)})


def check_bolting(
    pairs: Pairs, rules: Rules, name: str, made: Candidate, bolts: Sequence[Bolted], moves: Floats
) -> Finding:
    """Whether a bracket can be bolted up, and in which order."""
    host = made.job.site.host.name
    rule = rules.named(RULE)
    every = frozenset(pairs.layout.parts)
    bench = every - {host}
    rails, tabs = list(_rail_bolts(name, made, bolts)), [_tab_bolt(name, made, bolts)]

    def reach(
        some: Sequence[Bolt], held: str, left_out: frozenset[str], fixed: frozenset[str]
    ) -> tuple[Reach, ...]:
        stands = placed_bracket(name, made, moves, "rail" if held == "rail" else "tab")
        access = Access(StandIns(pairs, {name: stands}), rule, fixed | {name})
        return tuple(access.best(one, left_out) for one in some)

    orders = []
    on_bench = reach(tabs, "tab", bench, frozenset({host}))
    if on_bench[0].badness == (0, 0, 0):
        in_car = reach(rails, "rail", frozenset(), frozenset({host}))
        orders.append(Order(True, on_bench, in_car))
    if not orders or orders[0].badness > (0, 0, 0, False):
        first = reach(rails, "rail", frozenset({host}), frozenset())
        orders.append(Order(False, reach(tabs, "tab", frozenset(), frozenset({host})), first))
    best = min(orders, key=lambda one: one.badness)
    return _finding(name, made, rule, best)


def _rail_bolts(name: str, made: Candidate, bolts: Sequence[Bolted]) -> Iterator[Bolt]:
    face, t = made.job.face, made.job.sheet.thickness_mm
    up = face.plane.up
    mine = [one for one in bolts if one.where == "rail"]
    if made.joint is not None:
        leg = made.leg_up
        one = next(one for one in bolts if one.where == "between")
        seat, far = made.joint + t * leg, made.joint - t * leg
        title = f"{name}'s bolt between its pieces"
        yield Bolt(title, face.host, face.feature, seat, far, leg, one)
    for number, (at, one) in enumerate(zip(made.rail_at, mine, strict=True)):
        which = f" {number + 1}" if len(mine) > 1 else ""
        yield Bolt(
            f"{name}'s bolt{which} in the core support",
            face.host,
            face.feature,
            at + t * up,
            at - face.sheet_mm * up,
            up,
            one,
        )


def _tab_bolt(name: str, made: Candidate, bolts: Sequence[Bolted]) -> Bolt:
    job, site = made.job, made.job.site
    out = job.side * site.normal
    seat = site.face(job.side).point + (2.0 * job.standoff_mm + job.sheet.thickness_mm) * out
    one = next(one for one in bolts if one.where == "tab")
    far = site.face(-job.side).point
    return Bolt(f"{name}'s bolt in the tab", site.host, site.feature, seat, far, out, one)


def _finding(name: str, made: Candidate, rule: Rule, best: Order) -> Finding:
    host = made.job.site.host.name
    before, stays, may = (best.names(key) for key in ("before", "stays", "open"))
    verdict = Verdict.FOULS if stays else Verdict.TOO_CLOSE if may else Verdict.FITS
    blocked = stays or may
    order = (
        f"Bolt it to the {host} on the bench, then to the core support"
        if best.bench
        else f"Bolt it to the core support, then hang the {host} on it"
    )
    if best.bench:
        order += f" (whether the {host} goes in with all its brackets on it is not looked at)"
    later = f", before the {words.listed(before)} {_goes(before)} in" if before else ""
    if stays:
        note = f"Its bolts cannot be reached: {_the(blocked)} {_stands(blocked)} in the way."
    elif may:
        note = f"It is too close to call whether its bolts can be reached: {_the(blocked)}."
    else:
        note = f"{order}{later}."
    return Finding(
        id=f"bolting: {name}",
        question="can it be bolted up",
        parts=(name, *blocked, *before),
        verdict=verdict,
        note=note,
        rule=rule,
        remedies=() if verdict is Verdict.FITS else ("turn the bolt round, or weld its nut on",),
        details={"order": f"{order}{later}.", "sources": "; ".join(sources())},
    )


def _the(names: Sequence[str]) -> str:
    return f"the {words.listed(names)}"


def _stands(names: Sequence[str]) -> str:
    return "stands" if len(names) == 1 else "stand"


def _goes(names: Sequence[str]) -> str:
    return "goes" if len(names) == 1 else "go"
