"""The layout: adjusted poses and sizes make placed parts, in groups that move together."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import count
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from noseroom.envelope.model import Envelope, PartEntry, Sentence
from noseroom.errors import SurveyError
from noseroom.fingerprints import fingerprint
from noseroom.geometry.pieces import Piece
from noseroom.geometry.separation import MovingPiece, Uncertainty
from noseroom.memo import Memo
from noseroom.parts.base import Part, Port
from noseroom.parts.hose import ON_PORT, Hose
from noseroom.parts.placed import STEP, measured_sizes, placed_pieces
from noseroom.parts.registry import PARTS
from noseroom.parts.runs import belt_circles, belt_feature, belt_lead_mm, hose_run
from noseroom.parts.scan import ScannedPart, ScanShape
from noseroom.survey.near import solve_near
from noseroom.survey.network import Station
from noseroom.survey.solution import Placement, Survey, solve
from noseroom.threads import one_thread

if TYPE_CHECKING:
    import cadquery as cq

Floats = NDArray[np.float64]

GROUPS = ("body", "engine", "fan and hub")
UNPLACED = "place not known"
_DERIVED = ("belt", "hose")
_NO_SHAPES: Mapping[str, ScanShape] = MappingProxyType({})


@dataclass(frozen=True, eq=False)
class PlacedPart:
    """One part where it stands.

    part: with its adjusted sizes. placements: its own; a belt or hose has one for each thing that
    it is tied to, and moves as any of them may. slack_mm: what else may displace its surface.
    """

    name: str
    kind: str
    part: Part
    entry: PartEntry
    group: str
    carrier: str
    ties: tuple[str, ...]
    placements: tuple[Placement, ...]
    slack_mm: float = 0.0

    @property
    def pose(self) -> Floats:
        """(4, 4), local to vehicle frame, mm."""
        return self.placements[0].pose.matrix

    @property
    def known(self) -> bool:
        """Whether its place is known at all."""
        return all(one.known for one in self.placements)

    @property
    def unplaced(self) -> bool:
        """Whether nobody has said anything of where it goes, or where its far end does."""
        if isinstance(self.part, Hose):
            return self.part.on_ports < len(self.ties)
        return not self.known and not self.entry.place and self.kind not in _DERIVED

    @property
    def shelf(self) -> str:
        """The group it is shown and exported in: what has no known place stands apart."""
        return self.group if self.known else UNPLACED

    @cached_property
    def components(self) -> tuple[str, ...]:
        """Names of its components, in the order of its pieces."""
        memo: Memo | None = vars(self).get("_memo")
        if memo is None:
            return tuple(self.moving)
        return memo.get(("components", fingerprint(self.part)), self._named)

    def _named(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(piece.component for piece in self.pieces))

    @cached_property
    def pieces(self) -> tuple[Piece, ...]:
        """Its pieces on the part itself."""
        return self.part.pieces()

    @property
    def ghosts(self) -> tuple[str, ...]:
        """Components that are no metal: swept space, and space that a scan did not see."""
        return (*self.part.sweeps(), *self.part.unseen())

    @cached_property
    def moving(self) -> Mapping[str, tuple[tuple[MovingPiece, ...], ...]]:
        """Placed pieces by component, one tuple for each placement."""
        memo: Memo | None = vars(self).get("_memo")
        return self._placed_anew() if memo is None else self._recalled(memo)

    def _placed_anew(self) -> Mapping[str, tuple[tuple[MovingPiece, ...], ...]]:
        found: dict[str, list[tuple[MovingPiece, ...]]] = {}
        for placement in self.placements:
            made: dict[str, list[MovingPiece]] = {}
            for component, piece in placed_pieces(self.part, self.pieces, placement):
                made.setdefault(component, []).append(piece)
            for component, pieces in made.items():
                found.setdefault(component, []).append(tuple(pieces))
        return {component: tuple(pieces) for component, pieces in found.items()}

    def recall(self, memo: Memo) -> None:
        """Take its placed pieces from a memo, where it stands there as it stands here."""
        vars(self)["_memo"] = memo

    def _recalled(self, memo: Memo) -> Mapping[str, tuple[tuple[MovingPiece, ...], ...]]:
        ways = [(*one.gains, *one.nulls, one.pose, list(one.size_gain)) for one in self.placements]
        return memo.get(fingerprint("moving", self.part, ways), self._placed_anew)

    def port(self, name: str) -> Port | None:
        """A port in the vehicle frame, or None where it has no such port."""
        local = self.part.ports().get(name)
        if local is None:
            return None
        pose = self.pose
        return Port(
            pose[:3, :3] @ local.point + pose[:3, 3], pose[:3, :3] @ local.direction, local.bore_mm
        )

    def touch_point(self, feature: str, spot: str = "") -> tuple[Floats, Floats, Floats]:
        """Where a feature's spot is and how it moves.

        Returns its point (3,) mm and direction (3,) in the vehicle frame, and (3, s) mm how the
        point moves per unit of each source.
        """
        placement = self.placements[0]
        turn = placement.pose.turn
        one = self.part.features()[feature]
        point = turn @ np.asarray(one.at(spot), dtype=float)
        moves = placement.shift_gain - np.cross(point, placement.turn_gain, axis=0)
        keys = measured_sizes(self.part)
        # All sizes at once, each a state of its own.
        steps = {
            name: getattr(self.part, name) + 1j * STEP * (np.arange(len(keys)) == k)
            for k, name in enumerate(keys)
        }
        moved = np.asarray(dataclasses.replace(self.part, **steps).features()[feature].at(spot))
        local = np.broadcast_to(np.imag(moved) / STEP, (len(keys), 3))
        for key, way in zip(keys.values(), local, strict=True):
            if way.any():
                moves = moves + np.outer(turn @ way, placement.size_gain[key])
        return point + placement.pose.shift, turn @ np.asarray(one.direction, dtype=float), moves


@dataclass(frozen=True, eq=False)
class Layout:
    """The whole nose: placed parts by name, and what is uncertain about it.

    left_out: parts that are not fitted, and belts and hoses that need one of those.
    """

    envelope: Envelope
    survey: Survey
    parts: Mapping[str, PlacedPart]
    left_out: tuple[str, ...]

    @cached_property
    def uncertainty(self) -> Uncertainty:
        """Deviations and reaches of the survey's sources."""
        return Uncertainty(self.survey.deviations, self.survey.reaches)

    def meant_to_touch(self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str) -> bool:
        """Whether two components are joined: bolted, clamped, or running on each other.

        What the file joins is, as a whole. Else a part's own declaration counts towards what
        carries it, what it names (a belt its pulleys) and what shares its shaft (a fan is bolted
        through the pulley onto the hub).
        """
        return _joined(a, mine, b, theirs) or _joined(b, theirs, a, mine)

    def joined(self, a: PlacedPart, b: PlacedPart) -> bool:
        """Whether the file says that two parts are joined, or touch."""
        return b.name in a.entry.joined or a.name in b.entry.joined

    def assembly(self) -> cq.Assembly:
        """Nested and named: nose > group > part > component, in mm, in the vehicle frame."""
        import cadquery as cq

        from noseroom.geometry.kernel import location

        metal = {
            name: {k: v for k, v in one.part.solids().items() if k not in one.ghosts}
            for name, one in self.parts.items()
        }
        # In one assembly a name may stand once. A part keeps its own; what is above it gives way.
        names = _Names(name for name, solids in metal.items() if solids)
        nose = cq.Assembly(name=names.free("nose"))
        for group in (*GROUPS, UNPLACED):
            members = [one for one in self.parts.values() if one.shelf == group]
            if not members:
                continue
            level = cq.Assembly(name=names.free(group))
            for one in members:
                if not metal[one.name]:
                    continue
                colour = cq.Color(one.part.about.colour)
                inner = cq.Assembly(name=one.name, loc=location(one.pose))
                for component, solid in metal[one.name].items():
                    name = names.free(f"{one.name}: {component}")
                    inner.add(solid, name=name, color=colour)
                level.add(inner)
            nose.add(level)
        return nose


class _Names:
    """Names that are free beside those that are taken."""

    def __init__(self, taken: Iterable[str]) -> None:
        self._taken = set(taken)

    def free(self, name: str) -> str:
        """The name itself, or with the first number that makes it free: "engine (2)"."""
        numbered = (name if number == 1 else f"{name} ({number})" for number in count(1))
        found = next(one for one in numbered if one not in self._taken)
        self._taken.add(found)
        return found


def _joined(a: PlacedPart, mine: str, b: PlacedPart, theirs: str) -> bool:
    if b.name in a.entry.joined:
        # What is swept is no metal: nothing is bolted to it. How deep metal goes is looked at.
        return mine not in a.part.sweeps() and theirs not in b.part.sweeps()
    shaft = a.carrier != "" and a.carrier == b.carrier and a.entry.kind == "fan"
    if mine in ON_PORT and b.name != a.ties[ON_PORT.index(mine)]:
        return False
    if b.name != a.carrier and b.name not in a.ties and not (shaft and b.entry.kind == "pulley"):
        return False
    return any(
        own in ("*", mine) and (shaft or other in ("*", theirs))
        for own, other in a.part.about.touches
    )


def arrange(
    envelope: Envelope,
    shapes: Mapping[str, ScanShape] = _NO_SHAPES,
    near: Layout | None = None,
) -> Layout:
    """Adjust the readings of an envelope and place every fitted part.

    shapes: what was read of the fitted scans, by name. near: a layout of nearly the same nose, from
    which to begin; see `solve_near`.
    Raises SurveyError, with lines, where the readings cannot be adjusted.
    """
    fitted = {name: entry for name, entry in envelope.parts.items() if entry.fitted}
    stations, sentences = network_of(envelope, fitted, shapes)
    with one_thread():
        survey = None if near is None else solve_near(stations, sentences, near.survey)
        if survey is None:
            survey = solve(stations, sentences)
    placed: dict[str, PlacedPart] = {}
    for name, entry in fitted.items():
        if entry.kind not in _DERIVED:
            placed[name] = _place(entry, survey, fitted, shapes)
    for name, entry in fitted.items():
        if entry.kind in _DERIVED:
            one = place_derived(entry, placed, fitted)
            if one is not None:
                placed[name] = one
    return Layout(
        envelope,
        survey,
        {name: placed[name] for name in fitted if name in placed},
        tuple(name for name in envelope.parts if name not in placed),
    )


def network_of(
    envelope: Envelope,
    fitted: Mapping[str, PartEntry],
    shapes: Mapping[str, ScanShape] = _NO_SHAPES,
) -> tuple[list[Station], list[Sentence]]:
    """Stations and sentences of the fitted parts. The datum part defines the vehicle frame."""
    stations: list[Station] = []
    sentences: list[Sentence] = []
    for name, entry in fitted.items():
        if entry.kind in _DERIVED:
            continue
        about = PARTS[entry.kind].about
        freedom = about.freedom
        carrier = entry.carrier if entry.carrier in fitted else ""
        if name == envelope.datum:
            freedom, carrier = "fixed", ""
        elif (freedom == "fixed" and not carrier) or (freedom == "on axis" and not carrier):
            freedom = "placed"
        measured = {key: size for key, size in entry.sizes.items() if _is_measured(entry, key)}
        stations.append(
            Station(
                name=name,
                carrier=carrier,
                freedom=freedom,
                start=np.array(about.start_mm if name != envelope.datum else (0.0, 0.0, 0.0)),
                sizes=measured,
                constants={k: s.value for k, s in entry.sizes.items() if k not in measured},
                features=_feature_maker(entry, shapes.get(name)),
                line=entry.line,
            )
        )
        sentences += entry.place
        sentences += () if name == envelope.datum else entry.assumed
    return stations, sentences


def _is_measured(entry: PartEntry, key: str) -> bool:
    return any(
        size.key == key and size.measure != "count" for size in PARTS[entry.kind].sizes().values()
    )


def _feature_maker(entry: PartEntry, shape: ScanShape | None) -> Any:
    kind, choices = PARTS[entry.kind], dict(entry.choices)
    if shape is not None:
        landmarks = ScannedPart(shape=shape).features()
        return lambda sizes: landmarks
    return lambda sizes: kind.from_file(sizes, choices).features()


def _group(entry: PartEntry, fitted: Mapping[str, PartEntry]) -> str:
    """What it moves with: its carriers decide, up to the first whose kind has its own group."""
    seen: set[str] = set()
    here: PartEntry | None = entry
    while here is not None and here.name not in seen:
        seen.add(here.name)
        group = PARTS[here.kind].about.group
        if group == "fan":
            return "fan and hub"
        if group == "engine":
            return "engine"
        here = fitted.get(here.carrier)
    return "body"


def _place(
    entry: PartEntry,
    survey: Survey,
    fitted: Mapping[str, PartEntry],
    shapes: Mapping[str, ScanShape],
) -> PlacedPart:
    placement = survey.placements[entry.name].settled()
    values = {key: size.value for key, size in entry.sizes.items()} | dict(placement.sizes)
    ties = tuple(name for names in entry.references.values() for name in names)
    part = PARTS[entry.kind].from_file(values, entry.choices)
    slack_mm = 0.0
    if isinstance(part, ScannedPart):
        part = dataclasses.replace(part, shape=shapes.get(entry.name))
        slack_mm = part.slack_mm + sum(size.half_width for size in entry.sizes.values())
    return PlacedPart(
        name=entry.name,
        kind=entry.kind,
        part=part,
        entry=entry,
        group=_group(entry, fitted),
        carrier=entry.carrier,
        ties=tuple(name.split(".")[0] for name in ties),
        placements=(placement,),
        slack_mm=slack_mm,
    )


def place_derived(
    entry: PartEntry, placed: Mapping[str, PlacedPart], fitted: Mapping[str, PartEntry]
) -> PlacedPart | None:
    """A belt or hose from what it runs between; None where some of that is not there."""
    values = {key: size.value for key, size in entry.sizes.items()}
    part = PARTS[entry.kind].from_file(values, entry.choices)
    names = [name for given in entry.references.values() for name in given]
    lead_mm, filled = 0.0, dict[str, Any]()
    if entry.kind == "belt":
        over = entry.references["over"]
        ends = [placed[name] for name in over if name in placed]
        if len(ends) < 2:
            return None
        # The belt is drawn in x = 0 of its first pulley: a belt circle that lies there goes first.
        flat = [not abs(one.part.features()[belt_feature(one.part)].point[0]) > 0 for one in ends]
        first = flat.index(True) if True in flat else 0
        ends = [*ends[first:], *ends[:first]]
        pulleys = [(one.part, one.pose) for one in ends]
        behind = entry.references.get("back on", ())
        filled["back"] = tuple(one.name in behind for one in ends) if behind else ()
        proud = entry.sizes["proud"]
        filled["run"] = belt_circles(pulleys, filled["back"], float(values["proud"]))
        lead_mm = belt_lead_mm(pulleys) + (proud.half_width if behind else 0.0)
    else:
        pairs = [name.split(".", 1) for name in names]
        ends = [placed[name] for name, _ in pairs if name in placed]
        if not ends or pairs[0][0] not in placed:
            return None
        ports = [_port(placed[name], port, entry) for name, port in pairs if name in placed]
        if not all(one.known for one in ends):
            # A path to a place that nobody knows would be made up: only its first end is drawn.
            ports = ports[:1]
        filled["run"] = hose_run(ports, float(values["stub"]), ends[0].pose)
        filled["on_ports"] = len(ports)
    return PlacedPart(
        name=entry.name,
        kind=entry.kind,
        part=dataclasses.replace(part, **filled),
        entry=entry,
        group=_group(fitted[ends[0].name], fitted),
        carrier=ends[0].name,
        ties=tuple(one.name for one in ends),
        placements=tuple(_tied(entry.name, ends[0], one) for one in ends),
        slack_mm=_size_slack(part, entry) + max(_radius_slack(one) for one in ends) + lead_mm,
    )


def _port(part: PlacedPart, name: str, hose: PartEntry) -> Port:
    port = part.port(name)
    if port is None:
        there = ", ".join(part.part.ports()) or "none"
        raise SurveyError(
            f"{hose.name}: the {part.name} has no port {name!r}; it has {there}",
            lines=(hose.line,),
        )
    return port


def _tied(name: str, first: PlacedPart, end: PlacedPart) -> Placement:
    """A placement in the first end's frame that moves as another end does."""
    here, there = first.placements[0], end.placements[0]
    lever = (here.pose.shift - there.pose.shift)[:, None]
    return dataclasses.replace(
        there,
        name=name,
        pose=here.pose,
        shift_gain=there.shift_gain + np.cross(there.turn_gain, lever, axis=0),
        shift_null=there.shift_null + np.cross(there.turn_null, lever, axis=0),
        sizes={},
        size_gain={},
    )


def _size_slack(part: Part, entry: PartEntry) -> float:
    """How far a belt's or hose's own sizes may displace its surface, all at their worst, mm."""
    bounds = part.movement_bounds() if part.pieces() else {}
    keys = measured_sizes(part)
    return sum(bound * entry.sizes[keys[name]].half_width for name, bound in bounds.items())


def _radius_slack(end: PlacedPart) -> float:
    """How far a pulley's diameter may displace the belt on it, mm."""
    return max(
        (s.half_width / 2 for key, s in end.entry.sizes.items() if key.endswith("diameter")),
        default=0.0,
    )
