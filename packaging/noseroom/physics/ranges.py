"""Correlations with the range that their authors tested them in, as data.

No correlation is used outside its range in silence: whoever asks gets an `OutsideRange` that names
the correlation, the number and the range, and a result carries these on to its reader.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Correlation", "Floats", "OutsideRange", "Range", "without_repeats"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Range:
    """From where to where one quantity was tested. unit: "" for a plain number."""

    quantity: str
    low: float
    high: float
    unit: str = ""

    def __str__(self) -> str:
        unit = f" {self.unit}" if self.unit else ""
        return f"{self.quantity} {self.low:g} to {self.high:g}{unit}"


@dataclass(frozen=True, slots=True)
class OutsideRange:
    """A number that a correlation was not tested for.

    found_low, found_high: the least and the greatest that was asked for, over all draws. share: of
    the draws that lie outside, 0 to 1. instead: what was done about it.
    """

    correlation: str
    tested: Range
    found_low: float
    found_high: float
    share: float
    instead: str

    def __str__(self) -> str:
        unit = f" {self.tested.unit}" if self.tested.unit else ""
        found = f"{self.found_low:.3g}"
        if self.found_high > self.found_low * (1 + 1e-9):
            found += f" to {self.found_high:.3g}"
        tested = f"{self.tested.low:g} to {self.tested.high:g}{unit}"
        return (
            f"outside the range of {self.correlation}: {self.tested.quantity} {found}{unit}, "
            f"tested from {tested}; {self.instead}"
        )


@dataclass(frozen=True, slots=True)
class Correlation:
    """A correlation: who found it, in what range, and how well it fits what it was made from.

    spread: as its authors state it, or what is known instead. instead: what is done outside its
    range.
    """

    name: str
    source: str
    ranges: tuple[Range, ...]
    spread: str
    instead: str = "the formula was carried on, so this part of the answer is a guess"

    def outside(self, **asked: ArrayLike) -> tuple[OutsideRange, ...]:
        """What was asked that nobody tested; empty if all is inside.

        asked: numbers or arrays by quantity, with "_" for the blanks of its name. Raises KeyError
        for a quantity that the correlation has no range for.
        """
        known = {one.quantity.replace(" ", "_"): one for one in self.ranges}
        found = []
        for name, given in asked.items():
            tested, values = known[name], np.asarray(given, dtype=float)
            slack = 1e-9 * (tested.high - tested.low)
            out = ~((values >= tested.low - slack) & (values <= tested.high + slack))
            if out.any():
                low, high = float(values[out].min()), float(values[out].max())
                share = float(out.mean())
                found.append(OutsideRange(self.name, tested, low, high, share, self.instead))
        return tuple(found)


def without_repeats(remarks: Iterable[OutsideRange]) -> tuple[OutsideRange, ...]:
    """Remarks in their order, of those on the same quantity of the same correlation the widest."""
    kept: dict[tuple[str, str], OutsideRange] = {}
    for one in remarks:
        key = (one.correlation, one.tested.quantity)
        old = kept.get(key)
        if old is not None:
            one = OutsideRange(
                one.correlation,
                one.tested,
                min(one.found_low, old.found_low),
                max(one.found_high, old.found_high),
                max(one.share, old.share),
                one.instead,
            )
        kept[key] = one
    return tuple(kept.values())
