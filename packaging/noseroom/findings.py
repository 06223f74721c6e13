"""What a check says, as data: terminal, files and page are views of these records."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum


class Verdict(StrEnum):
    """The four answers, and no fifth."""

    FITS = "fits"
    FOULS = "fouls"
    TOO_CLOSE = "too close to call"
    NOT_KNOWN = "not known"

    @property
    def rank(self) -> int:
        """0 for the worst news."""
        return _RANK[self]


_RANK = {Verdict.FOULS: 0, Verdict.NOT_KNOWN: 1, Verdict.TOO_CLOSE: 2, Verdict.FITS: 3}


SPACER = "spacer: "
"""How the id of an answer on what to put under a fan begins."""

COOLING = "cooling: "
"""How the id of an answer on air and heat begins."""


@dataclass(frozen=True, slots=True)
class Rule:
    """How much room is enough: mm, and who says so. line: where the file changed it, or 0."""

    key: str
    value_mm: float
    source: str
    line: int = 0


@dataclass(frozen=True, slots=True)
class Support:
    """Something a finding rests on.

    sensitivity: change of the measured value per unit of the reading. share: 0 to 1, its part of
    the spread. assumed: nobody measured it; its whole range has been allowed for.
    """

    reading: str
    line: int
    sensitivity: float
    share: float
    assumed: bool = False


@dataclass(frozen=True, slots=True)
class Finding:
    """One question and its answer.

    id: stable, made of question and parts. state: "at rest", "moving" or "at speed".
    relation: of the two bodies as adjusted. measured_mm: their distance (negative: the distance to
    pull them apart). bound_mm: the true distance of the model is never below it. spread_mm: what
    the uncertainty of readings and assumptions may take off. points: closest points, vehicle
    frame, mm. remedies: what to do, best first, each with its figure. note: one plain sentence.
    """

    id: str
    question: str
    parts: tuple[str, ...]
    verdict: Verdict
    note: str
    state: str = "at rest"
    relation: str = ""
    measured_mm: float | None = None
    bound_mm: float | None = None
    spread_mm: float | None = None
    rule: Rule | None = None
    overlap_mm3: float | None = None
    pull_apart: tuple[tuple[float, float, float], float] | None = None
    points: tuple[tuple[float, float, float], ...] = ()
    remedies: tuple[str, ...] = ()
    rests_on: tuple[Support, ...] = ()
    details: dict[str, float | str | list[list[float]]] = field(default_factory=dict)

    @property
    def is_service(self) -> bool:
        """Whether it is about working on the nose once it is together: it stands apart."""
        return self.id.startswith("service: ")

    @property
    def is_cooling(self) -> bool:
        """Whether it is about air and heat: that stands apart, and rests on bands."""
        return self.id.startswith(COOLING)

    @property
    def is_choice(self) -> bool:
        """Whether it is about what to buy or to make: the verdict on the nose does without it."""
        return self.id.startswith((SPACER, COOLING))

    @property
    def sure_mm(self) -> float | None:
        """The clearance that surely remains: bound less spread."""
        if self.bound_mm is None or self.spread_mm is None:
            return None
        return self.bound_mm - self.spread_mm


def overall(verdicts: list[Verdict]) -> Verdict:
    """The verdict on the whole nose: the worst of all; "not known" for an empty list."""
    return min(verdicts, key=lambda one: one.rank) if verdicts else Verdict.NOT_KNOWN


def exit_status(verdict: Verdict) -> int:
    """0 everything fits, 1 something fouls, 3 nothing fouls but something is open."""
    return {Verdict.FITS: 0, Verdict.FOULS: 1}.get(verdict, 3)
