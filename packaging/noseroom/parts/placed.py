"""A part's pieces where it stands, with how every source moves them."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np

from noseroom.geometry.pieces import Piece
from noseroom.geometry.separation import MovingPiece
from noseroom.parts.base import Part
from noseroom.survey.solution import Placement

STEP = 1e-30
"""Of complex steps: so short that what they show is the derivative itself."""


def measured_sizes(part: Part) -> dict[str, str]:
    """Attributes that are sizes from the file, with their keys there."""
    return {name: one.key for name, one in part.sizes().items() if one.measure != "count"}


def placed_pieces(
    part: Part, pieces: Sequence[Piece], placement: Placement
) -> list[tuple[str, MovingPiece]]:
    """Pieces in the vehicle frame with their movement by every source."""
    if not pieces:
        return []
    turn, shift = placement.pose.turn, placement.pose.shift
    keys = {name: key for name, key in measured_sizes(part).items() if key in placement.size_gain}
    names = [name for name, key in keys.items() if placement.size_gain[key].any()]
    ends = np.cumsum([len(piece.corners) for piece in pieces])[:-1]
    corners = np.concatenate([np.asarray(piece.corners, dtype=float) for piece in pieces])
    placed = np.split(corners @ turn.T + shift, ends)
    swollen: list[Any] = [None] * len(pieces)
    if names:
        steps = {
            name: getattr(part, name) + 1j * STEP * (np.arange(len(names)) == k)
            for k, name in enumerate(names)
        }
        gains = np.array([placement.size_gain[keys[name]] for name in names])
        stepped = dataclasses.replace(part, **steps).pieces()
        moved = [k for k, piece in enumerate(stepped) if np.iscomplexobj(piece.corners)]
        if moved:
            # All corners in one: (sizes, corners, 3), and by what the sizes follow.
            ways = np.concatenate([np.imag(stepped[k].corners) for k in moved], axis=-2)
            ways = ((ways / STEP) @ turn.T).reshape(len(names), -1)
            swells = (ways.T @ gains).reshape(-1, 3, gains.shape[1])
            ends = np.cumsum([stepped[k].corners.shape[-2] for k in moved])[:-1]
            for k, swell in zip(moved, np.split(swells, ends), strict=True):
                swollen[k] = swell
    return [
        (
            piece.component,
            MovingPiece(
                corners=at,
                origin=shift,
                axes=turn,
                shift=placement.shift_gain,
                turn=placement.turn_gain,
                null_shift=placement.shift_null,
                null_turn=placement.turn_null,
                swell=swell,
            ),
        )
        for piece, at, swell in zip(pieces, placed, swollen, strict=True)
    ]
