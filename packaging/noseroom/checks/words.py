"""Plain words for figures, directions and sources, in the file's own unit."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from noseroom.findings import Support
from noseroom.geometry.separation import READING_DEVIATIONS
from noseroom.survey.solution import Source
from noseroom.units import MM_PER_INCH, format_length

_LEAST_SHARE = 0.005
_MOST_SUPPORTS = 10
_SMALL_MM = 6.0  # below it sixteenths of an inch are too coarse for a ±
_INCH_STEP_MM, _METRIC_STEP_MM = MM_PER_INCH / 16, 0.1
_KEPT = 4
"""Decimals that findings.json keeps: the words are the same when it is read back."""
_MEASURE, _READ = "measure what is only assumed: ", "read line "
# The first number of "18 ± 3 mm" has its unit at the far end.
_MM_PAIR = re.compile(r"(-?\d+(?:\.\d+)?)(?: mm)? ± (\d+(?:\.\d+)?) mm\b")
_MM = re.compile(r"(-?\d+(?:\.\d+)?) mm\b")


def length(mm: float, unit: str) -> str:
    """A clearance for a person: rounded down, never up.

    What is more than nothing but less than the rule's finest mark is "under 1/16 in": "0 in" would
    read like contact.
    """
    mm = round(mm, _KEPT)
    step = _METRIC_STEP_MM if unit not in ("in", "ft") else _INCH_STEP_MM
    if 0 < mm < step:
        return f"under {format_length(step, unit)}"
    return format_length(mm, unit, rounding="down")


def at_least(mm: float, unit: str) -> str:
    """A length that has to be made up: rounded up."""
    mm = round(mm, _KEPT)
    return (
        format_length(-mm, unit, rounding="down").removeprefix("-") if mm > 0 else length(mm, unit)
    )


def way(direction: NDArray[np.float64]) -> str:
    """The main vehicle axis of a direction (3,), as a builder says it."""
    axis = int(np.argmax(np.abs(direction)))
    names = (("forward", "aft"), ("to the car's left", "to the car's right"), ("down", "up"))
    return names[axis][int(direction[axis] > 0)]


def in_unit(text: str, unit: str) -> str:
    """An assumption's text with its millimetres in the file's unit: "± 20 mm" as "± 13/16 in".

    For texts that noseroom made: a reading stays as its reader wrote it.
    """
    if unit == "mm":
        return text

    def said(*numbers: str) -> list[str]:
        values = [float(one) for one in numbers]
        fine = any(0 < abs(one) < _SMALL_MM for one in values)
        return [format_length(one, unit, denominator=64 if fine else 16) for one in values]

    text = _MM_PAIR.sub(lambda found: " ± ".join(said(*found.groups())), text)
    return _MM.sub(lambda found: said(found[1])[0], text)


def described(text: str, station: str) -> str:
    """A source's text with the part that it is about: "engine: level ± 1 deg"."""
    return text if not station or text.startswith(f"{station} ") else f"{station}: {text}"


def supports(
    form: NDArray[np.float64], sources: Sequence[Source], unit: str = "mm"
) -> tuple[Support, ...]:
    """What a value with derivatives `form` (s,) rests on, the largest part of its spread first.

    unit: of the file, for the figures of assumptions.
    """
    weights = np.array(
        [
            abs(slope) * (one.reach if one.assumed else READING_DEVIATIONS * one.deviation)
            for slope, one in zip(form, sources, strict=True)
        ]
    )
    total = float((weights**2).sum())
    if total <= 0:
        return ()
    share = weights**2 / total
    order = [int(i) for i in np.argsort(-share, kind="stable") if share[i] >= _LEAST_SHARE]
    return tuple(
        Support(
            _reading(sources[i], unit),
            sources[i].line,
            round(float(form[i]), 6),
            round(float(share[i]), 4),
            sources[i].assumed,
        )
        for i in order[:_MOST_SUPPORTS]
    )


def usual(size: str) -> str:
    """An assumed size, "condenser ports.spacing", as something that an answer rests on."""
    return f"{size} (a usual size)"


def _reading(source: Source, unit: str) -> str:
    if source.assumed and source.text == f"{source.station} {source.key}: usual":
        return usual(f"{source.station} {source.key}")
    text = in_unit(source.text, unit) if source.assumed else source.text
    return described(text, source.station)


def retake(rests_on: Sequence[Support]) -> tuple[str, ...]:
    """What to measure, again or for the first time, to settle a finding."""
    return tuple(
        f"{measure(one.reading, one.line, assumed=one.assumed)} "
        f"({100 * one.share:.0f} % of the spread)"
        for one in rests_on[:2]
    )


def measure(reading: str, line: int, *, assumed: bool) -> str:
    """One thing to measure: what is only assumed, or a reading that is too coarse."""
    return f"{_MEASURE}{reading}" if assumed else f"{_READ}{line} again, finer: {reading}"


def is_retake(remedy: str) -> bool:
    """Whether a remedy asks for a reading and for nothing to be moved."""
    return remedy.startswith((_MEASURE, _READ))


def listed(names: Sequence[str]) -> str:
    """Names in a sentence: "a, b and c"; "nothing" for none."""
    if not names:
        return "nothing"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
