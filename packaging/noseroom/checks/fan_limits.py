"""What blocks a fan along its own axis, component by component, and what each part does today.

The fan is moved ahead, from where it stands now, along its (tilted) axis; at each thickness the
sure gap of everything it sweeps, and of its spider and clutch, is held against its rule.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from noseroom.checks.fan_window_fine import FineViews
from noseroom.checks.fan_window_scan import AMPLE_MM, AT_REST, MOST_SPACER_MM, WHOLE, Scan, View
from noseroom.checks.fan_window_search import END_MM, Interval
from noseroom.checks.margins import FAN_GAP, Margins
from noseroom.checks.pairs import Pairs, component_pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Verdict
from noseroom.layout import PlacedPart


@dataclass(frozen=True, eq=False)
class Limit:
    """One thing to keep clear of, and where along the axis that is not sure.

    blocked: of the thicknesses that nothing else had blocked before it was looked at; all that it
    blocks is `whole`. today: whether its rule is not surely kept with no spacer. fouls: whether the
    fan breaks its rule where it stands, whatever the readings hide. scan: the pair of components
    that it is about.
    """

    part: str
    blocked: tuple[Interval, ...]
    known: bool
    today: bool
    fouls: bool
    scan: Scan

    @property
    def state(self) -> str:
        """The state in which the two come too near."""
        return self.scan.state

    @cached_property
    def whole(self) -> tuple[Interval, ...]:
        """All that it blocks, whatever else does."""
        return self.scan.blocked() if self.known else WHOLE


def limit_of(
    scan: Scan, within: Sequence[Interval], *, today: bool, always: bool = False
) -> Limit | None:
    """What one pair of components blocks of some thicknesses; None where that is nothing.

    today: whether it is asked what it does without a spacer. always: a limit even where it blocks
    none of these, if it blocks others.
    """
    if not within and not today and not always:
        return None
    name, first = scan.other.name, within[0][0] if within else 0.0
    if not scan.known_at(0.0 if today else first):
        return Limit(name, tuple(within) or WHOLE, False, today, False, scan)
    blocked = scan.blocked(within)
    now = today and scan.margin(0.0) < END_MM
    if not blocked and not now and not (always and scan.blocked()):
        return None
    finer = scan.refined(blocked, within)
    if finer is not None and not (now and finer.margin(0.0) >= END_MM):
        blocked = finer.blocked(within)
    fouls = now and scan.state == AT_REST and scan.fouls_by(scan.sure(0.0)) > 0
    return Limit(name, blocked, True, now, fouls, scan)


def in_order(scans: Iterable[Scan]) -> list[Scan]:
    """Pairs of components, those first that probably leave the least."""
    return sorted(scans, key=lambda one: one.leaves_mm())


def scans_past(
    pairs: Pairs, rules: Rules, fan: PlacedPart, other: PlacedPart, fine: FineViews | None = None
) -> Iterator[Scan]:
    """The pairs of components, with their rules."""
    view = View(pairs, fan, other)
    finer = None if fine is None else fine.of
    for mine, theirs in component_pairs(pairs.layout, fan, other):
        rule = rules.between(fan, mine, other, theirs)
        yield Scan(view, mine, theirs, rule, fine=finer)


def note_today(
    pairs: Pairs, rules: Rules, fan: PlacedPart, other: PlacedPart, margins: Margins
) -> None:
    """Note whether a part keeps a fan from doing without a spacer, and how much that may change."""
    note_scans(scans_past(pairs, rules, fan, other), pairs, fan, other, margins)


def note_scans(
    scans: Iterable[Scan], pairs: Pairs, fan: PlacedPart, other: PlacedPart, margins: Margins
) -> None:
    """`note_today` for all pairs of components of two parts, where they are at hand."""
    bent = pairs.bent_mm(fan, other)
    margins.note(FAN_GAP, fan, other, Verdict.FITS, MOST_SPACER_MM, bent)
    for scan in scans:
        if scan.never_near:
            boxes = scan.stands_off_mm() - scan.room_mm
            room = boxes if boxes >= AMPLE_MM else max(boxes, scan.margin(0.0) - END_MM, 0.0)
            margins.note(FAN_GAP, fan, other, Verdict.FITS, min(room, MOST_SPACER_MM), bent)
            continue
        if scan.quickly_free(0.0):
            margins.note(FAN_GAP, fan, other, Verdict.FITS, scan.margin(0.0) - END_MM, bent)
            continue
        today = scan.sure(0.0)
        if not today.answers(scan.room_mm):
            short = scan.room_mm - today.lower_mm
            room = short if np.isfinite(short) else np.inf
            margins.note(FAN_GAP, fan, other, Verdict.NOT_KNOWN, room, bent)
            continue
        left, fouls = scan.margin(0.0) - END_MM, scan.fouls_by(today)
        if fouls > 0:
            margins.note(FAN_GAP, fan, other, Verdict.FOULS, fouls, bent)
        elif left < 0:
            margins.note(FAN_GAP, fan, other, Verdict.TOO_CLOSE, min(-left, -fouls), bent)
        else:
            margins.note(FAN_GAP, fan, other, Verdict.FITS, left, bent)
