"""What air and heat rest on that nobody measures: bands, usual cores, refrigerants."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from noseroom.tables.typed_rows import typed_rows


@dataclass(frozen=True, slots=True)
class Band:
    """One figure that is known only within a band. unit: "" for a plain number."""

    key: str
    low: float
    usual: float
    high: float
    unit: str
    source: str
    meaning: str


@dataclass(frozen=True, slots=True)
class UsualCore:
    """Sizes of a core as they are usual, mm and W/(m K). fins: "louvered" or "plain".

    louver_pitch_mm, louver_length_mm, louver_angle_deg: None for plain fins. spread: by what share
    each size may be off for a core that nobody measured.
    """

    key: str
    fins: str
    fin_pitch_mm: float
    fin_length_mm: float
    fin_thickness_mm: float
    depth_mm: float
    tube_thickness_mm: float
    conductivity: float
    louver_pitch_mm: float | None
    louver_length_mm: float | None
    louver_angle_deg: float | None
    spread: float
    source: str
    meaning: str


@dataclass(frozen=True, slots=True)
class RefrigerantRow:
    """A refrigerant by its trade number, kPa gauge. model: whose properties to take, or "".

    caution: what has to stand beside every figure on it.
    """

    key: str
    model: str
    cut_out_low_kpa: float | None
    cut_out_high_kpa: float | None
    relief_kpa: float | None
    source: str
    caution: str


@cache
def bands() -> dict[str, Band]:
    """All bands on air, heat and fans by key."""
    return {one.key: one for one in typed_rows("heat_bands.csv", Band)}


@cache
def usual_cores() -> dict[str, UsualCore]:
    """All usual cores by key."""
    return {one.key: one for one in typed_rows("cores.csv", UsualCore)}


@cache
def refrigerants() -> dict[str, RefrigerantRow]:
    """All refrigerants by trade number."""
    return {one.key: one for one in typed_rows("refrigerants.csv", RefrigerantRow)}
