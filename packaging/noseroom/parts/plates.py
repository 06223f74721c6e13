"""Plates with a large round opening, as convex pieces that leave the opening free."""

from __future__ import annotations

import math

import numpy as np

from noseroom.geometry.pieces import Piece, hull
from noseroom.survey.features import Scalar, vector

_WEDGES = 9
"""Wedges in an eighth of the opening: its chords reach 0.1 % of the radius into it."""

# Corner of the plate that each eighth ends at, as (which y, which z); each begins or ends abreast
# of the opening's centre, so that no wedge crosses the opening however far off centre it is.
_EIGHTHS = (
    ("right", None, "right", "top"),
    ("right", "top", None, "top"),
    (None, "top", "left", "top"),
    ("left", "top", "left", None),
    ("left", None, "left", "bottom"),
    ("left", "bottom", None, "bottom"),
    (None, "bottom", "right", "bottom"),
    ("right", "bottom", "right", None),
)


def plate_round_opening(
    component: str,
    fore_aft: tuple[Scalar, Scalar],
    across: tuple[Scalar, Scalar],
    up: tuple[Scalar, Scalar],
    centre: tuple[Scalar, Scalar],
    radius: Scalar,
) -> tuple[Piece, ...]:
    """A plate square to X with a round opening wholly inside it, as 72 wedges.

    fore_aft, across, up: the plate's ends along X, Y and Z, mm. centre: of the opening, (y, z),
    mm. The opening is never larger than it is, and smaller by 0.1 % of its radius at most.
    """
    sides = {
        "left": across[0],
        "right": across[1],
        "bottom": up[0],
        "top": up[1],
    }
    made: list[Piece] = []
    for eighth, (y0, z0, y1, z1) in enumerate(_EIGHTHS):
        begin = (centre[0] if y0 is None else sides[y0], centre[1] if z0 is None else sides[z0])
        end = (centre[0] if y1 is None else sides[y1], centre[1] if z1 is None else sides[z1])
        for k in range(_WEDGES):
            corners = []
            for step in (k, k + 1):
                share = step / _WEDGES
                turn = math.pi / 4.0 * (eighth + share)
                bore = (centre[0] + radius * math.cos(turn), centre[1] + radius * math.sin(turn))
                rim = tuple(a + share * (b - a) for a, b in zip(begin, end, strict=True))
                corners += [vector(x, *at) for at in (bore, rim) for x in fore_aft]
            made.append(hull(component, [np.asarray(corner) for corner in corners]))
    return tuple(made)
