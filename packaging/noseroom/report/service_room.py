"""Room to work, in words: what can be reached once the nose is together, and what is in the way.

It stands apart from the other answers and has words of its own: that a grille has to come off
before a wrench goes on is no foul.
"""

from __future__ import annotations

from dataclasses import dataclass

from noseroom.checks import words
from noseroom.findings import Finding, Verdict
from noseroom.report.result import Result

TITLE = "Room to work"
APART = "It does not decide whether the nose fits."
WORD = {
    Verdict.FITS: "room",
    Verdict.FOULS: "no room",
    Verdict.TOO_CLOSE: "too close",
    Verdict.NOT_KNOWN: "not known",
}


@dataclass(frozen=True)
class Row:
    """One answer, or all that is well in one. more: what was taken, and what to do."""

    verdict: Verdict
    text: str
    more: tuple[str, ...] = ()


def rows(result: Result) -> list[Row]:
    """What is open, worst first, one row each; then all that has room in one row."""
    found = [
        Row(one.verdict, one.note, one.remedies)
        for one in result.service
        if one.verdict is not Verdict.FITS
    ]
    well = [_task(one) for one in result.service if one.verdict is Verdict.FITS]
    if well:
        found.append(Row(Verdict.FITS, f"Room enough for {words.listed(well)}."))
    return found


def taken(result: Result) -> list[str]:
    """What room each task was given, tasks of the same room in one line."""
    same: dict[str, list[str]] = {}
    for one in result.service:
        same.setdefault(str(one.details.get("taken", "")), []).append(_task(one))
    return [f"{words.listed(tasks)}: {how}" for how, tasks in same.items() if how]


def sources(result: Result) -> list[str]:
    """Where the figures of the room come from, each once."""
    said = (str(one.details.get("sources", "")).split("; ") for one in result.service)
    return list(dict.fromkeys(text for texts in said for text in texts if text))


def _task(finding: Finding) -> str:
    return str(finding.details.get("task", finding.id.removeprefix("service: ")))
