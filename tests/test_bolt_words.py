"""Bolts as a shop asks for them: names, grades and torques against tables of the trade."""

from __future__ import annotations

import pytest

from noseroom.checks.bracket_words import trade_thread
from noseroom.tables.fasteners import ThreadSize, threads
from noseroom.workshop.bolt_words import grade_words, torques_nm

LBF_FT = 1.3558179
"""N·m."""


def named(thread: str) -> ThreadSize:
    return next(one for one in threads() if one.thread == thread)


@pytest.mark.parametrize(
    ("thread", "name"),
    [
        ("M6x1", "M6"),
        ("M8x1.25", "M8"),
        ("M10x1.5", "M10"),
        ("M8x1", "M8x1"),
        ("M10x1.25", "M10x1.25"),
        ("1/4-20", "1/4-20"),
        ("5/16-24", "5/16-24"),
    ],
)
def test_coarse_metric_threads_go_by_their_size_alone(thread: str, name: str) -> None:
    """ISO 261: a coarse thread's pitch is left out of its name; unified ones keep their count."""
    assert trade_thread(named(thread)) == name


@pytest.mark.parametrize(
    ("thread", "lbf_ft"), [("1/4-20", 8.0), ("5/16-18", 17.0), ("3/8-16", 31.0)]
)
def test_dry_torque_of_grade_5_is_that_of_the_load_tables(thread: str, lbf_ft: float) -> None:
    """Load table of SAE J429 bolts, grade 5, dry, K = 0.2: 8, 17 and 31 lbf·ft (from memory).

    The table rounds to whole lbf·ft.
    """
    oiled, dry = torques_nm(named(thread))
    assert dry / LBF_FT == pytest.approx(lbf_ft, abs=0.6)
    assert oiled == pytest.approx(0.75 * dry)
    assert grade_words(named(thread)) == "grade 5"


@pytest.mark.parametrize(("thread", "area", "major"), [("M6x1", 20.1, 6.0), ("M8x1.25", 36.6, 8.0)])
def test_dry_torque_of_class_8_8_by_hand(thread: str, area: float, major: float) -> None:
    """ISO 898-1: stress areas 20.1 and 36.6 mm², proof stress 580 MPa; T = 0.2 d × 0.75 of it."""
    wanted = 0.2 * major / 1000 * 0.75 * 580 * area
    assert torques_nm(named(thread))[1] == pytest.approx(wanted, rel=0.002)
    assert grade_words(named(thread)) == "class 8.8"
