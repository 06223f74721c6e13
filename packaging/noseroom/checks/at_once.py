"""The verdicts on a changed nose at once: what surely stands is taken over from the last check."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from noseroom.checks.agreement import check_agreement
from noseroom.checks.at_speed import look_at_speed
from noseroom.checks.belts import check_belts
from noseroom.checks.bends import BendsOfAnother
from noseroom.checks.bodies import Bodies
from noseroom.checks.drift import Checked, Drift
from noseroom.checks.fan_gap import look_at_fan_gaps
from noseroom.checks.fit import look_at_fit
from noseroom.checks.margins import FAN_GAP, MOVING, SECOND_ORDER, Key, Margins
from noseroom.checks.moving import look_at_moving, unclear_in_motion
from noseroom.checks.near_pairs import NearPairs
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
    ways = NearPairs(pairs, before.pairs, drift), pairs
    look_at_fit(ways, bodies, rules, margins)
    settled = margins.settled(now)
    look_at_moving(ways, bodies, rules, settled, margins)
    look_at_speed(ways, bodies, rules, settled, margins.open_pairs(MOVING), margins)
    look_at_fan_gaps(ways, rules, margins)
    found = [one.verdict for one in (*check_agreement(now), *unclear_in_motion(pairs, rules))]
    found += [Verdict.NOT_KNOWN for one in now.parts.values() if one.unplaced]
    verdicts = margins.verdicts()
    found += [verdict for key, verdict in verdicts.items() if key[0] != FAN_GAP]
    found += _of_fans(margins)
    if Verdict.FOULS not in found:  # nothing is worse, whatever the belts do
        found += _of_belts(pairs, before.pairs, rules)
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


def _of_belts(pairs: Pairs, before: Pairs, rules: Rules) -> list[Verdict]:
    """The verdicts on belts, with the second order of the nose that was checked where that does.

    The more of it there is, the wider is all that is told: what fits or fouls with more of it does
    with less, and what is too close to call with less is with more.
    """

    def told(share: float) -> list[Verdict]:
        survey = pairs.layout.survey
        bends = BendsOfAnother(survey, before.bends, share)
        return [one.verdict for one in check_belts(Pairs(pairs.layout, bends), rules)]

    wide = told(1.0 + SECOND_ORDER)
    if Verdict.TOO_CLOSE not in wide or told(1.0 - SECOND_ORDER) == wide:
        return wide
    return [one.verdict for one in check_belts(pairs, rules)]


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
