"""Single values of the file: sizes with their half-widths, and lengths such as the tape's."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from noseroom.envelope.kinds import NOT_KNOWN, Size
from noseroom.envelope.model import Knowledge
from noseroom.envelope.suggest import described
from noseroom.errors import NoseroomError, UnitsError
from noseroom.units import (
    MM_PER_INCH,
    Quantity,
    format_length,
    read_angle,
    read_length,
    read_number,
)

DEFAULT_TAPE_MM = MM_PER_INCH / 16
"""Half-width of a tape reading when the file says nothing: 1/16 in, common practice."""

SHEET_MM = 1.0
"""Half-width of a length from a data sheet that states no tolerance, common practice."""

ANGLE_DEG = 0.5
"""Half-width of an angle read with a spirit level or a protractor, common practice."""

ABOUT = 4.0
"""How many times wider a reading is that its writer calls "about", common practice."""

LONGEST_MM = 10_000.0
"""No distance in a nose is longer; more is a slip of the pen."""


class BadValueError(NoseroomError, ValueError):
    """A value that cannot be taken, said in the parts of a `Fault`; it gets its line later."""

    def __init__(self, found: str, expected: str, suggestion: str = "") -> None:
        super().__init__(f"found {found}; expected {expected}")
        self.found, self.expected, self.suggestion = found, expected, suggestion


@dataclass(frozen=True, slots=True)
class Units:
    """How the file writes lengths: its unit, and the half-width of a tape reading, mm.

    known: False when the file gives no unit that exists, so that no size can be out of range.
    """

    unit: str
    tape_mm: float
    known: bool = True


@dataclass(frozen=True, slots=True)
class SizeValue:
    """A size as the file gives it, without its line yet. mm, degrees or a plain number."""

    value: float
    half_width: float
    knowledge: Knowledge
    text: str


def from_units(error: UnitsError, fallback: str) -> BadValueError:
    """The parts of a message of `noseroom.units`, which has one form for all."""
    parts = re.fullmatch(r"found (.*?); expected (.*?)(?:; (.*))?", str(error), re.DOTALL)
    if parts is None:
        return BadValueError(str(error), fallback)
    return BadValueError(parts[1], parts[2], parts[3] or "")


def _quantity(declared: Size, text: str, unit: str) -> Quantity:
    try:
        if declared.measure == "length":
            return read_length(text, unit)
        return read_angle(text) if declared.measure == "angle" else read_number(text)
    except UnitsError as error:
        raise from_units(error, f"a {declared.measure}") from None


def size(declared: Size, value: Any, units: Units, *, bought: bool) -> SizeValue:
    """A size from its text in the file, with the half-width it has. Raises BadValueError."""
    expected = f"{_a(declared)} ({declared.help})"
    if not isinstance(value, str):
        raise BadValueError(described(value), expected)
    if described(value).startswith("the date"):
        raise BadValueError(described(value), expected)
    read = _quantity(declared, value, units.unit)
    if read.bound:
        between = "12 mm and 19 mm" if units.unit in ("mm", "cm") else "1/2 and 3/4"
        hint = f'write "between {between}" where you know a range'
        raise BadValueError(f'"{value}", a bound', expected, hint)
    if units.known and not declared.low <= read.value <= declared.high:
        raise BadValueError(f'"{value}"', f"{declared.help} {_limits(declared, units.unit)}")
    width = _half_width(declared, read, value, units, bought=bought)
    knowledge: Knowledge = "measured" if bought else "from a sheet"
    return SizeValue(read.value, width, knowledge, value.strip())


def _half_width(declared: Size, read: Quantity, text: str, units: Units, *, bought: bool) -> float:
    if declared.measure == "count":
        if read.half_width is not None or read.about or read.value != round(read.value):
            raise BadValueError(f'"{text}"', f"a whole number, exactly ({declared.help})")
        return 0.0
    if read.half_width is not None:
        if read.half_width == 0:
            hint = "leave the ± out for what a tape can do"
            raise BadValueError(f'"{text}", with no room for error', "a ± above zero", hint)
        return read.half_width * (ABOUT if read.about else 1.0)
    width = _usual_half_width(declared, units, bought=bought)
    if read.about and width == 0:
        raise BadValueError(f'"{text}"', f"{_a(declared)} with its ±", "say how far off it may be")
    return width * (ABOUT if read.about else 1.0)


def _usual_half_width(declared: Size, units: Units, *, bought: bool) -> float:
    """Of a size given without a ±: chosen sizes are exact, the others are read."""
    if declared.tolerance is not None:
        return declared.tolerance
    chosen = declared.usual is not None and declared.reach == 0
    if chosen or declared.measure == "number":
        return 0.0
    if declared.measure == "angle":
        return ANGLE_DEG
    return units.tape_mm if bought else SHEET_MM


def length_mm(text: str, unit: str, low_mm: float, high_mm: float) -> float:
    """A plain length of the file's own, such as the tape's half-width. Raises BadValueError."""
    try:
        read = read_length(text, unit)
    except UnitsError as error:
        raise from_units(error, "a length") from None
    if read.bound or read.about or read.half_width is not None:
        raise BadValueError(f'"{text}"', "one exact length")
    if not low_mm <= read.value <= high_mm:
        low, high = (_length(one, unit) for one in (low_mm, high_mm))
        raise BadValueError(f'"{text}"', f"a length between {low} and {high}")
    return read.value


def _length_text(value: Any) -> str:
    if isinstance(value, str) and value.strip():
        return value
    parts = {"found": described(value), "expected": "a length such as 1/16 in", "suggestion": ""}
    raise PydanticCustomError("noseroom", "found {found}; expected {expected}", parts)


LengthText = Annotated[
    str, PlainValidator(_length_text), WithJsonSchema({"type": ["number", "string"]})
]
"""A length that is read once the file's unit is known."""


def _a(declared: Size) -> str:
    return {"length": "a length", "angle": "an angle", "count": "a whole number"}.get(
        declared.measure, "a plain number"
    )


def _length(mm: float, unit: str) -> str:
    """A limit as people write it; never as 0 when it is not."""
    shown = format_length(mm, unit, denominator=64)
    return f"{mm:g} mm" if mm and shown.startswith("0 ") else shown


def _limits(declared: Size, unit: str) -> str:
    low, high = declared.low, declared.high
    if declared.measure == "length":
        if unit == "mm":
            return f"between {low:g} and {high:g} mm"
        ends = f"{_length(low, unit)} and {_length(high, unit)}"
        return f"between {ends} ({low:g} to {high:g} mm)"
    return f"between {low:g} and {high:g}" + " deg" * (declared.measure == "angle")


def size_help(declared: Size) -> str:
    """What an editor shows of a size: what it is, its range, what is taken when it is left out."""
    text = f"{declared.help}; {_a(declared)} {_limits(declared, 'mm')}"
    if declared.source == NOT_KNOWN:
        text += "; never assumed"
    elif declared.usual is not None:
        reach = f" ± {declared.reach:g}" if declared.reach else ""
        other = [f", {value:g} where {one} is {word}" for one, word, value in declared.usual_for]
        text += f"; {declared.usual:g}{reach}{''.join(other)} unless given ({declared.source})"
    if declared.when:
        text += f"; only where {declared.when[0]} is {declared.when[1]}"
    return text


def size_example(declared: Size, unit: str) -> str:
    """One value within the range, as a file in this unit would write it."""
    examples = size_examples(declared)
    metric = unit in ("mm", "cm") or declared.measure != "length"
    return str(examples[0] if metric else examples[-1])


def size_examples(declared: Size) -> list[Any]:
    """A value within the range, in the ways that a file may write it."""
    middle = declared.usual if declared.usual is not None else (declared.low + declared.high) / 2
    if declared.measure == "count":
        return [round(middle)]
    if declared.measure == "length":
        return [f"{middle:g} mm", format_length(middle, "in")]
    return [f"{middle:g} deg" if declared.measure == "angle" else round(middle, 3)]
