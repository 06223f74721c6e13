"""How far parts may stray: against each other, by turning, and by their own sizes."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bends import Bends
from noseroom.geometry.separation import MovingPiece, Uncertainty
from noseroom.layout import PlacedPart
from noseroom.survey.solution import Placement

Floats = NDArray[np.float64]

_TIED = ("belt", "hose", "made bracket", "tried part")
_FELT = 1e-12
_NULL_MM = 1e-6


@dataclass(frozen=True, eq=False)
class Outline:
    """What the checks ask of one part again and again.

    swell: (3,) mm, how far its own sizes may move its surface along each vehicle axis. corners:
    (8, 3) mm, of a box that holds it whatever its sizes. felt: (s,), which sources move it. warp:
    see `warp_mm`.
    """

    swell: Floats
    corners: Floats
    felt: NDArray[np.bool_]
    warp: Mapping[str, float]


def outline(part: PlacedPart, sure: Uncertainty) -> Outline:
    """The outline of a part that has components."""
    pieces = [piece for alternatives in part.moving.values() for piece in alternatives[0]]
    swell = swelling(pieces, sure)
    ends = box_of(pieces) + np.array([-swell, swell])
    return Outline(swell, box_corners(ends), felt_by(part, pieces), warp_mm(part, sure))


def stations_of(part: PlacedPart) -> tuple[str, ...]:
    """The stations of the survey that its placements move with, in their order."""
    return part.ties if part.kind in _TIED else (part.name,)


def relative_sway_mm(a: PlacedPart, b: PlacedPart, sure: Uncertainty, bends: Bends) -> float:
    """How far at most a point of b is from where it is drawn, seen from a; inf: not known.

    Or of a seen from b, whichever is less: either bounds what their gap may lose. What both share
    (the engine that carries them) drops out. A rigid movement is linear in the point that it moves,
    so that over a box the largest is at a corner.
    """
    return sway_mm(a, outline(a, sure), b, outline(b, sure), sure, bends)


def sway_mm(
    a: PlacedPart, mine: Outline, b: PlacedPart, theirs: Outline, sure: Uncertainty, bends: Bends
) -> float:
    """`relative_sway_mm` of parts whose outlines are at hand."""
    if adrift(a, mine, b, theirs):
        return float("inf")
    both = ((a, mine), (b, theirs))
    least = min(_seen_from_mm(a, both, sure, bends), _seen_from_mm(b, both, sure, bends))
    sizes = sum(
        float(np.sqrt(one.swell @ one.swell)) + max(one.warp.values(), default=0.0)
        for one in (mine, theirs)
    )
    turn = turning(a, b, sure)
    # A corner that a size moves is carried by the turn too.
    return least + sizes * (1.0 + float(np.sqrt(turn @ turn))) + a.slack_mm + b.slack_mm


def bent_mm(a: PlacedPart, mine: Outline, b: PlacedPart, theirs: Outline, bends: Bends) -> float:
    """How much of `sway_mm` is of second order in what readings do to the two."""
    both = ((a, mine), (b, theirs))

    def seen_from(holder: PlacedPart) -> float:
        frame = stations_of(holder)[0]
        return sum(
            max(
                float(np.linalg.norm(bends.most_mm(frame, station, one.corners)))
                for station in stations_of(part)
            )
            for part, one in both
        )

    return min(seen_from(a), seen_from(b))


def adrift(a: PlacedPart, mine: Outline, b: PlacedPart, theirs: Outline) -> bool:
    """Whether nothing fixes some part of how two parts stand to each other."""
    corners = np.concatenate([mine.corners, theirs.corners])
    nulls = [
        _against(other, one, corners, null=True) for one in a.placements for other in b.placements
    ]
    return any(null.size > 0 and float(np.abs(null).max()) > _NULL_MM for null in nulls)


def _seen_from_mm(
    holder: PlacedPart,
    parts: Sequence[tuple[PlacedPart, Outline]],
    sure: Uncertainty,
    bends: Bends,
) -> float:
    """How far corners of both parts stray, added, in a frame that moves with the holder.

    Where the holder moves in several ways (a belt), the frame moves with the first.
    """
    one, frame = holder.placements[0], stations_of(holder)[0]
    total = 0.0
    for part, mine in parts:
        largest = 0.0
        for other, station in zip(part.placements, stations_of(part), strict=True):
            if other is one:
                continue
            moves = _against(other, one, mine.corners)
            size = float(np.sqrt((sure.spread(moves) ** 2).sum(axis=1)).max())
            bend = bends.most_mm(frame, station, mine.corners)
            largest = max(largest, size + float(np.sqrt(bend @ bend)))
        total += largest
    return total


def _against(one: Placement, other: Placement, points: Floats, *, null: bool = False) -> Floats:
    """Movement (k, 3, s) of points (k, 3) on one placement, seen from another."""
    mine = (one.shift_null, one.turn_null) if null else (one.shift_gain, one.turn_gain)
    theirs = (other.shift_null, other.turn_null) if null else (other.shift_gain, other.turn_gain)
    return _rigid(*mine, points - one.pose.shift) - _rigid(*theirs, points - other.pose.shift)


def _rigid(shift: Floats, turn: Floats, arms: Floats) -> Floats:
    """Movement (k, 3, s) of points at arms (k, 3) from the origin."""
    return np.asarray(
        shift[None] + np.cross(turn.T[None], arms[:, None, :], axis=-1).transpose(0, 2, 1)
    )


def turning(a: PlacedPart, b: PlacedPart, sure: Uncertainty) -> Floats:
    """How far at most one part turns against the other, rad about each vehicle axis: (3,)."""
    turns = [sure.spread(x.turn_gain - y.turn_gain) for x in a.placements for y in b.placements]
    return np.asarray(np.max(turns, axis=0))


def swelling(pieces: Sequence[MovingPiece], sure: Uncertainty) -> Floats:
    """How far sizes may move the corners of some pieces, mm along each vehicle axis: (3,)."""
    swells = [piece.swell for piece in pieces if piece.swell is not None]
    if not swells:
        return np.zeros(3)
    return np.asarray(sure.spread(np.concatenate(swells)).max(axis=0))


def warp_mm(part: PlacedPart, sure: Uncertainty) -> dict[str, float]:
    """How far corners at the ends of sizes are from their linear forms, by component, mm.

    Nearly all corners follow their sizes linearly; a lug on a tangent does not quite. Both ends of
    every size are tried, one size at a time, and what they leave is added.
    """
    placement = part.placements[0]
    sizes = {
        name: float(sure.spread(placement.size_gain[size.key]))
        for name, size in part.part.sizes().items()
        if size.key in placement.size_gain
    }
    sizes = {name: reach for name, reach in sizes.items() if reach > 0}
    if not sizes:
        return {}
    ends = np.diag(list(sizes.values()))
    steps = np.concatenate([ends, -ends]).T
    tried = {name: getattr(part.part, name) + step for name, step in zip(sizes, steps, strict=True)}
    found: dict[str, float] = {}
    moved = dataclasses.replace(part.part, **tried).pieces()
    for piece, still in zip(moved, part.pieces, strict=True):
        if piece.corners.ndim == 3:
            up, down = np.split(piece.corners - still.corners, 2)
            left = float((np.sqrt(((up + down) ** 2).sum(axis=-1)).max(axis=-1) / 2).sum())
            found[piece.component] = max(found.get(piece.component, 0.0), left)
    return found


def box_of(pieces: Sequence[MovingPiece]) -> Floats:
    """The box of some pieces as adjusted, (2, 3) mm."""
    boxes = np.array([piece.box for piece in pieces])
    return np.array([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])


def box_corners(ends: Floats) -> Floats:
    """Corners (8, 3) of a box (2, 3)."""
    return np.array([[ends[i, 0], ends[j, 1], ends[k, 2]] for i, j, k in np.ndindex(2, 2, 2)])


def felt_by(part: PlacedPart, pieces: Sequence[MovingPiece]) -> NDArray[np.bool_]:
    """Which sources move a part at all, (s,)."""
    moved = np.zeros(part.placements[0].shift_gain.shape[1], dtype=bool)
    for one in part.placements:
        moved |= (np.abs(one.shift_gain) > _FELT).any(axis=0)
        moved |= (np.abs(one.turn_gain) > _FELT).any(axis=0)
    for piece in pieces:
        if piece.swell is not None:
            moved |= (np.abs(piece.swell) > _FELT).any(axis=(0, 1))
    return moved
