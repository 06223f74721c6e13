"""Readings that a builder takes: what they say of the car, and how much they narrow its bands."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from cooling_noses import FAN, KNOWN, nose
from noseroom.checks.cooling import cooling_of_nose
from noseroom.checks.cooling_findings import cooling_findings
from noseroom.checks.cooling_known import picked
from noseroom.checks.cooling_readings import (
    HOW,
    Predicted,
    Shown,
    reading_views,
    speaking,
    weights_of,
)
from noseroom.checks.cooling_records import Cooling
from noseroom.envelope.cooling_records import Figure

_N = 20_000
_X = np.random.default_rng(5).normal(10.0, 2.0, _N)
_NOISE = np.random.default_rng(6).normal(0.0, 1.0, _N)


def shown(key: str, values: np.ndarray, off: float = 1.0) -> Predicted:
    return Predicted(key, values, np.full(len(values), off))


def figure(value: float, half: float) -> Figure:
    return Figure(value, half, f"{value} ± {half}", 1)


# -- by closed forms ----------------------------------------------------------------------------


def test_weights_are_those_of_a_normal_update() -> None:
    """Of a normal prior N(10, 2²) a reading of 12 with deviation 1 makes N(11.6, 0.8).

    The product of two normal densities; the deviation of what is even over ± h is h / √3 (JCGM
    100:2008, 4.3.7).
    """
    half = math.sqrt(3.0)
    weights, agrees = weights_of([shown("coolant", _X)], {"coolant": figure(12.0, half)})
    mean = float((weights * _X).sum() / weights.sum())
    variance = float((weights * (_X - mean) ** 2).sum() / weights.sum())
    assert agrees == {"coolant": True}
    assert mean == pytest.approx(11.6, abs=0.03)
    assert variance == pytest.approx(0.8, abs=0.04)


def test_how_many_draws_still_speak() -> None:
    """(Σw)² / Σw²: all of n for even weights, one for one weight; 3 and 1 make 16 / 10."""
    assert speaking(np.ones(7)) == pytest.approx(7.0)
    assert speaking(np.array([0.0, 5.0, 0.0])) == pytest.approx(1.0)
    assert speaking(np.array([3.0, 1.0])) == pytest.approx(1.6)
    assert speaking(np.zeros(3)) == 0.0


def test_draws_are_picked_as_often_as_their_weights_have_it() -> None:
    """Of ten by weights 1, 0, 4, 5: within one of 1, 0, 4, 5. Of ten alike, each once."""
    found = np.bincount(picked(np.array([1.0, 0.0, 4.0, 5.0]), 10), minlength=4)
    assert found.tolist() == [1, 0, 4, 5]
    assert picked(np.ones(10), 10).tolist() == list(range(10))
    some = np.random.default_rng(3).random(50)
    often = np.bincount(picked(some, 400), minlength=50)
    assert np.abs(often - 400 * some / some.sum()).max() < 1.0


def test_narrowing_is_that_of_a_normal_update() -> None:
    """Of y = x + noise of deviation 1 the spread with x within 1 is √(0.8 + 1) of √(4 + 1)."""
    y = _X + _NOISE
    readings = {"coolant": figure(10.0, math.sqrt(3.0))}
    weights, agrees = weights_of([shown("coolant", _X)], readings)
    left = picked(weights, _N)
    now = Shown([shown("coolant", _X[left])], y[left], y[left])
    before = Shown([shown("coolant", _X)], y, y)
    (view,) = reading_views(now, before, readings, agrees, 1.0)
    assert view.narrows_coolant == pytest.approx(math.sqrt(1.8 / 5.0), rel=0.05)
    assert view.expected.middle == pytest.approx(10.0, abs=0.05)


def test_what_a_second_reading_narrows_is_told_beside_the_first() -> None:
    """Of two that say the same the second says little more: √(1 / (1/4 + 2)) of √0.8."""
    readings = {one: figure(10.0, math.sqrt(3.0)) for one in ("coolant", "grille air")}
    both = [shown(one, _X) for one in readings]
    weights, agrees = weights_of(both, readings)
    left = picked(weights, _N)
    now = Shown([shown(one, _X[left]) for one in readings], _X[left], _X[left])
    views = reading_views(now, Shown(both, _X, _X), readings, agrees, 1.0)
    for one in views:
        assert one.narrows_head == pytest.approx(math.sqrt(1 / 2.25 / 0.8), rel=0.05)


def test_what_a_reading_would_narrow_before_it_is_taken() -> None:
    """The same, whatever the reading will be: a normal update's spread does not depend on it."""
    y = _X + _NOISE
    each = [shown("coolant", _X, off=math.sqrt(3.0)), shown("grille air", _NOISE * 0 + 1.0)]
    now = Shown(each, y, y)
    coolant, grille = reading_views(now, now, {}, {}, 1.0)
    assert coolant.narrows_coolant == pytest.approx(math.sqrt(1.8 / 5.0), rel=0.1)
    # A reading that is the same for all cars says nothing.
    assert grille.narrows_coolant == pytest.approx(1.0, abs=1e-9)


def test_few_draws_promise_no_more_than_many() -> None:
    """What has nothing to do with a band leaves it whole, however few draws then speak.

    And what has, narrows it by √(1.8 / 5) as above, on average over cars of 160 draws.
    """
    found = []
    for seed in range(40):
        rng = np.random.default_rng([9, seed])
        x = rng.normal(10.0, 2.0, 160)
        y, other = x + rng.normal(0.0, 1.0, 160), rng.normal(0.0, 1.0, 160)
        now = Shown([shown("coolant", x, off=math.sqrt(3.0) / 4)], other, x + 0.0)
        (one,) = reading_views(now, now, {}, {}, 1.0)
        (two,) = reading_views(
            Shown([shown("coolant", x, off=math.sqrt(3.0))], y, y), now, {}, {}, 1.0
        )
        found.append((one.narrows_coolant, two.narrows_head))
    alone, along = np.mean(found, axis=0)
    assert alone == pytest.approx(1.0, abs=0.04)
    assert along == pytest.approx(math.sqrt(1.8 / 5.0), rel=0.06)


def test_a_reading_that_no_such_car_shows_is_left_out() -> None:
    readings = {"coolant": figure(60.0, 1.0)}
    weights, agrees = weights_of([shown("coolant", _X)], readings)
    assert agrees == {"coolant": False}
    assert np.array_equal(weights, np.ones(_N))


def test_cars_that_boil_over_do_not_show_a_mild_reading() -> None:
    values = np.array([90.0, np.inf, np.nan])
    found = shown("coolant", values).likelihood(90.0, 2.0)
    assert found == pytest.approx([1.0, 0.0, 0.0])


# -- whole noses --------------------------------------------------------------------------------


@cache
def answer(readings: str = "", draws: int = 160, holds: str = "") -> Cooling:
    known = KNOWN.replace("700 rpm}", f"700 rpm, holds at: {holds}}}") if holds else KNOWN
    text = known + (f"  readings: {{{readings}}}\n" if readings else "")
    found = cooling_of_nose(nose(FAN, text), draws=draws, options=False)
    assert found is not None
    return found


def test_readings_narrow_the_bands_of_the_same_day() -> None:
    plain = answer().today.state("hot idle").coolant_c
    read = answer("outside: 38 C, coolant: 100 ± 3 C").today.state("hot idle").coolant_c
    assert read.high - read.low < 0.5 * (plain.high - plain.low)
    assert read.low - 4.0 < 100.0 < read.high + 4.0


def test_the_usual_figures_alone_take_no_reading() -> None:
    (alone, _) = answer("outside: 38 C, coolant: 100 ± 3 C, grille air: 1 m/s", draws=1).readings
    assert alone.taken
    assert math.isnan(alone.narrows_coolant)
    assert (
        answer("outside: 38 C, coolant: 100 ± 3 C", draws=1).today.state("hot idle").coolant_c
        == answer(draws=1).today.state("hot idle").coolant_c
    )


def test_a_reading_finer_than_any_gauge_is_no_odd_one() -> None:
    """A figure in the middle of what is expected, to a hundredth of a degree, is not refused."""
    middle = {one.key: one.expected.middle for one in answer().readings}["coolant"]
    found = answer(f"outside: 38 C, coolant: {middle:.1f} ± 0.01 C")
    (view,) = (one for one in found.readings if one.taken)
    assert view.agrees
    assert view.narrows_coolant < 1.0
    assert view.value == pytest.approx(middle, abs=0.1)


def test_what_too_few_cars_would_show_is_not_said_to_be_off() -> None:
    """Each of two readings alone is usual, both together are not: hot, and with much air."""
    view = replace(answer().readings[0], taken="1 m/s", agrees=False)
    inside = replace(view, value=view.expected.middle)
    outside = replace(view, value=view.expected.high + 1.0)
    notes = [
        {one.id: one for one in cooling_findings(replace(answer(), readings=(view,)))}[
            f"cooling: reading: {view.key}"
        ].note
        for view in (inside, outside)
    ]
    assert "too few of" in notes[0]
    assert "would show just that" in notes[0]
    assert "such a car would show" in notes[1]


def test_less_air_than_usual_makes_a_warmer_car() -> None:
    """Common practice: the less air, the hotter."""
    views = {one.key: one for one in answer().readings}
    low, high = views["grille air"].expected.low, views["grille air"].expected.high
    less = answer(f"outside: 38 C, grille air: {low:.2f} ± 0.06 m/s")
    more = answer(f"outside: 38 C, grille air: {high:.2f} ± 0.06 m/s")
    assert (
        less.today.state("hot idle").coolant_c.middle
        > more.today.state("hot idle").coolant_c.middle
    )


def test_the_next_reading_is_the_one_that_narrows_most() -> None:
    found = answer()
    assert found.next_reading is not None
    total = {one.key: one.narrows_coolant + one.narrows_head for one in found.readings}
    assert found.next_reading.key == min(total, key=lambda key: total[key])
    taken = answer("outside: 38 C, coolant: 100 ± 3 C")
    assert taken.next_reading is not None
    assert taken.next_reading.key == "grille air"


def test_how_to_take_a_reading_says_how_to_stay_safe() -> None:
    assert "clear of the fan" in HOW["grille air"]
    assert "long handle" in HOW["grille air"]
    assert "Never open a hot cap" in HOW["coolant"]
    for one in answer().readings:
        assert one.how == HOW[one.key]


def test_an_odd_reading_is_a_finding() -> None:
    found = {one.id: one for one in cooling_findings(answer("outside: 20 C, grille air: 9 m/s"))}
    odd = found["cooling: reading: grille air"]
    assert "left out" in odd.note
    assert odd.is_choice


# -- the day that it held on ----------------------------------------------------------------


def test_what_would_have_boiled_on_the_day_it_held_is_left_out() -> None:
    """As a builder would expect: a car that idled at 38 °C does not boil at 38 °C today."""
    plain, held = answer(), answer(holds="38 C")
    assert plain.held is None
    assert plain.today.state("hot idle").boils > 0.02
    assert held.held is not None
    assert held.held.agrees
    assert held.draws == plain.draws
    # The hot idle of the usual states is a day of 38 °C.
    assert held.today.state("hot idle").boils == 0.0
    # What is left is what would have been left of the others.
    assert held.held.share == pytest.approx(1.0 - plain.today.state("hot idle").boils, abs=0.08)


def test_a_hotter_day_leaves_fewer_cars_and_lower_bands() -> None:
    cool, hot = answer(holds="25 C"), answer(holds="45 C")
    assert cool.held is not None
    assert hot.held is not None
    assert hot.held.share < cool.held.share <= 1.0
    both = [one.today.state("hot idle").coolant_c for one in (cool, hot)]
    assert both[1].high < both[0].high
    assert hot.with_ac is not None
    assert cool.with_ac is not None
    assert hot.with_ac.state("hot idle").boils <= cool.with_ac.state("hot idle").boils


def test_a_day_that_hardly_any_such_car_would_hold_on_is_a_finding() -> None:
    """A fan that hardly turns, and the hottest of days: left out, and said."""
    text = KNOWN.replace("700 rpm}", "300 rpm, displacement: 8 L, holds at: 50 C}")
    text = text.replace("displacement: 3.0 L, ", "")
    found = cooling_of_nose(nose(FAN, text), draws=48, options=False)
    assert found is not None
    assert found.held is not None
    assert not found.held.agrees
    findings = {one.id: one for one in cooling_findings(found)}
    odd = findings["cooling: holds at"]
    assert "left out" in odd.note
    assert "50 C" in odd.note
    assert odd.remedies


def test_it_is_asked_for_where_it_would_tell() -> None:
    assert "holds at" in answer().words
    held = answer(holds="38 C")
    assert "38 C" in held.words
    assert "say so" not in held.words


# -- what boils over ------------------------------------------------------------------------


def test_cars_that_boil_over_are_in_the_band_of_the_air_that_comes_to_the_radiator() -> None:
    """Left out they would leave the milder cars alone, and a band that is too low."""
    text = KNOWN.replace("700 rpm}", "450 rpm}").replace("3.0 L", "6.0 L")
    found = cooling_of_nose(nose(FAN, text), draws=96, options=False)
    assert found is not None
    assert found.with_ac is not None
    state = found.with_ac.state("hot idle")
    assert state.told < 0.95
    assert math.isinf(state.into_c.high)
    assert math.isinf(state.coolant_c.high)
    assert "hotter than any figure" in found.words
