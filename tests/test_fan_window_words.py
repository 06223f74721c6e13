"""A window in words: never wider than it is, never backwards, and the same step throughout."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from noseroom.checks.fan_window_words import aim, ends, in_place, inward, said
from noseroom.units import read_length

EXACT_MM = 1e-5


def mm(text: str, unit: str) -> float:
    return float(read_length(text, unit).value)


@given(
    st.floats(0.0, 99.0), st.floats(0.03, 60.0), st.sampled_from(["in", "mm", "ft"]), st.booleans()
)
def test_both_ends_lie_inside_and_in_order(low: float, wide: float, unit: str, two: bool) -> None:
    windows = [(low, low + wide)] + [(low + wide + 5.0, low + wide + 9.0)] * two
    for (least, most), (thin, thick) in zip(windows, ends(windows, unit), strict=True):
        assert least - EXACT_MM <= mm(thin, unit) <= mm(thick, unit) <= most + EXACT_MM


@given(st.floats(0.0, 99.0), st.floats(0.1, 60.0), st.sampled_from(["in", "mm"]))
def test_what_is_aimed_for_lies_inside_by_what_it_may_be_off(
    low: float, wide: float, unit: str
) -> None:
    middle, half = (mm(one, unit) for one in aim(low, low + wide, unit).split(" ± "))
    assert half > 0
    assert low - EXACT_MM <= middle - half <= middle + half <= low + wide + EXACT_MM


@pytest.mark.parametrize(
    ("low", "high", "unit", "text"),
    [
        (55.0, 58.5, "in", "2 3/16 in to 2 1/4 in"),  # 2.165 to 2.303
        (30.8, 31.7, "in", "1 7/32 in to 1 15/64 in"),  # 1.2126 to 1.2480: 77.6 to 79.9 / 64
        (31.5, 31.9, "in", "1.241 in to 1.255 in"),  # 1.2402 to 1.2559: 79.4 to 80.4 / 64
        (49.2, 57.9, "mm", "50 mm to 57 mm"),
        (49.2, 50.9, "mm", "49.2 mm to 50.9 mm"),
        (50.73, 50.78, "mm", "50.73 mm to 50.78 mm"),
    ],
)
def test_the_step_is_the_coarsest_that_leaves_something(
    low: float, high: float, unit: str, text: str
) -> None:
    assert said([(low, high)], unit) == text


def test_windows_that_are_read_together_are_said_to_one_step() -> None:
    """At rest the window is never narrower; in coarser words it would seem to be."""
    at_speed, at_rest = [(30.8, 31.7)], [(30.8, 33.4)]
    assert said(at_rest, "in", at_speed) == "1 7/32 in to 1 5/16 in"  # 33.4 / 25.4 = 84.2 / 64
    assert said(at_rest, "in") == "1 1/4 in to 1 5/16 in"


def test_figures_that_are_kept_lie_inside() -> None:
    assert inward([(1.2345, 2.3456)]) == ((1.24, 2.34),)
    assert inward([(0.0, 100.0)]) == ((0.0, 100.0),)


def test_no_single_spacer_is_thicker_than_they_are_made() -> None:
    """Thicker than 100 mm no single spacer is made (common practice)."""
    assert in_place([(10.0, 30.0), (70.0, 80.0)], 40.0) == ((50.0, 70.0),)
    assert in_place([(10.0, 80.0)], 40.0) == ((50.0, 100.0),)
