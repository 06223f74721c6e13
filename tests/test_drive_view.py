"""The picture of the belts: true to the readings, readable, and honest about what is not known."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from drive_nose import DRIVE
from noseroom.checks.belts import check_belts
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.reader import read, read_text
from noseroom.findings import Finding, Verdict
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from noseroom.report.drawing_svg import SVG_NAMESPACE, text_boxes_of
from noseroom.report.drawing_text import Box
from noseroom.report.drive_svg import drive_svg
from noseroom.report.drive_view import DriveView, drive_view
from noseroom.tables.clearances import clearance_rules

DEMOS = Path(__file__).parents[1] / "vehicle_envelopes"
NS = f"{{{SVG_NAMESPACE}}}"
PX_PER_MM = 96 / 25.4
MANY = DRIVE + "".join(
    f"""\
crank pulley {k}:
  is: crank pulley
  diameter: 150
  place:
    - front {60 + 20 * k} ahead of crank pulley.front
idler {k}:
  is: idler pulley
  diameter: 70
  carried by: engine
  place:
    - front {60 + 20 * k} ahead of crank pulley.front
    - axis {120 + 5 * k} right of water pump.axis
    - axis {20 * k} above water pump.axis
belt number {k}:
  is: belt
  over: [crank pulley {k}, idler {k}]
"""
    for k in range(1, 5)
)


@cache
def nose(which: str) -> Layout:
    rules = clearance_rules()
    if which in ("drive", "many"):
        text = "format: 1\ntitle: a drive\n" + (DRIVE if which == "drive" else MANY)
        return arrange(read_text(text, KINDS, rule_keys=rules))
    return arrange(read(DEMOS / f"{which}.yaml", KINDS, rule_keys=rules))


def findings(layout: Layout) -> tuple[Finding, ...]:
    return check_belts(Pairs(layout), Rules(layout.envelope))


@cache
def seen(which: str) -> DriveView:
    found = drive_view(nose(which), (*findings(nose(which)), *stand(which)))
    assert found is not None
    return found


def stand(which: str) -> tuple[Finding, ...]:
    """A map as the check of a compressor's places writes it, by hand."""
    if which != "small_estate":
        return ()
    return (
        Finding(
            id="stand: compressor",
            question="where may it stand",
            parts=("compressor",),
            verdict=Verdict.FITS,
            note="",
            details={
                "step_mm": 2.0,
                "window_mm": [[-40.0, 20.0], [-10.0, 30.0]],
                "rows_mm": [[0.0, -40.0, 20.0], [2.0, -10.0, 20.0]],
                "best_mm": [[4.0, 2.0]],
            },
        ),
    )


def sheet(which: str) -> str:
    return drive_svg(seen(which))


CASES = ("drive", "many", "farm_pickup", "small_estate", "long_six_roadster")


@pytest.mark.parametrize("which", CASES)
def test_no_two_texts_meet_and_none_leaves_the_sheet(which: str) -> None:
    text = sheet(which)
    root = ET.fromstring(text)
    _, _, wide, high = (float(one) for one in root.get("viewBox", "").split())
    boxes = [(said, Box(*box)) for said, *box in text_boxes_of(text)]
    assert len(boxes) > 8
    for k, (said, box) in enumerate(boxes):
        assert box.inside(Box(3.0, 3.0, wide - 3.0, high - 3.0)), said
        for other, there in boxes[:k]:
            assert not box.overlaps(there), (said, other)


@pytest.mark.parametrize("which", CASES)
def test_no_text_is_smaller_than_twelve_pixels(which: str) -> None:
    sizes = [
        float(one.get("font-size", "0")) for one in ET.fromstring(sheet(which)).iter(f"{NS}text")
    ]
    assert min(sizes) * PX_PER_MM >= 12.0


def test_wraps_and_spans_are_those_of_an_open_belt() -> None:
    """θ = π ± 2 asin((R - r)/C), span √(C² - (R - r)²): open belt (textbooks; from memory)."""
    belt = next(one for one in seen("farm_pickup").belts if len(one.wheels) == 2)
    crank, other = belt.wheels
    between = math.dist(crank.middle, other.middle)
    step = crank.radius_mm - other.radius_mm
    lean = math.degrees(2 * math.asin(step / between))
    assert crank.wrap_deg == pytest.approx(180.0 + lean, abs=0.01)
    assert other.wrap_deg == pytest.approx(180.0 - lean, abs=0.01)
    for start, end, _, long in belt.spans:
        assert long == pytest.approx(math.sqrt(between**2 - step**2), abs=1e-6)
        assert math.dist(start, end) == pytest.approx(long, abs=1e-6)


@pytest.mark.parametrize("which", CASES)
def test_belts_close_and_their_wraps_add_up_to_a_full_turn(which: str) -> None:
    for belt in seen(which).belts:
        if any(not one.arc for one in belt.wheels):
            continue
        total = sum((-1 if one.back else 1) * (one.wrap_deg or 0.0) for one in belt.wheels)
        assert total == pytest.approx(360.0, abs=0.1)
        for start, end, (near, far), _ in belt.spans:
            for point, wheel in ((start, belt.wheels[near]), (end, belt.wheels[far])):
                assert math.dist(point, wheel.middle) == pytest.approx(wheel.radius_mm, abs=2.0)
                assert min(math.dist(point, one) for one in wheel.arc) < 1e-6


def test_the_cars_left_is_on_the_right() -> None:
    """The file says that the alternator stands 160 to the left of the pump, and 20 above it."""
    (belt,) = seen("drive").belts
    at = {one.name: one.middle for one in belt.wheels}
    u, v = at["water pump pulley"]
    assert at["alternator"][0] - u == pytest.approx(160.0, abs=1.0)
    assert at["alternator"][1] - v == pytest.approx(20.0, abs=2.0)
    assert at["crank pulley"][1] - v == pytest.approx(-230.0, abs=5.0)  # the crank leans by 4°
    texts = {said: x0 for said, x0, *_ in text_boxes_of(sheet("drive"))}
    assert texts["← CAR'S RIGHT"] < texts["CAR'S LEFT →"]


def test_each_belt_is_listed_with_its_plane() -> None:
    """Planes by the pulleys' own places on the crank, which has the foremost belt in front."""
    belts = seen("farm_pickup").belts
    assert [one.name for one in belts] == ["compressor belt", "fan belt"]
    assert belts[1].ahead_mm == 0.0
    layout = nose("farm_pickup")
    planes = [layout.parts[one].pose[0, 3] for one in ("front crank pulley", "crank pulley")]
    assert belts[0].ahead_mm == pytest.approx(planes[1] - planes[0], abs=2.0)


def test_every_wrap_of_the_findings_stands_on_the_sheet() -> None:
    said = [text for text, *_ in text_boxes_of(sheet("farm_pickup"))]
    for finding in findings(nose("farm_pickup")):
        if finding.id.startswith("reach: "):
            for key, value in finding.details.items():
                if key.startswith("wrap_deg: "):
                    name = key.removeprefix("wrap_deg: ")
                    sure = math.floor(float(str(finding.details[f"sure_wrap_deg: {name}"])))
                    want = f"{name}: {float(str(value)):.0f}°, {sure}° sure"
                    assert any(one.endswith(want) for one in said), want


def test_places_are_drawn_about_where_the_compressor_stands() -> None:
    belt = next(one for one in seen("small_estate").belts if one.places is not None)
    places = belt.places
    assert places is not None
    wheel = next(one for one in belt.wheels if one.name == "compressor")
    u, v = wheel.middle
    # What lies to the car's right is to the left of the picture.
    assert places.window == ((u - 20.0, v - 10.0), (u + 40.0, v + 30.0))
    assert places.rows == ((v, u - 20.0, u + 40.0), (v + 2.0, u - 20.0, u + 10.0))
    assert places.best == ((u - 4.0, v + 2.0),)
    assert 'class="places"' in sheet("small_estate")
    assert 'class="places"' not in sheet("long_six_roadster")


def test_the_picture_shows_no_place_where_the_text_says_that_none_was_found() -> None:
    """Some of the grid is free, and none of it stood up when it was judged by itself."""
    (told,) = stand("small_estate")
    none = replace(told, details=told.details | {"best_mm": []})
    layout = nose("small_estate")
    view = drive_view(layout, (*findings(layout), none))
    assert view is not None
    (places,) = (one.places for one in view.belts if one.places is not None)
    assert places.rows == ()
    assert places.best == ()
    assert "No place for the compressor was found" in drive_svg(view)
    assert "Green" not in drive_svg(view)


def test_a_pulley_that_is_missed_is_said_to_be() -> None:
    text = "format: 1\ntitle: a drive\n" + DRIVE.replace(
        "axis 160 left of water pump.axis", "axis 10 left of water pump.axis"
    ).replace("axis 20 above water pump.axis", "axis 120 below water pump.axis")
    layout = arrange(read_text(text, KINDS, rule_keys=clearance_rules()))
    view = drive_view(layout, findings(layout))
    assert view is not None
    said = [text for text, *_ in text_boxes_of(drive_svg(view))]
    assert any(one.endswith("alternator: missed") for one in said)


def test_a_nose_without_belts_has_no_picture() -> None:
    text = "format: 1\ntitle: a drive\n" + DRIVE.split("fan belt:")[0]
    layout = arrange(read_text(text, KINDS, rule_keys=clearance_rules()))
    assert drive_view(layout, ()) is None


def test_the_same_nose_gives_the_same_picture() -> None:
    again = arrange(read(DEMOS / "farm_pickup.yaml", KINDS, rule_keys=clearance_rules()))
    view = drive_view(again, findings(again))
    assert view is not None
    assert drive_svg(view) == sheet("farm_pickup")


def test_cautions_stand_on_the_sheet() -> None:
    said = " ".join(text for text, *_ in text_boxes_of(sheet("drive")))
    assert "Battery off and engine cold before hands go near belts or fan." in said
