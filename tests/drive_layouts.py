"""A nose that is nothing but a drive: crank, pump and compressor, as wanted."""

from __future__ import annotations

from noseroom.checks.belts import check_belts
from noseroom.checks.drive import Drive
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.reader import read_text
from noseroom.findings import Finding
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules

NOSE = """
format: 1
title: a drive of three pulleys
units: mm
tape: 0.05
core support:
  opening: {{width: 700, height: 480}}
radiator:
  core: {{width: 560, height: 420, thickness: 50}}
  place:
    - core.front at top 30 aft of core support.face
    - core.front at bottom 30 aft of core support.face
    - core.bottom 25 above core support.opening.bottom
engine:
{engine}  tilt: 0 ± 0.01 deg nose up
  place:
    - front 200 aft of water pump.hub.face
    - axis 200 below water pump.axis
    - axis 0 right of centreline
    - level ± 0.01 deg
    - square across ± 0.01 deg
water pump:
  place:
    - hub.face 300 aft of radiator.core.rear
    - axis 260 above radiator.core.bottom
    - axis 0 right of centreline
    - parallel to engine ± 0.01 deg
water pump pulley:
  diameter: {pump}
  place:
    - front flush with water pump.hub.face
crank pulley:
  diameter: {crank}
  place:
    - belt flush with water pump pulley.belt
{compressor}
drive belt:
  is: belt
  section: {section}
  over: [{over}]
{belt}{parts}"""
COMPRESSOR = """compressor:
{driven}  body: {{diameter: 110, length: 150}}
  nose: {{diameter: 120, length: 40, belt: 20}}
  place:
{line}
    - axis {out} right of water pump.axis
    - axis {up} above water pump.axis
{square}
"""
IN_LINE = "    - belt flush with water pump pulley.belt"
PARALLEL = "    - parallel to engine ± 0.01 deg"
ALL = "crank pulley, water pump pulley, compressor"


def layout_of(
    *,
    up: str = "-60",
    out: str = "160",
    line: str = IN_LINE,
    square: str = PARALLEL,
    section: str = "v",
    over: str = ALL,
    pump: float = 120,
    crank: float = 140,
    driven: str = "",
    engine: str = "",
    belt: str = "",
    parts: str = "",
) -> Layout:
    """The nose arranged. driven, engine, belt: lines more for those; parts: parts more."""
    side = COMPRESSOR.format(
        up=up.removeprefix("-"), out=out, line=line, square=square, driven=driven
    )
    if up.startswith("-"):
        side = side.replace("above water pump.axis", "below water pump.axis")
    text = NOSE.format(
        section=section,
        over=over,
        pump=pump,
        crank=crank,
        compressor=side,
        engine=engine,
        belt=belt,
        parts=parts,
    )
    return arrange(read_text(text, KINDS, rule_keys=clearance_rules()))


def found_of(layout: Layout, key: str) -> Finding:
    """What the checks of belts say under an id."""
    every = check_belts(Pairs(layout), Rules(layout.envelope))
    (one,) = [each for each in every if each.id == key]
    return one


def drive_of(layout: Layout) -> Drive:
    return Drive(layout, Pairs(layout).bends, layout.parts["drive belt"])
