"""What to buy as a table: every size that was tried, a row for each state."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Sequence

from noseroom.checks.condenser_choice import CondenserTrial
from noseroom.checks.condenser_choice_air import Tried, TriedState
from noseroom.checks.condenser_choice_all import Choices
from noseroom.checks.cooling_records import Span
from noseroom.checks.fan_choice import FanTrial
from noseroom.findings import Verdict

__all__ = ["COLUMNS", "choices_csv"]

_BANDS = (
    ("coolant_c", 1.0, 1),
    ("head_bar_gauge", 1.0, 1),
    ("radiator_air_percent", 100.0, 1),
)
_ENDS = ("low", "middle", "high")
COLUMNS = (
    "what",
    "rank",
    "size",
    "verdict",
    "decided_by",
    "middle_across_mm",
    "middle_up_mm",
    "covers_percent",
    "within_bounds_percent",
    "better_percent",
    "worse_percent",
    *(f"more_amps_{end}" for end in _ENDS),
    "state",
    *(f"{name}_{end}" for name, _, _ in _BANDS for end in _ENDS),
    "boils_percent",
    "cut_out_percent",
)
"""Bands are 5, 50 and 95 % points; "inf" is beyond any figure: boils over, or runs away. Air is
that through the radiator over what it gets as the file has it. Nothing: not known."""


def choices_csv(found: Choices) -> str:
    """RFC 4180: a header, a line a size and state, lines ended by CR and LF."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    for what, one in (("condenser", found.condenser), ("fan", found.fan)):
        if one is not None:
            writer.writerows(_of_tried([what, "", "as the file has it", ""], one.as_read))
            writer.writerows(_rows(what, one.trials))
    return text.getvalue()


def _rows(what: str, trials: Sequence[CondenserTrial | FanTrial]) -> Iterator[list[str]]:
    rank = 0
    for one in trials:
        fits = one.verdict is Verdict.FITS
        rank += fits
        begun = [what, str(rank) if fits else "", one.name, one.verdict.value]
        place = [one.by, _number(one.across_mm, 1), _number(one.up_mm, 1)]
        if one.tried is None:
            yield [*begun, *place] + [""] * (len(COLUMNS) - len(begun) - len(place))
        else:
            yield from _of_tried(begun, one.tried, place)


def _of_tried(
    begun: Sequence[str], tried: Tried, place: Sequence[str] = ("", "0.0", "0.0")
) -> Iterator[list[str]]:
    shares = (tried.covered, tried.sound, tried.better, tried.worse)
    for state in tried.states:
        yield [
            *begun,
            *place,
            *(_number(100.0 * one, 0) for one in shares),
            *_ends(tried.amps, 1.0, 1),
            *_of_state(state),
        ]


def _of_state(state: TriedState) -> list[str]:
    spans = (state.coolant_c, state.head_bar, state.air)
    return [
        state.state,
        *(
            text
            for span, (_, scale, digits) in zip(spans, _BANDS, strict=True)
            for text in _ends(span, scale, digits)
        ),
        _number(100.0 * state.boils, 0),
        _number(100.0 * state.cut_out, 0),
    ]


def _ends(span: Span, scale: float, digits: int) -> list[str]:
    return [_number(scale * end, digits) for end in (span.low, span.middle, span.high)]


def _number(value: float, digits: int) -> str:
    if math.isnan(value):
        return ""
    return f"{value:.{digits}f}" if math.isfinite(value) else "inf" if value > 0 else "-inf"
