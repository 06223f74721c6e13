"""Threads, bolts and their tables, against standards, handbook tables and sums by hand."""

from __future__ import annotations

import math

import pytest

from noseroom.checks.spacer_bolts import limits_of, washers_meet
from noseroom.physics import bolts, screw_threads
from noseroom.tables import fasteners as tables
from noseroom.tables.fasteners import ThreadSize
from noseroom.units import read_thread
from thread_rows import ALL, INCH, POUND, POUND_FOOT, PSI, area_mm2, of_unit, row

# -- geometry ---------------------------------------------------------------------------------


def test_basic_diameters_of_a_metric_thread() -> None:
    """M8: d2 = 7.188, D1 = 6.647, d3 = 6.466 mm (ISO 724; d3 from memory)."""
    assert screw_threads.pitch_diameter_mm(8, 1.25) == pytest.approx(7.188, abs=5e-4)
    assert screw_threads.internal_minor_mm(8, 1.25) == pytest.approx(6.647, abs=5e-4)
    assert screw_threads.root_diameter_mm(8, 1.25) == pytest.approx(6.466, abs=5e-4)


@pytest.mark.parametrize(
    ("thread", "square_inches"),
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
def test_stress_areas_of_unified_threads(thread: str, square_inches: float) -> None:
    """SAE J429 and ASME B1.1, table of tensile stress areas."""
    assert area_mm2(row(thread)) / INCH**2 == pytest.approx(square_inches, abs=1e-4)


@pytest.mark.parametrize(
    ("thread", "mm2"), [("M6", 20.1), ("M8", 36.6), ("M10", 58.0), ("M12", 84.3)]
)
def test_stress_areas_of_metric_threads(thread: str, mm2: float) -> None:
    """ISO 898-1, table of nominal stress areas, coarse threads."""
    assert area_mm2(row(thread)) == pytest.approx(mm2, abs=0.05)


@pytest.mark.parametrize(
    ("thread", "inches"),
    [
        ("1/4-20", 0.173),
        ("5/16-18", 0.223),
        ("3/8-16", 0.269),
        ("1/4-28", 0.195),
        ("5/16-24", 0.242),
        ("3/8-24", 0.304),
    ],
)
def test_engagement_for_equal_strength(thread: str, inches: float) -> None:
    """FED-STD-H28 formula, classes 2A and 2B; table of minimum engagement."""
    one = row(thread)
    found = screw_threads.equal_strength_engagement_mm(limits_of(one), area_mm2(one))
    assert found / INCH == pytest.approx(inches, abs=1e-3)


def test_with_the_engagement_asked_for_twice_the_stress_area_is_in_shear() -> None:
    """What the FED-STD-H28 formula says in words."""
    for one in ALL:
        engaged = screw_threads.equal_strength_engagement_mm(limits_of(one), area_mm2(one))
        shear = screw_threads.external_shear_area_mm2(limits_of(one), engaged)
        assert shear == pytest.approx(2 * area_mm2(one), rel=1e-12)


def test_a_softer_hub_asks_for_more_in_proportion() -> None:
    one = limits_of(row("3/8-16"))
    even = screw_threads.strength_ratio(one, 500, 500)
    # The hole's thread shears along a larger circle than the bolt's.
    assert 0.6 < even < 0.8
    assert screw_threads.strength_ratio(one, 1000, 250) == pytest.approx(8 / 2 * even)


# -- limits of size, by the standards' own tolerance formulas ------------------------------------


@pytest.mark.parametrize("one", of_unit("in"), ids=lambda one: one.thread)
def test_limits_of_unified_threads_follow_the_standards_formulas(one: ThreadSize) -> None:
    """ASME B1.1, classes 2A and 2B (formulas from memory; the tables are rounded to 0.0001 in)."""
    d, p = one.major_mm / INCH, one.pitch_mm / INCH
    tolerance = 0.0015 * d ** (1 / 3) + 0.0015 * math.sqrt(d) + 0.015 * p ** (2 / 3)
    allowance = 0.3 * tolerance
    pitch = d - 0.64951905 * p
    # Below a quarter of an inch the hole's tolerance goes by the diameter too.
    hole = 0.25 * p - 0.4 * p**2 if d >= 0.25 else 0.05 * p ** (2 / 3) + 0.03 * p / d - 0.002
    for found, expected, off in (
        (one.least_major_mm, d - allowance - 0.060 * p ** (2 / 3), 1.1e-4),
        (one.least_pitch_diameter_mm, pitch - allowance - tolerance, 1.1e-4),
        (one.most_pitch_diameter_mm, pitch + 1.3 * tolerance, 1.1e-4),
        # Minor diameters are rounded to three places.
        (one.most_minor_mm, d - 1.08253175 * p + hole, 6e-4),
    ):
        assert found / INCH == pytest.approx(expected, abs=off)


@pytest.mark.parametrize(
    ("thread", "pitch", "minor"),
    [
        ("1/4-20", 0.2224, 0.2070),
        ("5/16-18", 0.2817, 0.2650),
        ("3/8-16", 0.3401, 0.3210),
        ("7/16-14", 0.3972, 0.3760),
        ("1/2-13", 0.4565, 0.4340),
    ],
)
def test_limits_of_tapped_holes_are_those_of_the_table(
    thread: str, pitch: float, minor: float
) -> None:
    """Internal threads of class 2B, UNC, largest pitch and minor diameter (ASME B1.1)."""
    one = row(thread)
    assert one.most_pitch_diameter_mm == pytest.approx(INCH * pitch)
    assert one.most_minor_mm == pytest.approx(INCH * minor)


def test_limits_of_an_m6_bolt_are_those_of_the_table() -> None:
    """ISO 965, 6g: major 5.974 to 5.794, pitch diameter 5.324 to 5.212 mm."""
    one = row("M6")
    assert (one.least_major_mm, one.least_pitch_diameter_mm) == (5.794, 5.212)


@pytest.mark.parametrize("one", of_unit("mm"), ids=lambda one: one.thread)
def test_limits_of_metric_threads_follow_the_standards_formulas(one: ThreadSize) -> None:
    """ISO 965-1, 6g and 6H (formulas from memory), whose tables are rounded to R40 numbers."""
    d, p = one.major_mm, one.pitch_mm
    low = next(low for low in (2.8, 5.6, 11.2) if d <= 2 * low)
    mean = math.sqrt(low * 2 * low)
    grade = 0.090 * p**0.4 * mean**0.1
    free = (15 + 11 * p) / 1000
    hole = 0.230 * p**0.7 if p >= 1 else 0.433 * p - 0.190 * p**1.22
    major = 0.180 * p ** (2 / 3) - 0.00315 / math.sqrt(p)
    pitch, minor = d - 0.649519 * p, d - 1.082532 * p
    for found, tolerance in (
        (pitch - free - one.least_pitch_diameter_mm, grade),
        (d - free - one.least_major_mm, major),
        (one.most_minor_mm - minor, hole),
        (one.most_pitch_diameter_mm - pitch, 1.32 * grade),
    ):
        assert found == pytest.approx(tolerance, rel=0.06)


@pytest.mark.parametrize("one", of_unit("mm"), ids=lambda one: one.thread)
def test_least_diameters_of_metric_bolts_are_those_of_the_table(one: ThreadSize) -> None:
    """ISO 965-1, tables of es (g) and Td (6) by pitch, micrometres (from memory)."""
    free, tolerance = {
        0.75: (22, 140),
        0.8: (24, 150),
        1.0: (26, 180),
        1.25: (28, 212),
        1.5: (32, 236),
        1.75: (34, 265),
    }[one.pitch_mm]
    assert one.least_major_mm == pytest.approx(one.major_mm - (free + tolerance) / 1000)


# -- loads ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("thread", "grade", "newtons"),
    [
        ("M6", "8.8", 11_600),
        ("M8", "8.8", 21_200),
        ("M10", "8.8", 33_700),
        ("M6", "10.9", 16_700),
        ("M8", "10.9", 30_400),
    ],
)
def test_proof_loads_of_metric_bolts(thread: str, grade: str, newtons: float) -> None:
    """ISO 898-1, table of proof loads, coarse threads."""
    proof = tables.grades()[grade].proof_mpa
    assert bolts.proof_load_n(area_mm2(row(thread)), proof) == pytest.approx(newtons, rel=0.01)


@pytest.mark.parametrize(("thread", "newtons"), [("M6", 16_100), ("M8", 29_200)])
def test_least_breaking_loads_of_class_8_8(thread: str, newtons: float) -> None:
    """ISO 898-1, minimum ultimate loads."""
    tensile = tables.grades()["8.8"].tensile_mpa
    assert area_mm2(row(thread)) * tensile == pytest.approx(newtons, rel=0.01)


def test_grade_5_is_85_and_120_ksi() -> None:
    """SAE J429, 1/4 to 1 in."""
    five = tables.grades()["5"]
    assert five.proof_mpa == pytest.approx(85_000 * PSI, rel=1e-3)
    assert five.tensile_mpa == pytest.approx(120_000 * PSI, rel=1e-3)


@pytest.mark.parametrize(
    ("thread", "pounds"), [("5/16-18", 2162), ("5/16-24", 2397), ("3/8-16", 3197)]
)
def test_clamp_loads_of_grade_2(thread: str, pounds: float) -> None:
    """Load table of SAE J429 bolts: clamp = 0.75 × 55 ksi × stress area."""
    proof = bolts.proof_load_n(area_mm2(row(thread)), tables.grades()["2"].proof_mpa)
    assert bolts.clamp_n(proof) / POUND == pytest.approx(pounds, rel=3e-3)


@pytest.mark.parametrize(("thread", "pound_feet"), [("5/16-18", 11.5), ("3/8-16", 20.0)])
def test_dry_torques_of_grade_2(thread: str, pound_feet: float) -> None:
    """The same table, dry, K = 0.2, which rounds to half a pound-foot."""
    one = row(thread)
    clamp = bolts.clamp_n(bolts.proof_load_n(area_mm2(one), tables.grades()["2"].proof_mpa))
    dry = tables.spacer_limits()["torque factor dry"].value
    found = bolts.tightening_torque_nm(clamp, one.major_mm, dry) / POUND_FOOT
    assert found == pytest.approx(pound_feet, rel=0.03)


def test_torques_of_grade_5_dry_and_oiled() -> None:
    """3/8-16: 4940 lbf, 30 lbf ft with K = 0.20, 23 with 0.15 (an engineering office's article)."""
    one = row("3/8-16")
    clamp = bolts.clamp_n(bolts.proof_load_n(area_mm2(one), tables.grades()["5"].proof_mpa))
    assert clamp / POUND == pytest.approx(4940, rel=3e-3)
    for key, pound_feet in (("torque factor dry", 30), ("torque factor oiled", 23)):
        factor = tables.spacer_limits()[key].value
        found = bolts.tightening_torque_nm(clamp, one.major_mm, factor) / POUND_FOOT
        assert found == pytest.approx(pound_feet, abs=1.0)


def test_a_clamp_of_more_than_the_proof_load_is_refused() -> None:
    with pytest.raises(ValueError, match="at most 1"):
        bolts.clamp_n(1000.0, 1.1)


def test_balance_of_a_fan_at_3000_rpm() -> None:
    """G6.3 at 3000 rpm is 20 g·mm a kilogram: 0.020 mm (ISO 21940-11's chart, from memory)."""
    assert bolts.off_centre_mm(6.3, 3000) == pytest.approx(0.020, abs=5e-4)


def test_the_moment_on_a_bearing() -> None:
    """1.5 kg 60 mm out: 1.5 × 9.80665 × 0.06 = 0.8826 N·m, by hand."""
    assert bolts.moment_nm(1.5, 60) == pytest.approx(0.8826, abs=1e-4)
    assert bolts.moment_growth(60, 60) == 2.0
    # A spacer of half the fan's mass, its middle 50 mm out: (1.5 × 120 + 0.75 × 50) / (1.5 × 60).
    assert bolts.moment_growth(60, 60, 0.5, 50) == pytest.approx((180 + 37.5) / 90)
    with pytest.raises(ValueError, match="lever"):
        bolts.moment_growth(0, 60)


def test_how_much_of_a_bolt_is_threaded() -> None:
    """ASME B18.2.1 and ISO 4014 (from memory): 5/16 × 3 in has 7/8 in; M8 × 60 has 22 mm."""
    of = bolts.bolt_thread_mm
    assert of(0.3125 * INCH, 3 * INCH, unified=True) == pytest.approx(0.875 * INCH)
    assert of(8, 60, unified=False) == 22
    assert of(8, 130, unified=False) == 28
    assert of(8, 16, unified=False) == 16


# -- tables -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("size", "drills"),
    [
        ("M6", (6.4, 6.6, 7)),
        ("M8", (8.4, 9, 10)),
        ("M10", (10.5, 11, 12)),
        ("1/4", (17 / 64 * INCH, 9 / 32 * INCH, 19 / 64 * INCH)),
        ("5/16", (21 / 64 * INCH, 11 / 32 * INCH, 23 / 64 * INCH)),
        ("3/8", (25 / 64 * INCH, 13 / 32 * INCH, 27 / 64 * INCH)),
    ],
)
def test_clearance_holes(size: str, drills: tuple[float, float, float]) -> None:
    """ISO 273 fine, medium, coarse; ASME B18.2.8 close, normal, loose."""
    hole = tables.clearance_holes()[size]
    assert (hole.close_mm, hole.normal_mm, hole.loose_mm) == pytest.approx(drills)


def test_washers_and_nuts() -> None:
    """ISO 7089: M6 12 mm, M8 16 mm, at most 1.8 mm thick. ISO 4032: 5.2 and 6.8 mm at most."""
    for size, outside, nut in (("M6", 12, 5.2), ("M8", 16, 6.8)):
        assert tables.washers()[size].outside_mm == outside
        assert tables.washers()[size].most_mm == 1.8
        assert tables.nuts()[size].height_mm == nut


@pytest.mark.parametrize(
    ("size", "outside", "over", "thickness"),
    [
        ("1/4", 0.625, 0.015, (0.051, 0.080)),
        ("5/16", 0.688, 0.015, (0.051, 0.080)),
        ("3/8", 0.812, 0.015, (0.051, 0.080)),
        ("7/16", 0.922, 0.015, (0.051, 0.080)),
        ("1/2", 1.062, 0.030, (0.074, 0.121)),
    ],
)
def test_inch_washers_are_those_of_the_narrow_series(
    size: str, outside: float, over: float, thickness: tuple[float, float]
) -> None:
    """ASME B18.21.1, type A, narrow, with their tolerance (reprinted in a machinist's handbook)."""
    one = tables.washers()[size]
    assert one.outside_mm == pytest.approx(INCH * outside)
    assert one.most_outside_mm == pytest.approx(INCH * (outside + over))
    assert (one.least_mm, one.most_mm) == pytest.approx([INCH * x for x in thickness])


def test_washers_meet_where_their_circle_is_too_short() -> None:
    """12 on 1 3/4 in are 1.75 × sin 15° = 0.453 in apart, 4 are 1.237; each is up to 0.703 in."""
    washer = tables.washers()["5/16"]
    assert washers_meet(washer, 12, 1.75 * INCH)
    assert not washers_meet(washer, 4, 1.75 * INCH)


def test_engagement_rules_of_thumb() -> None:
    """A trade article: steel 1 d, cast iron 1.5 d, aluminium 2 d."""
    found = {name: one.diameters for name, one in tables.hub_materials().items()}
    assert found == {"steel": 1.0, "cast iron": 1.5, "aluminium": 2.0}


def test_every_row_is_whole_and_says_where_it_is_from() -> None:
    lengths = (*tables.bolt_lengths("in"), *tables.bolt_lengths("mm"))
    rows = (
        *(*ALL, *tables.grades().values(), *lengths, *tables.washers().values()),
        *(*tables.nuts().values(), *tables.clearance_holes().values()),
        *tables.hub_materials().values(),
    )
    assert len(rows) > 80
    for one in rows:
        assert one.source
        assert any(word in one.how for word in ("read", "from memory", "common practice")), one
    assert all(one.source for one in tables.spacer_limits().values())
    assert all(one.source for one in tables.stock_spacers())


def test_every_thread_has_all_that_a_joint_needs() -> None:
    for one in ALL:
        assert one.size in tables.washers()
        assert one.size in tables.nuts()
        assert one.size in tables.clearance_holes()
        assert tables.thread_like(read_thread(one.thread)) == one
        washer, hole = tables.washers()[one.size], tables.clearance_holes()[one.size]
        assert one.major_mm < hole.close_mm < hole.normal_mm < hole.loose_mm < washer.outside_mm


def test_lengths_come_in_the_steps_that_are_sold() -> None:
    """Common practice: quarters of an inch; ISO 888: 5 mm to 70 mm, then 10 mm (from memory)."""
    inches = [one.length_mm / INCH for one in tables.bolt_lengths("in")]
    assert inches == pytest.approx([k / 4 for k in range(2, 25)])
    metric = [one.length_mm for one in tables.bolt_lengths("mm")]
    assert [mm for mm in metric if 20 <= mm <= 70] == list(range(20, 71, 5))
    assert [mm for mm in metric if 70 <= mm <= 150] == list(range(70, 151, 10))


def test_a_thread_that_is_in_no_table_is_not_guessed() -> None:
    assert tables.thread_like(read_thread("7/16-18")) is None
    assert tables.thread_like(read_thread("M7")) is None
