"""Card panels laid out on sheets: upright rectangles, turned where that fits better."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from noseroom.geometry.outlines import rectangle
from noseroom.report.drawing_text import text_width_mm
from noseroom.tables.card import card_mm
from noseroom.workshop.card_stock import Card, CardError
from noseroom.workshop.figures import Figure, Label

_BESIDE_MM = 2.5
_CAPITALS = 0.71
_EXACT_MM = 1e-6


@dataclass(frozen=True)
class _Free:
    """A rectangle of a sheet with nothing on it yet."""

    x: float
    y: float
    wide: float
    high: float

    def within(self, other: _Free) -> bool:
        """Whether it lies in another one."""
        return (
            self.x >= other.x - _EXACT_MM
            and self.y >= other.y - _EXACT_MM
            and self.x + self.wide <= other.x + other.wide + _EXACT_MM
            and self.y + self.high <= other.y + other.high + _EXACT_MM
        )

    def without(self, used: _Free) -> Iterator[_Free]:
        """The largest rectangles that are left of it; it overlaps what is used."""
        if used.x > self.x + _EXACT_MM:
            yield replace(self, wide=used.x - self.x)
        right = used.x + used.wide
        if right < self.x + self.wide - _EXACT_MM:
            yield replace(self, x=right, wide=self.x + self.wide - right)
        if used.y > self.y + _EXACT_MM:
            yield replace(self, high=used.y - self.y)
        top = used.y + used.high
        if top < self.y + self.high - _EXACT_MM:
            yield replace(self, y=top, high=self.y + self.high - top)

    def overlaps(self, other: _Free) -> bool:
        """Whether the two have more than an edge in common."""
        return (
            self.x < other.x + other.wide - _EXACT_MM
            and other.x < self.x + self.wide - _EXACT_MM
            and self.y < other.y + other.high - _EXACT_MM
            and other.y < self.y + self.high - _EXACT_MM
        )


@dataclass
class _Sheet:
    """A sheet that is being filled."""

    free: list[_Free]
    pieces: list[Figure] = field(default_factory=list)

    def best(self, wide: float, high: float) -> tuple[tuple[float, ...], _Free, bool] | None:
        """Where a piece fits best, and whether it is turned for that: the least room beside it."""
        found = [
            ((min(one.wide - w, one.high - h), one.wide - w, float(turned), one.y, one.x), one)
            for one in self.free
            for turned, (w, h) in enumerate(((wide, high), (high, wide)))
            if w <= one.wide + _EXACT_MM and h <= one.high + _EXACT_MM
        ]
        if not found:
            return None
        rank, place = min(found, key=lambda one: one[0])
        return rank, place, bool(rank[2])

    def use(self, used: _Free) -> None:
        """Take a rectangle out of what is free."""
        left: list[_Free] = []
        for one in self.free:
            left += one.without(used) if one.overlaps(used) else [one]
        kept: list[_Free] = []
        for k, one in enumerate(left):
            others = [*left[k + 1 :], *kept]
            if not any(one.within(other) for other in others):
                kept.append(one)
        self.free = kept


def sheets(figures: Sequence[Figure], card: Card) -> tuple[Figure, ...]:
    """The panels laid out on as few sheets as their rectangles allow, one figure a sheet.

    A sheet's lower left corner is at (0, 0); its edge is a guide. Panels keep their words; what is
    too small for any has them beside it. Raises CardError where a panel is larger than a sheet.
    """
    gap, margin = card_mm("gap"), card_mm("margin")
    wide, high = card.usable_mm
    pieces = sorted(map(_captioned, figures), key=_by_size)
    filled: list[_Sheet] = []
    for figure in pieces:
        w, h = _size(figure)
        fits = (min(w, h) <= min(wide, high)) and (max(w, h) <= max(wide, high))
        if not fits:
            raise CardError(_too_large(figure, card))
        w, h = w + gap, h + gap
        spot = next((one for sheet in filled if (one := (sheet, sheet.best(w, h)))[1]), None)
        if spot is None:
            sheet = _Sheet([_Free(margin, margin, wide + gap, high + gap)])
            filled.append(sheet)
            spot = sheet, sheet.best(w, h)
        sheet, found = spot
        assert found is not None  # an empty sheet holds whatever is not too large
        _, place, turned = found
        if turned:
            w, h = h, w
            figure = figure.placed(math.pi / 2.0)
        x0, y0, _, _ = _box(figure)
        sheet.pieces.append(figure.placed(0.0, (place.x - x0, place.y - y0)))
        sheet.use(_Free(place.x, place.y, w, h))
    return tuple(_one(k, len(filled), one, card) for k, one in enumerate(filled, 1))


def _too_large(figure: Figure, card: Card) -> str:
    w, h = _size(figure)
    edges = 2.0 * card_mm("margin")
    return (
        f"{figure.title} is {max(w, h):.0f} x {min(w, h):.0f} mm; a sheet of "
        f"{card.sheet_mm[0]:g} x {card.sheet_mm[1]:g} mm holds {max(card.usable_mm):.0f} x "
        f"{min(card.usable_mm):.0f} mm inside its margins: one of "
        f"{math.ceil(max(w, h) + edges)} x {math.ceil(min(w, h) + edges)} mm would do"
    )


def _by_size(figure: Figure) -> tuple[float, float, str]:
    w, h = sorted(_size(figure))
    return -round(h, 6), -round(w, 6), figure.name


def _size(figure: Figure) -> tuple[float, float]:
    x0, y0, x1, y1 = _box(figure)
    return x1 - x0, y1 - y0


def _box(figure: Figure) -> tuple[float, float, float, float]:
    """Round a piece and the words beside it."""
    x0, y0, x1, y1 = figure.box()
    for one in figure.labels:
        half = text_width_mm(one.text, one.height_mm / _CAPITALS) / 2.0
        x, y = one.at
        if round(one.turn_deg) % 180:
            x0, y0 = min(x0, x - one.height_mm), min(y0, y - half)
            x1, y1 = max(x1, x), max(y1, y + half)
        else:
            x0, y0 = min(x0, x - half), min(y0, y)
            x1, y1 = max(x1, x + half), max(y1, y + one.height_mm)
    return x0, y0, x1, y1


def _captioned(figure: Figure) -> Figure:
    """With its title beside it, where not all its words are on it."""
    if not figure.notes:
        return figure
    x0, y0, x1, _ = figure.box()
    at = ((x0 + x1) / 2.0, y0 - 2.0 - _BESIDE_MM)
    return replace(figure, labels=(*figure.labels, Label(figure.title, at, _BESIDE_MM)))


def _one(number: int, count: int, sheet: _Sheet, card: Card) -> Figure:
    pieces = sheet.pieces
    (wide, high), t = card.sheet_mm, card.thickness_mm
    cut = "cut to the line" if not card.kerf_mm else f"drawn for a cut {card.kerf_mm:g} mm wide"
    return Figure(
        name=f"card sheet {number}",
        title=f"Sheet {number} of {count}, {card.material} {t:g} mm, {wide:g} x {high:g} mm",
        cuts=tuple(cut for one in pieces for cut in one.cuts),
        centres=tuple(mark for one in pieces for mark in one.centres),
        guides=(rectangle((0.0, 0.0), (wide, high)),),
        labels=tuple(label for one in pieces for label in one.labels),
        notes=(
            f"Slots are {t + card.fit_mm:g} mm wide for {card.material} of {t:g} mm: measure yours "
            f"before you cut. {cut[:1].upper()}{cut[1:]}.",
            "A sharp knife, a steel rule, several light cuts away from the hand that holds it.",
        ),
        thickness_mm=t,
        material=card.material,
    )
