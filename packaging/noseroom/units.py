"""The project's only unit converters, and its readers of lengths, angles, counts and threads.

Geometry is in mm and degrees; a reader's own notation (27 1/4, 1' 3-1/2", 692 mm, 27¼ ± 1/8)
is read here and nowhere else. Every reader raises `noseroom.errors.UnitsError`, whose text says
what was found, what was expected and how to write it.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from noseroom import _unit_text as text_of
from noseroom._unit_text import ANGLE, LENGTH, NUMBER, Bound, Phrase, Scanner, quoted, refuse

__all__ = [
    "MM_PER_INCH",
    "Quantity",
    "Thread",
    "degrees_to_radians",
    "format_length",
    "inches_to_mm",
    "mm_to_inches",
    "mm_to_m",
    "radians_to_degrees",
    "read_angle",
    "read_length",
    "read_number",
    "read_thread",
    "split_angle",
    "split_length",
    "write_length",
]

MM_PER_INCH = float(text_of.MM_PER_INCH)
"""Exactly 25.4: the international inch, 1959 agreement (common practice)."""


def inches_to_mm(inches: float) -> float:
    """Inches to mm."""
    return inches * MM_PER_INCH


def mm_to_inches(mm: float) -> float:
    """Millimetres to inches."""
    return mm / MM_PER_INCH


def mm_to_m(mm: float) -> float:
    """Millimetres to metres."""
    return mm / 1000.0


def degrees_to_radians(degrees: float) -> float:
    """Degrees to radians."""
    return math.radians(degrees)


def radians_to_degrees(radians: float) -> float:
    """Radians to degrees."""
    return math.degrees(radians)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A reading as its writer stated it.

    value: mm, degrees or a plain count; may be negative. half_width: the ± in the same unit,
    zero or more; None if none was stated. bound: the value is a limit, not the reading itself.
    about: the writer said "about".
    """

    value: float
    half_width: float | None = None
    bound: Bound | None = None
    about: bool = False


def read_length(text: object, unit: str = "mm") -> Quantity:
    """Read a length, in mm.

    text: a str, or an int or float as YAML gives it; anything else is refused. unit: "in", "mm",
    "cm", "ft" or "m", for numbers that carry none. A half-width without a unit has its value's.
    Raises UnitsError.
    """
    return _quantity(text_of.read_value(text, LENGTH, _length_unit(unit)))


def read_angle(text: object) -> Quantity:
    """Read an angle, in degrees: 3 1/2 deg, 3.5°, 0.06 rad. Raises UnitsError."""
    return _quantity(text_of.read_value(text, ANGLE, "deg"))


def read_number(text: object) -> Quantity:
    """Read a plain number or count: 4, 2.5 ± 0.1, at least 3. Raises UnitsError."""
    return _quantity(text_of.read_value(text, NUMBER, ""))


def split_length(text: str, unit: str) -> tuple[Quantity, str]:
    """The length that a sentence starts with, in mm, and the rest of the sentence as written.

    "3 in from X" is 3 inches "in from X" where inches are the unit anyway; where they are not
    it could be either, and is refused (so is "in front of"). Raises UnitsError.
    """
    phrase, rest = Scanner(text, LENGTH, _length_unit(unit), sentence=True).split()
    return _quantity(phrase), rest


def split_angle(text: str) -> tuple[Quantity, str]:
    """The angle that a sentence starts with, in degrees, and the rest. Raises UnitsError."""
    phrase, rest = Scanner(text, ANGLE, "deg", sentence=True).split()
    return _quantity(phrase), rest


def _quantity(phrase: Phrase) -> Quantity:
    width = None if phrase.half_width is None else float(phrase.half_width)
    return Quantity(float(phrase.value), width, phrase.bound, phrase.about)


def _length_unit(unit: str) -> str:
    known = LENGTH.names.get(unit.strip())
    if known is None:
        refuse(quoted(unit), f"one of the units {', '.join(LENGTH.scales)}")
    return known


# Decimals that keep a written length within 1e-10 mm, and a printed one within 0.1 mm.
_WRITTEN_DECIMALS = {"mm": 10, "cm": 11, "m": 13, "in": 12, "ft": 12}
_PRINTED_DECIMALS = {"mm": 1, "cm": 2, "m": 4}
_NOISE_MM = Fraction(1, 10**9)


def format_length(
    mm: float,
    unit: str,
    *,
    denominator: int = 16,
    rounding: Literal["nearest", "down"] = "nearest",
) -> str:
    """A length for people: "27 1/4 in", "-3/8 in", "1 ft 3 1/2 in", "692 mm" (mm to 0.1).

    denominator: the finest fraction of an inch. rounding: "down" (towards minus infinity) is for
    guaranteed clearances, which rounding must not overstate. Raises UnitsError.
    """
    unit, exact = _length_unit(unit), _finite(mm)
    if denominator < 1:
        refuse(f"the denominator {denominator}", "1 or more")
    step = (
        text_of.MM_PER_INCH / denominator
        if unit in ("in", "ft")
        else LENGTH.scales[unit] / 10 ** _PRINTED_DECIMALS[unit]
    )
    # The noise keeps a float just under a mark of the rule from losing the whole step.
    steps = math.floor((exact + (step / 2 if rounding == "nearest" else _NOISE_MM)) / step)
    if unit in ("in", "ft"):
        return _in_fractions(Fraction(steps, denominator), unit)
    return f"{_decimal(steps * step / LENGTH.scales[unit], _PRINTED_DECIMALS[unit])} {unit}"


def write_length(mm: float, unit: str) -> str:
    """A length for a file: `read_length` reads it back to within 1e-9 mm.

    Inches and feet come as fractions where sixty-fourths are exact. Raises UnitsError.
    """
    unit, exact = _length_unit(unit), _finite(mm)
    inches = Fraction(round(exact / text_of.MM_PER_INCH * 64), 64)
    if unit in ("in", "ft") and abs(inches * text_of.MM_PER_INCH - exact) < _NOISE_MM / 2:
        return _in_fractions(inches, unit)
    return f"{_decimal(exact / LENGTH.scales[unit], _WRITTEN_DECIMALS[unit])} {unit}"


def _finite(mm: float) -> Fraction:
    """The exact value of a float, refusing what no reader would take back."""
    text_of.read_value(mm, LENGTH, "mm")
    return Fraction(mm)


def _decimal(number: Fraction, decimals: int) -> str:
    units = round(number * 10**decimals)
    whole, part = divmod(abs(units), 10**decimals)
    digits = f"{whole}.{part:0{decimals}d}".rstrip("0").rstrip(".")
    return f"-{digits}" if units < 0 else digits


def _in_fractions(inches: Fraction, unit: str) -> str:
    size = abs(inches)
    feet = size // 12 if unit == "ft" else 0
    whole, part = divmod(size - 12 * feet, 1)
    words = [f"{feet} ft"] if feet else []
    if whole or part or not feet:
        numbers = [str(whole)] * bool(whole or not part) + [str(part)] * bool(part)
        words += [*numbers, "in"]
    return ("-" if inches < 0 else "") + " ".join(words)


@dataclass(frozen=True, slots=True)
class Thread:
    """A screw thread by its designation: nominal major diameter and pitch, in mm."""

    major_mm: float
    pitch_mm: float
    text: str


# ISO 261 coarse pitches, mm (from memory).
_COARSE_PITCH_MM = {5: 0.8, 6: 1.0, 7: 1.0, 8: 1.25, 9: 1.25, 10: 1.5, 11: 1.5, 12: 1.75}
# ASME B1.1 number sizes, threads an inch (from memory): tell 10-24 from a slip for 5/16-24.
_NUMBER_SIZES = {
    0: (80,), 1: (64, 72), 2: (56, 64), 3: (48, 56), 4: (40, 48), 5: (40, 44),
    6: (32, 40), 8: (32, 36), 10: (24, 32), 12: (24, 28, 32),
}  # fmt: skip
_METRIC = re.compile(
    r"M\s*([0-9]+(?:\.[0-9]+)?)(?:\s*[x×*-]\s*([0-9]*\.?[0-9]+))?(?:\s*-\s*[4-9][gh])?",
    re.IGNORECASE,
)
_UNIFIED = re.compile(
    r"(?P<number>#|no\.?\s)?\s*(?P<major>[0-9]+(?:(?:\s+|-)[0-9]+/[0-9]+|/[0-9]+)?|[0-9]*\.[0-9]+)"
    r"(?:\s*(?:\"|in\b\.?))?\s*[-x×]\s*(?P<count>[0-9]+(?:\.[0-9]+)?)"
    r"(?:\s*-?\s*UN(?:C|F|EF|S)?)?(?:\s*-\s*[123][AB])?",
    re.IGNORECASE,
)
_THREAD_EXAMPLES = 'a thread such as 5/16-24, "#10-24", M8 or M8x1.25'
_LARGEST_THREAD_MM = 150.0


def read_thread(text: object) -> Thread:
    """Read a thread designation: 5/16-24, 1 1/16-16 UN, #10-24, M8 (coarse), M8x1.25.

    A number size n is 0.060 + 0.013 n in across (ASME B1.1, from memory); the number sign may
    be left out where the pair is a standard one. Bare M sizes, M5 to M12, take the coarse pitch
    of ISO 261. Raises UnitsError.
    """
    if text is None:
        refuse("nothing", _THREAD_EXAMPLES, 'YAML reads # as a comment: quote it, "#10-24"')
    if not isinstance(text, str):
        refuse(f"a {type(text).__name__}", f"a text: {_THREAD_EXAMPLES}")
    if len(text) > text_of.LONGEST_TEXT:
        refuse(f"{quoted(text)}, {len(text)} characters long", _THREAD_EXAMPLES)
    written = text.strip()
    clean = text_of.plain(written)[0]
    if re.search("[0-9],[0-9]", clean):
        better = clean.replace(",", ".")
        refuse(f"{quoted(written)}, with a decimal comma", "a point", f'write "{better}"')
    if metric := _METRIC.fullmatch(clean):
        major, pitch = _metric(metric, written)
    elif unified := _UNIFIED.fullmatch(clean):
        major, pitch = _unified(unified, written)
    else:
        hint = ""
        if re.fullmatch(r"#?\s*[0-9 ./-]*[0-9]+(?:\s*(?:\"|in))?", clean):
            hint = "say the threads an inch too, as in 3/8-16"
        refuse(quoted(written), _THREAD_EXAMPLES, hint)
    # No standard thread is coarser than a quarter of its diameter; a slip in a digit is.
    if not 0 < 4 * pitch <= major or major > _LARGEST_THREAD_MM:
        refuse(f"{quoted(written)}, which no bolt has", _THREAD_EXAMPLES, "check both numbers")
    return Thread(float(major), float(pitch), written)


def _metric(match: re.Match[str], written: str) -> tuple[Fraction, Fraction]:
    major = Fraction(match[1])
    if match[2] is not None:
        return major, Fraction(match[2])
    coarse = _COARSE_PITCH_MM.get(int(major)) if major.denominator == 1 else None
    if coarse is None:
        sizes = ", ".join(f"M{size}" for size in _COARSE_PITCH_MM)
        refuse(
            f"{quoted(written)} without a pitch",
            f"the pitch too, for any but {sizes}",
            f'write "M{match[1]}x" and the pitch in mm',
        )
    return major, Fraction(str(coarse))


def _unified(match: re.Match[str], written: str) -> tuple[Fraction, Fraction]:
    count = Fraction(match["count"])
    if count == 0:
        refuse(f"{quoted(written)}, with no threads in an inch", _THREAD_EXAMPLES)
    pitch = text_of.MM_PER_INCH / count
    whole = int(match["major"]) if match["major"].isdigit() else None
    # Number sizes have 24 threads an inch or more, whole inches have 20 or fewer.
    if whole is not None and (match["number"] or count >= 24):
        if whole not in _NUMBER_SIZES or not (match["number"] or count in _NUMBER_SIZES[whole]):
            choices = ", ".join(f"{whole}-{n}" for n in _NUMBER_SIZES.get(whole, ()))
            hint = f"number size {whole} comes as {choices}" if choices else "sizes end at #12"
            refuse(f"{quoted(written)}, not a standard number size", _THREAD_EXAMPLES, hint)
        return text_of.MM_PER_INCH * (Fraction(60 + 13 * whole, 1000)), pitch
    if match["number"]:
        refuse(f"{quoted(written)}, a number size that is not whole", _THREAD_EXAMPLES)
    inches = text_of.read_value(match["major"], LENGTH, "in")
    return inches.value, pitch
