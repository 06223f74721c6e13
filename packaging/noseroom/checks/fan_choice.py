"""Which electric fan: sizes as they are sold, behind the radiator or before the condenser.

Behind it stands in place of the engine's fan, in a plate that covers what it draws on; before the
condenser it helps the one that is there, and stands in the way of the air when the car moves. An
electric fan may start with the engine off: disconnect it before hands go near.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from types import MappingProxyType

import numpy as np

from noseroom.checks.air_faces import Faces, faces_of
from noseroom.checks.condenser_choice import Progress
from noseroom.checks.condenser_choice_air import Judge, Tried
from noseroom.checks.condenser_choice_places import (
    TRIED,
    carried_by,
    core_half_mm,
    shifted_placement,
    stood,
)
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.model import PartEntry
from noseroom.findings import Verdict
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.electric_fan import ElectricFan
from noseroom.parts.fan import Fan
from noseroom.parts.radiator import Radiator
from noseroom.physics.ranges import Floats
from noseroom.tables.system_sizes import FanSize, fan_sizes
from noseroom.units import inches_to_mm

__all__ = ["AHEAD", "BEHIND", "FanChoice", "FanTrial", "choose_fan"]

BEHIND, AHEAD = "behind", "in front"
_SLACK_MM = 6.0
"""By how much a fan as it is sold may be larger or deeper than the table has it, from memory."""
_USUAL: Mapping[str, float] = MappingProxyType(
    {"motor": 100.0, "gap": 4.0, "ring": 6.0, "plate": 4.0, "beyond": 8.0}
)
_STEPS = (-1.0, -0.5, 0.0, 0.5, 1.0)
_ONTO_MM = 12.0
"""A plate may lap that far onto tanks or headers, common practice."""
_WITH_AN = (8.0, 11.0, 18.0)
_SAT_ON = frozenset({"core", "tanks", "headers"})


@dataclass(frozen=True, slots=True)
class FanTrial:
    """A size in a place. across_mm, up_mm: its middle from that of the core that it sits on.

    verdict: at rest, on all pairs; by: the part that decides it, "" for none. tried: None where it
    fouls; its amps are what the nose then takes more than it does as the file has it.
    """

    where: str
    diameter_in: float
    number: int
    depth_mm: float
    across_mm: float
    up_mm: float
    verdict: Verdict
    by: str
    tried: Tried | None

    @property
    def name(self) -> str:
        """As in "two 11 in fans behind the radiator"."""
        one = "an" if self.diameter_in in _WITH_AN else "a"
        what = "{} {:g} in fan{}".format(
            one if self.number == 1 else "two", self.diameter_in, "s" if self.number > 1 else ""
        )
        return f"{what} {'behind the radiator' if self.where == BEHIND else 'before the condenser'}"


@dataclass(frozen=True, slots=True)
class FanChoice:
    """All sizes in both places: those that keep the rules first, the best before the rest.

    left_off: the engine's fans, which have to come off for one behind. too_large: sizes by name
    that are larger than what they would sit on.
    """

    trials: tuple[FanTrial, ...]
    as_read: Tried
    left_off: tuple[str, ...]
    too_large: tuple[str, ...]
    line: int

    @property
    def fitting(self) -> tuple[FanTrial, ...]:
        """Those that keep every rule, best first."""
        return tuple(one for one in self.trials if one.verdict is Verdict.FITS)


def choose_fan(
    pairs: Pairs,
    rules: Rules,
    judge: Judge,
    as_read: Tried,
    progress: Progress | None = None,
    sizes: Sequence[FanSize] | None = None,
) -> FanChoice | None:
    """Every size in both places; None for a nose without a radiator whose place is known.

    judge: what a layout comes to, see `condenser_choice_air`.
    """
    layout = pairs.layout
    faces = faces_of(layout)
    if faces is None:
        return None
    each = fan_sizes() if sizes is None else sizes
    seats = [_Seat.behind(layout, faces)]
    if faces.condenser is not None:
        seats.append(_Seat.ahead(layout, faces, faces.condenser))
    found: dict[str, tuple[FanTrial, Layout]] = {}
    large: list[str] = []
    for done, (seat, size) in enumerate(product(seats, each)):
        trial, nose = seat.tried(pairs, rules, size)
        if nose is None:
            large.append(trial.name)
        else:
            found[trial.name] = trial, nose
        if progress is not None:
            progress(done + 1, len(seats) * len(each), f"fan, {trial.name}")
    open_ = {name: nose for name, (one, nose) in found.items() if one.verdict is not Verdict.FOULS}
    judged = judge(open_)
    trials = [replace(one, tried=judged.get(name)) for name, (one, _) in found.items()]
    off = tuple(name for name in seats[0].gone if isinstance(layout.parts[name].part, Fan))
    line = faces.radiator.entry.line
    return FanChoice(tuple(sorted(trials, key=_order)), as_read, off, tuple(large), line)


def _order(one: FanTrial) -> tuple[object, ...]:
    rank = one.tried.rank if one.tried is not None else (0.0, 0.0, 0.0, 0.0)
    return -one.verdict.rank, *rank, one.number, one.diameter_in, one.where


@dataclass(frozen=True, eq=False)
class _Seat:
    """Where fans would sit.

    host: what carries them; half: half its core's width and height; at: x of the core's face that
    they go on, in its own frame, mm. gone: what comes off.
    """

    where: str
    host: PlacedPart
    half: tuple[float, float]
    at: float
    gone: frozenset[str]

    @staticmethod
    def behind(layout: Layout, faces: Faces) -> _Seat:
        """On the radiator's rear face; what draws there now comes off, with its shroud."""
        host = faces.radiator
        part = host.part
        assert isinstance(part, Radiator)
        gone = {one.name for one in faces.fans if one.way == BEHIND}
        gone |= {one.name for one in layout.parts.values() if one.kind in ("shroud", "spacer")}
        more = (carried_by(layout, name) for name in list(gone))
        return _Seat(
            BEHIND,
            host,
            core_half_mm(host),
            part.core_thickness_mm,
            frozenset(gone.union(*more)),
        )

    @staticmethod
    def ahead(layout: Layout, faces: Faces, host: PlacedPart) -> _Seat:
        """On the condenser's front face; what blows there now comes off."""
        gone = {one.name for one in faces.fans if one.way == AHEAD}
        return _Seat(AHEAD, host, core_half_mm(host), 0.0, frozenset(gone))

    def tried(self, pairs: Pairs, rules: Rules, size: FanSize) -> tuple[FanTrial, Layout | None]:
        """A size, in the first place where it keeps the rules; no layout where it is too large."""
        fan = _fan(self.where, size)
        trial = FanTrial(
            where=self.where,
            diameter_in=size.diameter_in,
            number=size.number,
            depth_mm=size.depth_mm,
            across_mm=0.0,
            up_mm=0.0,
            verdict=Verdict.FOULS,
            by=self.host.name,
            tried=None,
        )
        places = list(self._places(fan))
        if not places:
            return trial, None
        layout = pairs.layout
        name = _free(layout, f"{size.diameter_in:g} in fan")
        made = (self._there(name, fan, place) for place in places)
        seat = {(self.host.name, one) for one in _SAT_ON}
        found = stood(pairs, rules, made, self.gone, frozenset(seat))
        assert found is not None
        host = self.host.placements[0].pose
        at = host.turn.T @ (found.part.placements[0].pose.shift - host.shift)
        parts = {key: one for key, one in found.layout.parts.items() if key not in self.gone}
        return (
            replace(
                trial,
                across_mm=round(float(at[1]), 3) + 0.0,
                up_mm=round(float(at[2]), 3) + 0.0,
                verdict=found.verdict,
                by=found.by,
            ),
            replace(found.layout, parts=parts),
        )

    def _places(self, fan: ElectricFan) -> Iterator[Floats]:
        """Middles (3,) in the host's frame: the core's own, then towards its edges and corners.

        The plate stays on the core, but for a narrow lap.
        """
        wide, high = _plate(fan)
        room = [mine + _ONTO_MM - its for mine, its in zip(self.half, (wide, high), strict=True)]
        if min(room) < 0:
            return
        x = self.at if self.where == BEHIND else self.at - fan.depth_mm
        ways = [sorted({share * one for share in _STEPS}, key=abs) for one in room]
        spots = [np.array([x, y, z]) for y, z in product(*ways)]
        yield from sorted(spots, key=lambda one: float(np.hypot(one[1], one[2])))

    def _there(self, name: str, fan: ElectricFan, at: Floats) -> PlacedPart:
        """The fan on its seat, as sure as what carries it."""
        entry = PartEntry(
            name=name,
            kind="electric fan",
            line=0,
            sizes={},
            choices={"mounting": fan.mounting, "number": fan.number},
            texts={},
            references={},
            carrier=self.host.name,
            place=(),
            assumed=(),
            bought=False,
        )
        return PlacedPart(
            name=name,
            kind=TRIED,
            part=fan,
            entry=entry,
            group="body",
            carrier=self.host.name,
            ties=(self.host.name,),
            placements=(shifted_placement(self.host.placements[0], name, at),),
            slack_mm=_SLACK_MM,
        )


def _fan(where: str, size: FanSize) -> ElectricFan:
    return ElectricFan(
        mounting=where,
        number="single" if size.number == 1 else "twin",
        diameter_mm=inches_to_mm(size.diameter_in),
        depth_mm=size.frame_mm,
        motor_depth_mm=size.depth_mm - size.frame_mm,
        motor_diameter_mm=_USUAL["motor"],
        tip_gap_mm=_USUAL["gap"],
        ring_mm=_USUAL["ring"],
        plate_mm=_USUAL["plate"],
        beyond_mm=_USUAL["beyond"],
        hole_mm=6.0,
        inset_mm=12.0,
        set_back_mm=4.0,
        between_mm=6.0,
    )


def _plate(fan: ElectricFan) -> tuple[float, float]:
    """Half the width and height of its plate."""
    corners = np.concatenate(
        [
            np.real(piece.corners).reshape(-1, 3)
            for piece in fan.pieces()
            if piece.component == "frame"
        ]
    )
    return float(corners[:, 1].max()), float(corners[:, 2].max())


def _free(layout: Layout, name: str) -> str:
    return name if name not in layout.parts else _free(layout, f"new {name}")
