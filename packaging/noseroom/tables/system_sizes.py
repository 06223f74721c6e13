"""Sizes that condensers and fans are sold in, and what lines, charge and wires rest on."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from noseroom.tables.heat import Band
from noseroom.tables.typed_rows import typed_rows

__all__ = ["CondenserSize", "FanSize", "condenser_sizes", "fan_sizes", "system_figures"]


@dataclass(frozen=True, slots=True)
class CondenserSize:
    """A condenser as it is sold. width_in: over the headers."""

    height_in: float
    width_in: float
    source: str


@dataclass(frozen=True, slots=True)
class FanSize:
    """An electric fan as it is sold. number: of fans in its frame.

    depth_mm: with the motor; frame_mm: of the frame alone.
    """

    diameter_in: float
    number: int
    depth_mm: float
    frame_mm: float
    source: str


@cache
def condenser_sizes() -> tuple[CondenserSize, ...]:
    """All sizes, the lowest and narrowest first."""
    return typed_rows("condenser_sizes.csv", CondenserSize)


@cache
def fan_sizes() -> tuple[FanSize, ...]:
    """All sizes, single ones first."""
    return typed_rows("fan_sizes.csv", FanSize)


@cache
def system_figures() -> dict[str, Band]:
    """Bands on lines, charge and wires by key; low and high are 5 and 95 % points."""
    return {one.key: one for one in typed_rows("system_figures.csv", Band)}
