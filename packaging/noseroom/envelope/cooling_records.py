"""What the file says of air and heat: plain frozen records, every figure with its line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["CoolingEntry", "FanEntry", "Figure", "NamedEntry"]


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure in the unit of its measure. half_width: None where no ± was said."""

    value: float
    half_width: float | None
    text: str
    line: int


@dataclass(frozen=True, slots=True)
class FanEntry:
    """What is known of a fan that the file has: points of (m³/s, Pa), at a speed in rpm; amps."""

    points: tuple[tuple[float, float], ...]
    figures: Mapping[str, Figure]
    line: int


@dataclass(frozen=True, slots=True)
class NamedEntry:
    """A state to look at besides the usual ones, or a change that the builder thinks of."""

    name: str
    figures: Mapping[str, Figure]
    words: Mapping[str, str]
    line: int


@dataclass(frozen=True, slots=True)
class CoolingEntry:
    """All that the file says under `cooling`.

    figures, words: by dotted key, such as "radiator.cap". readings: what was read on the car today.
    """

    figures: Mapping[str, Figure] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
    fans: Mapping[str, FanEntry] = field(default_factory=dict)
    readings: Mapping[str, Figure] = field(default_factory=dict)
    states: tuple[NamedEntry, ...] = ()
    options: tuple[NamedEntry, ...] = ()
    line: int = 0
