"""Belts: their sections, the lengths that are sold, and how they hold."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from noseroom.tables.rows import figures_of, rows_of


@dataclass(frozen=True, slots=True)
class Section:
    """One belt section. belt: "v" or "ribbed".

    top_width_mm: of a V's groove where the effective diameter is counted, or the pitch of ribs.
    least_diameter_mm: the least effective diameter that is recommended. groove_deg: between flanks.
    pitch_out_mm: how far the pitch line lies outside the effective line.
    """

    key: str
    belt: str
    top_width_mm: float
    least_diameter_mm: float
    groove_deg: float
    pitch_out_mm: float
    source: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Series:
    """Lengths in which a belt is sold, mm. named_by: of which line, "outside" or "effective".

    tolerance_mm: by how much a belt may be longer or shorter than it is marked, at the least;
    tolerance_share: of its length, where that is more.
    """

    key: str
    belt: str
    named_by: str
    from_mm: float
    to_mm: float
    step_mm: float
    tolerance_mm: float
    tolerance_share: float
    source: str
    meaning: str

    def between(self, low_mm: float, high_mm: float) -> tuple[float, ...]:
        """The lengths from one to another, both included, mm."""
        low, high = max(low_mm, self.from_mm), min(high_mm, self.to_mm)
        first = math.ceil((low - 1e-6) / self.step_mm)
        last = math.floor((high + 1e-6) / self.step_mm)
        return tuple(self.step_mm * k for k in range(first, last + 1))

    def tolerance(self, length_mm: float) -> float:
        """By how much a belt of that mark may be off, mm."""
        return max(self.tolerance_mm, self.tolerance_share * length_mm)

    def within(self, low_mm: float, high_mm: float) -> tuple[float, ...]:
        """The lengths that stay within a range however their tolerance falls out, mm."""
        return tuple(
            one
            for one in self.between(low_mm, high_mm)
            if low_mm <= one - self.tolerance(one) and one + self.tolerance(one) <= high_mm
        )

    def near(self, low_mm: float, high_mm: float) -> tuple[float, ...]:
        """The lengths that may lie within a range, by their tolerance, mm."""
        most = self.tolerance(self.to_mm)
        return tuple(
            one
            for one in self.between(low_mm - most, high_mm + most)
            if low_mm <= one + self.tolerance(one) and one - self.tolerance(one) <= high_mm
        )


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of how belts hold, a plain number."""

    key: str
    figure: float
    source: str
    meaning: str


@cache
def sections() -> dict[str, Section]:
    """All belt sections by key, in the table's order."""
    return {
        one["key"]: Section(
            key=one["key"],
            belt=one["belt"],
            top_width_mm=float(one["top_width_mm"]),
            least_diameter_mm=float(one["least_diameter_mm"]),
            groove_deg=float(one["groove_deg"]),
            pitch_out_mm=float(one["pitch_out_mm"]),
            source=one["source"],
            meaning=one["meaning"],
        )
        for one in rows_of("belt_sections.csv")
    }


def section_of(belt: str, width_mm: float) -> Section:
    """The section of a belt: of a V belt the one whose width is nearest, mm across its back."""
    fitting = [one for one in sections().values() if one.belt == belt]
    return min(fitting, key=lambda one: abs(one.top_width_mm - width_mm))


@cache
def series() -> dict[str, Series]:
    """All series of stock lengths by key."""
    return {
        one["key"]: Series(
            key=one["key"],
            belt=one["belt"],
            named_by=one["named_by"],
            from_mm=float(one["from_mm"]),
            to_mm=float(one["to_mm"]),
            step_mm=float(one["step_mm"]),
            tolerance_mm=float(one["tolerance_mm"]),
            tolerance_share=float(one["tolerance_share"]),
            source=one["source"],
            meaning=one["meaning"],
        )
        for one in rows_of("belt_lengths.csv")
    }


def series_of(belt: str, unit: str) -> Series:
    """The lengths in which a belt is sold where lengths are written in a unit."""
    if belt == "ribbed":
        return series()["ribbed"]
    return series()["v in" if unit in ("in", "ft") else "v mm"]


@cache
def belt_figures() -> dict[str, Figure]:
    """All figures by key."""
    return figures_of("belt_figures.csv", "figure", Figure)
