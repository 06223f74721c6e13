"""Brackets of one strip that keep every rule of the bench and stand free at a glance."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bracket_bench import Bench, Strip
from noseroom.checks.bracket_bolts import Fastener
from noseroom.checks.bracket_free import Around, joins, pieces_of
from noseroom.checks.bracket_job import BENT, Candidate, Fell
from noseroom.checks.bracket_load import strength_finding
from noseroom.checks.bracket_placed import PlacedBracket, placed_bracket
from noseroom.checks.bracket_search import Search, blocked
from noseroom.checks.bracket_sites import FreeHole, RailFace
from noseroom.checks.bracket_strength import Strength
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.layout import Layout
from noseroom.parts.base import Port

Floats = NDArray[np.float64]
LOOKED_AT = 3
BENT_AT_MOST = 40
"""So many brackets of each strip are worked out."""


@dataclass(frozen=True, eq=False)
class Nose:
    """All that every bracket of a nose is designed against. unread: sizes that only are assumed."""

    pairs: Pairs
    rules: Rules
    around: Around
    faces: tuple[RailFace, ...]
    holes: tuple[FreeHole, ...]
    taken: tuple[Port, ...]
    unread: tuple[str, ...]
    bench: Bench

    @property
    def layout(self) -> Layout:
        """Of all parts."""
        return self.pairs.layout

    @property
    def unit(self) -> str:
        """Of the file."""
        return self.layout.envelope.unit


@dataclass(frozen=True, eq=False)
class Glanced:
    """A bracket that keeps every rule of the bench, and stands free at a glance.

    moves: (3, s) mm, how its hole in the face follows the sources.
    """

    made: Candidate
    placed: PlacedBracket
    strip: Strip
    moves: Floats
    sums: Strength | None

    @property
    def weakness(self) -> tuple[int, float]:
        """How weak it is, and by what to choose among those that are.

        0: strong enough, or nobody has weighed what it carries; 1: of two pieces, of which no sum
        is made; 2: it stands shocks; 3: not even that.
        """
        if self.sums is None:
            return (1 if self.made.more else 0), 0.0
        if self.sums.sum.enough:
            return 0, 0.0
        if not self.sums.sum.shock.holds:
            return 3, self.sums.sum.shock.stress_mpa
        return 2, -(self.sums.sum.hz or 0.0)


def glances(nose: Nose, search: Search, bolt: Fastener, strip: Strip) -> Iterator[Glanced]:
    """Brackets of one strip, cheapest first, as many as are worth a closer look."""
    sharp = nose.bench.too_sharp(strip.stock)
    looked = 0
    for made in islice(search.candidates(bolt, strip), BENT_AT_MOST):
        if sharp is not None and made.bend_count:
            search.tried.add(
                Fell(made.form, sharp.rule, sharp.text, sharp.short_mm, sharp.would_do, BENT)
            )
            continue
        block = search.around.block(pieces_of(made), *joins(made.job))
        if block is not None:
            search.tried.add(blocked(made.form, block, made.job.site), block)
            continue
        fault = nose.bench.fault(made)
        if fault is not None:
            search.tried.add(fault)
            continue
        moves = rail_moves(made)
        placed = placed_bracket(f"{search.site.title} bracket", made, moves)
        _, sums = strength_finding(
            nose.layout, placed.name, made, nose.bench.material, with_remedies=False
        )
        yield Glanced(made, placed, strip, moves, sums)
        looked += 1
        if looked == LOOKED_AT:
            return


def rail_moves(made: Candidate) -> Floats:
    """How a bracket's hole in the face follows the sources, (3, s) mm."""
    return made.job.face.moves(made.rail_at[0]) if made.hole is None else made.hole.moves()
