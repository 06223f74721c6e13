"""What is otherwise in one result than in the one before it, in a few lines."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from noseroom.checks.margins import FAN_GAP
from noseroom.findings import Finding, Verdict
from noseroom.report.digest import counts
from noseroom.report.result import Result

if TYPE_CHECKING:
    from noseroom.checks.at_once import Outlook

_SAID = {
    Verdict.FITS: "fits",
    Verdict.FOULS: "fouls",
    Verdict.TOO_CLOSE: "too close to call",
    Verdict.NOT_KNOWN: "not known",
}


def changes(before: Result | None, now: Result) -> list[str]:
    """Lines for a terminal: the verdict on the nose, then each finding that has changed.

    Without a result before it, the verdict and what does not fit.
    """
    first = f"{now.title}: {_SAID[now.verdict]} ({counts(now)})"
    if before is None:
        open_ = [one for one in now.findings if one.verdict is not Verdict.FITS]
        return [first, *(f"  {_SAID[one.verdict]}: {one.note}" for one in open_)]
    lines = [f"  {line}" for line in _changed(before, now)]
    return [first, *(lines or ["  no finding has changed"])]


def at_once(title: str, outlook: Outlook) -> list[str]:
    """Lines for a terminal on what is known at once: verdicts, whose figures are still to come."""
    first = f"{title}: {_SAID[outlook.verdict]}; the figures follow"
    lines = [
        f"  now {_word(now)} (before: {_word(then)}): {_asked(*key)}"
        for key, (then, now) in outlook.changed.items()
    ]
    return [first, *(lines or ["  no verdict has changed"])]


def _word(verdict: Verdict | None) -> str:
    return "not asked" if verdict is None else _SAID[verdict]


def _asked(state: str, a: str, b: str) -> str:
    if state == FAN_GAP:
        return f"{a} past {b}, with no spacer"
    return f"{a} and {b}, {state}"


def _all(result: Result) -> tuple[Finding, ...]:
    return (*result.findings, *result.service, *result.cooling)


def _changed(before: Result, now: Result) -> Iterator[str]:
    """The findings that say something else, the worst first, then those that are gone."""
    known = {one.id: one for one in _all(before)}
    for one in _all(now):
        other = known.pop(one.id, None)
        if other is None:
            yield f"{_SAID[one.verdict]} (before: not near): {one.note}"
        elif other.verdict is not one.verdict:
            yield f"{_SAID[one.verdict]} (before: {_SAID[other.verdict]}): {one.note}"
        elif other.note != one.note:
            yield f"{_SAID[one.verdict]} as before: {one.note}"
            yield f"    it was: {other.note}"
    for gone in known.values():
        yield _gone(gone)


def _gone(one: Finding) -> str:
    names = " and ".join(one.parts)
    if one.id.startswith("fit:"):
        return f"fits by far (before: {_SAID[one.verdict]}): {names}"
    return f"no longer asked (before: {_SAID[one.verdict]}): {one.question}: {names}"
