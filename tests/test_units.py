"""Lengths, angles, counts and threads as people write them.

1 in = 25.4 mm exactly: the international inch, 1959 agreement (common practice; NIST SP 811,
from memory). Expected values below are worked in inches or mm by hand, never by the reader.
"""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom import units
from noseroom.errors import NoseroomError, UnitsError
from noseroom.units import (
    Quantity,
    format_length,
    read_angle,
    read_length,
    read_number,
    read_thread,
    split_angle,
    split_length,
    write_length,
)

INCH = 25.4
NBSP = "\u00a0"


# -- lengths ---------------------------------------------------------------------------------

IN_INCHES = {
    "27 1/4": 27.25,
    "27-1/4": 27.25,
    "27-1/4 in": 27.25,
    '27-1/4"': 27.25,
    '27 1/4"': 27.25,
    "27 1/4in": 27.25,
    "27 1/4 in.": 27.25,
    '27.25"': 27.25,
    "27.25 inches": 27.25,
    "27.25 INCHES": 27.25,
    "27 ins": 27.0,
    "1 inch": 1.0,
    "27.": 27.0,
    "5/8": 0.625,
    ".5 in": 0.5,
    "0.5in": 0.5,
    "27/4": 6.75,
    "2.5e1": 25.0,
    "1 ft 3 1/2 in": 15.5,
    "1 ft 3 1/2": 15.5,
    "1ft3in": 15.0,
    "1 ft 3-1/2 in": 15.5,
    "1' 3-1/2\"": 15.5,
    "1'-3 1/2\"": 15.5,
    "1' - 3 1/2\"": 15.5,
    "1'3.5": 15.5,
    "1'3.5\"": 15.5,
    "1'3.5''": 15.5,
    "1 foot": 12.0,
    "2 feet": 24.0,
    "1 1/2 ft": 18.0,
    "-1 ft 3 in": -15.0,
    "27¼": 27.25,
    "27 ¼ in": 27.25,
    "27-¼": 27.25,
    "27¼in": 27.25,
    "⅝": 0.625,
    "-⅜ in": -0.375,
    "27 1\u20444 in": 27.25,
    "1\u2032 3½\u2033": 15.5,
    "1\u2019 3½\u201d": 15.5,
    "27\u20131/4": 27.25,
    "27\u20141/4 in": 27.25,
    "27\u22121/4 in": 27.25,
    "27\u20111/4": 27.25,
    "\u22123/8 in": -0.375,
    "\u20133/8": -0.375,
    "- 3/8": -0.375,
    "-27-1/4": -27.25,
    "+3/8": 0.375,
    f"27{NBSP}1/4{NBSP}in": 27.25,
    "27\u20091/4\u202fin": 27.25,
    "  27\t1/4  ": 27.25,
}
IN_MM = {
    "692 mm": 692.0,
    "692mm": 692.0,
    "69.2cm": 692.0,
    "69.2 cm": 692.0,
    "0.692 m": 692.0,
    "692 millimetres": 692.0,
    "692 millimeters": 692.0,
    "-2 mm": -2.0,
    "1/2 mm": 0.5,
}


@pytest.mark.parametrize(("text", "inches"), IN_INCHES.items())
def test_spelling_of_inches_reads_as_its_value(text: str, inches: float) -> None:
    assert read_length(text, "in") == Quantity(pytest.approx(inches * INCH, abs=1e-9))


@pytest.mark.parametrize("default", ["in", "mm", "cm", "ft", "m"])
@pytest.mark.parametrize(("text", "mm"), IN_MM.items())
def test_a_written_unit_overrides_the_default(text: str, mm: float, default: str) -> None:
    assert read_length(text, default) == Quantity(pytest.approx(mm, abs=1e-9))


@pytest.mark.parametrize(
    ("value", "unit", "mm"),
    [
        (27, "in", 685.8),
        (27.25, "in", 692.15),
        (0.1, "mm", 0.1),
        (1e-7, "m", 1e-4),
        (-3, "mm", -3.0),
        (2, "ft", 609.6),
        (2, "m", 2000.0),
        ("2", "cm", 20.0),
        (0, "in", 0.0),
    ],
)
def test_numbers_and_bare_texts_take_the_default_unit(
    value: str | float, unit: str, mm: float
) -> None:
    assert read_length(value, unit).value == pytest.approx(mm, abs=1e-12)


def test_the_inch_is_exactly_25_4_mm() -> None:
    """International inch, 1959 agreement (common practice; NIST SP 811, from memory)."""
    assert units.MM_PER_INCH == 25.4
    assert read_length("1 in").value == 25.4
    assert read_length("1 ft").value == 304.8
    assert units.inches_to_mm(10) == 254.0
    assert units.mm_to_inches(254.0) == 10.0
    assert units.mm_to_m(1250.0) == 1.25


@pytest.mark.parametrize(
    ("text", "value_in", "half_in"),
    [
        ("5 3/4 ± 1/8", 5.75, 0.125),
        ("5 3/4±1/8", 5.75, 0.125),
        ("5-3/4 +/- 1/8 in", 5.75, 0.125),
        ("5 3/4 +-1/8", 5.75, 0.125),
        ("5 3/4 +\u22121/8", 5.75, 0.125),
        ("5 3/4 in ± 1/8", 5.75, 0.125),
        ("5 3/4 plus or minus 1/8", 5.75, 0.125),
        ("5¾ ± ⅛", 5.75, 0.125),
        ("5 3/4 in ± 2.54 mm", 5.75, 0.1),
        ("254 mm ± 2.54", 10.0, 0.1),
        ("-3/8 ± 1/16", -0.375, 0.0625),
        ("1 ft 3 ± 1/8", 15.0, 0.125),
        ("1 ft ± 1/8 in", 12.0, 0.125),
        ("5 ± 0", 5.0, 0.0),
        ("between 5/8 and 3/4", 0.6875, 0.0625),
        ("Between 3/4 and 5/8 in", 0.6875, 0.0625),
        ("between 5/8 in and 3/4", 0.6875, 0.0625),
        ("between 1 ft and 1 ft 1 in", 12.5, 0.5),
        ("between -1/8 and 1/8", 0.0, 0.125),
    ],
)
def test_half_widths_are_read_in_their_own_or_their_values_unit(
    text: str, value_in: float, half_in: float
) -> None:
    assert read_length(text, "in") == Quantity(
        pytest.approx(value_in * INCH, abs=1e-9), pytest.approx(half_in * INCH, abs=1e-9)
    )


@pytest.mark.parametrize(
    ("text", "bound", "about"),
    [
        ("at least 1/2", "at least", False),
        ("At Most 1/2 in", "at most", False),
        ("about 1/2", None, True),
        ("approx 1/2", None, True),
        ("approx. 1/2", None, True),
        ("~1/2", None, True),
        ("~ 1/2 in", None, True),
        ("\u2248 1/2", None, True),
        ("1/2", None, False),
    ],
)
def test_bounds_and_about_are_kept(text: str, bound: str | None, about: bool) -> None:
    quantity = read_length(text, "in")
    assert (quantity.value, quantity.bound, quantity.about) == (12.7, bound, about)


def test_a_bound_may_have_a_half_width() -> None:
    assert read_length("at least 1 in ± 0.1") == Quantity(25.4, 2.54, "at least")


# -- what is refused -------------------------------------------------------------------------

REFUSED_LENGTHS = [
    # value, and what its message must say
    ("27,5 mm", 'write "27.5 mm"'),
    ("at least 27,5 mm", 'write "at least 27.5 mm"'),
    ("5 3/4 ± 0,5", '"5 3/4 ± 0.5"'),
    ("1,000", 'write "1000"'),
    ("1,000 mm", '"1.000 mm"'),
    ("1 000 mm", 'write "1000 mm"'),
    (f"1{NBSP}000", 'write "1000"'),
    ("1'000", "fewer than 12 inches"),
    ("27/4/2", "one slash too many"),
    ("1/2/3 in", "one slash too many"),
    ("27.5/2", "one slash too many"),
    ("1/0", "divides by zero"),
    ("3 1/0", "divides by zero"),
    ("27 1/4 1/8", '"27 1/4 ± 1/8"'),
    ("27.25 1/4", "left over"),
    ("27.5.3", "left over"),
    ("¼½", "left over"),
    ("27 5/4", "write 28 1/4"),
    ("27 4/4", "write 28"),
    ("27-5/4 in", "write 28 1/4"),
    ("27 inc", 'did you mean "in"?'),
    ("27inc", 'did you mean "in"?'),
    ("27 milimeters", 'did you mean "mm"?'),
    ("27 furlongs", "one of the units in, mm, cm, ft, m"),
    ("27 M", 'did you mean "m"?'),
    ("27 deg", "belongs to an angle"),
    ("27°", "belongs to an angle"),
    ("27 in in", "a second unit"),
    ("27 min", '"at least" before'),
    ("27 x 19", "its own key"),
    ("5/8 to 3/4", '"between 5/8 and 3/4"'),
    ("27 mm2", "left over"),
    ("27 ± -1/8", "half-width of zero or more"),
    ("27 ±", "ends before its number"),
    ("± 1/8", "a value first"),
    ("27 ± 1/8 ± 1/16", "one ± too many"),
    ("27 +1/8 -1/16", "uneven tolerance"),
    ("27 - 1/4", "write 27 1/4"),
    ("27 -1/4", "write 27 1/4"),
    ("--3", "no number"),
    ("27 ± 2 mm", '"27 mm ± 2 mm" or "27 in ± 2 mm"'),
    ("between 10 and 12 mm", '"between 10 mm and 12 mm" or "between 10 in and 12 mm"'),
    ("1 ft ± 1/8", '"1 ft ± 1/8 in" or "1 ft ± 1/8 ft"'),
    ("between 3 and 3", "two different ends"),
    ("between 3", '"between 5/8 and 3/4"'),
    ("between 5/8-3/4", "range"),
    ("between 1/2 and 5/8 ± 1/16", "one ± too many"),
    ("about between 1/2 and 5/8", "no number"),
    ("1.5 ft 3 in", "whole feet"),
    ("1 ft 14 in", "write 26 in"),
    ("1 ft 3 mm", "inches after feet"),
    ("1' -3\"", "sum or an uneven"),
    ("", "empty text"),
    ("   ", "empty text"),
    (None, "nothing"),
    ("?", "leave the key out"),
    ("~", "ends before its number"),
    ("at least", "ends before its number"),
    ("> 1/2", 'write "at least 1/2"'),
    (">= 1/2 in", 'write "at least 1/2 in"'),
    ("< 3", 'write "at most 3"'),
    ("\u2264 3", 'write "at most 3"'),
    ("5-24", "looks like a thread"),
    ("5/16-24", "looks like a thread"),
    ("5/8-3/4", '"between 5/8 and 3/4"'),
    ("10\u201312 mm", '"between 10 mm and 12 mm"'),
    ("M8", "thread"),
    ("#10-24", "thread"),
    ("9" * 201, "at most 200 characters"),
    ("9" * 50, "beyond all measure"),
    ("1e400", "exponent beyond"),
    ("1e-400", "exponent beyond"),
    ("1e12 m", "beyond all measure"),
    pytest.param(10**5000, "beyond all measure", id="vast int"),
    (1e300, "beyond all measure"),
    (True, "a yes or no"),
    (False, "a yes or no"),
    (math.nan, "a finite number"),
    (math.inf, "a finite number"),
    ("nan", "no number"),
    ("wide", "no number"),
    ([27], "a list"),
    ({"a": 1}, "a dict"),
    ("27_000", "left over"),
    ("27%", "left over"),
    ("٢٧", "no number"),
    ("27²", "unknown unit"),
]


@pytest.mark.parametrize(("value", "says"), REFUSED_LENGTHS)
def test_refusal_says_what_was_found_and_what_to_write(value: object, says: str) -> None:
    with pytest.raises(UnitsError) as caught:
        read_length(value, "in")
    message = str(caught.value)
    assert message.startswith("found ")
    assert "; expected " in message
    assert says in message
    assert len(message) < 400
    assert isinstance(caught.value, NoseroomError)


def test_an_unknown_default_unit_is_refused() -> None:
    with pytest.raises(UnitsError, match="in, mm, cm, ft, m"):
        read_length("3", "cubit")


@settings(derandomize=True, max_examples=300, deadline=None)
@given(st.text(alphabet="0123456789 ./-+±,'\"¼infbetwdam~°>?eE", max_size=25))
def test_any_text_is_read_or_refused_never_worse(text: str) -> None:
    """Nothing but a finite quantity or a UnitsError comes out of any text."""
    for reader in (lambda t: read_length(t, "in"), read_angle, read_number):
        try:
            quantity = reader(text)
        except UnitsError:
            continue
        assert math.isfinite(quantity.value)
        assert quantity.half_width is None or quantity.half_width >= 0


# -- round trips -----------------------------------------------------------------------------

_SIGNS = {Fraction(1, 4): "¼", Fraction(1, 2): "½", Fraction(3, 4): "¾", Fraction(5, 8): "⅝"}


def _mixed(inches: Fraction, join: str = " ") -> str:
    whole, part = divmod(inches, 1)
    if not part:
        return str(whole)
    return f"{whole}{join}{part}" if whole else str(part)


def _with_sign(inches: Fraction) -> str:
    whole, part = divmod(inches, 1)
    return f"{whole}{_SIGNS[part]}" if part in _SIGNS else _mixed(inches)


def _exact_decimal(number: Fraction) -> str:
    """Sixty-fourths end after six decimals, and 25.4 times them after seven."""
    scaled = number * 10**7
    assert scaled.denominator == 1
    return f"{scaled.numerator // 10**7}.{scaled.numerator % 10**7:07d}"


def _feet(inches: Fraction, foot: str, inch: str, join: str = " ") -> str:
    return f"{inches // 12}{foot}{join}{_mixed(inches % 12)}{inch}"


SPELLINGS = {
    "bare": _mixed,
    "hyphen": lambda q: _mixed(q, "-"),
    "in": lambda q: _mixed(q) + " in",
    "hyphen, in.": lambda q: _mixed(q, "-") + " in.",
    "mark": lambda q: _mixed(q) + '"',
    "double prime": lambda q: _mixed(q, "\u2013") + "\u2033",
    "fraction sign": _with_sign,
    "improper": lambda q: f"{q.numerator}/{q.denominator} inches",
    "decimal": _exact_decimal,
    "decimal in": lambda q: _exact_decimal(q) + "in",
    "no-break": lambda q: _mixed(q, NBSP) + NBSP + "in",
    "ft in": lambda q: _feet(q, " ft", " in"),
    "foot marks": lambda q: _feet(q, "'", '"', ""),
    "foot hyphen": lambda q: _feet(q, "\u2032", "\u2033", "-"),
    "mm": lambda q: _exact_decimal(q * Fraction(254, 10)) + " mm",
    "cm": lambda q: _exact_decimal(q * Fraction(254, 100) * 10) + "e-1 cm",
}
sixty_fourths = st.integers(min_value=0, max_value=64 * 200).map(lambda n: Fraction(n, 64))


@pytest.mark.parametrize("spelling", SPELLINGS)
@settings(derandomize=True, max_examples=60, deadline=None)
@given(value=sixty_fourths, half=st.none() | sixty_fourths, negative=st.booleans())
def test_sixty_fourths_read_back_in_every_spelling(
    spelling: str, value: Fraction, half: Fraction | None, negative: bool
) -> None:
    text = ("-" if negative else "") + SPELLINGS[spelling](value)
    if half is not None:
        text += f" ± {SPELLINGS[spelling](half)}"
    quantity = read_length(text, "in")
    sign = -1 if negative else 1
    assert abs(quantity.value - float(sign * value * 127 / 5)) <= 1e-9
    if half is None:
        assert quantity.half_width is None
    else:
        assert quantity.half_width is not None
        assert abs(quantity.half_width - float(half * 127 / 5)) <= 1e-9


@pytest.mark.parametrize("unit", ["in", "mm", "cm", "ft", "m"])
@pytest.mark.parametrize("default", ["in", "mm"])
@settings(derandomize=True, max_examples=60, deadline=None)
@given(
    mm=st.floats(min_value=-1e5, max_value=1e5)
    | st.integers(min_value=-(10**5), max_value=10**5).map(lambda n: n / 64 * 25.4)
)
def test_a_written_length_reads_back(unit: str, default: str, mm: float) -> None:
    assert abs(read_length(write_length(mm, unit), default).value - mm) <= 1e-9


@pytest.mark.parametrize(
    ("mm", "unit", "text"),
    [
        (692.15, "in", "27 1/4 in"),
        (692.3, "mm", "692.3 mm"),
        (692.0, "cm", "69.2 cm"),
        (393.7, "ft", "1 ft 3 1/2 in"),
        (-9.525, "in", "-3/8 in"),
        (0.0, "mm", "0 mm"),
        (-0.0, "in", "0 in"),
        (10.0, "in", "0.393700787402 in"),
    ],
)
def test_a_written_length_looks_like_a_builders(mm: float, unit: str, text: str) -> None:
    assert write_length(mm, unit) == text


@pytest.mark.parametrize(
    ("mm", "unit", "text"),
    [
        (692.15, "in", "27 1/4 in"),
        (-9.525, "in", "-3/8 in"),
        (692.0, "mm", "692 mm"),
        (692.04, "mm", "692 mm"),
        (692.06, "mm", "692.1 mm"),
        (-0.01, "mm", "0 mm"),
        (692.0, "cm", "69.2 cm"),
        (692.0, "m", "0.692 m"),
        (393.7, "ft", "1 ft 3 1/2 in"),
        (304.8, "ft", "1 ft"),
        (-304.7, "ft", "-1 ft"),
        (25.3, "in", "1 in"),
        (0.1, "in", "0 in"),
        (12.7, "in", "1/2 in"),
        (15.0, "in", "9/16 in"),  # 0.590 in lies nearer 9/16 than 5/8
    ],
)
def test_a_printed_length_is_rounded_for_people(mm: float, unit: str, text: str) -> None:
    assert format_length(mm, unit) == text


def test_the_finest_fraction_can_be_chosen() -> None:
    assert format_length(15.0, "in", denominator=64) == "19/32 in"
    assert format_length(15.0, "in", denominator=2) == "1/2 in"
    with pytest.raises(UnitsError, match="denominator"):
        format_length(15.0, "in", denominator=0)


@settings(derandomize=True, max_examples=200, deadline=None)
@given(mm=st.floats(min_value=-1e4, max_value=1e4), unit=st.sampled_from(["in", "mm", "cm", "ft"]))
def test_rounding_down_never_overstates(mm: float, unit: str) -> None:
    printed = read_length(format_length(mm, unit, rounding="down")).value
    assert printed <= mm + 2e-9
    assert printed > mm - 25.4 / 16 - 2e-9


def test_rounding_down_keeps_a_reading_that_is_on_the_mark() -> None:
    for sixteenths in range(1, 1600):
        mm = sixteenths / 16 * 25.4
        assert format_length(mm, "in", rounding="down") == format_length(mm, "in")


@pytest.mark.parametrize("writer", [format_length, write_length])
@pytest.mark.parametrize("mm", [math.nan, math.inf, 1e12])
def test_a_length_that_could_not_be_read_back_is_not_written(writer: object, mm: float) -> None:
    assert callable(writer)
    with pytest.raises(UnitsError):
        writer(mm, "in")


# -- sentences -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sentence", "value_in", "half_in", "bound", "rest"),
    [
        ("5/8 aft of core support.face", 0.625, None, None, "aft of core support.face"),
        ("5 3/4 ± 1/8 aft of radiator.core.rear", 5.75, 0.125, None, "aft of radiator.core.rear"),
        ("between 5/8 and 3/4 aft of x", 0.6875, 0.0625, None, "aft of x"),
        ("between 5/8 and 3/4 in aft of x", 0.6875, 0.0625, None, "aft of x"),
        ("at least 3/8 in ahead of fan", 0.375, None, "at least", "ahead of fan"),
        ("at most 1 above x", 1.0, None, "at most", "above x"),
        ("3/8 right of centreline", 0.375, None, None, "right of centreline"),
        ("1 ft 3 1/2 in below x.top", 15.5, None, None, "below x.top"),
        ("1 ft 2 above x", 14.0, None, None, "above x"),
        ('2 1/4" behind “rail line”', 2.25, None, None, "behind “rail line”"),
        ("27¼ left of 12 o\u2019clock – mark", 27.25, None, None, "left of 12 o\u2019clock – mark"),
        ("254 mm fore of x", 10.0, None, None, "fore of x"),
        ("3 inboard of rail", 3.0, None, None, "inboard of rail"),
        ("3 in-line with rail", 3.0, None, None, "in-line with rail"),
        ("3 mid of x", 3.0, None, None, "mid of x"),
        ("3", 3.0, None, None, ""),
        ("3 in from core support.opening.left", 3, None, None, "in from core support.opening.left"),
        ("3 in in from X", 3, None, None, "in from X"),
        ("3 inches in from X", 3, None, None, "in from X"),
        ('3" in from X', 3, None, None, "in from X"),
        ("254 mm in from X", 10, None, None, "in from X"),
        ("3 ± 1/8 in from X", 3, 0.125, None, "in from X"),
        ("3 ± 1/8 in in from X", 3, 0.125, None, "in from X"),
        ("3 in ± 1/8 in from X", 3, 0.125, None, "in from X"),
        ("between 3 and 4 in from X", 3.5, 0.5, None, "in from X"),
        ("1 ft 3 in from X", 15, None, None, "in from X"),
        ("3 in front of X", 3, None, None, "in front of X"),
        ("3 in in front of X", 3, None, None, "in front of X"),
    ],
)
def test_a_sentence_gives_up_its_length_and_keeps_its_words(
    sentence: str, value_in: float, half_in: float | None, bound: str | None, rest: str
) -> None:
    quantity, words = split_length(sentence, "in")
    assert quantity.value == pytest.approx(value_in * INCH, abs=1e-9)
    if half_in is None:
        assert quantity.half_width is None
    else:
        assert quantity.half_width == pytest.approx(half_in * INCH, abs=1e-9)
    assert quantity.bound == bound
    assert words == rest


def test_about_in_a_sentence_is_kept() -> None:
    assert split_length("about 3 above x", "in") == (Quantity(76.2, about=True), "above x")


@pytest.mark.parametrize("unit", ["mm", "cm", "ft", "m"])
def test_in_from_is_refused_where_the_unit_is_not_inches(unit: str) -> None:
    with pytest.raises(UnitsError) as caught:
        split_length("3 in from core support.opening.left", unit)
    message = str(caught.value)
    assert '"3 inches in from"' in message
    assert '"76.2 mm in from"' in message
    assert f'"3 {unit} in from"' in message
    assert split_length("3 in in from X", unit) == (Quantity(76.2), "in from X")
    assert split_length("3 inches in from X", unit) == (Quantity(76.2), "in from X")


@pytest.mark.parametrize(
    ("sentence", "says"),
    [
        ("76 mm ± 2 in from X", '"2 mm in from"'),
        ("3 1/2 1/4 aft of x", "left over"),
        ("3/4/5 aft of x", "slash"),
        ("5/16-24 aft of x", '"between 5/16 and 24"'),
        ("3inc aft of x", 'did you mean "in"?'),
        ("27,5 mm aft of x", 'write "27.5 mm aft of x"'),
        ("3 ± 1/8 ± 1/8 aft of x", "one ± too many"),
        ("between 1/2 and 5/8 ± 1/16 aft of x", "one ± too many"),
        ("> 3 aft of x", 'write "at least 3 aft of x"'),
        ("? aft of x", "leave the key out"),
        ("aft of x", "no number"),
        ("3 - aft of x", "sum"),
        ("3 ± 2 mm aft of x", "unit on both"),
        ("3 " + "a" * 1000, "at most 1000 characters"),
    ],
)
def test_a_sentence_with_a_spoilt_length_is_refused(sentence: str, says: str) -> None:
    with pytest.raises(UnitsError) as caught:
        split_length(sentence, "in")
    assert says in str(caught.value)


# -- angles and counts -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "degrees", "half"),
    [
        ("3 1/2 deg", 3.5, None),
        ("3.5°", 3.5, None),
        ("3½º", 3.5, None),
        ("3 1/2 degrees ± 1/4", 3.5, 0.25),
        ("3 1/2 ± 1/4 deg", 3.5, 0.25),
        ("-2 deg", -2.0, None),
        ("0.06 rad", 0.06 * 180 / math.pi, None),
        (3, 3.0, None),
        (3.5, 3.5, None),
        ("between 3 and 4 deg", 3.5, 0.5),
    ],
)
def test_angles_read_in_degrees(text: object, degrees: float, half: float | None) -> None:
    quantity = read_angle(text)
    assert quantity.value == pytest.approx(degrees, abs=1e-12)
    assert quantity.half_width == half


def test_a_sentence_gives_up_its_angle() -> None:
    assert split_angle("3 1/2 deg nose up") == (Quantity(3.5), "nose up")
    assert split_angle("about 2° ± 1/2 tail down") == (Quantity(2.0, 0.5, about=True), "tail down")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("3 in", "belongs to a length"),
        ("3 1/2 mm", "belongs to a length"),
        ("3° 30'", "left over"),
        ("3 degs.5", "left over"),
        ("3 dge", 'did you mean "deg"?'),
        ("3 ± 0.01 rad", '"3 rad ± 0.01 rad" or "3 deg ± 0.01 rad"'),
        ("", "3 1/2 deg"),
        (True, "yes or no"),
    ],
)
def test_a_spoilt_angle_is_refused(text: object, says: str) -> None:
    with pytest.raises(UnitsError) as caught:
        read_angle(text)
    assert says in str(caught.value)


def test_degrees_and_radians_convert_both_ways() -> None:
    assert units.degrees_to_radians(180.0) == math.pi
    assert units.radians_to_degrees(math.pi / 2) == 90.0


def test_counts_and_ratios_read_as_plain_numbers() -> None:
    assert read_number(4) == Quantity(4.0)
    assert read_number("2.5 ± 0.1") == Quantity(2.5, 0.1)
    assert read_number("at least 3") == Quantity(3.0, None, "at least")
    assert read_number("1 1/2") == Quantity(1.5)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("4 in", "belongs to a length"),
        ("4x", "its own key"),
        ("four", "no number"),
        ("85%", "left over"),
        ("2,400", 'write "2400"'),
        ("5-24", "thread"),
    ],
)
def test_a_spoilt_count_is_refused(text: object, says: str) -> None:
    with pytest.raises(UnitsError) as caught:
        read_number(text)
    assert says in str(caught.value)


# -- threads ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "major_mm", "pitch_mm"),
    [
        ("5/16-24", 0.3125 * INCH, INCH / 24),
        ("5/16\u201324", 0.3125 * INCH, INCH / 24),
        ('5/16"-24', 0.3125 * INCH, INCH / 24),
        ("5/16 - 24 UNF", 0.3125 * INCH, INCH / 24),
        ("5/16-24 UNF-2B", 0.3125 * INCH, INCH / 24),
        ("3/8-16 UNC", 0.375 * INCH, INCH / 16),
        ("1 1/16-16", 1.0625 * INCH, INCH / 16),
        ("1-1/16-16", 1.0625 * INCH, INCH / 16),
        ("1-8", INCH, INCH / 8),
        (".3125-24", 0.3125 * INCH, INCH / 24),
        # Number sizes: 0.060 + 0.013 n in (ASME B1.1, from memory).
        ("#10-24", 0.190 * INCH, INCH / 24),
        ("10-24", 0.190 * INCH, INCH / 24),
        ("No. 10-32", 0.190 * INCH, INCH / 32),
        ("#8-32", 0.164 * INCH, INCH / 32),
        ("#0-80", 0.060 * INCH, INCH / 80),
        ("M8", 8.0, 1.25),
        ("m8", 8.0, 1.25),
        ("M8x1", 8.0, 1.0),
        ("M8x1.25", 8.0, 1.25),
        ("M8 × 1.25", 8.0, 1.25),
        ("M8-1.25", 8.0, 1.25),
        ("M10x1.25-6H", 10.0, 1.25),
        ("M14x1.5", 14.0, 1.5),
    ],
)
def test_thread_designations_give_diameter_and_pitch(
    text: str, major_mm: float, pitch_mm: float
) -> None:
    thread = read_thread(f" {text} ")
    assert thread.major_mm == pytest.approx(major_mm, abs=1e-9)
    assert thread.pitch_mm == pytest.approx(pitch_mm, abs=1e-9)
    assert thread.text == text


@pytest.mark.parametrize(
    ("text", "area_mm2"), [("M6", 20.1), ("M8", 36.6), ("M10", 58.0), ("M12", 84.3)]
)
def test_coarse_pitches_give_the_published_stress_areas(text: str, area_mm2: float) -> None:
    """Stress area M6; M8; M10; M12 coarse: 20.1; 36.6; 58.0; 84.3 mm2, tol. 0.05 (ISO 898-1)."""
    thread = read_thread(text)
    area = math.pi / 4 * (thread.major_mm - 0.9382 * thread.pitch_mm) ** 2
    assert area == pytest.approx(area_mm2, abs=0.05)


@pytest.mark.parametrize(
    ("text", "area_in2"),
    [
        ("1/4-20", 0.0318),
        ("1/4-28", 0.03637),
        ("5/16-18", 0.0524),
        ("5/16-24", 0.0580),
        ("3/8-16", 0.0775),
        ("3/8-24", 0.0878),
        ("7/16-14", 0.1063),
    ],
)
def test_inch_threads_give_the_published_stress_areas(text: str, area_in2: float) -> None:
    """Tensile stress area, SAE J429 / B1.1 table, At = pi/4 (d-0.9743/n)^2, tol. 0.0001 in2."""
    thread = read_thread(text)
    area = math.pi / 4 * (thread.major_mm - 0.9743 * thread.pitch_mm) ** 2 / INCH**2
    assert area == pytest.approx(area_in2, abs=0.0001)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("5-24", "number size 5 comes as 5-40, 5-44"),
        ("7-24", "sizes end at #12"),
        ("#20-24", "sizes end at #12"),
        ("#1/4-20", "not whole"),
        ("5/16", "threads an inch too"),
        ("#10", "threads an inch too"),
        ("5/16-2", "check both numbers"),
        ("5/16-0", "no threads"),
        ("5/0-24", "divides by zero"),
        ("M8x0", "check both numbers"),
        ("M8x1,25", 'write "M8x1.25"'),
        ("M14", 'write "M14x"'),
        ("M8.5", "the pitch too"),
        ("M8x12", "check both numbers"),
        ("M800x6", "check both numbers"),
        ("5/16-24 fine", "a thread such as"),
        ("", "a thread such as"),
        ("?", "a thread such as"),
        (None, 'quote it, "#10-24"'),
        (10, "a thread such as"),
        pytest.param(10**5000, "a thread such as", id="vast int"),
        (True, "a thread such as"),
        ("9" * 300, "300 characters"),
    ],
)
def test_a_spoilt_thread_is_refused(text: object, says: str) -> None:
    with pytest.raises(UnitsError) as caught:
        read_thread(text)
    assert says in str(caught.value)
