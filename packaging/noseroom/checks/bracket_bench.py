"""What the shop has to make brackets of: its sheet, its brake, and strips to choose among."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from noseroom.checks.bracket_bolts import Fastener
from noseroom.checks.bracket_job import Candidate, Fell
from noseroom.checks.bracket_shape import Sheet
from noseroom.envelope.model import Shop
from noseroom.geometry.sheet_rules import sheet_faults
from noseroom.physics.bending import din_k
from noseroom.tables.fasteners import Grommet
from noseroom.tables.sheet import (
    SheetMaterial,
    SheetShop,
    SheetStock,
    least_radius_mm,
    sheet_materials,
    sheet_stock,
)
from noseroom.units import MM_PER_INCH

USUAL_MATERIAL = "mild steel"
_THINNEST_MM, _THICKEST_MM = 1.85, 4.8
"""What small brackets are bent from, common practice: 14 gauge or 2 mm, and up to what a narrow
strip is bent from in a press."""
_WIDER_MM = (0.0, 8.0, 16.0, 24.0, 32.0, 40.0)
_SAME_MM = 0.02
_INSIDE = "inside radius"
_SHARPEST = 0.1
_UNKNOWN_RADIUS = 2.0
"""Thicknesses of inside radius where no table has the least."""


@dataclass(frozen=True, eq=False)
class Strip:
    """A sheet, and how much wider than its bolts ask a strip of it is."""

    stock: SheetStock
    sheet: Sheet
    wider_mm: float


@dataclass(frozen=True, eq=False)
class Bench:
    """Metal, sheets and brake. radius_mm: what the brake leaves, None: whatever the metal asks.

    k: of a test piece, None: by DIN 6935.
    """

    material: SheetMaterial
    stocks: tuple[SheetStock, ...]
    radius_mm: float | None
    k: float | None

    def sheet(self, stock: SheetStock) -> Sheet:
        """A thickness with its inside radius and neutral factor."""
        t = stock.thickness_mm
        least = least_radius_mm(self.material.name, t)
        radius = max(_UNKNOWN_RADIUS * t if least is None else least, t)
        if self.radius_mm is not None:
            radius = self.radius_mm
        # A brake too sharp for the formula is a fault anyway.
        k = din_k(max(radius, _SHARPEST * t), t) if self.k is None else self.k
        return Sheet(t, radius, k)

    def too_sharp(self, stock: SheetStock) -> Fell | None:
        """What stands against bending a sheet on this brake; None: nothing does.

        How sharply a sheet may be bent that no table has is left to `fault`.
        """
        least = least_radius_mm(self.material.name, stock.thickness_mm)
        if self.radius_mm is None or least is None or self.radius_mm >= least - 1e-9:
            return None
        return Fell(
            "",
            _INSIDE,
            f"the brake's {self.radius_mm:.1f} mm are too sharp for {self.material.name} of "
            f"{stock.thickness_mm:.2f} mm, which asks for {least:.1f} mm inside",
            least - self.radius_mm,
            f"a nose of {least:.1f} mm or more on the brake, or thinner sheet",
        )

    def fault(self, made: Candidate) -> Fell | None:
        """The first rule of the bench that a bracket breaks."""
        for blank, _ in made.blanks:
            for one in sheet_faults(blank, self.material, SheetShop(k=self.k)):
                return Fell(made.form, one.rule, one.text, float(one.short_mm), one.remedy)
        return None

    def strips(self, bolt: Fastener, rubber: Grommet | None = None) -> Iterator[Strip]:
        """Least metal first. rubber: what has to take the sheet."""
        some = [
            Strip(stock, self.sheet(stock), wider)
            for stock in self.stocks
            if rubber is None or rubber.least_sheet_mm <= stock.thickness_mm <= rubber.most_sheet_mm
            for wider in _WIDER_MM
        ]
        some.sort(key=lambda one: one.sheet.thickness_mm * (2.0 * bolt.metal_mm + one.wider_mm))
        yield from some


def bench_of(shop: Shop, unit: str) -> Bench:
    """The bench of a shop, as far as its file says; else what is usual. unit: of the file."""
    material = sheet_materials()[shop.metal or USUAL_MATERIAL]
    table = sheet_stock(material.metal)
    system = "in" if unit in ("in", "ft") else "mm"
    if shop.sheet_mm:
        stocks = tuple(_own(t, material, table, unit) for t in shop.sheet_mm)
    else:
        stocks = tuple(
            one
            for one in table
            if one.unit == system and _THINNEST_MM <= one.thickness_mm <= _THICKEST_MM
        )
    radius = shop.bend_radius_mm[0] if shop.bend_radius_mm else None
    return Bench(material, stocks, radius, shop.bend_k)


def _own(
    thickness_mm: float, material: SheetMaterial, table: tuple[SheetStock, ...], unit: str
) -> SheetStock:
    """A thickness of the shop's own, by its usual name where it has one."""
    for one in table:
        if abs(one.thickness_mm - thickness_mm) < _SAME_MM:
            return one
    label, system = f"{thickness_mm:g} mm", "mm"
    if unit in ("in", "ft"):
        label, system = f"{thickness_mm / MM_PER_INCH:.3f} in", "in"
    return SheetStock("the envelope file", "read", material.metal, label, system, thickness_mm)
