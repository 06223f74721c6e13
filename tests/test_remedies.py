"""Remedies: tried against the rest of the nose, and only of what can be moved."""

from __future__ import annotations

import numpy as np
import pytest

from noseroom.checks.bodies import bodies_of
from noseroom.checks.fit import check_fit
from noseroom.checks.moves import _MOVABLE, Moves
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.reader import read_text
from noseroom.findings import Finding, Support, Verdict
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS, PARTS
from noseroom.report import digest
from noseroom.report.result import Result, verdict_of
from noseroom.tables.clearances import clearance_rules

BOXES = """
format: 1
title: boxes
units: mm
tape: 0.05
core support:
  opening: {width: 700, height: 480}
tray:
  is: box
  depth: 300
  width: 300
  height: 80
  carried by: car
  place:
    - rear 1000 aft of core support.face
    - left 300 right of centreline
    - bottom 900 above core support.opening.bottom
    - plumb ± 0.01 deg
    - level ± 0.01 deg
    - square across ± 0.01 deg
drier:
  diameter: 60
  height: 200
  clamp: {fitted: no}
  place:
    - axis 1020 aft of core support.face
    - axis 450 right of centreline
    - bottom 850 above core support.opening.bottom
    - plumb ± 0.01 deg
    - level ± 0.01 deg
    - square across ± 0.01 deg
"""
WALL = """
wall:
  is: box
  depth: 20
  width: 900
  height: 600
  place:
    - front {at} aft of core support.face
    - middle 450 right of centreline
    - middle 950 above core support.opening.bottom
    - plumb ± 0.01 deg
    - level ± 0.01 deg
    - square across ± 0.01 deg
"""


def layout_of(text: str) -> Layout:
    return arrange(read_text(text, KINDS, rule_keys=clearance_rules()))


def found(text: str) -> Finding:
    layout = layout_of(text)
    quiet = lambda done, of, what: None  # noqa: E731
    fit = check_fit(Pairs(layout), bodies_of(layout, quiet), Rules(layout.envelope), quiet)
    (one,) = (one for one in fit.findings if set(one.parts) == {"tray", "drier"})
    assert one.verdict is Verdict.FOULS
    return one


def figure(remedy: str) -> float:
    return float(remedy.split(" mm")[0].split()[-1])


def test_the_easiest_part_is_moved_the_shortest_way_as_far_as_its_rule_asks() -> None:
    """The drier's rear half is 10 + 3 mm short of 3 mm off the tray: 1000 + 30 + 3 - 1020."""
    (remedy,) = found(BOXES).remedies
    assert remedy.startswith("move the drier ")
    assert remedy.endswith(" aft")
    assert figure(remedy) == pytest.approx(13.0, abs=0.5)


def test_a_way_that_something_else_blocks_is_not_offered_where_another_is_free() -> None:
    """The wall leaves 1060 - 1033 - 30 < 3 mm aft; beside the tray the drier is free."""
    (remedy,) = found(BOXES + WALL.format(at=1060)).remedies
    assert not remedy.endswith(" aft")
    assert "in the way" not in remedy


def test_a_remedy_that_only_moves_the_trouble_says_so() -> None:
    layout = layout_of(BOXES + WALL.format(at=1060))
    moves = Moves(Pairs(layout), Rules(layout.envelope))
    drier = layout.parts["drier"]
    assert moves.hampered(drier, np.array([13.0, 0.0, 0.0])) == "the wall is then in the way"
    assert moves.hampered(drier, np.array([0.5, 0.0, 0.0])) == ""


def test_every_move_that_is_offered_frees_the_pair_and_breaks_nothing_else() -> None:
    """The same file with the part where the remedy puts it."""
    (remedy,) = found(BOXES).remedies
    moved = BOXES.replace("axis 1020 aft", f"axis {1020 + figure(remedy)} aft")
    layout = layout_of(moved)
    quiet = lambda done, of, what: None  # noqa: E731
    fit = check_fit(Pairs(layout), bodies_of(layout, quiet), Rules(layout.envelope), quiet)
    assert not [one for one in fit.findings if one.verdict is Verdict.FOULS]


DRIVE = """
format: 1
title: a drive
units: mm
core support:
  opening: {width: 700, height: 480}
radiator:
  core: {width: 560, height: 420, thickness: 50}
  place:
    - core.front at top 30 aft of core support.face
    - core.front at bottom 30 aft of core support.face
    - core.bottom 25 above core support.opening.bottom
engine:
  tilt: 2 deg nose up
  place:
    - front 100 aft of water pump.hub.face
    - axis 230 below water pump.axis
water pump:
  place:
    - hub.face 200 aft of radiator.core.rear
    - axis 190 above radiator.core.bottom
fan:
  diameter: 400
  width: 50
  place:
    - mount flush with water pump.hub.face
water pump pulley:
  diameter: 150
  place:
    - front flush with water pump.hub.face
crank pulley:
  diameter: 170
  place:
    - belt flush with water pump pulley.belt
alternator:
  place:
    - axis 160 left of water pump.axis
    - axis 20 above water pump.axis
    - belt flush with water pump pulley.belt
fan belt:
  over: [crank pulley, water pump pulley, alternator]
upper hose:
  is: hose
  from: radiator.upper neck
"""


@pytest.fixture(scope="module")
def drive() -> Moves:
    layout = layout_of(DRIVE)
    return Moves(Pairs(layout), Rules(layout.envelope))


@pytest.mark.parametrize(
    ("part", "mover"),
    [
        ("alternator", "alternator"),
        ("radiator", "radiator"),
        ("water pump pulley", "engine"),
        ("crank pulley", "engine"),
        ("water pump", "engine"),
        ("fan", "engine"),
        ("fan belt", None),
        ("upper hose", None),
        ("core support", None),
    ],
)
def test_what_does_not_move_by_itself_is_moved_by_what_carries_it(
    drive: Moves, part: str, mover: str | None
) -> None:
    moved = drive.mover(drive.pairs.layout.parts[part])
    assert (None if moved is None else moved.name) == mover


def test_a_hose_on_its_port_moves_with_what_the_port_sits_on(drive: Moves) -> None:
    hose = drive.pairs.layout.parts["upper hose"]
    moved = drive.mover(hose, "end")
    assert moved is not None
    assert moved.name == "radiator"


def test_a_move_in_the_plane_of_a_leaning_belt_is_no_move_out_of_line(drive: Moves) -> None:
    """The engine is 2 degrees nose up: 30 mm straight up is 1 mm fore and aft of it."""
    alternator = drive.pairs.layout.parts["alternator"]
    assert "out of line" not in drive.hampered(alternator, np.array([0.0, 0.0, 30.0]))


def test_the_engine_takes_along_what_it_carries(drive: Moves) -> None:
    parts = drive.pairs.layout.parts
    assert drive.with_it(parts["engine"]) >= {"fan", "water pump", "crank pulley", "alternator"}
    assert "radiator" not in drive.with_it(parts["engine"])


def test_an_accessory_is_not_moved_out_of_its_belts_line(drive: Moves) -> None:
    alternator = drive.pairs.layout.parts["alternator"]
    assert "out of line" in drive.hampered(alternator, np.array([30.0, 0.0, 0.0]))


def test_two_parts_of_one_engine_are_not_parted_by_moving_the_engine(drive: Moves) -> None:
    parts = drive.pairs.layout.parts
    for other in ("fan belt", "crank pulley"):
        assert drive.way_out(parts["fan"], parts[other], np.array([1.0, 0.0, 0.0]), 0.0) is None


# -- which comes first -----------------------------------------------------------------------------


def answer(name: str, verdict: Verdict, *remedies: str, share: float = 0.0) -> Finding:
    rests_on = (Support(f"{name}: front 3 aft", 7, 1.0, share),) if share else ()
    return Finding(
        id=f"fit: {name} / wall",
        question="do they keep clear",
        parts=(name, "wall"),
        verdict=verdict,
        note="",
        rests_on=rests_on,
        remedies=remedies,
    )


def told(*findings: Finding) -> tuple[str, ...]:
    result = Result(
        schema=1,
        title="",
        unit="mm",
        verdict=verdict_of(findings, 0),
        findings=findings,
        far_pairs=0,
        assumptions=(),
        left_out=(),
        notes=(),
        parts=(),
        degrees_of_freedom=0,
        input_sha256="",
        made_with={},
    )
    return digest.remedies(result).shown


def test_cures_of_sure_fouls_come_before_anything_that_asks_to_look_again() -> None:
    open_answers = [
        answer(f"p{n}", Verdict.TOO_CLOSE, f"lay a rule on p{n}", share=0.9) for n in range(4)
    ]
    fouls = [answer(f"q{n}", Verdict.FOULS, f"move the q{n} 5 mm up") for n in range(7)]
    shown = told(*open_answers, *fouls)
    assert shown[:7] == tuple(f"move the q{n} 5 mm up" for n in range(7))
    assert shown[7].startswith("read line")


def test_what_nothing_speaks_against_comes_first() -> None:
    shown = told(
        answer("a", Verdict.FOULS, "move the a 5 mm up, but the hood is then in the way"),
        answer("b", Verdict.FOULS, "move the b 5 mm up"),
    )
    assert shown == ("move the b 5 mm up", "move the a 5 mm up, but the hood is then in the way")


def test_a_larger_move_that_is_hampered_is_not_hidden_by_a_smaller_one() -> None:
    shown = told(
        answer("a", Verdict.FOULS, "move the a 5 mm up"),
        answer("a", Verdict.FOULS, "move the a 9 mm up, but the hood is then in the way"),
    )
    assert shown == ("move the a 9 mm up, but the hood is then in the way",)


def test_every_kind_of_part_has_its_turn_among_what_may_be_moved() -> None:
    # A mark is no thing and a hole is none, and neither is in anybody's way.
    assert set(_MOVABLE) == set(PARTS) - {"mark", "bolt hole"}
