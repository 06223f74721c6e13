"""The page's own words for verdicts and figures."""

from __future__ import annotations

from noseroom.checks import words
from noseroom.findings import Finding, Rule, Verdict
from noseroom.report import digest
from noseroom.report.result import Result
from noseroom.units import format_length

WORD = {
    Verdict.FOULS: "Fouls",
    Verdict.NOT_KNOWN: "Not known",
    Verdict.TOO_CLOSE: "Too close to call",
    Verdict.FITS: "Fits",
}
SIGN = {
    Verdict.FOULS: "✗",
    Verdict.NOT_KNOWN: "?",
    Verdict.TOO_CLOSE: "≈",
    Verdict.FITS: "✓",
}
CLASS = {
    Verdict.FOULS: "fouls",
    Verdict.NOT_KNOWN: "unknown",
    Verdict.TOO_CLOSE: "close",
    Verdict.FITS: "fits",
}
_SENTENCE = {
    Verdict.FOULS: "It does not fit as it stands.",
    Verdict.NOT_KNOWN: "Not known yet: nothing surely fouls, but not every place is fixed.",
    Verdict.TOO_CLOSE: "Too close to call: nothing surely fouls, but the readings do not decide.",
    Verdict.FITS: "Everything fits.",
}
_MORE = {
    Verdict.FOULS: "Something is nearer than its rule allows, whatever the readings hide.",
    Verdict.NOT_KNOWN: "What rests on such a place cannot be answered before it is measured.",
    Verdict.TOO_CLOSE: "Finer readings would settle it; each answer says which.",
    Verdict.FITS: "That holds over the whole range of everything that is assumed.",
}
_FINEST_MM = 1.6
"""No figure in inches is rounded by more."""


def sentence(verdict: Verdict) -> tuple[str, str]:
    """The overall verdict for a builder, and what it means."""
    return _SENTENCE[verdict], _MORE[verdict]


def counts(result: Result) -> dict[Verdict, int]:
    """How many answers each verdict has, worst first; pairs that surely fit are counted in."""
    found = {verdict: len(result.of(verdict)) for verdict in sorted(Verdict, key=lambda v: v.rank)}
    found[Verdict.FITS] += result.far_pairs
    return found


def both(mm: float, unit: str) -> str:
    """A clearance in the file's unit, and in mm beside it; rounded down."""
    said = words.length(mm, unit)
    return said if unit == "mm" else f"{said} ({words.length(mm, 'mm')})"


def both_up(mm: float, unit: str) -> str:
    """A length that is asked, or has to be made up, in both units; rounded up."""
    said = words.at_least(mm, unit)
    return said if unit == "mm" else f"{said} ({words.at_least(mm, 'mm')})"


def may_overlap(finding: Finding) -> bool:
    """Whether the two run into each other as adjusted, though the readings may hide that not."""
    return finding.verdict is Verdict.TOO_CLOSE and (finding.measured_mm or 0.0) < 0


def tag_figure(finding: Finding, unit: str) -> str:
    """The figure at a tight spot, short.

    The picture shows the parts at rest: a spot where a moved engine would be says so.
    """
    said = _tag_figure(finding, unit)
    if finding.state == "at speed" and finding.points:
        return f"{said} at speed"
    return f"{said}, engine moved" if digest.is_moved(finding) and finding.points else said


def _tag_figure(finding: Finding, unit: str) -> str:
    if finding.measured_mm is None:
        return "?"
    if may_overlap(finding):
        return "may overlap"
    if finding.measured_mm < 0:
        return f"overlap {words.at_least(-finding.measured_mm, unit)}"
    return words.length(finding.measured_mm, unit)


def apart(finding: Finding, unit: str) -> str:
    """How far apart the two are, in full."""
    measured = finding.measured_mm
    if measured is None:
        return "not known"
    if may_overlap(finding):
        return f"may overlap, by {both_up(-measured, unit)}; the readings do not decide"
    if measured < 0:
        return f"overlap; {both_up(-measured, unit)} would pull them apart"
    return both(measured, unit)


def sure(finding: Finding, unit: str) -> str:
    """How much of it is sure, in full."""
    value = finding.sure_mm
    if value is None or finding.rule is None:
        return "not known"
    if value < 0 or value == 0 < finding.rule.value_mm:
        return "none"
    over = value - finding.rule.value_mm
    if finding.verdict is Verdict.FITS and 0 <= over < _FINEST_MM:
        # What is asked is rounded up and what is sure is rounded down: they may seem to cross.
        return f"what is asked, and hardly more ({words.length(value, 'mm')})"
    return both(value, unit)


def asked(rule: Rule, unit: str) -> str:
    """What a rule asks, in full."""
    if rule.value_mm <= 0:
        return "no room beyond it"
    said = words.at_least(rule.value_mm, unit)
    # 3/8 in is 9.5 mm to whoever converts it: only what is measured is rounded to one side.
    return said if unit == "mm" else f"{said} ({format_length(rule.value_mm, 'mm')})"


def begun(text: str) -> str:
    """A sentence with a capital: notes may begin with a part's name."""
    return text[:1].upper() + text[1:]


def names(finding: Finding) -> str:
    """The parts of a finding and its state, as its heading has them."""
    return digest.between(finding, " and ")
