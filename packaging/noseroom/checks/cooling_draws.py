"""Figures of which only a band is known, drawn again and again: the same draws for everything.

Each figure has a Latin hypercube's column of its own, seeded by its name. So every option and every
state meets the same engine, the same grille, the same weather inside the bands, and what one option
does better than another is not lost in what nobody knows of either.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from noseroom.envelope.cooling_records import Figure
from noseroom.physics.ranges import Floats
from noseroom.tables.heat import Band

__all__ = ["Draws", "Known", "banded"]

_CUT = 1.8
"""No figure lies further out than this many standard deviations of its band."""
_LOW, _HIGH = float(ndtr(-_CUT)), float(ndtr(_CUT))
_EDGE = float(-ndtri(_LOW + 0.05 * (_HIGH - _LOW)))
"""Where the 5 and 95 % points are once what lies further out is cut off."""


class Draws:
    """n draws of any figure, by its name. n = 1: every figure at its middle.

    kept: of the n, the places of those that are left; None for all.
    """

    def __init__(self, n: int, seed: int = 0, kept: NDArray[np.int_] | None = None) -> None:
        self._whole, self._seed, self._kept = n, seed, kept
        self.n = n if kept is None else len(kept)
        self._columns: dict[str, Floats] = {}

    def only(self, kept: NDArray[np.int_]) -> Draws:
        """Some of these draws, the same ones."""
        return Draws(self._whole, self._seed, kept if self._kept is None else self._kept[kept])

    def column(self, name: str) -> Floats:
        """(n,) evenly spread over 0 to 1, in an order of the figure's own."""
        if name not in self._columns:
            made = np.full(1, 0.5)
            if self._whole > 1:
                rng = np.random.default_rng([self._seed, zlib.crc32(name.encode())])
                made = (rng.permutation(self._whole) + rng.random(self._whole)) / self._whole
            self._columns[name] = made if self._kept is None else made[self._kept]
        return self._columns[name]

    @property
    def columns(self) -> Mapping[str, Floats]:
        """Every column that was drawn, by name."""
        return self._columns


def banded(u: Floats, low: float, usual: float, high: float) -> Floats:
    """Figures at shares u of a band: low, usual, high are its 5, 50 and 95 % points.

    Two halves of a normal distribution, of the logarithm where the figure is above nothing, which
    end a little beyond the band.
    """
    z = ndtri(_LOW + u * (_HIGH - _LOW)) / _EDGE
    if low > 0:
        side = np.where(z > 0, np.log(high / usual), np.log(usual / low))
        return np.asarray(usual * np.exp(z * side))
    return np.asarray(usual + z * np.where(z > 0, high - usual, usual - low))


class Known:
    """Figures as the file has them, else as the bands have them.

    assumed: the bands that stood in for what the file does not say, by name.
    """

    def __init__(self, figures: Mapping[str, Figure], draws: Draws) -> None:
        self.figures, self.draws = figures, draws
        self.assumed: dict[str, Band] = {}

    @property
    def n(self) -> int:
        """How many draws."""
        return self.draws.n

    def figure(self, key: str, band: Band, scale: float = 1.0) -> Floats:
        """(n,) of a figure. key: in the file; scale: from its unit there to the band's."""
        given = self.figures.get(key)
        return self.band(band) if given is None else self.given(given, key) * scale

    def given(self, figure: Figure, name: str) -> Floats:
        """(n,) of a figure of the file: even over its ±, exact where it has none."""
        half = figure.half_width or 0.0
        if half == 0.0:
            return np.full(self.n, figure.value)
        return figure.value + half * (2.0 * self.draws.column(name) - 1.0)

    def band(self, band: Band, name: str = "") -> Floats:
        """(n,) of a band. name: where one band stands for several figures."""
        self.assumed[name or band.key] = band
        return banded(self.draws.column(name or band.key), band.low, band.usual, band.high)
