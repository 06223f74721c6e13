"""Which bolts a joint takes: by hand, over all threads, and in the worst stack."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import product

import pytest

from noseroom.checks.spacer_bolts import Bolting, Joint, Span, bolting
from noseroom.physics import screw_threads
from noseroom.tables import fasteners as tables
from thread_rows import INCH, row

# -- bolts for a joint -------------------------------------------------------------------------


def joint(
    thread: str = "5/16-24",
    hole: str = "blind",
    depth: float = 20.0,
    material: str = "steel",
    flange: float = 5.0,
    grade: str = "5",
) -> Joint:
    one = row(thread)
    return Joint(
        one,
        4,
        hole,  # type: ignore[arg-type]
        Span.about(depth),
        tables.hub_materials()[material],
        Span.about(flange),
        tables.grades()[grade],
        tables.bolt_lengths(one.unit),
    )


def test_a_bolts_length_by_hand() -> None:
    """2 in of spacer, 5 mm of flange, washer 0.051 to 0.080 in, hub of steel 20 mm deep, 5/16-24.

    Asked for: 1 d = 7.94 mm, beyond the standard's 6.16. The clamped stack, whose spacer may be 0.1
    mm off, is 57.00 to 57.93 mm; a bolt's point is one thread, 1.058 mm. 2 3/4 in, which may be
    0.06 in short (ASME B18.2.1, from memory), is 68.33 to 69.85 mm long: 68.33 - 57.93 - 1.06 =
    9.34 mm engaged, and 12.85 mm less the point at most, in a hole that leaves it 20 - 1.06.
    """
    made = bolting(joint(), 50.8)
    assert made.bolt is not None
    assert made.bolt.label == "2 3/4"
    assert made.grip.least_mm == pytest.approx(57.00, abs=0.01)
    assert made.grip.most_mm == pytest.approx(57.93, abs=0.01)
    assert made.engaged.least_mm == pytest.approx(9.34, abs=0.01)
    assert made.engaged.most_mm == pytest.approx(12.85 - 1.058, abs=0.01)
    assert made.joint.needed_mm == pytest.approx(0.3125 * INCH)


def test_a_bolt_that_bottoms_says_so_and_what_to_cut() -> None:
    """12.7 mm deep: a thread short of the end leaves 11.64 mm, the rule asks for 7.94 and a point.

    With 2 1/16 in (52.39 mm) of spacer, 2 3/4 in goes in 11.3 mm at most but as little as 7.75;
    3 in bottoms. Between the two lies a length that would do.
    """
    made = bolting(joint(depth=12.7), 52.39)
    assert made.bolt is None
    assert made.trouble == "bottoms"
    assert made.cut is not None
    length = made.cut.length
    assert 69.85 - 1.524 < length.least_mm < length.most_mm < 76.2
    assert length.least_mm == pytest.approx(59.52 + 7.94 + 1.06, abs=0.02)
    assert length.most_mm == pytest.approx(58.59 + 12.7 - 1.06, abs=0.02)
    # 3 in has 7/8 in of thread (ASME B18.2.1, from memory): its shank of 53.98 ends in the grip.
    assert made.cut.bolt is not None
    assert made.cut.bolt.label == "3"


def deep(thread: str, depth: float, material: str, thickness: float) -> Bolting:
    """What bolts a spacer to a blind hole, whose depth may be 0.5 mm off."""
    metric = replace(
        joint(thread, "blind", depth, material, grade="8.8"),
        depth=Span.about(depth, 0.5),
        flange=Span(2.9, 3.1),
    )
    return bolting(metric, thickness)


def test_cutting_a_bolt_leaves_its_shank_as_it_is() -> None:
    """M8 of 80 mm has 22 mm of thread (ISO 4014, from memory), so 58 of shank; the grip is 55.0.

    Cut to 65 mm it would have 7 mm of thread left, and 65 - 55 = 10 is asked for. M8 of 70 mm, at
    its longest 70.95 (ISO 4759-1, js15, from memory), has 48.95 of shank, and goes down to its
    shortest.
    """
    made = deep("M8", 17.0, "steel", 50.8)
    assert made.trouble == "bottoms"
    assert made.cut is not None
    assert made.cut.bolt is not None
    assert made.cut.bolt.label == "70"
    assert made.grip.least_mm == pytest.approx(55.0, abs=0.01)
    assert made.cut.length.least_mm == pytest.approx(55.8 + 8 + 1.25, abs=0.01)
    assert made.cut.length.most_mm < 70


def test_where_each_longer_shank_would_bind_the_screw_is_threaded_to_the_head() -> None:
    """M10 of 90 mm has 26 mm of thread: 64 mm and more of shank; the grip may be 64.6 mm.

    With what its length may be over, 0.7 mm and more (ISO 4759-1, from memory), that is too much.
    """
    made = deep("M10", 23.0, "cast iron", 60.0)
    assert made.grip.least_mm == pytest.approx(64.6, abs=0.01)
    assert made.cut is not None
    assert made.cut.bolt is None


@pytest.mark.parametrize("thread", ["5/16-18", "3/8-24", "M8", "M10x1.25"])
def test_what_is_cut_still_has_thread_enough(thread: str) -> None:
    """By its shank: length less 2 d + 1/4 in or 6 mm (B18.2.1, ISO 4014, from memory)."""
    found = 0
    for depth, thickness in product(range(12, 30), range(20, 62, 7)):
        cut = deep(thread, depth, "steel", float(thickness)).cut
        if cut is None or cut.bolt is None:
            continue
        found += 1
        one = row(thread)
        threaded = 2 * one.major_mm + (INCH / 4 if one.unit == "in" else 6.0)
        shank = max(cut.bolt.length_mm - threaded, 0.0)
        assert shank <= 1.4 - 0.11 + 2.9 + thickness - 0.1 + 0.7
        assert cut.length.least_mm <= cut.length.most_mm < cut.bolt.length_mm
    assert found > 5


def test_a_hub_too_shallow_for_its_thread() -> None:
    made = bolting(joint(material="aluminium", depth=14.0), 50.8)
    assert (made.bolt, made.trouble, made.cut) == (None, "shallow", None)


def test_no_bolt_on_the_list_is_long_enough() -> None:
    short = joint()
    one = Joint(
        *(short.thread, 4, short.hole, short.depth, short.material, short.flange, short.grade),
        short.lengths[:5],
    )
    assert bolting(one, 50.8).trouble == "none long enough"


def test_a_plain_shank_never_runs_into_the_hub() -> None:
    """Through a thin flange a long bolt's shank would: 2 d + 1/4 in is threaded (B18.2.1)."""
    for thickness in range(10, 100):
        made = bolting(joint(hole="through", depth=25.0, material="aluminium"), float(thickness))
        if made.bolt is None:
            assert made.trouble in ("binds", "shallow")
            continue
        threaded = 2 * made.joint.thread.major_mm + INCH / 4
        assert made.bolt.length_mm - threaded <= made.grip.least_mm


@pytest.mark.parametrize("hole", ["blind", "through", "stud"])
@pytest.mark.parametrize("material", ["steel", "cast iron", "aluminium"])
@pytest.mark.parametrize("thread", ["1/4-28", "5/16-18", "3/8-24", "M6", "M8", "M10x1.25"])
def test_whatever_is_chosen_holds_in_the_worst_stack(thread: str, material: str, hole: str) -> None:
    """Recomputed with each part at its limit: no bottom touched, no thread short."""
    grade = "5" if "/" in thread else "8.8"
    for tenths in range(100, 1000, 37):
        one = joint(thread, hole, 24.0, material, grade=grade)
        made = bolting(one, tenths / 10)
        if made.bolt is None:
            continue
        pitch, washer = one.thread.pitch_mm, one.washer
        shortest = made.bolt.length_mm - made.bolt.shorter_mm
        longest = made.bolt.length_mm + made.bolt.longer_mm
        stack = washer.most_mm + 5.0 + tenths / 10 + 0.1
        if hole == "stud":
            left = shortest - stack - one.nut.height_mm - pitch
            assert left >= one.needed_mm
        else:
            assert shortest - stack - pitch >= one.needed_mm
        if hole == "blind":
            assert longest - (washer.least_mm + 4.9 + tenths / 10) <= 24.0 - pitch + 1e-9
        assert 0.0 < made.share <= 1.0
        proof = one.grade.proof_mpa * one.stress_area_mm2
        assert made.clamp_n <= 0.75 * proof + 1e-6
        # Stripping of the hub's thread, by its own area and 1 / √3 of its strength, is further off.
        strips = (
            screw_threads.internal_shear_area_mm2(one.limits, made.engaged.least_mm)
            * one.material.tensile_mpa
            / math.sqrt(3)
        )
        assert made.clamp_n < strips


def test_the_torque_is_less_where_the_hubs_thread_is_the_weaker() -> None:
    strong = bolting(joint(depth=22.0, material="steel"), 50.8)
    weak = bolting(joint(depth=22.0, material="cast iron"), 50.8)
    assert strong.bolt is not None
    assert weak.bolt is not None
    assert weak.share < 1
    assert weak.torque_nm.most_mm < 0.75 * 586.1 * 37.46 * 0.2 * 7.9375 / 1000
    assert weak.torque_nm.most_mm == pytest.approx(
        weak.share * 0.75 * 586.1 * weak.joint.stress_area_mm2 * 0.2 * 7.9375 / 1000
    )
