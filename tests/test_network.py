"""The nose as a network: what is found, what is refused, and what stays not known."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest

import noseroom
from noseroom.checks.agreement import check_agreement
from noseroom.envelope.reader import read_text
from noseroom.errors import EnvelopeError, SurveyError
from noseroom.findings import Verdict
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from noseroom.survey.features import box_faces
from noseroom.survey.network import Network, Station

FRAME = """\
format: 1
units: mm
tape: 1 mm
core support: {opening: {width: 700, height: 480}}
"""
PUMP = """\
engine:
  place:
    - front 300 aft of core support.face
    - axis 0 right of centreline
    - axis 60 above core support.opening.bottom
    - plumb ± 0.05 deg
    - level ± 0.05 deg
    - square across ± 0.05 deg
water pump:
  hub: {diameter: 80}
  place:
    - hub.face 120 ahead of engine.front
    - axis 300 above core support.opening.bottom
    - axis 0 right of centreline
"""
SQUARE = "plumb ± 0.05 deg", "level ± 0.05 deg", "square across ± 0.05 deg"


def placed(name: str, head: str, *sentences: str) -> str:
    """A part's lines: its own keys and its sentences."""
    said = "".join(f'    - "{one}"\n' for one in sentences)
    return f"{name}:\n{head}" + (f"  place:\n{said}" if said else "")


def box(*sentences: str, name: str = "box") -> str:
    return placed(name, "  depth: 60\n  width: 100\n  height: 80\n", *sentences)


def compressor(*sentences: str) -> str:
    head = "  nose: {diameter: 120, length: 50}\n"
    return placed(
        "compressor", head, "nose.front 20 ahead of water pump.hub.face", *SQUARE, *sentences
    )


def laid_out(*blocks: str) -> Layout:
    return arrange(read_text(FRAME + "".join(blocks), KINDS))


def line_of(words: str, *blocks: str) -> int:
    """The line of the file that has these words."""
    lines = (FRAME + "".join(blocks)).splitlines()
    (found,) = (number for number, line in enumerate(lines, 1) if words in line)
    return found


# -- mirror images ---------------------------------------------------------------------------

ONE_EDGE = (
    "nose edge to water pump hub.edge 150",  # 40 + 60 + 150: axes 250 apart
    "axis 70 above water pump.axis",
)
AWAY = math.sqrt(250.0**2 - 70.0**2)


@pytest.mark.parametrize(("word", "sign"), [("right", 1.0), ("left", -1.0)])
def test_the_side_that_is_said_chooses_between_mirror_images(word: str, sign: float) -> None:
    layout = laid_out(PUMP, compressor(*ONE_EDGE, f"axis {word} of water pump.axis"))
    part = layout.parts["compressor"]
    assert part.known
    np.testing.assert_allclose(part.pose[:3, 3], [160.0, sign * AWAY, 370.0], atol=1e-6)
    assert not layout.survey.broken_bounds


def test_without_a_side_two_places_are_refused_with_the_lines_of_the_part() -> None:
    blocks = PUMP, compressor(*ONE_EDGE)
    with pytest.raises(SurveyError, match=r"two places .* 480 mm apart.*left of") as refused:
        laid_out(*blocks)
    assert line_of("nose edge to water pump", *blocks) in refused.value.lines
    assert line_of("axis 70 above", *blocks) in refused.value.lines


def two_circles(*sides: str) -> tuple[str, str]:
    """A compressor read from the hub and from a cylinder beside it, 200 mm to the right."""
    pipe = placed(
        "cylinder",
        "  diameter: 60\n  length: 100\n",
        "front.rim 170 aft of core support.face",
        "axis 300 above core support.opening.bottom",
        "axis 200 right of centreline",
        *SQUARE,
    )
    far = math.hypot(160.0, 190.0) - 60.0 - 30.0
    near = math.hypot(40.0, 190.0) - 60.0 - 40.0
    return pipe, compressor(
        f"nose edge to water pump hub.edge {near:.9f}",
        f"nose edge to cylinder.flank {far:.9f}",
        *sides,
    )


@pytest.mark.parametrize(("word", "sign"), [("above", 1.0), ("below", -1.0)])
def test_two_edge_readings_meet_on_the_side_that_is_said(word: str, sign: float) -> None:
    layout = laid_out(PUMP, *two_circles(f"axis {word} water pump.axis"))
    expected = [160.0, 40.0, 300.0 + sign * 190.0]
    np.testing.assert_allclose(layout.parts["compressor"].pose[:3, 3], expected, atol=1e-6)


def test_two_edge_readings_without_a_side_are_refused() -> None:
    with pytest.raises(SurveyError, match="two places"):
        laid_out(PUMP, *two_circles())


def test_a_third_edge_reading_settles_it_without_words() -> None:
    pin = placed(
        "pin",
        "  is: cylinder\n  diameter: 20\n  length: 100\n",
        "front.rim 170 aft of core support.face",
        "axis 420 above core support.opening.bottom",
        "axis 120 right of centreline",
        *SQUARE,
    )
    third = math.hypot(80.0, 70.0) - 60.0 - 10.0
    layout = laid_out(PUMP, pin, *two_circles(f"nose edge to pin.flank {third:.9f}"))
    np.testing.assert_allclose(layout.parts["compressor"].pose[:3, 3], [160, 40, 490], atol=1e-6)


@pytest.mark.parametrize("rise", [249.9, 250.0, 250.5])
def test_circles_that_only_just_touch_are_not_two_places(rise: float) -> None:
    """Straight above the hub the two places run together; across it is badly known, and says so."""
    layout = laid_out(
        PUMP,
        compressor("nose edge to water pump hub.edge 150", f"axis {rise} above water pump.axis"),
    )
    part = layout.parts["compressor"]
    assert abs(part.pose[2, 3] - 550.0) < 1.0
    moves = part.placements[0].shift_gain[1]
    deviation = float(np.linalg.norm(moves * layout.survey.deviations))
    assert not part.known or deviation > abs(part.pose[1, 3]) / 2


def test_an_engine_read_straight_across_is_not_mirrored_by_one_that_is_fixed() -> None:
    """A distance point to point, where plain readings say the rest: one place, no complaint."""
    layout = laid_out(
        PUMP,
        box(
            "middle 200 aft of core support.face",
            "middle 300 right of centreline",
            "middle 300 above core support.opening.bottom",
            f"middle to water pump hub.face {math.hypot(20.0, 300.0):.9f}",
            *SQUARE,
        ),
    )
    np.testing.assert_allclose(layout.parts["box"].pose[:3, 3], [200, 300, 300], atol=1e-6)


# -- readings that do not agree --------------------------------------------------------------

PLACED_BOX = (
    "middle 200 aft of core support.face",
    "middle 90 above core support.opening.bottom",
    "middle 40 right of centreline",
    *SQUARE,
)


def test_two_readings_that_cannot_both_be_true_are_refused_by_line(tmp_path: Path) -> None:
    blocks = (box(*PLACED_BOX, "middle 60 aft of core support.face"),)
    path = tmp_path / "nose.yaml"
    path.write_text(FRAME + "".join(blocks), encoding="utf-8")
    with pytest.raises(EnvelopeError) as refused:
        noseroom.check(path)
    (fault,) = refused.value.faults
    lines = {int(number) for number in re.findall(r"line (\d+)", str(fault))}
    assert lines == {line_of("middle 200 aft", *blocks), line_of("middle 60 aft", *blocks)}
    assert "Traceback" not in str(refused.value)


def test_a_slip_of_a_few_millimetres_is_a_finding_and_not_a_refusal() -> None:
    blocks = (box(*PLACED_BOX, "middle 205 aft of core support.face"),)
    layout = laid_out(*blocks)
    lines = {one.source.line for one in layout.survey.disagreements}
    assert lines == {line_of("middle 200 aft", *blocks), line_of("middle 205 aft", *blocks)}
    assert all(abs(abs(one.slip) - 5.0) < 1e-6 for one in layout.survey.disagreements)
    (finding,) = check_agreement(layout)
    assert finding.verdict is Verdict.TOO_CLOSE
    assert len(finding.remedies) == 2


def test_readings_within_their_widths_are_no_finding() -> None:
    layout = laid_out(box(*PLACED_BOX, "middle 201.5 aft of core support.face"))
    assert not layout.survey.disagreements
    assert check_agreement(layout) == ()


# -- assumptions -----------------------------------------------------------------------------


def yawed_radiator(degrees: float, half_mm: float) -> str:
    edge = 250.0 * math.sin(math.radians(degrees))
    return placed(
        "radiator",
        "  core: {width: 500, height: 400, thickness: 50}\n",
        f"core.front at left {40 - edge:.6f} ± {half_mm} aft of core support.face",
        f"core.front at right {40 + edge:.6f} ± {half_mm} aft of core support.face",
    )


def yaw_of(layout: Layout) -> float:
    return math.degrees(math.asin(-layout.parts["radiator"].pose[1, 0]))


def test_an_assumption_is_dropped_once_readings_say_it_twelve_times_better() -> None:
    layout = laid_out(yawed_radiator(0.6, 0.2))
    assert "square across ± 1 deg" in {one.text for one in layout.survey.dropped}
    assert yaw_of(layout) == pytest.approx(0.6, abs=1e-6)


def test_an_assumption_that_readings_refute_gives_way_and_is_listed() -> None:
    """The readings are too coarse to drop it (1 deg / 12), but say 3 deg."""
    layout = laid_out(yawed_radiator(3.0, 2.0))
    assert {one.text for one in layout.survey.refuted} == {"square across ± 1 deg"}
    assert yaw_of(layout) == pytest.approx(3.0, abs=1e-6)


def test_an_assumption_that_coarse_readings_bear_out_stays_with_its_full_reach() -> None:
    layout = laid_out(yawed_radiator(0.5, 6.0))
    survey = layout.survey
    (one,) = (k for k, source in enumerate(survey.sources) if source.text.startswith("square acr"))
    assert survey.reaches[one] == 1.0
    assert survey.deviations[one] == 0.0
    assert 0.0 < yaw_of(layout) < 0.5


def test_sizes_that_only_a_dropped_assumption_used_do_not_upset_the_adjustment() -> None:
    """The usual height of a radiator hangs on its core's height; read by its cap, it does not."""
    layout = laid_out(
        placed(
            "radiator",
            "  core: {width: 500, height: 400 ± 1, thickness: 50 ± 1}\n",
            "core.front 30 aft of core support.face",
            "core 240 above core support.opening.bottom",
            "core 0 right of centreline",
            *SQUARE,
        )
    )
    assert any("core.bottom" in one.text for one in layout.survey.dropped)
    assert layout.parts["radiator"].known
    assert layout.parts["radiator"].pose[2, 3] == pytest.approx(240.0, abs=1e-6)


def test_an_assumption_about_a_carrier_that_is_not_fitted_is_no_fault() -> None:
    text = FRAME.replace("core support: {", "core support: {fitted: no, ")
    layout = arrange(read_text(text + yawed_radiator(0.0, 1.0).split("  place:")[0], KINDS))
    assert not layout.parts["radiator"].known


# -- what is not known -----------------------------------------------------------------------


def test_what_nothing_fixes_is_not_known_and_stays_where_it_began() -> None:
    layout = laid_out(
        PUMP, box("middle 200 aft of core support.face", "middle 205 aft of core support.face")
    )
    part = layout.parts["box"]
    assert not part.known
    np.testing.assert_allclose(part.pose[1:3, 3], 0.0, atol=1e-9)
    assert layout.parts["water pump"].known
    placement = part.placements[0]
    assert not placement.shift_null[0].any() or abs(placement.shift_null[0]).max() < 1e-9
    # A unit along what nothing fixes: across and up.
    np.testing.assert_allclose(np.linalg.norm(placement.shift_null[1:], axis=1), 1.0, atol=1e-9)


@pytest.mark.parametrize(
    "bound",
    [
        "middle at least 10 above core support.opening.bottom",
        "middle at most 10 above core support.opening.bottom",
        "middle above core support.opening.bottom",
    ],
)
def test_a_bound_or_a_side_never_makes_anything_known(bound: str) -> None:
    others = [one for one in PLACED_BOX if " above " not in one]
    without, with_it = laid_out(box(*others)), laid_out(box(*others, bound))
    assert not without.parts["box"].known
    assert not with_it.parts["box"].known
    ranks = [one.survey.adjustment.null_space.shape[1] for one in (without, with_it)]
    assert ranks[0] == ranks[1]
    assert not with_it.survey.broken_bounds  # nor can it be broken


@pytest.mark.parametrize(
    ("sentence", "miss"),
    [
        ("front at least 150 aft of core support.face", 0.0),
        ("front at least 200 aft of core support.face", 30.0),
        ("front at most 150 aft of core support.face", 20.0),
        ("front at most 200 aft of core support.face", 0.0),
        ("middle left of centreline", 40.0),
        ("middle right of centreline", 0.0),
        # Off by less than the readings can tell apart: no contradiction.
        ("front at least 170.5 aft of core support.face", 0.0),
    ],
)
def test_bounds_and_sides_are_checked_against_the_adjusted_nose(sentence: str, miss: float) -> None:
    blocks = (box(*PLACED_BOX, sentence),)
    survey = laid_out(*blocks).survey
    if not miss:
        assert not survey.broken_bounds
        return
    ((broken, by),) = survey.broken_bounds
    assert broken.line == line_of(sentence, *blocks)
    assert by == pytest.approx(miss, abs=1.01)  # a tape's width is forgiven
    np.testing.assert_allclose(laid_out(*blocks).parts["box"].pose[:3, 3], [200, 40, 90], atol=1e-6)


# -- faults, by line -------------------------------------------------------------------------


def fault_of(tmp_path: Path, *blocks: str) -> tuple[int, str]:
    path = tmp_path / "nose.yaml"
    path.write_text(FRAME + "".join(blocks), encoding="utf-8")
    with pytest.raises(EnvelopeError) as refused:
        noseroom.check(path)
    (fault,) = refused.value.faults
    return fault.line, str(fault)


def test_a_reading_from_a_part_that_is_not_fitted_is_a_fault_of_its_line(tmp_path: Path) -> None:
    tray = box(name="tray box").replace("tray box:\n", "tray box:\n  fitted: no\n")
    blocks = tray, box("front 30 aft of tray box.rear", *PLACED_BOX[1:])
    line, text = fault_of(tmp_path, *blocks)
    assert line == line_of("tray box.rear", *blocks)
    assert "not fitted" in text


def test_a_feature_of_another_choice_is_a_fault_of_its_line(tmp_path: Path) -> None:
    blocks = yawed_radiator(0.0, 1.0), box("front 30 aft of radiator.left tank.rear")
    line, text = fault_of(tmp_path, *blocks)
    assert line == line_of("left tank", *blocks)
    assert "as described has no 'left tank.rear'" in text


@pytest.mark.parametrize(
    ("sentence", "wrong"),
    [
        ("front 30 aft of radiator.cap.top at 12 o'clock", "does not face that way"),
        ("front edge to core support.opening.left edge 30", "do not face each other"),
        ("front edge to radiator.upper neck.end edge 30", "a rim that faces a flat face"),
        ("front 30 right of core support.opening.top, square to it", "no .*|neither"),
    ],
)
def test_a_reading_whose_meaning_nobody_can_tell_is_a_fault_of_its_line(
    tmp_path: Path, sentence: str, wrong: str
) -> None:
    blocks = yawed_radiator(0.0, 1.0), box(sentence)
    line, text = fault_of(tmp_path, *blocks)
    assert line == line_of(sentence, *blocks)
    assert re.search(wrong, text)


def test_stations_that_carry_one_another_in_a_ring_are_refused_with_their_lines() -> None:
    def station(name: str, carrier: str, line: int) -> Station:
        def features(sizes: object) -> dict[str, object]:
            return box_faces((0, 0, 0), (1, 1, 1))

        return Station(name, carrier, "placed", np.zeros(3), {}, {}, features, line)

    with pytest.raises(SurveyError) as refused:
        Network([station("a", "b", 3), station("b", "a", 7), station("c", "", 9)], [])
    assert set(refused.value.lines) == {3, 7}


# -- how a tape is held ----------------------------------------------------------------------


def test_a_tape_at_a_clock_position_is_square_to_the_face_whichever_is_named_first() -> None:
    """Said of the fan or said of the core, it is one reading: blade tip to core, square to it."""
    fan = "  diameter: 400 ± 0.01\n  ahead: 30 ± 0.01\n"
    core = "  core: {width: 500, height: 400 ± 0.01, thickness: 50 ± 0.01}\n"
    leaning = (
        "8 deg leaning back ± 0.01 deg",
        "core.front 40 aft of core support.face",
        "core.bottom 40 above core support.opening.bottom",
        *SQUARE[1:],
    )
    of_fan = laid_out(
        PUMP,
        placed("radiator", core, *leaning),
        placed("fan", fan, "blade.front at 12 o'clock 70 aft of radiator.core.rear"),
    )
    of_core = laid_out(
        PUMP,
        placed("radiator", core, *leaning, "core.rear 70 ahead of fan.blade.front at 12 o'clock"),
        placed("fan", fan),
    )
    for layout in (of_fan, of_core):
        tip = layout.parts["fan"].touch_point("blade.front", "12 o'clock")[0]
        rear, square, _ = layout.parts["radiator"].touch_point("core.rear")
        assert (tip - rear) @ square == pytest.approx(70.0, abs=1e-3)


def test_a_flank_is_touched_and_not_the_axis_behind_it() -> None:
    drier = placed(
        "drier",
        "  diameter: 60 ± 0.01\n  height: 200\n",
        "body 40 ahead of core support.face",
        "body 150 left of centreline",
        "bottom 100 above core support.opening.bottom",
        *SQUARE,
    )
    where = laid_out(drier).parts["drier"].pose[:3, 3]
    np.testing.assert_allclose(where, [-70.0, -180.0, 100.0], atol=1e-6)


def test_pipes_that_cross_are_read_along_their_common_perpendicular() -> None:
    def pipe(name: str, lies: str, *sentences: str) -> str:
        head = f"  is: cylinder\n  axis: {lies}\n  diameter: 40 ± 0.01\n  length: 500\n"
        return placed(name, head, *SQUARE, *sentences)

    layout = laid_out(
        pipe(
            "upright",
            "up",
            "axis 100 aft of core support.face",
            "axis 0 right of centreline",
            "bottom 0 above core support.opening.bottom",
        ),
        pipe(
            "crosswise",
            "across",
            "flank nearest to upright.flank 30",
            "axis aft of upright.axis",
            "axis 400 above core support.opening.bottom",
            "left 200 left of centreline",
        ),
    )
    # 100 + 20 + 30 + 20
    np.testing.assert_allclose(
        layout.parts["crosswise"].pose[:3, 3], [170.0, 50.0, 400.0], atol=1e-3
    )


# -- carriers and the datum ------------------------------------------------------------------


def test_what_is_carried_moves_with_its_carrier_and_what_is_read_from_the_body_does_not() -> None:
    layout = laid_out(PUMP, compressor(*ONE_EDGE, "axis right of water pump.axis"))
    sources = layout.survey.sources
    (front,) = (k for k, one in enumerate(sources) if one.text.startswith("front 300 aft"))
    (hub,) = (k for k, one in enumerate(sources) if one.text.startswith("axis 300 above"))
    for name in ("engine", "water pump", "compressor"):
        gain = layout.parts[name].placements[0].shift_gain
        assert gain[0, front] == pytest.approx(1.0, abs=1e-6), name
    assert layout.parts["engine"].placements[0].shift_gain[2, hub] == pytest.approx(0.0, abs=1e-6)
    assert layout.parts["compressor"].placements[0].shift_gain[2, hub] == pytest.approx(
        1.0, abs=1e-6
    )


def test_another_datum_changes_the_numbers_and_not_the_nose() -> None:
    """Only "above" and "in from" follow the datum's own axes, here half a degree apart."""
    radiator = placed(
        "radiator",
        "  core: {width: 500 ± 0.1, height: 400 ± 0.1, thickness: 50 ± 0.1}\n",
        "core.front at top left 45 ± 0.1 mm aft of core support.face",
        "core.front at top right 47 ± 0.1 mm aft of core support.face",
        "core.front at bottom 42 ± 0.1 mm aft of core support.face",
        "core.bottom at left 20 ± 0.1 mm above core support.opening.bottom at left",
        "core.bottom at right 20 ± 0.1 mm above core support.opening.bottom at right",
        "core.left 93 ± 0.1 mm in from core support.opening.left",
    )
    usual = laid_out(radiator)
    head = FRAME.replace("units: mm\n", "units: mm\ndatum: radiator\n")
    other = arrange(read_text(head + radiator, KINDS))
    np.testing.assert_array_equal(usual.parts["core support"].pose, np.eye(4))
    np.testing.assert_array_equal(other.parts["radiator"].pose, np.eye(4))
    assert other.parts["core support"].known
    apart = np.linalg.inv(other.parts["core support"].pose)  # radiator, seen from the support
    np.testing.assert_allclose(apart[:3, :3], usual.parts["radiator"].pose[:3, :3], atol=1e-4)
    np.testing.assert_allclose(apart[0, 3], usual.parts["radiator"].pose[0, 3], atol=1e-2)
    np.testing.assert_allclose(apart[:3, 3], usual.parts["radiator"].pose[:3, 3], atol=3.0)
