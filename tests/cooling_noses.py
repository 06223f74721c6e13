"""Invented noses for tests of air and heat: small files, quick to adjust."""

from __future__ import annotations

from noseroom.envelope.reader import read_text
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS

STACK = """
format: 1
units: in
core support: {opening: {width: 28, height: 20}}
radiator:
  core: {width: 24, height: 16, thickness: 2}
  tanks: {top: {height: 1, depth: 3}, bottom: {height: 1, depth: 3}}
  brackets: {form: none}
  cap: {fitted: no}
  place:
    - core.front 1 aft of core support.face
    - core.bottom 2 above core support.opening.bottom
    - core centred in core support.opening
    - plumb ± 1/10 deg
condenser:
  core: {width: 20, height: 12, thickness: 3/4}
  headers: {form: flat, width: 1, depth: 1}
  place:
    - core.rear 1/2 ahead of radiator.core.front
    - core.bottom 2 above radiator.core.bottom
    - core centred in core support.opening
    - plumb ± 1/10 deg
grille: {width: 30, height: 14, place: [rear 8 ahead of core support.face]}
"""
FAN = """
water pump:
  hub: {diameter: 3}
  carried by: car
  place:
    - hub.face 5 1/4 aft of radiator.core.rear
    - axis 8 above radiator.core.bottom
    - axis 0 right of centreline
    - level ± 1/4 deg
    - square across ± 1/4 deg
    - plumb ± 1/4 deg
fan:
  diameter: 15
  width: 2 1/4
  ahead: 2
  spider: {diameter: 5}
  place:
    - mount 1/8 ± 1/64 ahead of water pump.hub.face
"""
PULLER = """
puller:
  is: electric fan
  diameter: 12
  frame: {depth: 3}
  motor: {depth: 1/2, diameter: 4}
  ring: {gap: 1/8, thickness: 1/4}
  plate: {beyond: 5/8}
  place:
    - front flush with radiator.core.rear
    - middle 0 right of centreline
    - middle centred up and down on radiator.core
"""
KNOWN = """
cooling:
  radiator: {core: copper, fins: 11, rows: 3, cap: 15 psi, glycol: 50 %, thermostat: 180 F}
  engine: {displacement: 3.0 L, idle: 700 rpm}
  compressor: {displacement: 120 cc}
  alternator: {rating: 60 A}
"""


def nose(*texts: str) -> Layout:
    """A nose from pieces of a file."""
    return arrange(read_text("".join((STACK, *texts)), KINDS))


_CURVE = "[0 cfm at 1 in wc, 1200 cfm at 0.6 in wc, 2400 cfm at 0 in wc]"
STRONG = f"{KNOWN}  fans: {{puller: {{points: {_CURVE}}}}}\n"
"""The same with a strong puller, so that less boils or is cut out."""
