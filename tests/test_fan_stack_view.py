"""The picture of a fan stack: to scale, its window and stock in place, every text readable."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from shapely import LineString

from noseroom.envelope.reader import read, read_text
from noseroom.findings import Finding, Verdict
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from noseroom.pipeline import Session
from noseroom.report.drawing_svg import text_boxes_of
from noseroom.report.drawing_text import Box
from noseroom.report.fan_stack import FanStack, fan_stacks
from noseroom.report.fan_stack_svg import FRAME, fan_stack_svg
from noseroom.units import read_length
from noseroom.workshop.nose_files import stack_sheets

DEMOS = Path(__file__).parents[1] / "vehicle_envelopes"
SVG = "{http://www.w3.org/2000/svg}"
PX_MM = 25.4 / 96
SMALLEST_PX = 12


@cache
def pickup() -> Layout:
    return arrange(read(DEMOS / "farm_pickup.yaml", KINDS))


@cache
def van() -> Layout:
    session = Session(DEMOS / "light_van.yaml")  # it has a scan to be read
    return session.nose(session.read(), lambda *_: None).layout


def gap(*windows: tuple[float, float], verdict: Verdict = Verdict.FOULS, **more: Any) -> Finding:
    """A finding on the fan's gap with these windows, as the check makes it."""
    return Finding(
        id="fan gap: fan",
        question="does the fan need a spacer",
        parts=("fan",),
        verdict=verdict,
        note="The fan does not keep its room to compressor and alternator where it stands.",
        details={"spacer_mm": [list(one) for one in windows], **more},
    )


CASES = {
    "one window": gap((49.2, 57.9), spacer_from_1="the compressor", spacer_to_1="the radiator"),
    "two windows": gap((12.0, 20.0), (49.2, 90.0), spacer_from_2="the water pump pulley at speed"),
    "narrow": gap((50.7, 50.9)),
    "five windows": gap((5.0, 9.0), (20.0, 24.0), (40.0, 44.0), (60.0, 64.0), (80.0, 100.0)),
    "long names": gap(
        (49.2, 57.9),
        spacer_from_1="the second crank pulley of the old generator's belt when the engine moves",
        spacer_to_1="the radiator core's lower tank with its drain at speed",
    ),
    "none": gap(),
    "no spacer needed": gap((0.0, 2.2), verdict=Verdict.FITS),
    "not known": gap(verdict=Verdict.NOT_KNOWN),
}
LAYOUTS = {"inches": pickup, "millimetres": van}


def stack_of(layout: Layout, finding: Finding, *more: Finding) -> FanStack:
    (stack,) = fan_stacks(layout, (finding, *more))
    return stack


def groups(sheet: str, name: str) -> list[ET.Element]:
    return [one for one in ET.fromstring(sheet).iter(f"{SVG}g") if one.get("class") == name]


def said(sheet: str) -> str:
    return " ".join(ET.fromstring(sheet).itertext())


@pytest.mark.parametrize("where", LAYOUTS)
@pytest.mark.parametrize("case", CASES)
def test_no_two_texts_meet_and_none_leaves_the_frame(case: str, where: str) -> None:
    sheet = fan_stack_svg(stack_of(LAYOUTS[where](), CASES[case]))
    boxes = [(text, Box(*box)) for text, *box in text_boxes_of(sheet)]
    assert len(boxes) > 15
    for text, box in boxes:
        assert box.inside(FRAME), text
    for (one, a), (other, b) in combinations(boxes, 2):
        # Boxes are upper bounds with room for accents; lines of one text stand in one another's.
        slim = Box(a.x0, a.y0 + 0.6, a.x1, a.y1 - 0.3)
        assert not slim.overlaps(Box(b.x0, b.y0 + 0.6, b.x1, b.y1 - 0.3)), f"{one!r}, {other!r}"


@pytest.mark.parametrize("case", CASES)
def test_no_text_is_smaller_than_twelve_pixels(case: str) -> None:
    root = ET.fromstring(fan_stack_svg(stack_of(pickup(), CASES[case])))
    sizes = {float(one.get("font-size", "0")) for one in root.iter(f"{SVG}text")}
    assert min(sizes) / PX_MM >= SMALLEST_PX


def test_the_picture_is_true_to_the_readings() -> None:
    """Held against what the file says.

    The fan is 17 in across and 2 1/4 in wide; its blades' front edge is 4 1/4 in behind the core at
    12 o'clock, 3 7/8 in at 3 and 9, and 3 1/2 in at 6, level along the car. Between, the core is
    straight; the axis is tilted by some 3 degrees, which makes a level gap longer by 0.2 %.
    """
    stack = stack_of(pickup(), CASES["one window"])
    (front, high), (rear, _) = stack.tips
    assert rear - front == pytest.approx(2.25 * 25.4, abs=0.1)
    assert 2 * high == pytest.approx(17 * 25.4, abs=0.2)
    core = next(one for one in stack.outlines if one.label == "radiator").polygon
    for share, inches in ((0.0, 3.875), (0.6, 4.1), (-0.6, 3.65)):
        level = LineString([(front - 400.0, share * high), (front, share * high)])
        gap_mm = front - core.intersection(level).bounds[2]
        assert gap_mm == pytest.approx(inches * 25.4, abs=1.0)


def test_the_window_stands_where_the_mounting_face_may_stand() -> None:
    stack = stack_of(pickup(), CASES["one window"])
    band = next(one for one in stack.outlines if one.label == "where its mounting face may stand")
    u0, _, u1, _ = band.polygon.bounds
    assert (u0, u1) == pytest.approx((-57.9, -49.2))


def rule_of(sheet: str) -> tuple[float, float]:
    """Where 0 in and 1 in are on the rule, sheet mm."""
    found = {
        (one.text or ""): float(one.get("x", "0"))
        for group in groups(sheet, "ticks")
        for one in group.iter(f"{SVG}text")
    }
    return found["0"], found["1"]


def test_stock_spacers_are_filled_inside_the_window_and_hollow_outside() -> None:
    """The list of stock: steps of 1/4 in from 1/2 in to 3 in (common practice)."""
    sheet = fan_stack_svg(stack_of(pickup(), CASES["one window"]))
    zero, one_inch = rule_of(sheet)
    marks = groups(sheet, "stock")
    assert len(marks) == 11
    for number, mark in enumerate(marks, start=2):
        (path,) = mark.findall(f"{SVG}path")
        x = float(path.get("d", "M0").split()[0].removeprefix("M"))
        assert x == pytest.approx(zero + number / 4 * (one_inch - zero), abs=0.01)
        inside = 49.2 <= number / 4 * 25.4 <= 57.9
        assert (path.get("fill") != "#ffffff") is inside
        assert ("does not keep" not in mark.findtext(f"{SVG}title", "")) is inside


def test_the_band_on_the_rule_ends_where_the_window_does() -> None:
    sheet = fan_stack_svg(stack_of(pickup(), CASES["two windows"]))
    zero, one_inch = rule_of(sheet)
    (group,) = groups(sheet, "window")
    found = []
    for path in group.findall(f"{SVG}path"):
        xs = [float(one.split()[0]) for one in path.get("d", "")[1:-2].split(" L")]
        found.append(tuple((x - zero) / (one_inch - zero) * 25.4 for x in (min(xs), max(xs))))
    assert found[0] == pytest.approx((12.0, 20.0), abs=0.02)
    assert found[1] == pytest.approx((49.2, 90.0), abs=0.02)


def test_what_limits_each_end_is_named() -> None:
    sheet = said(fan_stack_svg(stack_of(pickup(), CASES["one window"])))
    assert "At least 1 15/16 in: the compressor." in sheet
    assert "At most 2 1/4 in: the radiator." in sheet
    van_sheet = said(fan_stack_svg(stack_of(van(), CASES["no spacer needed"])))
    assert "No spacer is needed." in van_sheet
    assert "At most 2 mm" in van_sheet


def test_windows_that_have_no_room_are_counted() -> None:
    sheet = ET.fromstring(fan_stack_svg(stack_of(pickup(), CASES["five windows"])))
    seen = [one.text or "" for one in sheet.iter(f"{SVG}text")]
    ends = [one for one in seen if "At least" in one]
    (rest,) = (one for one in seen if one.endswith("more windows: see findings.json"))
    assert len(ends) + int(rest.split()[1]) == 5


def test_a_window_is_never_said_to_be_wider_than_it_is() -> None:
    stack = stack_of(pickup(), gap((49.3, 57.1)))
    sheet = said(fan_stack_svg(stack))
    assert "At least 2 in" in sheet  # 49.3 mm is 1.941 in
    assert "At most 2 3/16 in" in sheet  # 57.1 mm is 2.248 in


def test_what_is_cut_off_ends_in_a_break_line_and_the_condenser_is_whole() -> None:
    stack = stack_of(pickup(), CASES["one window"])
    sheet = fan_stack_svg(stack)
    assert len(groups(sheet, "break")) == len(stack.cuts) > 0
    core = next(one for one in stack.outlines if one.label == "radiator").polygon
    top = core.bounds[3]
    assert any(start[1] == end[1] == pytest.approx(top) for start, end in stack.cuts)
    left = min(one.polygon.bounds[0] for one in stack.outlines)
    assert not any(start[0] == end[0] == pytest.approx(left) for start, end in stack.cuts)


def test_with_a_spacer_on_the_rule_is_of_one_in_its_place() -> None:
    """19.05 and 20.6 on top of 38.1 mm are 2 1/4 and 2.31 in: 57.15 / 25.4 = 2.25, never 3/4."""
    sheet = fan_stack_svg(stack_of(pickup(), gap((19.05, 20.6), spacer_on_mm=38.1)))
    assert "At least 2 1/4 in" in said(sheet)
    assert "3/4 in" not in said(sheet).replace("2 3/4 in", "").replace("1 3/4 in", "")
    marks = [one.findtext(f"{SVG}title", "") for one in groups(sheet, "stock")]
    assert not [one for one in marks if "spacer, 1 in" in one or "spacer, 1/2 in" in one]
    (kept,) = (one for one in marks if "does not keep" not in one)
    assert kept.startswith("stock spacer, 2 1/4 in")


def test_the_spacer_that_is_on_is_said_to_do() -> None:
    fits = gap((0.0, 1.1), verdict=Verdict.FITS, spacer_on_mm=57.15)
    sheet = said(fan_stack_svg(stack_of(pickup(), fits)))
    assert "The 2 1/4 in spacer that is on will do." in sheet
    assert "No spacer is needed" not in sheet


def test_a_narrow_window_is_drawn_with_a_spacer_inside_it() -> None:
    """1 1/4 in is 31.75 mm, 1 3/16 in 30.16 mm: sixteenths would cross over."""
    stack = stack_of(pickup(), gap((30.8, 31.7)))
    thin, thick = stack.ends
    assert 30.8 <= read_length(thin.said, "in").value < read_length(thick.said, "in").value <= 31.7
    (ghost,) = (one for one in stack.outlines if one.kind == "ghost")
    text = ghost.label.removeprefix("fan with a spacer of ").removesuffix(", mid-window")
    assert 30.8 <= read_length(text, "in").value <= 31.7


def test_the_chosen_spacer_is_drawn_and_named() -> None:
    chosen = Finding("spacer: fan", "", ("fan",), Verdict.FITS, "", details={"thickness_mm": 50.8})
    stack = stack_of(pickup(), CASES["one window"], chosen)
    ghost = next(one for one in stack.outlines if one.kind == "ghost")
    today = next(one for one in stack.outlines if one.label == "fan as it is")
    assert ghost.label == "fan with a spacer of 2 in"
    assert ghost.polygon.bounds[0] == pytest.approx(today.polygon.bounds[0] - 50.8, abs=1e-6)


def test_flex_lies_ahead_of_the_blades_by_what_the_file_says() -> None:
    stack = stack_of(van(), CASES["no spacer needed"])
    flex = next(one for one in stack.outlines if one.label.startswith("flex"))
    front = stack.tips[0][0]
    assert flex.polygon.bounds[2] == pytest.approx(front)
    assert flex.polygon.bounds[0] == pytest.approx(front - van().parts["fan"].part.flex_mm)  # type: ignore[attr-defined]


def test_an_empty_window_says_why_in_its_place() -> None:
    sheet = fan_stack_svg(stack_of(pickup(), CASES["none"]))
    assert not groups(sheet, "end")
    assert "does not keep its room to compressor" in said(sheet)


def test_cautions_stand_on_the_sheet() -> None:
    for case in CASES.values():
        sheet = ET.fromstring(fan_stack_svg(stack_of(pickup(), case)))
        seen = " ".join(one.text or "" for one in sheet.iter(f"{SVG}text"))
        assert "Battery off and engine cold" in seen
        assert "Never stack spacers" in seen
        assert "Guaranteed for the model as measured." in seen


def test_a_nose_without_a_fan_has_no_picture() -> None:
    layout = arrange(read_text("radiator:\n  core: {width: 500, height: 400, thickness: 50}\n"
                               "  place:\n    - core.front 0 aft of core support.face\n"
                               "core support:\n  opening: {width: 600, height: 500}\n"
                               "units: mm\nformat: 1\n", KINDS))  # fmt: skip
    assert fan_stacks(layout, ()) == ()
    assert stack_sheets(layout, ()) == {}


def test_the_same_nose_gives_the_same_picture() -> None:
    again = arrange(read(DEMOS / "farm_pickup.yaml", KINDS))
    made = [stack_sheets(one, (CASES["one window"],)) for one in (pickup(), again)]
    assert made[0] == made[1]
    assert list(made[0]) == ["fan-stack"]


def test_a_spacer_that_has_to_be_turned_stands_on_the_rule_too() -> None:
    chosen = Finding(
        "spacer: fan", "", ("fan",), Verdict.FITS, "", details={"thickness_mm": 53.975}
    )
    sheet = fan_stack_svg(stack_of(pickup(), gap((52.0, 56.0)), chosen))
    (mark,) = groups(sheet, "turned")
    assert [one.text for one in mark.iter(f"{SVG}text")] == ["turn: 2 1/8 in"]  # 53.975 / 25.4
    zero, one_inch = rule_of(sheet)
    (path,) = mark.findall(f"{SVG}path")
    x = float(path.get("d", "M0").split()[0].removeprefix("M"))
    assert (x - zero) / (one_inch - zero) == pytest.approx(2.125, abs=1e-3)


def test_the_best_choice_is_named_on_the_rule() -> None:
    chosen = Finding("spacer: fan", "", ("fan",), Verdict.FITS, "", details={"thickness_mm": 50.8})
    sheet = fan_stack_svg(stack_of(pickup(), CASES["one window"], chosen))
    assert "best: 2" in [one.text for one in ET.fromstring(sheet).iter(f"{SVG}text")]
    assert not groups(sheet, "turned")
