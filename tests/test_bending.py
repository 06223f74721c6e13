"""Blanks of bent sheet: DIN 6935, workbooks, the airframe handbook; tables of sheet."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.physics import bending
from noseroom.tables import sheet as tables

# -- DIN 6935 ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ratio", "factor", "k"),
    [(1.0, 0.65, 0.325), (1.5, 0.73805, 0.36902), (2.5, 0.84897, 0.42449), (5.0, 0.99949, 0.49974)],
)
def test_neutral_factor(ratio: float, factor: float, k: float) -> None:
    """DIN 6935, k = 0.65 + 0.5 log10(r/s)."""
    assert bending.din_neutral_factor(ratio) == pytest.approx(factor, abs=1e-5)
    assert bending.din_k(ratio * 2.0, 2.0) == pytest.approx(k, abs=1e-5)


def test_beyond_five_thicknesses_the_neutral_line_is_in_the_middle() -> None:
    """DIN 6935: k = 1 for r/s > 5."""
    assert bending.din_neutral_factor(5.001) == 1.0
    assert bending.din_k(20.0, 1.0) == 0.5


def test_a_bend_sharper_than_the_formula_knows_is_refused() -> None:
    for ratio in (0.05, 0.0, -1.0):
        with pytest.raises(ValueError, match=r"expected 0\.0501 or more"):
            bending.din_neutral_factor(ratio)
    assert bending.din_neutral_factor(0.0502) == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize(
    ("r", "s", "v"), [(2.0, 2.0, -3.83739), (3.0, 2.0, -4.12829), (2.5, 2.5, -4.79674)]
)
def test_compensation_of_a_right_angle(r: float, s: float, v: float) -> None:
    """DIN 6935, v = π (180° - β) / 180° (r + k s / 2) - 2 (r + s)."""
    assert bending.din_compensation(90.0, r, s) == pytest.approx(v, abs=1e-5)


def test_blank_of_a_right_angle_with_legs_of_100_and_50() -> None:
    """DIN 6935, r = 3, s = 2: 100 + 50 - 4.12829."""
    assert 150 + bending.din_compensation(90.0, 3.0, 2.0) == pytest.approx(145.8717, abs=1e-4)


def test_worked_example_of_a_sharp_angle_between_the_legs() -> None:
    """β = 60°, a = 16, b = 21, r = 6, s = 5: k = .689, v = 5.77 with .7 off the chart, L = 32 mm.

    A German table book of metalworking, page on the blanks of bent parts, as read.
    """
    assert bending.din_neutral_factor(6.0 / 5.0) == pytest.approx(0.689, abs=1e-3)
    v = bending.din_compensation(120.0, 6.0, 5.0)
    off_the_chart = math.radians(120.0) * 2.5 * (0.7 - bending.din_neutral_factor(1.2))
    assert -(v + off_the_chart) == pytest.approx(5.77, abs=0.005)
    assert 16 + 21 + v == pytest.approx(32, abs=1.0)


def test_compensation_of_a_wide_angle_is_measured_to_the_mould_line() -> None:
    """DIN 6935, β over 90° to 165°: v = arc - 2 (r + s) tan((180° - β) / 2); beyond, nothing."""
    r, s, beta = 3.0, 2.0, 135.0
    k = 0.65 + 0.5 * math.log10(1.5)
    by_hand = math.pi * 45.0 / 180.0 * (r + s * k / 2) - 2 * 5.0 * math.tan(math.pi / 8)
    assert bending.din_compensation(180.0 - beta, r, s) == pytest.approx(by_hand, abs=1e-12)
    assert bending.din_compensation(14.9, r, s) == 0.0
    assert bending.din_compensation(0.0, r, s) == 0.0
    assert bending.din_compensation(15.0, r, s) != 0.0


@given(st.floats(0.5, 40.0), st.floats(0.5, 8.0))
@settings(derandomize=True, max_examples=60, deadline=None)
def test_both_forms_of_the_compensation_meet_at_a_right_angle(r: float, s: float) -> None:
    below, at = (bending.din_compensation(one, r, s) for one in (90.0 - 1e-9, 90.0))
    assert below == pytest.approx(at, abs=1e-6)


@pytest.mark.parametrize("angle", [-1.0, 180.5])
def test_no_bend_beyond_half_a_turn(angle: float) -> None:
    with pytest.raises(ValueError, match="expected 0° to 180°"):
        bending.din_compensation(angle, 3.0, 2.0)


# -- allowance, set-back, deduction ------------------------------------------------------------


def test_identities_of_the_k_factor() -> None:
    """K .44, R 2, T 2, 90°, legs of 50: BA 4.524, OSSB 4.000, BD 3.476, flat 96.524."""
    assert bending.bend_allowance(90, 2, 2, 0.44) == pytest.approx(4.524, abs=5e-4)
    assert bending.outside_set_back(90, 2, 2) == pytest.approx(4.0, abs=1e-9)
    deduction = bending.bend_deduction(90, 2, 2, 0.44)
    assert deduction == pytest.approx(3.476, abs=5e-4)
    assert bending.flat_length((50, 50), (deduction,)) == pytest.approx(96.524, abs=5e-4)


def test_what_is_called_din_on_the_web_need_not_be_din() -> None:
    """A page labels K = .44 for r/s = 1 "DIN 6935"; the standard's formula has .325."""
    assert bending.din_k(2.0, 2.0) == pytest.approx(0.325, abs=1e-9)


def test_empirical_allowance_of_the_workbooks() -> None:
    """(.0078 T + .01743 R) a degree; T .050, R .032 in: BA .085, deduction .079 in.

    A sheet-metal workbook; the same as K = .4469.
    """
    allowance = bending.empirical_allowance(90, 0.032, 0.050)
    assert allowance == pytest.approx(0.085, abs=5e-4)
    set_back = bending.outside_set_back(90, 0.032, 0.050)
    assert 2 * set_back - allowance == pytest.approx(0.079, abs=5e-4)
    assert 0.0078 / math.radians(1) == pytest.approx(0.4469, abs=1e-4)
    assert bending.bend_allowance(90, 0.032, 0.050, 0.4469) == pytest.approx(allowance, abs=1e-4)


def test_flat_pattern_of_three_bends() -> None:
    """Outside legs .740 .420 1.050 1.000, T .050, R .032: 2.973 in. The same workbook.

    It rounds each deduction to .079; unrounded they give 2.974.
    """
    allowance = bending.empirical_allowance(90, 0.032, 0.050)
    deduction = 2 * bending.outside_set_back(90, 0.032, 0.050) - allowance
    legs = (0.740, 0.420, 1.050, 1.000)
    assert bending.flat_length(legs, (0.079,) * 3) == pytest.approx(2.973, abs=1e-9)
    assert bending.flat_length(legs, (deduction,) * 3) == pytest.approx(2.973, abs=0.001)


def test_channel_of_the_airframe_handbook() -> None:
    """FAA-H-8083-31, vol. 1, figs 4-124 to 4-126: T .040, R .16, mould lines 1.00, 2.00, 1.00 in.

    Set-back .2; flats .8, 1.6, .8 in. The total width is recomputed: 3.758 in by the empirical
    allowance, 3.765 in with K = .5.
    """
    set_back = bending.outside_set_back(90, 0.16, 0.040)
    assert set_back == pytest.approx(0.2, abs=1e-12)
    flats = [1.0 - set_back, 2.0 - 2 * set_back, 1.0 - set_back]
    assert flats == pytest.approx([0.8, 1.6, 0.8], abs=1e-12)
    for allowance, total in (
        (bending.empirical_allowance(90, 0.16, 0.040), 3.758),
        (bending.bend_allowance(90, 0.16, 0.040, 0.5), 3.765),
    ):
        deduction = 2 * set_back - allowance
        assert bending.flat_length((1, 2, 1), (deduction,) * 2) == pytest.approx(total, abs=1e-3)


@pytest.mark.parametrize(("share", "k"), [(0.55, 0.3501), (0.64, 0.4074), (0.71, 0.4520)])
def test_handbook_allowances_by_material(share: float, k: float) -> None:
    """A handbook's allowances at 90°, .55 T, .64 T or .71 T + 1.57 R: soft to hard metals."""
    t, r = 2.0, 3.0
    assert bending.bend_allowance(90, r, t, k) == pytest.approx(share * t + 1.57 * r, abs=5e-3)
    assert 2 * share / math.pi == pytest.approx(k, abs=1e-4)


@given(st.floats(5.0, 150.0), st.floats(0.5, 12.0), st.floats(0.5, 6.0), st.floats(0.3, 0.5))
@settings(derandomize=True, max_examples=100, deadline=None)
def test_a_deduction_shortens_whatever_the_bend(angle: float, r: float, t: float, k: float) -> None:
    """The neutral line is never longer than the way along the mould lines: tan(x) > x."""
    assert bending.bend_deduction(angle, r, t, k) > 0


def test_legs_and_bends_have_to_match() -> None:
    with pytest.raises(ValueError, match="expected one leg more than bends"):
        bending.flat_length((10, 20), (1, 1))


# -- the shop's own K --------------------------------------------------------------------------


@given(st.floats(0.25, 0.5), st.floats(1.0, 6.0), st.floats(0.8, 4.0), st.floats(30.0, 120.0))
@settings(derandomize=True, max_examples=100, deadline=None)
def test_a_test_piece_gives_the_k_that_it_was_bent_with(
    k: float, r: float, t: float, angle: float
) -> None:
    blank = bending.flat_length((40, 60), (bending.bend_deduction(angle, r, t, k),))
    found = bending.k_from_test_piece(blank, (40, 60), r, t, angle_deg=angle)
    assert found.k == pytest.approx(k, abs=1e-9)


def test_how_sure_a_test_piece_is_by_many_trials() -> None:
    """JCGM 101: readings drawn at random scatter K as its deviation says."""
    import numpy as np

    draw = np.random.default_rng(11)
    blank = bending.flat_length((50, 50), (bending.bend_deduction(90, 3, 2, 0.4),))
    said = bending.k_from_test_piece(blank, (50, 50), 3, 2, reading=0.05, radius_reading=0.1)
    found = [
        bending.k_from_test_piece(
            blank + a, (50 + b, 50 + c), 3 + d, 2, reading=0.05, radius_reading=0.1
        ).k
        for a, b, c, d in draw.normal(size=(4000, 4)) * [0.05, 0.05, 0.05, 0.1]
    ]
    assert np.std(found) == pytest.approx(said.deviation, rel=0.05)


def test_a_misread_test_piece_is_refused() -> None:
    with pytest.raises(ValueError, match="measure its length, legs, angle and inside radius again"):
        bending.k_from_test_piece(104.0, (50, 50), 2, 2)


# -- tables -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("gauge", "inches"),
    [
        ("10 ga", 0.1345),
        ("11 ga", 0.1196),
        ("12 ga", 0.1046),
        ("14 ga", 0.0747),
        ("16 ga", 0.0598),
        ("18 ga", 0.0478),
        ("20 ga", 0.0359),
    ],
)
def test_steel_gauges(gauge: str, inches: float) -> None:
    """US Manufacturers' Standard Gauge."""
    assert stock("mild steel", gauge).thickness_mm / 25.4 == pytest.approx(inches, abs=1e-9)


@pytest.mark.parametrize(
    ("gauge", "pounds"), [("10 ga", 5.625), ("16 ga", 2.5), ("18 ga", 2.0), ("20 ga", 1.5)]
)
def test_steel_gauges_are_weights(gauge: str, pounds: float) -> None:
    """41.82 lb/ft² to an inch of thickness: what the gauge is defined by (an article on gauges)."""
    inches = stock("mild steel", gauge).thickness_mm / 25.4
    assert 41.82 * inches == pytest.approx(pounds, rel=1e-3)


@pytest.mark.parametrize(
    ("gauge", "inches"), [("14 ga", 0.0641), ("16 ga", 0.0508), ("18 ga", 0.0403)]
)
def test_aluminium_gauges(gauge: str, inches: float) -> None:
    """Brown & Sharpe; the wire gauge's rule, 0.005 in × 92^((36 - n)/39), gives the same."""
    number = int(gauge.split()[0])
    found = stock("aluminium", gauge).thickness_mm / 25.4
    assert found == pytest.approx(inches, abs=1e-9)
    assert found == pytest.approx(0.005 * 92 ** ((36 - number) / 39), abs=1e-4)


def stock(metal: str, label: str) -> tables.SheetStock:
    return next(one for one in tables.sheet_stock(metal) if one.label == label)


def test_metric_sheet_comes_in_any_metal() -> None:
    for metal in ("mild steel", "aluminium"):
        found = [one.thickness_mm for one in tables.sheet_stock(metal)]
        assert {1.0, 1.5, 2.0, 2.5, 3.0, 4.0} <= set(found)
        assert found == sorted(found)
    assert not any(one.metal == "mild steel" for one in tables.sheet_stock("aluminium"))


@pytest.mark.parametrize(
    ("material", "inches"),
    [
        ("5052-H32 aluminium", (0.094, 0.156, 0.188)),
        ("6061-T6 aluminium", (0.188, 0.312, 0.500)),
        ("mild steel", (0.094, 0.125, 0.188)),
    ],
)
def test_least_radii(material: str, inches: tuple[float, ...]) -> None:
    """At .063, .090 and .125 in, 90° cold bends. A design book's table; 1020 and 1025 for steel."""
    for thick, radius in zip((0.063, 0.090, 0.125), inches, strict=True):
        found = tables.least_radius_mm(material, thick * 25.4)
        assert found == pytest.approx(radius * 25.4, abs=1e-6)


def test_least_radius_grows_with_thickness_and_ends_with_the_table() -> None:
    for material in tables.sheet_materials():
        rows = tables.bend_radii(material)
        thick = [one.thickness_mm for one in rows]
        assert thick == sorted(thick)
        steps = [rows[0].thickness_mm * (1 + 0.01 * k) for k in range(830)]
        radii = [tables.least_radius_mm(material, t) for t in steps]
        assert None not in radii
        assert all(a <= b + 1e-12 for a, b in pairwise(radii))
        assert tables.least_radius_mm(material, 0.1) == rows[0].radius_mm
        assert tables.least_radius_mm(material, rows[-1].thickness_mm + 0.01) is None
    assert tables.least_radius_mm("unobtainium", 2.0) is None


def test_yield_of_aluminium_is_the_design_minimum() -> None:
    """Aluminum Design Manual, table 3.3-1M: 5052-H32 Fty 160, Ftu 215 MPa, E 70 300.

    The typical yield of data sheets is 193 MPa: it would be too much by a fifth.
    """
    found = tables.sheet_materials()["5052-H32 aluminium"]
    assert (found.yield_mpa, found.tensile_mpa, found.e_mpa) == (160, 215, 70300)


def test_6061_is_as_strong_as_the_least_of_its_sheet() -> None:
    """A guide to aluminium structures: sheet Ftu 42 ksi (290 MPa), yield 35 ksi."""
    found = tables.sheet_materials()["6061-T6 aluminium"]
    assert found.tensile_mpa / 6.894757 == pytest.approx(42, abs=0.1)
    assert found.yield_mpa / 6.894757 <= 35


def test_what_is_remembered_says_so() -> None:
    assert "from memory" in tables.sheet_materials()["mild steel"].how
    rows = [
        *tables.sheet_stock(),
        *(r for m in tables.sheet_materials() for r in tables.bend_radii(m)),
    ]
    assert all(one.source and one.how for one in rows)
    assert all(one.source and one.meaning for one in tables.sheet_limits().values())
