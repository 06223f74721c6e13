"""Brackets against one another: each was designed as if it were the only one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from noseroom.checks.bodies import Bodies
from noseroom.checks.bracket_records import BracketDesign
from noseroom.checks.fit import check_part
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.layout import Layout
from noseroom.memo import Memo


def beside_one_another(
    layout: Layout, rules: Rules, made: Sequence[BracketDesign]
) -> tuple[BracketDesign, ...]:
    """The brackets, with what was found of each beside the others; nothing where they are far.

    The later of two is the one that gets the answer: it is the one to be made otherwise.
    """
    done: list[BracketDesign] = []
    for one in made:
        others = {other.placed.name: other.placed for other in done}
        carriers = {
            name: layout.parts[name]
            for placed in (one.placed, *others.values())
            for name in placed.ties
        }
        parts = {**carriers, **others, one.placed.name: one.placed}
        alone = replace(layout, parts=parts)
        found = check_part(Pairs(alone), Bodies(alone, Memo()), rules, one.placed) if others else ()
        near = tuple(each for each in found if any(name in others for name in each.parts))
        done.append(replace(one, findings=(*one.findings, *near)) if near else one)
    return tuple(done)
