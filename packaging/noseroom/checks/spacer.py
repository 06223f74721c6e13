"""Which spacer to fit between hub and fan, and with which bolts.

Asked only where the fan does not keep its room without one and some thickness does. The answer is
about what to buy or to turn, and so it does not count to the verdict on the nose: the fan's own
finding does.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache

import numpy as np

from noseroom.checks import spacer_words as said
from noseroom.checks import words
from noseroom.checks.fan_window import FRONT, REAR, Window
from noseroom.checks.spacer_choice import Choice, Option, Room, choose
from noseroom.checks.spacer_remedies import remedies
from noseroom.checks.spacer_stack import stack_of
from noseroom.findings import SPACER, Finding, Verdict
from noseroom.layout import Layout

QUESTION = "which spacer, and which bolts"
Details = dict[str, float | str | list[list[float]]]


def check_spacers(
    layout: Layout, gaps: Iterable[Finding], windows: Mapping[str, Window]
) -> tuple[Finding, ...]:
    """One finding for each fan that wants a spacer and has a window for one.

    gaps: what was found of the fans' gaps. windows: of each fan, by its name.
    """
    found = (
        _check(layout, gap, room_of(windows[gap.parts[0]]))
        for gap in gaps
        if gap.verdict in (Verdict.FOULS, Verdict.TOO_CLOSE) and gap.parts[0] in windows
    )
    return tuple(one for one in found if one is not None)


def room_of(window: Window) -> Room:
    """What a fan has along its axis, from its window: gaps are those that surely stay at rest."""

    @cache
    def sure(thickness: float) -> dict[str, float]:
        gaps = window.gaps(thickness)
        return {one.side: one.sure_mm for one in gaps if np.isfinite(one.sure_mm)}

    def inside(thickness: float) -> float | None:
        stands = window.in_shroud(thickness)
        return None if stands is None else stands.share

    return Room(
        window.intervals,
        ahead=lambda thickness: sure(thickness).get(FRONT),
        behind=lambda thickness: sure(thickness).get(REAR),
        shroud=inside,
    )


def spacer_choice(window: Window) -> Choice | None:
    """What to take for a fan; None where there is nothing to choose, or no pump to bolt it to."""
    stack = stack_of(window.layout, window.fan)
    return None if stack is None else choose(stack, room_of(window))


def _check(layout: Layout, gap: Finding, room: Room) -> Finding | None:
    fan = gap.parts[0]
    if not room.window:
        return None
    stack = stack_of(layout, layout.parts[fan])
    if stack is None:
        return _not_known(
            fan, "no water pump here carries it", f"add the water pump, and carry the {fan} by it"
        )
    if stack.is_spaced:
        on = words.length(stack.between.least_mm, stack.unit)
        return _not_known(
            fan,
            f"with {on} between hub and fan, one seems to be on already, and spacers are never "
            f"stacked",
            f"take off what is on, measure again where the {fan} stands, and check again",
        )
    choice = choose(stack, room)
    if choice is None:
        return None
    return Finding(
        id=f"{SPACER}{fan}",
        question=QUESTION,
        parts=(fan,),
        verdict=_verdict(choice, gap.verdict),
        note=said.note(choice),
        remedies=remedies(choice),
        details=_details(choice),
    )


def _not_known(fan: str, why: str, cure: str) -> Finding:
    return Finding(
        id=f"{SPACER}{fan}",
        question=QUESTION,
        parts=(fan,),
        verdict=Verdict.NOT_KNOWN,
        note=f"Which spacer the {fan} takes is not known: {why}.",
        remedies=(cure,),
    )


def _verdict(choice: Choice, without: Verdict) -> Verdict:
    """without: what the fan does without a spacer: it stands where none can be made or bolted."""
    if choice.stack.unfit or choice.best.stuck:
        return without
    return Verdict.NOT_KNOWN if choice.stack.missing else Verdict.FITS


def _details(choice: Choice) -> Details:
    best, stack = choice.best, choice.stack
    found: Details = {
        "thickness_mm": round(best.thickness_mm, 3),
        "bought": "yes" if best.stock else "no",
        "form": "double pilot" if best.double_pilot else "plain",
        "spare_mm": round(best.spare_mm, 2),
        "growth_least": round(best.growth.least_mm, 3),
        "growth_most": round(best.growth.most_mm, 3),
        "pilot_left_mm": round(best.pilot_left_mm, 2),
        "options_mm": [
            [round(one.thickness_mm, 3), round(one.spare_mm, 2)] for one in choice.options
        ],
    }
    for key, value in (
        ("ahead_mm", best.ahead_mm),
        ("behind_mm", best.behind_mm),
        ("shroud_share", best.shroud),
        ("off_centre_mm", choice.off_centre_mm),
    ):
        if value is not None:
            found[key] = round(value, 3)
    if in_full := said.lines(choice):
        found["in_full"] = "\n".join(in_full)
    found |= {
        f"option_{k}": said.option(one, stack.unit) for k, one in enumerate(choice.options, 1)
    }
    if moments := choice.moments_nm:
        found["moment_today_nm"] = round(moments[0].most_mm, 3)
        found["moment_nm"] = round(moments[1].most_mm, 3)
    return found | _bolt_details(best)


def _bolt_details(option: Option) -> Details:
    made = option.bolts
    if made is None:
        return {}
    joint = made.joint
    found: Details = {
        "thread": joint.thread.thread,
        "needed_engagement_mm": round(joint.needed_mm, 3),
        "full_engagement_mm": round(joint.full_mm, 3),
        "hole_mm": round(joint.drill.normal_mm, 3),
        "grip_mm": round(made.grip.most_mm, 2),
        "sources": "; ".join(dict.fromkeys(f"{row.source} ({row.how})" for row in made.rows)),
    }
    if made.bolt is not None:
        found |= {
            "bolt_length_mm": round(made.bolt.length_mm, 3),
            "grade": joint.grade.grade,
            "engagement_mm": round(made.engaged.least_mm, 3),
            "clamp_n": round(made.clamp_n, 1),
            "torque_oiled_nm": round(made.torque_nm.least_mm, 2),
            "torque_dry_nm": round(made.torque_nm.most_mm, 2),
        }
    return found
