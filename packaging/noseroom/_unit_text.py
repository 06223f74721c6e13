"""The grammar behind `noseroom.units`: how people write lengths, angles and counts.

    phrase  = ["at least" | "at most" | "about"] measure ["±" measure]
            | "between" measure "and" measure
    measure = [sign] number [unit]  |  [sign] whole feet number [inches]
    number  = whole fraction | fraction | decimal

All arithmetic is in fractions, so 27 1/4 in is 692.15 mm and not nearly so. What can be
understood in two ways is refused, and the refusal names the spelling of either.
"""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, NoReturn

from noseroom.errors import UnitsError

Bound = Literal["at least", "at most"]

# The international inch of the 1959 agreement (common practice; NIST SP 811, from memory).
MM_PER_INCH = Fraction(254, 10)

LONGEST_TEXT = 200
LONGEST_SENTENCE = 1000
_LARGEST = 10**9  # of mm, degrees or counts: far beyond any car, so certainly a slip
_LARGEST_EXPONENT = 12


@dataclass(frozen=True, slots=True)
class UnitTable:
    """The units of one kind of quantity.

    scales: canonical unit -> mm, degrees or ones in it. names: every spelling -> canonical unit.
    """

    kind: str
    example: str
    scales: Mapping[str, Fraction]
    names: Mapping[str, str]


def _names(**spellings: str) -> dict[str, str]:
    return {name: unit for unit, names in spellings.items() for name in names.split()}


LENGTH = UnitTable(
    "a length",
    "27 1/4 in or 692 mm",
    {
        "in": MM_PER_INCH,
        "mm": Fraction(1),
        "cm": Fraction(10),
        "ft": 12 * MM_PER_INCH,
        "m": Fraction(1000),
    },
    {
        "in": "in",  # a keyword, so it cannot be an argument below
        **_names(
            mm="mm millimetre millimetres millimeter millimeters",
            cm="cm centimetre centimetres centimeter centimeters",
            ft="ft foot feet '",
            m="m metre metres meter meters",
        ),
        **dict.fromkeys(("inch", "inches", "ins", '"', "''"), "in"),
    },
)
ANGLE = UnitTable(
    "an angle",
    "3 1/2 deg",
    {"deg": Fraction(1), "rad": Fraction(180 / math.pi)},
    _names(deg="deg degs degree degrees °", rad="rad rads radian radians"),
)
NUMBER = UnitTable("a plain number", "4 or 2.5", {"": Fraction(1)}, {})

_WORD_HINTS = {
    **dict.fromkeys(("min", "minimum"), 'write "at least" before the number'),
    **dict.fromkeys(("max", "maximum"), 'write "at most" before the number'),
    **dict.fromkeys(("x", "by"), "give each size its own key"),
    **dict.fromkeys(("to", "or"), 'for a range write "between 5/8 and 3/4"'),
}

_CHARACTERS = {
    **dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2015\u2212\ufe63\uff0d", "-"),
    **dict.fromkeys("\u2018\u2019\u201b\u2032\u02b9\u02bc\u00b4`", "'"),
    **dict.fromkeys("\u201c\u201d\u201e\u201f\u2033\u02ba", '"'),
    **dict.fromkeys("\u2044\u2215", "/"),
    **dict.fromkeys("\u00ba\u02da", "°"),
    **dict.fromkeys("\u2248\u223c", "~"),
}

_SIGN = re.compile(r"\s*([+-])\s*")
_MIXED = re.compile(r"\s*([0-9]+)(?:\s+|-)([1-9][0-9]*)/([0-9]+)")
_FRACTION = re.compile(r"\s*([0-9]+)/([0-9]+)")
_DECIMAL = re.compile(r"\s*((?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE]([+-]?[0-9]+))?)")
_COMMA = re.compile(r"\s*[0-9.]*[0-9],[0-9]")
_THOUSANDS = re.compile(r"\s*[0-9]{1,3}(?:,[0-9]{3})+(?![0-9])")
# Possessive, so that "inboard" or "in-from" is never read as "in" and a rest.
_UNIT = re.compile(r"(\s*)(''|[\"'°]|[^\W\d_]++(?!_|-[^\W\d_]))(\.(?![\w.]))?")
_IN_DIRECTION = re.compile(r"\s+(from|front\s+of)\b", re.IGNORECASE)
# A hyphen joins feet and inches only if it leans on neither: 1' -3" may be a slip.
_FEET_TO_INCHES = re.compile(r"(?:-|\s+-\s+|\s*)(?=\.?[0-9])")
_PLUS_MINUS = re.compile(r"\s*(?:±|\+\s?/?\s?-|plus\s*(?:or|/|-)\s*minus\b)", re.IGNORECASE)
_BOUND = re.compile(r"\s*at\s+(least|most)\b", re.IGNORECASE)
_ABOUT = re.compile(r"\s*(?:~|(?:about|approximately|approx|roughly)\b\.?)", re.IGNORECASE)
_BETWEEN = re.compile(r"\s*between\b", re.IGNORECASE)
_AND = re.compile(r"\s*and\b", re.IGNORECASE)
_RANGE_END = re.compile(r"-([0-9]+(?:\.[0-9]+|/[0-9]+)?)(\s*[a-z'\"]*)", re.IGNORECASE)
_COMPARISON = re.compile(r"\s*(>=|=>|≥|>|<=|=<|≤|<)\s*(.*)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Phrase:
    """What a text says, exactly, in mm, degrees or ones."""

    value: Fraction
    half_width: Fraction | None = None
    bound: Bound | None = None
    about: bool = False


@dataclass(frozen=True, slots=True)
class _Measure:
    """A number in its own unit (None: not said), and how it stood in the text."""

    number: Fraction
    unit: str | None
    written: str
    signed: bool
    feet_only: bool


def quoted(text: str) -> str:
    """The text in quotes, cut to what still reads well in a message."""
    return f"'{text if len(text) <= 60 else text[:57] + '...'}'"


def refuse(found: str, expected: str, suggestion: str = "") -> NoReturn:
    """Raise the UnitsError of one form that all readers use."""
    raise UnitsError(f"found {found}; expected {expected}" + (suggestion and f"; {suggestion}"))


def plain(text: str) -> tuple[str, list[int]]:
    """The text in plain ASCII signs, and for each of its characters the index it came from.

    Not by NFKC: that would turn 27¼ into 271/4.
    """
    pieces: list[str] = []
    origins: list[int] = []
    for index, character in enumerate(text):
        parts = unicodedata.decomposition(character).split()
        if parts[:1] == ["<fraction>"] and len(parts) > 3:
            piece = unicodedata.normalize("NFKC", character).replace("\u2044", "/")
            # Also between two such signs, which would otherwise run together.
            piece = " " * text[:index][-1:].isnumeric() + piece
            piece += " " * text[index + 1 : index + 2].isdigit()
        elif character.isspace():
            piece = " "
        else:
            piece = _CHARACTERS.get(character, character)
        pieces.append(piece)
        origins.extend([index] * len(piece))
    return "".join(pieces), origins


def read_value(value: object, table: UnitTable, default: str) -> Phrase:
    """Read a whole value of a file: a str, or the int or float that YAML made of it."""
    wanted = f"{table.kind} such as {table.example}"
    if isinstance(value, str):
        return Scanner(value, table, default, sentence=False).whole()
    if value is None:
        hint = 'YAML reads an empty value, ~ and "# ..." as nothing: quote a text, or leave the'
        refuse("nothing", wanted, f"{hint} key out if nobody has measured it")
    if isinstance(value, bool):
        refuse(f"{str(value).lower()}, a yes or no", wanted)
    if not isinstance(value, int | float):
        refuse(f"a {type(value).__name__}", f"{wanted}, as one text or number")
    if isinstance(value, float) and not math.isfinite(value):
        refuse(str(float(value)), f"{wanted}: a finite number")
    if abs(value) > _LARGEST:  # before any conversion: Python refuses to print a vast int
        refuse("a number beyond all measure", wanted)
    # The repr is what stood in the file; the binary value behind 0.1 is not.
    number = Fraction(int(value) if isinstance(value, int) else float.__repr__(value))
    return Phrase(_within_reason(number * table.scales[default], str(value), wanted))


def _within_reason(amount: Fraction, text: str, wanted: str) -> Fraction:
    if abs(amount) > _LARGEST:
        refuse(f"{quoted(text)}, a size beyond all measure", wanted)
    return amount


class Scanner:
    """Reads one phrase from the start of a text.

    sentence: words may follow (a direction); otherwise the phrase must be all there is.
    """

    def __init__(self, text: str, table: UnitTable, default: str, *, sentence: bool) -> None:
        self.source = text.strip()
        self.text, self._origins = plain(self.source)
        self.at = 0
        self.table = table
        self.default = default
        self.sentence = sentence
        self.wanted = f"{table.kind} such as {table.example}"
        longest = LONGEST_SENTENCE if sentence else LONGEST_TEXT
        if len(self.source) > longest:
            refuse(
                f"{quoted(self.source)}, {len(self.source)} characters long",
                f"{self.wanted}, in at most {longest} characters",
            )

    def whole(self) -> Phrase:
        """The phrase that the whole text is."""
        phrase = self._phrase()
        if self.text[self.at :].strip():
            self._refuse_rest()
        return phrase

    def split(self) -> tuple[Phrase, str]:
        """The phrase at the start, and the words after it as they were written."""
        phrase = self._phrase()
        rest = self.text[self.at :]
        self.at += len(rest) - len(rest.lstrip())
        if self.at == len(self.text):
            return phrase, ""
        if not self.text[self.at].isalpha():
            self._refuse_rest()
        return phrase, self.source[self._origins[self.at] :]

    def _take(self, pattern: re.Pattern[str]) -> re.Match[str] | None:
        match = pattern.match(self.text, self.at)
        if match:
            self.at = match.end()
        return match

    def _refuse(self, remark: str, expected: str = "", suggestion: str = "") -> NoReturn:
        refuse(f"{quoted(self.source)}, {remark}", expected or self.wanted, suggestion)

    # -- phrases ---------------------------------------------------------------------------

    def _phrase(self) -> Phrase:
        if not self.source:
            refuse("an empty text", self.wanted, "leave the key out if nobody has measured it")
        if self.source.startswith("?"):
            self._refuse("a question mark", "", "leave the key out if nobody has measured it")
        if comparison := _COMPARISON.match(self.text):
            words = "at least" if comparison[1][0] in ">≥" or comparison[1] == "=>" else "at most"
            self._refuse("a comparison sign", "words", f'write "{words} {comparison[2] or "1/2"}"')
        if self._take(_BETWEEN):
            return self._between()
        bound_match = self._take(_BOUND)
        bound: Bound | None = None
        if bound_match:
            bound = "at least" if bound_match[1].lower() == "least" else "at most"
        about = bound is None and self._take(_ABOUT) is not None
        if _PLUS_MINUS.match(self.text, self.at):
            self._refuse("a ± without a value before it", f"a value first: {self.table.example}")
        value = self._measure(self.default)
        amount = self._amount(value, value.unit or self.default)
        if not self._take(_PLUS_MINUS):
            return Phrase(amount, None, bound, about)
        half = self._measure(value.unit or self.default)
        if half.signed:
            self._refuse(
                "with a signed half-width", "a half-width of zero or more after ±", "write ± 1/8"
            )
        width = self._amount(half, self._unit_of_second(value, half, "{} ± {}"))
        return Phrase(amount, width, bound, about)

    def _between(self) -> Phrase:
        first = self._measure(self.default)
        if not self._take(_AND):
            self._refuse('"between" without "and"', '"between 5/8 and 3/4"')
        second = self._measure(first.unit or self.default)
        unit = self._unit_of_second(first, second, "between {} and {}")
        ends = (self._amount(first, first.unit or self.default), self._amount(second, unit))
        if ends[0] == ends[1]:
            # Half a width of nothing would claim a reading without any spread.
            self._refuse("a range without width", 'two different ends after "between"')
        return Phrase((ends[0] + ends[1]) / 2, abs(ends[1] - ends[0]) / 2)

    def _unit_of_second(self, first: _Measure, second: _Measure, form: str) -> str:
        """The unit of a half-width or of a range's far end, given the number before it."""
        if second.unit is None:
            if first.feet_only:
                options = (
                    form.format(first.written, f"{second.written} {u}") for u in ("in", "ft")
                )
                self._refuse_two_ways(*options)
            return first.unit or self.default
        if first.unit is None and second.unit != self.default:
            options = (
                form.format(f"{first.written} {unit}", second.written)
                for unit in (second.unit, self.default)
            )
            self._refuse_two_ways(*options)
        return second.unit

    def _refuse_two_ways(self, one: str, other: str) -> NoReturn:
        self._refuse(
            "where only one number has a unit",
            "the unit on both numbers",
            f'write "{one}" or "{other}"',
        )

    def _amount(self, measure: _Measure, unit: str) -> Fraction:
        amount = measure.number * self.table.scales[unit]
        return _within_reason(amount, self.source, self.wanted)

    # -- measures --------------------------------------------------------------------------

    def _measure(self, fallback: str) -> _Measure:
        start = self.at
        sign = self._take(_SIGN)
        number = self._number()
        unit = self._unit(fallback, number, self.text[start : self.at].strip())
        inches = None
        if unit == "ft" and self._take(_FEET_TO_INCHES):
            inches = self._inches_after(number)
            number, unit = 12 * number + inches, "in"
        if sign and sign[1] == "-":
            number = -number
        written = self.text[start : self.at].strip()
        feet_only = unit == "ft" and inches is None
        return _Measure(number, unit, written, bool(sign), feet_only)

    def _inches_after(self, feet: Fraction) -> Fraction:
        start = self.at
        inches = self._number()
        written = self.text[start : self.at].strip()
        if feet.denominator != 1:
            self._refuse(
                "with a part of a foot and then inches", "whole feet, then inches: 1 ft 3 1/2 in"
            )
        # 1'000 is how some write a thousand; no one writes inches in three digits after feet.
        if inches >= 12 or re.match("[0-9]{3}", written):
            total = float(12 * feet + inches)
            self._refuse(
                f"with {written} after feet",
                "fewer than 12 inches after feet",
                f"write {total:g} in, or 1000 without a mark for a thousand",
            )
        unit = self._unit("in", inches, written)
        if unit not in (None, "in"):
            self._refuse(f"with {unit} after feet", "inches after feet: 1 ft 3 1/2 in")
        return inches

    def _number(self) -> Fraction:
        if _COMMA.match(self.text, self.at):
            self._refuse_comma()
        if mixed := self._take(_MIXED):
            whole, top, bottom = (int(digits) for digits in mixed.groups())
            part = self._ratio(top, bottom)
            if part >= 1:
                carry, left = divmod(top, bottom)
                better = f"{whole + carry} {left}/{bottom}" if left else f"{whole + carry}"
                self._refuse(
                    f"where {top}/{bottom} is not below 1",
                    "a fraction below 1 after a whole number",
                    f"write {better}",
                )
            number = whole + part
        elif fraction := self._take(_FRACTION):
            number = self._ratio(int(fraction[1]), int(fraction[2]))
        elif decimal := self._take(_DECIMAL):
            if decimal[2] and abs(int(decimal[2])) > _LARGEST_EXPONENT:
                self._refuse("with an exponent beyond all measure")
            number = Fraction(decimal[1])
        else:
            self._refuse_no_number()
        if re.compile(r"[/,]|\.[0-9]|-[0-9]").match(self.text, self.at):
            self._refuse_rest()
        return number

    def _ratio(self, top: int, bottom: int) -> Fraction:
        if bottom == 0:
            self._refuse(f"where {top}/0 divides by zero", "a fraction such as 1/8")
        return Fraction(top, bottom)

    def _unit(self, fallback: str, number: Fraction, written: str) -> str | None:
        match = _UNIT.match(self.text, self.at)
        if not match:
            return None
        space, word, dot = match.groups()
        direction = _IN_DIRECTION.match(self.text, match.end())
        if self.sentence and word.lower() == "in" and not dot and direction:
            if fallback != "in":
                self._refuse_in_direction(fallback, number, written, direction[1].lower())
            return None  # inches either way, so the "in" is left to the direction
        # One letter in lower case only: M is not a metre.
        unit = self.table.names.get(word if len(word) == 1 else word.lower())
        if unit is None:
            if not space or not word.isalpha():
                self._refuse_unit(word)
            return None
        self.at = match.end()
        return unit

    # -- refusals --------------------------------------------------------------------------

    def _refuse_in_direction(
        self, fallback: str, number: Fraction, written: str, direction: str
    ) -> NoReturn:
        choice = f'write "{written} inches in {direction}"'
        if self.table is LENGTH:
            millimetres = f"{float(number * MM_PER_INCH):.1f}".removesuffix(".0")
            choice += f' or "{millimetres} mm in {direction}" for inches'
        self._refuse(
            f'where "in" may be the unit or part of "in {direction}"',
            f'a unit before "in {direction}"',
            f'{choice}, "{written} {fallback} in {direction}" for {fallback or "a count"}',
        )

    def _refuse_comma(self) -> NoReturn:
        if _THOUSANDS.match(self.text, self.at):
            self._refuse(
                "with a comma in the number",
                "a number without thousands separators, and a point for decimals",
                f'write "{self.source.replace(",", "")}", or "{self.source.replace(",", ".")}" '
                "if the comma is a decimal one",
            )
        self._refuse(
            "with a decimal comma",
            "a decimal point",
            f'write "{re.sub(r"(?<=[0-9]),(?=[0-9])", ".", self.source)}"',
        )

    def _refuse_no_number(self) -> NoReturn:
        rest = self.text[self.at :].strip()
        if re.match(r"#\s*[0-9]|[Mm][0-9]", rest):
            self._refuse("which looks like a thread", "", 'a thread belongs under "thread:"')
        if not rest:
            self._refuse("which ends before its number")
        self._refuse(f"with no number where {quoted(rest)} begins")

    def _refuse_unit(self, word: str) -> NoReturn:
        hint = _WORD_HINTS.get(word.lower(), "")
        if word in self.table.names:
            self._refuse(f"with a second unit, {word}, for one number")
        for other in (LENGTH, ANGLE):
            if not hint and other is not self.table and word.lower() in other.names:
                self._refuse(f'where "{word}" belongs to {other.kind}')
        if not self.table.names:
            self._refuse(f'with "{word}" after the number', f"{self.wanted}, without a unit", hint)
        close = difflib.get_close_matches(word.lower(), self.table.names, n=1, cutoff=0.6)
        if close and not hint:
            hint = f'did you mean "{self.table.names[close[0]]}"?'
        units = ", ".join(self.table.scales)
        self._refuse(f'with the unknown unit "{word}"', f"one of the units {units}", hint)

    def _refuse_rest(self) -> NoReturn:
        """Refuse whatever stands after a phrase that cannot go on like this."""
        before = self.text[: self.at].strip()
        rest = self.text[self.at :].strip()
        glued = not self.text[self.at].isspace()
        if word := _UNIT.match(rest):
            self._refuse_unit(word[2])
        if rest[0] == "/":
            self._refuse("with one slash too many", "one fraction such as 27 1/4")
        if glued and (end := _RANGE_END.match(rest)):
            unit = end[2] if end[2].strip().lower() in self.table.names else ""
            low, high = before + unit, end[1] + unit
            self._refuse(
                "which looks like a thread or a range",
                self.wanted,
                f'write "between {low} and {high}" for a range; a thread belongs under "thread:"',
            )
        if rest[0] in "+-":
            self._refuse(
                f"with a sum or an uneven tolerance ({quoted(rest)})",
                "one number, with ± if it has a half-width",
                'write 27 1/4 for a mixed number, "27 ± 1/8" or "between 26 7/8 and 27 1/8"',
            )
        if rest[0] == "±":
            self._refuse("with one ± too many", "one value and one half-width, or one range")
        if rest[0] in ".,0123456789":
            hint = f'write "{before} ± {rest}" if the second is a half-width' * rest[0].isdigit()
            if re.match(r"[0-9]{3}(?![0-9/.])", rest) and before.isdigit():
                hint = f'write "{before}{rest}" if the space parts the thousands'
            self._refuse(f"where {quoted(rest)} is left over", f"one number: {self.wanted}", hint)
        self._refuse(f"where {quoted(rest)} is left over")
