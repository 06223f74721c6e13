"""Hoses, lines, wires, fuses and loads of an A/C system."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from noseroom.tables.heat import Band
from noseroom.tables.typed_rows import typed_rows


@dataclass(frozen=True, slots=True)
class HoseSize:
    """A hose of the A/C series. tube_od_in, bore_in: as the trade writes them."""

    dash: int
    tube_od_in: str
    bore_in: str
    bore_mm: float
    source: str


@dataclass(frozen=True, slots=True)
class LineVelocity:
    """How fast refrigerant may run in a line, m/s. usual_dash: the hose that is usual there."""

    key: str
    low: float
    high: float
    usual_dash: int
    source: str
    meaning: str


@dataclass(frozen=True, slots=True)
class WireSize:
    """Automotive primary wire. sae_mm2: its conductor, less than AWG of the same number.

    amps: what it may carry for long.
    """

    gauge: int
    sae_mm2: float
    amps: float
    source: str


@dataclass(frozen=True, slots=True)
class FuseSize:
    """A fuse that is sold. amps: its rating."""

    amps: float
    source: str


@cache
def hose_sizes() -> dict[int, HoseSize]:
    """All hose sizes by dash number."""
    return {one.dash: one for one in typed_rows("hose_sizes.csv", HoseSize)}


@cache
def line_velocities() -> dict[str, LineVelocity]:
    """All guides to velocities by line: suction, discharge, liquid."""
    return {one.key: one for one in typed_rows("line_velocities.csv", LineVelocity)}


@cache
def wire_sizes() -> dict[int, WireSize]:
    """All wires by gauge, thinnest first."""
    return {one.gauge: one for one in typed_rows("wires.csv", WireSize)}


@cache
def fuses() -> dict[float, FuseSize]:
    """All fuses by rating, A, least first."""
    return {one.amps: one for one in typed_rows("fuses.csv", FuseSize)}


@cache
def loads() -> dict[str, Band]:
    """Currents of an A/C system, and the figures that wires are chosen by."""
    return {one.key: one for one in typed_rows("loads.csv", Band)}
