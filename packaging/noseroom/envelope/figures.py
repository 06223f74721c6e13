"""What a place sentence is read with: its words at a character, and its figures with their ±."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from noseroom.envelope.model import Bound
from noseroom.envelope.names import BadSentenceError, comparable
from noseroom.envelope.suggest import quoted
from noseroom.envelope.values import ABOUT, LONGEST_MM, from_units
from noseroom.errors import UnitsError
from noseroom.units import Quantity, read_angle, read_length

STEEPEST_DEG = 90.0
WIDTH = re.compile(r"\s*(?:±|\+\s?/?\s?-|plus\s*or\s*minus\b)\s*")
"""The sign before a half-width."""

_WIDE_MM = 2 * LONGEST_MM


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of a sentence with its half-width, mm or degrees."""

    value: float
    half_width: float
    bound: Bound | None = None


class SentenceText:
    """The text of one sentence; every method takes the character from which it reads.

    unit: of lengths without one. tape_mm: half-width of a reading that states none.
    """

    def __init__(self, text: str, unit: str, tape_mm: float) -> None:
        self.text = text
        self.plain = comparable(text)
        self.unit = unit
        self.tape_mm = tape_mm

    def word(self, at: int, words: str) -> int | None:
        """The character after these words, if the text has them here."""
        at = self.skip(at)
        end = at + len(words)
        here = self.plain.startswith(words, at) and self.plain[end : end + 1] in ("", " ", ",")
        return end if here else None

    def skip(self, at: int) -> int:
        """The next character that is not a space."""
        return at + len(self.plain[at:]) - len(self.plain[at:].lstrip())

    def first(self, at: int, words: Mapping[str, object]) -> tuple[str, int] | None:
        """The longest of some phrases that stands here, and the character after it."""
        for phrase in sorted(words, key=len, reverse=True):
            if (end := self.word(at, phrase)) is not None:
                return phrase, end
        return None

    def length(self, read: Quantity, at: int) -> Figure:
        """A length as read, with the half-width that it has. Raises BadSentenceError."""
        width = self.tape_mm if read.half_width is None else read.half_width
        if width == 0:
            hint = "leave the ± out for what a tape can do"
            raise BadSentenceError(at, "a ± of zero", "a ± above zero", hint)
        if abs(read.value) > LONGEST_MM or width > _WIDE_MM:
            raise BadSentenceError(at, quoted(self.text[at:]), f"at most {LONGEST_MM:g} mm")
        return Figure(read.value, width * (ABOUT if read.about else 1.0), read.bound)

    def units_fault(self, error: UnitsError, at: int) -> BadSentenceError:
        """The same fault as one of this sentence."""
        parts = from_units(error, "a length")
        return BadSentenceError(at, parts.found, parts.expected, parts.suggestion)

    def trailing_length(self, at: int) -> Figure:
        """The length that the rest of the sentence is."""
        at = self.skip(at)
        if at >= len(self.text):
            such = "318 mm" if self.unit in ("mm", "cm") else "12 1/2"
            raise BadSentenceError(at, "the end of the sentence", f"a length such as {such}")
        try:
            figure = self.length(read_length(self.text[at:], self.unit), at)
        except UnitsError as error:
            raise self.units_fault(error, at) from None
        if figure.value < 0:
            raise BadSentenceError(at, "a distance below zero", "zero or more")
        return figure

    def trailing_width(self, at: int, usual: float, *, angle: bool = False) -> Figure:
        """A figure of zero with the ± that may end a sentence."""
        rest = self.text[at:]
        if not rest.strip():
            return Figure(0.0, usual)
        sign = WIDTH.match(rest)
        if not sign:
            raise BadSentenceError(at, quoted(rest.strip()), "± and a half-width, or nothing more")
        written = rest[sign.end() :]
        try:
            read = read_angle(written) if angle else read_length(written, self.unit)
        except UnitsError as error:
            raise self.units_fault(error, at) from None
        if read.value <= 0 or read.half_width is not None or read.bound or read.about:
            raise BadSentenceError(at, quoted(rest.strip()), "one half-width above zero after ±")
        if read.value > (STEEPEST_DEG if angle else _WIDE_MM):
            raise BadSentenceError(at, quoted(rest.strip()), "a half-width of a size met in a car")
        return Figure(0.0, read.value)
