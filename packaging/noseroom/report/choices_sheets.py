"""What to buy, as pictures: every condenser and every fan that was tried, ranked, as bands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from noseroom.checks.condenser_choice import CondenserChoice, CondenserTrial
from noseroom.checks.condenser_choice_air import Tried
from noseroom.checks.cooling_words import per_cent
from noseroom.checks.fan_choice import FanChoice, FanTrial
from noseroom.checks.words import listed
from noseroom.findings import Verdict
from noseroom.report.cooling_bars import amps_text, bars_svg, sound_text
from noseroom.report.cooling_rows import BarRow, Heads
from noseroom.units import format_length

__all__ = ["MOST_ROWS", "condensers_svg", "fans_svg", "moved"]

MOST_ROWS = 12
"""More than these nobody compares; the table has them all."""
_AS_READ = "as the file has it"
_OPEN = {
    Verdict.TOO_CLOSE: "too close to call",
    Verdict.NOT_KNOWN: "not known",
    Verdict.FOULS: "fouls",
}
_LEAST_MM = 1.0

Trial = CondenserTrial | FanTrial


def condensers_svg(found: CondenserChoice, title: str, unit: str, said: str) -> str:
    """The sheet of the sizes of condensers, mm. said: in words, for who cannot see."""
    heads = Heads(
        "condensers to buy, ranked",
        rows="Height by width over all",
        costs="Fits?",
        air=_AS_READ,
        share="% of that",
    )
    rows = [
        BarRow(f"{rank} {one.name}".strip(), _better(tried), _stands(one, unit), tried.states)
        for rank, one, tried in _ranked(found.trials)
    ]
    below = _left_out(found.trials, len(rows))
    as_is = _as_read(found.as_read, [f"the {found.part}", _covers(found.as_read)])
    return bars_svg([as_is, *rows], title, heads, said, below)


def fans_svg(found: FanChoice, title: str, unit: str, said: str) -> str:
    """The sheet of the sizes of electric fans, in both places. As `condensers_svg`."""
    heads = Heads(
        "electric fans to buy, ranked",
        rows="Size over the blades",
        costs="Fits? Current",
        air=_AS_READ,
        share="% of that",
    )
    rows = [
        BarRow(
            f"{rank} {one.name}".strip(),
            _better(tried),
            [*_stands(one, unit), amps_text(tried.amps)],
            tried.states,
        )
        for rank, one, tried in _ranked(found.trials)
    ]
    below = _left_out(found.trials, len(rows))
    if found.too_large:
        below.append(f"Larger than what it would sit on: {listed(found.too_large)}.")
    if found.left_off:
        below.append(f"For one behind the radiator, the {listed(found.left_off)} comes off.")
    return bars_svg([_as_read(found.as_read, []), *rows], title, heads, said, below)


def moved(one: Trial, unit: str) -> str:
    """Where its middle stands against where the file has it: "1/2 in higher", "" for there."""
    ways = (
        (one.up_mm, "higher" if one.up_mm > 0 else "lower"),
        (one.across_mm, "to the car's right" if one.across_mm > 0 else "to the car's left"),
    )
    told = [f"{format_length(abs(by), unit)} {way}" for by, way in ways if abs(by) >= _LEAST_MM]
    return listed(told) if told else ""


def _as_read(tried: Tried, costs: Sequence[str]) -> BarRow:
    return BarRow(_AS_READ, sound_text(tried.sound), costs, tried.states)


def _ranked(trials: Sequence[Trial]) -> Iterator[tuple[str, Trial, Tried]]:
    """Those that do not foul, with a rank for what keeps every rule; no more than have room."""
    rank = 0
    for count, one in enumerate(one for one in trials if one.tried is not None):
        if count == MOST_ROWS:
            return
        assert one.tried is not None
        fits = one.verdict is Verdict.FITS
        rank += fits
        yield str(rank) if fits else "", one, one.tried


def _better(tried: Tried) -> str:
    share = f"{per_cent(tried.better)} better, {per_cent(tried.worse)} worse"
    return f"{sound_text(tried.sound)}; {share}"


def _stands(one: Trial, unit: str) -> list[str]:
    """Whether it fits, and where."""
    if one.verdict is Verdict.FITS:
        told = "keeps every rule"
    else:
        told = f"{_OPEN[one.verdict]}{f': {one.by}' if one.by else ''}"
    lines = [told]
    off = moved(one, unit)
    if off and isinstance(one, CondenserTrial):
        lines.append(f"its middle {off}")
    if isinstance(one, CondenserTrial) and one.tried is not None:
        lines.append(_covers(one.tried))
    return lines


def _covers(tried: Tried) -> str:
    return f"over {per_cent(tried.covered)} of the radiator"


def _left_out(trials: Sequence[Trial], shown: int) -> list[str]:
    """In words, what has no row."""
    fouls = [
        f"{one.name}{f' ({one.by})' if one.by else ''}"
        for one in trials
        if one.verdict is Verdict.FOULS
    ]
    lines = [f"Foul: {listed(fouls)}."] if fouls else []
    more = sum(1 for one in trials if one.tried is not None) - shown
    if more > 0:
        lines.append(f"{more} more that rank below these are in choices.csv.")
    return lines
