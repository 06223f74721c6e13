"""Room to work: hands, wrenches and belts against figures of handbooks and plain sums."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial import ConvexHull

import noseroom
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.checks.service import check_service
from noseroom.checks.service_rooms import across, drum, swept_handle
from noseroom.envelope.reader import read_text
from noseroom.findings import Finding, Verdict
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from noseroom.report import service_room
from noseroom.tables.clearances import clearance_rules
from noseroom.tables.service import bolt_heads, head_of, needs

# -- rooms ---------------------------------------------------------------------------------------


def outside_mm(points: np.ndarray, corners: np.ndarray) -> float:
    rows = ConvexHull(corners).equations
    return float((points @ rows[:, :3].T + rows[:, 3]).max())


@pytest.mark.parametrize("seed", range(4))
def test_a_swept_handle_holds_the_handle_wherever_it_swings(seed: int) -> None:
    rng = np.random.default_rng(seed)
    along = rng.normal(size=3)
    along /= np.linalg.norm(along)
    centre, middle = rng.uniform(-200, 200, 3), rng.uniform(0, math.tau)
    swing, length, half = math.radians(30.0), 180.0, 7.0
    corners = swept_handle(centre, along, middle, swing, length, half, (-4.0, 9.0))
    first, second = across(along)
    points = []
    for _ in range(600):
        turn = middle + rng.uniform(-0.5, 0.5) * swing
        here = math.cos(turn) * first + math.sin(turn) * second
        aside = np.cross(along, here)
        reach, side = rng.uniform(0, length), rng.uniform(-half, half)
        points.append(centre + reach * here + side * aside + rng.uniform(-4, 9) * along)
    # Its end's middle runs on an arc, and its end's corners at the ends of the swing.
    for share in (-0.5, -0.25, 0.0, 0.25, 0.5):
        turn = middle + share * swing
        points.append(centre + length * (math.cos(turn) * first + math.sin(turn) * second))
    assert outside_mm(np.array(points), corners) <= 1e-9


def test_a_drum_holds_a_cylinder_and_hardly_more() -> None:
    along = np.array([0.0, 0.6, 0.8])
    corners = drum(np.array([1.0, 2.0, 3.0]), along, -5.0, 20.0, 40.0)
    first, second = across(along)
    rim = [
        np.array([1.0, 2.0, 3.0]) + at * along + 40 * (math.cos(t) * first + math.sin(t) * second)
        for at in (-5.0, 20.0)
        for t in np.linspace(0, math.tau, 90)
    ]
    assert outside_mm(np.array(rim), corners) <= 1e-9
    assert ConvexHull(corners).volume < 1.02 * math.pi * 40.0**2 * 25.0


# -- figures -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("thread", "flats_mm", "head_mm"),
    [
        # ISO 4014 and ISO 4017, from memory.
        ("M6", 10, 4.0), ("M8 x 1.25", 13, 5.3), ("m10", 16, 6.4), ("M 12", 18, 7.5),
        # ASME B18.2.1 hex cap screws, in inches, from memory.
        ("1/4-20", 25.4 * 7 / 16, 25.4 * 5 / 32), ("5/16-24", 25.4 / 2, 25.4 * 13 / 64),
        ("3/8-16 UNC", 25.4 * 9 / 16, 25.4 * 15 / 64), ("7/16", 25.4 * 5 / 8, 25.4 * 9 / 32),
        ("1/2-13", 25.4 * 3 / 4, 25.4 * 5 / 16),
    ],
)  # fmt: skip
def test_heads_are_those_of_the_standards(thread: str, flats_mm: float, head_mm: float) -> None:
    head = head_of(thread)
    assert head is not None
    assert head.across_flats_mm == pytest.approx(flats_mm, abs=0.01)
    assert head.head_mm == pytest.approx(head_mm, abs=0.01)


@pytest.mark.parametrize("thread", ["", "unknown", "#10-24", "9/16-12", "M80", "5/160"])
def test_a_thread_that_is_in_no_table_has_no_head(thread: str) -> None:
    assert head_of(thread) is None


def test_a_fittings_nut_goes_by_its_thread() -> None:
    """5/8-18 with 3/4 in, 3/4-16 with 7/8 in, 7/8-14 with 1 1/16 in: trade figures, from memory."""
    for thread, flats in ((5 / 8, 3 / 4), (3 / 4, 7 / 8), (7 / 8, 17 / 16)):
        taken = needs()["fitting nut"].value * thread
        assert taken == pytest.approx(flats, rel=0.04)


def test_every_figure_says_where_it_comes_from() -> None:
    for row in (*needs().values(), *bolt_heads().values()):
        assert any(word in row.source for word in ("from memory", "common practice", "geometry"))


# -- the cap -------------------------------------------------------------------------------------

BODY = """
format: 1
units: mm
sides: as seated
tape: 0.02
core support:
  opening: {width: 1300, height: 880}
  rails:
    upper: {height: 40, depth: 20}
    lower: {height: 40, depth: 20}
radiator:
  flow: down
  core: {width: 500, height: 400, thickness: 50}
  tanks:
    top: {height: 50, depth: 50}
    bottom: {height: 50, depth: 50}
  cap: {diameter: 64, height: 30}
  brackets: {form: none}
  place:
    - core.front 300 aft of core support.face
    - core.bottom 200 above core support.opening.bottom
    - core centred in core support.opening ± 0.02
    - plumb ± 0.002 deg
    - level ± 0.002 deg
    - square across ± 0.002 deg
"""
PLATE = """
{name}:
  is: box
  depth: {depth}
  width: {width}
  height: {height}
  place:
    - {one}
    - {two}
    - {three}
    - plumb ± 0.002 deg
    - level ± 0.002 deg
    - square across ± 0.002 deg
"""


def box(name: str, size: tuple[float, float, float], one: str, two: str, three: str) -> str:
    depth, width, height = size
    return PLATE.format(
        name=name, depth=depth, width=width, height=height, one=one, two=two, three=three
    )


def arranged(text: str) -> Layout:
    return arrange(read_text(text, KINDS, rule_keys=clearance_rules()))


def answers(text: str) -> dict[str, Finding]:
    layout = arranged(text)
    found = check_service(Pairs(layout), Rules(layout.envelope), lambda *_: None)
    return {one.id.removeprefix("service: "): one for one in found}


def lid(height: float) -> str:
    return BODY + box(
        "lid", (300, 300, 20),
        f"bottom {height} above radiator.cap.top",
        "middle 25 aft of radiator.core.front",
        "middle 0 right of centreline",
    )  # fmt: skip


def test_a_hand_and_the_lift_are_asked_above_the_cap() -> None:
    """95 mm for a bare hand (MIL-STD-1472, from memory) and 30 mm to lift the cap off."""
    room = answers(lid(95 + 30 + 1))["radiator cap"]
    assert room.verdict is Verdict.FITS
    none = answers(lid(95 + 30 - 3))["radiator cap"]
    assert none.verdict is Verdict.FOULS
    assert none.parts == ("radiator", "lid")
    assert none.note == "The lid stands where the hand at the radiator's cap goes."
    assert none.remedies == ("take the lid out of the way first, or plan to",)
    assert "MIL-STD-1472" in str(none.details["sources"])


@pytest.mark.parametrize(("gap", "verdict"), [(27.0, Verdict.FITS), (20.0, Verdict.FOULS)])
def test_fingers_are_asked_beside_the_cap(gap: float, verdict: Verdict) -> None:
    """25 mm each side: the object's diameter plus 50 mm (MIL-STD-1472, from memory)."""
    wall = box(
        "wall", (200, 20, 60),
        "bottom 0 above radiator.top tank.top",
        "middle 25 aft of radiator.core.front",
        f"left {32 + gap} right of centreline",
    )  # fmt: skip
    assert answers(BODY + wall)["radiator cap"].verdict is verdict


def test_what_may_be_read_either_way_is_too_close_to_call() -> None:
    one = answers(lid(125).replace("bottom 125 above", "bottom 125 ± 8 above"))["radiator cap"]
    assert one.verdict is Verdict.TOO_CLOSE
    assert one.rests_on


def test_a_lid_of_which_nobody_knows_how_high_it_is_leaves_it_not_known() -> None:
    text = lid(300).replace("    - bottom 300 above radiator.cap.top\n", "")
    assert answers(text)["radiator cap"].verdict is Verdict.NOT_KNOWN


# -- a fitting -----------------------------------------------------------------------------------

DRIER = """
drier:
  diameter: 60
  height: 200
  ports: {diameter: 16, length: 20, spacing: 40}
  clamp: {fitted: no}
  place:
    - axis 300 ahead of core support.face
    - axis 0 right of centreline
    - bottom 400 above core support.opening.bottom
    - plumb ± 0.002 deg
    - level ± 0.002 deg
    - square across ± 0.002 deg
"""


def walls(which: str, gap: float) -> str:
    """Walls round the drier's ports, 300 mm high: f(ront), a(ft), l(eft), r(ight)."""
    made = {
        "f": ("fore", (20, 700, 300), f"rear {300 + gap} ahead of core support.face",
              "middle 0 right of centreline"),
        "a": ("aft", (20, 700, 300), f"front {300 - gap} ahead of core support.face",
              "middle 0 right of centreline"),
        "l": ("port side", (700, 20, 300), "middle 300 ahead of core support.face",
              f"right {gap} left of centreline"),
        "r": ("offside", (700, 20, 300), "middle 300 ahead of core support.face",
              f"left {gap} right of centreline"),
    }  # fmt: skip
    return "".join(
        box(name, size, one, two, "middle 220 above drier.bottom")
        for name, size, one, two in (made[letter] for letter in which)
    )


def test_one_way_for_the_wrench_is_enough() -> None:
    assert answers(BODY + DRIER)["drier inlet port"].verdict is Verdict.FITS
    assert answers(BODY + DRIER + walls("far", 75.0))["drier inlet port"].verdict is Verdict.FITS


def test_a_wrench_in_a_chimney_cannot_be_swung() -> None:
    """It is 12.5 times 19.2 mm long; 60 mm to every wall lets it nowhere."""
    found = answers(BODY + DRIER + walls("falr", 60.0))
    for port in ("drier inlet port", "drier outlet port"):
        assert found[port].verdict is Verdict.FOULS
        assert "wrench" in found[port].note
        assert found[port].remedies[0].startswith("take the ")


def test_the_other_port_counts() -> None:
    """Ports 26 mm apart: half a wrench's head is 21 mm, the other nut's half 11 mm."""
    near = DRIER.replace("spacing: 40", "spacing: 26")
    one = answers(BODY + near)["drier inlet port"]
    assert one.verdict is not Verdict.FITS
    assert "other port" in one.note
    assert "tighten the fitting before" in one.remedies[0]


# -- the fan -------------------------------------------------------------------------------------

FAN = """
engine:
  tilt: 0 ± 0.002 deg nose up
  place:
    - front {front} aft of radiator.core.rear
    - axis 100 above radiator.core.bottom
    - axis 0 right of centreline
    - level ± 0.002 deg
    - square across ± 0.002 deg
water pump:
  hub: {{diameter: 70, thickness: 8}}
  snout: {{diameter: 50, length: 60}}
  bolts: {{count: 4, circle: 50 ± 0.02, thread: M8}}
  place:
    - hub.face 100 ahead of engine.front
    - axis 100 above engine.axis
    - axis 0 right of centreline
    - parallel to engine ± 0.002 deg
water pump pulley:
  diameter: 120
  place:
    - front 0 ahead of water pump.hub.face
crank pulley:
  diameter: 120
  place:
    - belt flush with water pump pulley.belt ± 0.02
fan belt:
  over: [crank pulley, water pump pulley]
  height: 9 ± 0.02
fan:
  diameter: 360
  width: 50
  ahead: 40
  spider: {{diameter: 120, thickness: 8}}
  place:
    - mount 0 ahead of water pump.hub.face
"""


def with_fan(gap: float, more: str = "") -> dict[str, Finding]:
    """A fan whose blades stand so far behind the core."""
    return answers(BODY + FAN.format(front=100 + 40 + gap) + more)


@pytest.mark.parametrize(("gap", "verdict"), [(54.0, Verdict.FITS), (40.0, Verdict.FOULS)])
def test_a_hand_with_a_wrench_goes_ahead_of_the_blades(gap: float, verdict: Verdict) -> None:
    """25 mm each side of the handle: MIL-STD-1472, from memory."""
    one = with_fan(gap)["fan bolts"]
    assert one.verdict is verdict
    if verdict is Verdict.FOULS:
        assert "radiator" in one.note


@pytest.mark.parametrize(("gap", "verdict"), [(14.0, Verdict.FITS), (9.0, Verdict.FOULS)])
def test_a_belt_needs_its_thickness_and_a_little_ahead_of_the_blades(
    gap: float, verdict: Verdict
) -> None:
    """9 mm and 3 mm."""
    one = with_fan(gap)["fan belt"]
    assert one.verdict is verdict
    if verdict is Verdict.FOULS:
        assert "radiator" in one.note
        assert "ahead of the blades" in one.note


SHROUD = """
shroud:
  form: ring
  opening: {{diameter: {diameter}}}
  thickness: 2 ± 0.02
  ring: {{depth: 60 ± 0.02}}
  place:
    - front 60 ± 0.02 aft of radiator.core.rear
    - opening.axis {off} ± 0.02 above water pump.axis
    - opening.axis 0 ± 0.02 right of water pump.axis
    - parallel to engine ± 0.002 deg
"""


@pytest.mark.parametrize(
    ("diameter", "off", "verdict"),
    [
        (360 + 2 * 14.0, 0, Verdict.FITS),
        (360 + 2 * 8.0, 0, Verdict.FOULS),
        # Off its middle by 6 mm, a gap of 8 mm is one of 14 mm on one side: one place will do.
        (360 + 2 * 8.0, 6, Verdict.FITS),
    ],
)
def test_a_belt_is_worked_past_the_tips_where_there_is_most_room(
    diameter: float, off: float, verdict: Verdict
) -> None:
    one = with_fan(80.0, SHROUD.format(diameter=diameter, off=off))["fan belt"]
    assert one.verdict is verdict, one.note
    if verdict is Verdict.FOULS:
        assert "past their tips" in one.note
        assert "shroud" in one.remedies[0]


# -- what it is to the whole ---------------------------------------------------------------------


def test_no_room_to_work_does_not_make_the_nose_foul(tmp_path: Path) -> None:
    file = tmp_path / "lid.yaml"
    file.write_text(lid(60), encoding="utf-8")
    result = noseroom.check(file)
    assert {one.verdict for one in result.service} == {Verdict.FOULS}
    assert result.exit_status == 0
    assert not any(one.is_service for one in result.findings)
    said = str(result)
    assert service_room.TITLE in said
    assert service_room.APART in said
    assert "no room" in said
    assert "fouls" not in said
    again = type(result).from_json(result.to_json())
    assert again.service[0].note == result.service[0].note


def test_rows_put_what_is_open_first_and_all_that_is_well_together(tmp_path: Path) -> None:
    file = tmp_path / "well.yaml"
    file.write_text(lid(60) + DRIER, encoding="utf-8")
    result = noseroom.check(file)
    rows = service_room.rows(result)
    assert [one.verdict for one in rows] == [Verdict.FOULS, Verdict.FITS]
    assert "drier inlet port and a wrench on the drier outlet port" in rows[1].text
