"""Do the readings agree with one another, and with the bounds and sides that were said?"""

from __future__ import annotations

from noseroom.checks import words
from noseroom.findings import Finding, Verdict
from noseroom.layout import Layout

HOPELESS_W = 10.0
"""Beyond this many of its own deviations a reading is wrong beyond doubt: the file is refused."""


def check_agreement(layout: Layout) -> tuple[Finding, ...]:
    """One finding for readings that contradict others, one for each broken bound."""
    survey, unit = layout.survey, layout.envelope.unit
    found: list[Finding] = []
    if survey.disagreements:
        worst = survey.disagreements[0]
        found.append(
            Finding(
                id="readings",
                question="do the readings agree",
                parts=(worst.source.station,),
                verdict=Verdict.TOO_CLOSE,
                note=f"The readings do not agree: {worst.source.text} (line {worst.source.line}) "
                f"is about {words.at_least(abs(worst.slip), unit)} off what the others say.",
                remedies=tuple(
                    f"read line {one.source.line} again: {one.source.text}"
                    for one in survey.disagreements[:4]
                ),
            )
        )
    for sentence, miss in survey.broken_bounds:
        found.append(
            Finding(
                id=f"bound: line {sentence.line}",
                question="do the readings agree",
                parts=(sentence.subject.part,),
                verdict=Verdict.TOO_CLOSE,
                note=f"“{sentence.text}” (line {sentence.line}) does not hold: the readings miss "
                f"it by {words.at_least(miss, unit)}.",
                remedies=(f"read line {sentence.line} again",),
            )
        )
    return tuple(found)
