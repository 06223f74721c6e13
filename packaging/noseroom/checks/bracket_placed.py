"""A made bracket among the parts of the nose: where it stands, and what it moves with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bracket_job import Candidate
from noseroom.fingerprints import fingerprint
from noseroom.geometry.separation import MovingPiece
from noseroom.geometry.sheet_hulls import folded_hulls, hulls_by_piece
from noseroom.layout import PlacedPart
from noseroom.parts.made_bracket import PLATE, MadeBracket, home_of
from noseroom.survey.poses import Pose
from noseroom.survey.solution import Placement

Floats = NDArray[np.float64]
Held = Literal["", "rail", "tab"]
_FELT = 1e-12


@dataclass(frozen=True, eq=False)
class PlacedBracket(PlacedPart):
    """A bracket bolted between two parts: any of its points moves with one, or as both may."""

    plates: tuple[tuple[MovingPiece, ...], ...] = field(default_factory=tuple)

    @cached_property
    def components(self) -> tuple[str, ...]:
        """Its sheet."""
        return (PLATE,)

    @cached_property
    def moving(self) -> Mapping[str, tuple[tuple[MovingPiece, ...], ...]]:
        """Its pieces as the rail moves them, and as the tab does."""
        return {PLATE: self.plates}


def placed_bracket(
    name: str, made: Candidate, rail_moves: Floats, held: Held = ""
) -> PlacedBracket:
    """The part that a candidate makes, tied to the core support and to the tab's part.

    rail_moves: (3, s) mm, how the hole in the face follows the sources. held: "rail" or "tab" where
    it moves with one of them alone, as it does seen from a bolt there.
    """
    host, tab = made.job.face.host, made.job.site.host
    inverse = np.linalg.inv(host.pose)
    blanks = tuple(blank for blank, _ in made.blanks)
    homes = tuple(home_of(inverse @ home) for _, home in made.blanks)
    tab_point, _, tab_moves = tab.touch_point(made.job.site.feature)
    ends = (
        (host.placements[0], _by_size(host.placements[0], made.rail_at[0], rail_moves)),
        (tab.placements[0], _by_size(tab.placements[0], tab_point, tab_moves)),
    )
    if held == "rail":
        # As the room for a tool does that rides on the face.
        point, _, moves = host.touch_point(made.job.face.feature)
        ends = ((host.placements[0], _by_size(host.placements[0], point, moves)), ends[1])
    if held:
        ends = (ends[0], ends[0]) if held == "rail" else (ends[1], ends[1])
    part = MadeBracket(blanks=blanks, homes=homes, moved=fingerprint(*(by for _, by in ends)))
    ties = (host.name, tab.name)
    if held:
        ties = (host.name, host.name) if held == "rail" else (tab.name, tab.name)
    return PlacedBracket(
        name=name,
        kind=MadeBracket.about.name,
        part=part,
        entry=host.entry,
        group="body",
        carrier=host.name,
        ties=ties,
        placements=tuple(_carried(name, one, host.placements[0].pose) for one, _ in ends),
        plates=tuple(_pieces(made, *ends, tied=number) for number in (0, 1)),
    )


def _by_size(one: Placement, point: Floats, moves: Floats) -> Floats:
    """What of a point's movement is not its part's own: sizes move it on the part; (3, s)."""
    arm = (point - one.pose.shift)[:, None]
    return np.asarray(moves - (one.shift_gain + np.cross(one.turn_gain, arm, axis=0)))


def _carried(name: str, one: Placement, pose: Pose) -> Placement:
    """A placement in the core support's frame that moves as a part does."""
    lever = (pose.shift - one.pose.shift)[:, None]
    return replace(
        one,
        name=name,
        pose=pose,
        shift_gain=one.shift_gain + np.cross(one.turn_gain, lever, axis=0),
        shift_null=one.shift_null + np.cross(one.turn_null, lever, axis=0),
        sizes={},
        size_gain={},
    )


def _pieces(
    made: Candidate,
    rail: tuple[Placement, Floats],
    tab: tuple[Placement, Floats],
    *,
    tied: int,
) -> tuple[MovingPiece, ...]:
    """All pieces as one end moves them.

    What is bolted fast to the tab, by a hole and no slot, moves with the tab alone.
    """
    found = []
    fast = _fast_to_tab(made)
    number = 0
    for blank, home in made.blanks:
        for corners in folded_hulls(blank):
            one, by_size = tab if tied or number in fast else rail
            where = corners @ home[:3, :3].T + home[:3, 3]
            swells = bool((np.abs(by_size) > _FELT).any())
            found.append(
                MovingPiece(
                    corners=where,
                    origin=one.pose.shift,
                    axes=one.pose.turn,
                    shift=one.shift_gain,
                    turn=one.turn_gain,
                    null_shift=one.shift_null,
                    null_turn=one.turn_null,
                    swell=np.broadcast_to(by_size, (len(where), *by_size.shape))
                    if swells
                    else None,
                )
            )
            number += 1
    return tuple(found)


def _fast_to_tab(made: Candidate) -> frozenset[int]:
    """The pieces of the flat that lies on the tab, where that has a round hole."""
    if made.job.take.slot("tab slot") is not None or len(made.blanks) > 1:
        return frozenset()
    counts = [len(some) for some in hulls_by_piece(made.blank)]
    start = sum(counts[: made.tab_flat])
    return frozenset(range(start, start + counts[made.tab_flat]))
