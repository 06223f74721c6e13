"""How fast a belt turns what it drives, and whether it holds at full load: by hand."""

from __future__ import annotations

import math

import pytest

import drive_layouts
from drive_layouts import drive_of, found_of, layout_of
from noseroom.checks.belts import check_belts
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Verdict
from noseroom.layout import Layout
from noseroom.tables.belts import belt_figures

SPEED, SLIP = "speed: compressor", "slip: drive belt"
PAIR = "crank pulley, compressor"


# -- speeds ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("limit", "verdict"),
    [(5900, Verdict.FITS), (5807, Verdict.TOO_CLOSE), (5700, Verdict.FOULS)],
)
def test_an_accessory_turns_by_pitch_diameters(limit: int, verdict: Verdict) -> None:
    """ISO 9981:1998, 5.4: b_e 2 mm: (140 + 4) / (120 + 4) of 5000 rpm is 5806.5."""
    one = found_of(
        layout_of(
            section="ribbed", driven=f"  highest speed: {limit}\n", engine="  red line: 5000\n"
        ),
        SPEED,
    )
    assert one.details["ratio"] == pytest.approx(144 / 124, abs=2e-4)
    assert one.details["rpm_at_red_line"] == pytest.approx(5806.5, abs=1.0)
    assert one.verdict is verdict


@pytest.mark.parametrize(
    ("limit", "red", "verdict"),
    [
        ("6100 ± 200", "5000", Verdict.FITS),
        ("5900 ± 200", "5000", Verdict.TOO_CLOSE),
        ("5700 ± 200", "5000", Verdict.TOO_CLOSE),
        ("5500 ± 200", "5000", Verdict.FOULS),
        ("6300", "5000 ± 400", Verdict.FITS),
        ("6200", "5000 ± 400", Verdict.TOO_CLOSE),
        ("5400", "5000 ± 400", Verdict.TOO_CLOSE),
        ("5300", "5000 ± 400", Verdict.FOULS),
        ("100 ± 200", "5000", Verdict.FOULS),
    ],
)
def test_what_figures_may_be_off_counts(limit: str, red: str, verdict: Verdict) -> None:
    """144 / 124 of 5000 rpm is 5806.5, of 4600 rpm 5341.9, of 5400 rpm 6271.0."""
    given = {"section": "ribbed", "engine": f"  red line: {red}\n"}
    one = found_of(layout_of(driven=f"  highest speed: {limit}\n", **given), SPEED)
    assert one.verdict is verdict
    assert bool(one.remedies) is (verdict is not Verdict.FITS)


@pytest.mark.parametrize(("kind", "times"), [("v", 1), ("ribbed", 0)])
def test_a_pitch_line_from_memory_is_said_to_be_so(kind: str, times: int) -> None:
    given = {"driven": "  highest speed: 9000\n", "engine": "  red line: 5000\n"}
    assert found_of(layout_of(section=kind, **given), SPEED).note.count("from memory") == times


def test_the_pulley_that_is_offered_turns_it_slowly_enough() -> None:
    given = {"section": "ribbed", "engine": "  red line: 5000\n"}
    driven = "  highest speed: 5000\n"
    larger, smaller = found_of(layout_of(driven=driven, **given), SPEED).remedies
    assert "on the compressor" in larger
    crank = float(smaller.split("at most ")[1].split(" mm")[0])
    assert found_of(layout_of(driven=driven, crank=crank, **given), SPEED).verdict is Verdict.FITS


def test_without_a_red_line_the_speed_is_not_known() -> None:
    one = found_of(layout_of(driven="  highest speed: 5000\n"), SPEED)
    assert one.verdict is Verdict.NOT_KNOWN
    assert "red line" in one.remedies[0]


def test_nothing_is_asked_of_what_has_no_limit() -> None:
    layout = layout_of(engine="  red line: 5000\n")
    assert not [
        one for one in check_belts(Pairs(layout), Rules(layout.envelope)) if "speed" in one.id
    ]


SECOND = """\
rear water pump pulley:
  diameter: 100
  section: ribbed
  place:
    - belt 40 aft of water pump pulley.belt
alternator:
  highest speed: {most}
  pulley: {{diameter: 60}}
  place:
    - belt flush with rear water pump pulley.belt
    - axis 160 left of water pump.axis
    - axis 20 above water pump.axis
    - parallel to engine ± 0.01 deg
second belt:
  is: belt
  section: ribbed
  over: [rear water pump pulley, alternator]
"""


def test_a_second_belt_goes_on_from_the_shaft_that_the_first_one_turns() -> None:
    """140 on 120, then 100 on 60, each with 4 mm more (ISO 9981:1998, 5.4)."""
    layout = layout_of(
        section="ribbed", engine="  red line: 5000\n", parts=SECOND.format(most=20000)
    )
    one = found_of(layout, "speed: alternator")
    assert one.details["ratio"] == pytest.approx(144 / 124 * 104 / 64, abs=1e-3)
    assert one.verdict is Verdict.FITS


# -- slip -----------------------------------------------------------------------------------------


def pair_of(torque: float | str, tension: float | str | None, **more: str) -> Layout:
    """Two ribbed pulleys of 120 mm; the belt lies on half of each."""
    return layout_of(
        over=PAIR,
        crank=120,
        section="ribbed",
        driven=f"  torque: {torque}\n",
        belt="" if tension is None else f"  tension: {tension}\n",
        **more,
    )


def by_hand(torque_nm: float, tension_n: float, friction: float) -> float:
    """Euler, with T1 + T2 = 2 T0; the pull at the pitch radius of 62 mm."""
    ratio = math.exp(friction / math.sin(math.radians(20.0)) * math.pi)
    return 2 * tension_n * (ratio - 1) / (ratio + 1) / (torque_nm / 0.062)


@pytest.mark.parametrize(
    ("tension", "verdict"), [(400, Verdict.FITS), (280, Verdict.TOO_CLOSE), (150, Verdict.FOULS)]
)
def test_the_reserve_of_two_even_pulleys_is_eulers(tension: float, verdict: Verdict) -> None:
    one = found_of(pair_of(25, tension), SLIP)
    low, high = (belt_figures()[f"friction {end}"].figure for end in ("low", "high"))
    assert one.details["reserve"] == pytest.approx(by_hand(25, tension, low), rel=0.01)
    assert one.details["reserve_at_best"] == pytest.approx(by_hand(25, tension, high), rel=0.01)
    assert one.verdict is verdict
    if verdict is not Verdict.FITS:
        assert one.remedies[0].startswith("set the drive belt to at least")


def test_the_tension_that_is_asked_for_is_enough() -> None:
    one = found_of(pair_of(25, None), SLIP)
    assert one.verdict is Verdict.NOT_KNOWN
    needed = one.details["tension_needed_n"]
    assert isinstance(needed, float)
    assert found_of(pair_of(25, needed + 1), SLIP).verdict is Verdict.FITS
    assert found_of(pair_of(25, needed - 2), SLIP).verdict is Verdict.TOO_CLOSE
    assert "allow" in one.remedies[0]


@pytest.mark.parametrize(
    ("torque", "tension", "verdict"),
    [
        ("25", "400 ± 50", Verdict.FITS),
        ("25", "400 ± 100", Verdict.TOO_CLOSE),
        ("25", "150 ± 50", Verdict.FOULS),
        ("25", "200 ± 100", Verdict.TOO_CLOSE),
        ("25 ± 2", "400", Verdict.FITS),
        ("25 ± 20", "400", Verdict.TOO_CLOSE),
        ("25 ± 20", "150", Verdict.TOO_CLOSE),
    ],
)
def test_a_load_and_a_tension_count_at_their_worst_end(
    torque: str, tension: str, verdict: Verdict
) -> None:
    one = found_of(pair_of(torque, tension), SLIP)
    (load, more), (pull, loose) = (
        (float(each.split(" ± ")[0]), float(f"{each} ± 0".split(" ± ")[1]))
        for each in (torque, tension)
    )
    low, high = (belt_figures()[f"friction {end}"].figure for end in ("low", "high"))
    worst = by_hand(load + more, pull - loose, low)
    assert one.details["reserve"] == pytest.approx(worst, rel=0.01)
    best = by_hand(load - more, pull + loose, high)
    assert one.details["reserve_at_best"] == pytest.approx(best, rel=0.01)
    assert one.verdict is verdict
    assert one.note.count("from memory") == 1


def test_a_load_that_may_be_nothing_has_no_best_end() -> None:
    one = found_of(pair_of("20 ± 20", "1000"), SLIP)
    assert one.verdict is Verdict.FITS
    assert "bears at least" in one.note
    assert "reserve_at_best" not in one.details


@pytest.mark.parametrize("tension", [None, 2000])
def test_a_tension_that_no_belt_bears_is_not_asked_for(tension: float | None) -> None:
    """200 N·m at 62 mm pull with 3226 N: Euler asks for over 2500 N at rest for 1.3 of that."""
    assert 1.3 / by_hand(200, 1.0, belt_figures()["friction low"].figure) > 2500
    one = found_of(pair_of(200, tension), SLIP)
    assert one.verdict is (Verdict.NOT_KNOWN if tension is None else Verdict.TOO_CLOSE)
    assert "tension_needed_n" not in one.details
    (remedy,) = one.remedies
    assert "lie on more of the" in remedy


@pytest.mark.parametrize("tension", ["", "  tension: 300\n"])
def test_a_pulley_that_the_readings_may_take_off_the_belt_asks_for_more_wrap(
    tension: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A compressor that the belt hardly touches has no surely wrapped angle, and holds nothing."""
    small = drive_layouts.COMPRESSOR.replace("nose: {{diameter: 120", "nose: {{diameter: 90")
    monkeypatch.setattr(drive_layouts, "COMPRESSOR", small)
    layout = layout_of(
        pump=80, crank=100, up="-92", out="4 ± 6", section="ribbed",
        driven="  torque: 20\n", belt=tension,
    )  # fmt: skip
    one = found_of(layout, SLIP)
    assert one.verdict is (Verdict.FOULS if tension else Verdict.NOT_KNOWN)
    assert one.details["weakest"] == "compressor"
    assert "lie on more of the compressor" in one.remedies[0]
    assert not any("N (" in remedy for remedy in one.remedies)


def test_a_pulley_that_the_belt_lies_on_twice_leaves_slip_open() -> None:
    """How two places on one pulley share its pull follows from creep, which nobody has read."""
    layout = layout_of(
        pump=220, crank=100, up="220", out="0",
        driven="  torque: 20\n", belt="  tension: 300\n",
    )  # fmt: skip
    one = found_of(layout, SLIP)
    assert one.verdict is Verdict.NOT_KNOWN
    assert "the water pump pulley in two places" in one.note
    assert one.remedies


def test_what_nobody_has_said_of_a_load_leaves_it_open() -> None:
    layout = layout_of(section="ribbed", driven="  torque: 15\n", belt="  tension: 600\n")
    one = found_of(layout, SLIP)
    assert one.verdict is Verdict.TOO_CLOSE
    assert "water pump pulley" in one.note
    assert any("torque" in remedy for remedy in one.remedies)


def test_without_any_torque_slip_is_not_asked() -> None:
    layout = layout_of(belt="  tension: 300\n")
    assert SLIP not in [one.id for one in check_belts(Pairs(layout), Rules(layout.envelope))]


SPRUNG = """\
idler pulley:
  diameter: 60
  section: ribbed
  place:
    - belt flush with water pump pulley.belt
    - axis {out} {side} of water pump.axis
    - axis 120 below water pump.axis
    - parallel to engine ± 0.01 deg
"""


@pytest.mark.parametrize("turns", ["clockwise", "anticlockwise"])
def test_a_tensioner_on_the_slack_side_holds_more_than_on_the_tight_one(turns: str) -> None:
    """The crank turns clockwise as seen from the front: the belt leaves it toward the car's right.

    On the slack side the pull may be T0 (e - 1), on the tight side T0 (1 - 1/e) (Euler).
    """
    reserves = {}
    for side, order in (
        ("right", "crank pulley, idler pulley, compressor"),
        ("left", "crank pulley, compressor, idler pulley"),
    ):
        layout = layout_of(
            over=order,
            up="0",
            out="0.001",
            crank=120,
            section="ribbed",
            driven="  torque: 25\n",
            belt="  tension: 300\n  adjuster: {moves: idler pulley, by: spring, out: 5}\n",
            parts=SPRUNG.format(out=60, side=side),
        )
        if turns == "anticlockwise":
            layout.parts["crank pulley"].entry.choices["turns"] = turns  # type: ignore[index]
        one = found_of(layout, SLIP)
        wraps = dict(
            zip(
                [each.part.name for each in drive_of(layout).circles],
                drive_of(layout).wraps_deg(),
                strict=True,
            )
        )
        felt = belt_figures()["friction low"].figure / math.sin(math.radians(20.0))
        ratios = [math.exp(felt * math.radians(wraps[k])) for k in ("crank pulley", "compressor")]
        slack = (side == "right") is (turns == "clockwise")
        pull = min(300 * (e - 1 if slack else 1 - 1 / e) for e in ratios)
        assert one.details["reserve"] == pytest.approx(pull / (25 / 0.062), rel=0.02)
        reserves[slack] = one.details["reserve"]
    assert reserves[True] > reserves[False]
