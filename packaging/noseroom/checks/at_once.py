"""The verdicts on a changed nose at once: what surely stands is taken over from the last check."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from noseroom.checks.agreement import check_agreement
from noseroom.checks.at_speed import look_at_speed
from noseroom.checks.belts import check_belts
from noseroom.checks.bodies import Bodies
from noseroom.checks.drift import Checked, Drift
from noseroom.checks.fan_gap import look_at_fan_gaps
from noseroom.checks.fit import look_at_fit
from noseroom.checks.margins import FAN_GAP, MOVING, Key, Margins
from noseroom.checks.moving import look_at_moving, unclear_in_motion
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Verdict, overall
from noseroom.layout import Layout
from noseroom.memo import Memo


@dataclass(frozen=True)
class Outlook:
    """The verdict on a changed nose, and where it is another than before.

    verdicts: by state and pair of parts. changed: the verdict before (None: not asked) and now
    (None: no longer asked). taken_over: on how many pairs nothing had to be computed; looked_at: on
    how many it had.
    """

    verdict: Verdict
    verdicts: Mapping[Key, Verdict]
    changed: Mapping[Key, tuple[Verdict | None, Verdict | None]]
    taken_over: int
    looked_at: int


def verdicts_at_once(before: Checked, now: Layout, bodies: Bodies, memo: Memo) -> Outlook | None:
    """The verdicts on a layout, from those on another; None where the two are not comparable."""
    drift, known = Drift(before, now), before.margins
    if not drift.comparable:
        return None
    pairs, rules = Pairs(now, memo=memo), Rules(now.envelope)
    margins = Margins(known, drift)
    look_at_fit(pairs, bodies, rules, margins)
    settled = margins.settled(now)
    look_at_moving(pairs, bodies, rules, settled, margins)
    look_at_speed(pairs, bodies, rules, settled, margins.open_pairs(MOVING), margins)
    look_at_fan_gaps(pairs, rules, margins)
    others = (*check_agreement(now), *check_belts(pairs, rules), *unclear_in_motion(pairs, rules))
    found = [one.verdict for one in others]
    found += [Verdict.NOT_KNOWN for one in now.parts.values() if one.unplaced]
    verdicts = margins.verdicts()
    found += [verdict for key, verdict in verdicts.items() if key[0] != FAN_GAP]
    found += _of_fans(margins)
    return Outlook(
        overall(found),
        verdicts,
        _changed(known.verdicts(), verdicts),
        margins.taken_over,
        len(verdicts) - margins.taken_over,
    )


def _of_fans(margins: Margins) -> Iterable[Verdict]:
    """The verdict on each fan's gap: what is not known of any other part leaves it unknown."""
    fans: dict[str, list[Verdict]] = {}
    for (fan, _), one in margins.of(FAN_GAP):
        fans.setdefault(fan, []).append(one.verdict)
    for found in fans.values():
        yield Verdict.NOT_KNOWN if Verdict.NOT_KNOWN in found else overall(found)


def _changed(
    before: Mapping[Key, Verdict], now: Mapping[Key, Verdict]
) -> dict[Key, tuple[Verdict | None, Verdict | None]]:
    """What is another verdict; what was not asked and now fits is no news."""
    found = {}
    for key in dict.fromkeys((*before, *now)):
        then, there = before.get(key), now.get(key)
        if then is not there and {then, there} != {None, Verdict.FITS}:
            found[key] = then, there
    return found
