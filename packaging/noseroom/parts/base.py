"""What every part is: frozen sizes, features to measure from, pieces, solids, ports, a look.

A part is a frozen dataclass. Its fields are declared with `length`, `angle`, `share`, `count`,
`choice` and `text`, which carry what the envelope file may say; `kind_of` turns the class into the
record that the file's reader works from. Features and pieces follow the sizes for floats, complex
numbers and batches alike; solids are built by the CAD kernel, only when somebody asks.

Each part's docstring names its datum: the point that is the origin of its local frame, whose axes
lie along the vehicle's (X aft, Y to the car's right, Z up) when the part sits square.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, ClassVar, Literal, Self

import numpy as np
from numpy.typing import NDArray

from noseroom.envelope.kinds import (
    COMMON_PRACTICE,
    Choice,
    FeatureName,
    Group,
    Kind,
    Reference,
    Size,
    Text,
)
from noseroom.geometry.pieces import Piece, sweep_bound
from noseroom.survey.features import Feature

if TYPE_CHECKING:
    import cadquery as cq

_SPOTS: Mapping[str, tuple[str, ...]] = {
    "top": ("top", "bottom"),
    "right": ("left", "right"),
    "rear": ("front", "rear"),
}
_WAYS = (("ahead", "aft"), ("left", "right"), ("below", "above"))
_SQUARE_ON = 0.9
"""A face looks into a direction within 26 degrees of it."""


def length(
    key: str,
    help: str,  # noqa: A002 - the word that a reader expects
    *,
    low: float,
    high: float,
    usual: float | None = None,
    reach: float = 0.0,
    source: str = COMMON_PRACTICE,
    tolerance: float | None = None,
    when: tuple[str, str] | None = None,
    usual_for: tuple[tuple[str, str, float], ...] = (),
) -> Any:
    """Declare a size in mm; see `noseroom.envelope.kinds.Size`."""
    return _size(
        Size(key, "length", help, low, high, usual, reach, source, tolerance, when, usual_for)
    )


def angle(
    key: str,
    help: str,  # noqa: A002
    *,
    low: float,
    high: float,
    usual: float | None = None,
    reach: float = 0.0,
    source: str = COMMON_PRACTICE,
    tolerance: float | None = None,
    when: tuple[str, str] | None = None,
    usual_for: tuple[tuple[str, str, float], ...] = (),
) -> Any:
    """Declare a size in degrees."""
    return _size(
        Size(key, "angle", help, low, high, usual, reach, source, tolerance, when, usual_for)
    )


def count(
    key: str,
    help: str,  # noqa: A002
    *,
    low: int,
    high: int,
    usual: int | None = None,
    when: tuple[str, str] | None = None,
) -> Any:
    """Declare a whole number, such as blades: exact, never adjusted."""
    return _size(Size(key, "count", help, low, high, usual, when=when))


def share(
    key: str,
    help: str,  # noqa: A002
    *,
    low: float,
    high: float,
    usual: float,
    source: str = COMMON_PRACTICE,
) -> Any:
    """Declare a plain number, such as a share of something."""
    return _size(Size(key, "number", help, low, high, usual, source=source))


def choice(key: str, *options: str, help: str) -> Any:  # noqa: A002
    """Declare one of a few words; the first is the usual one."""
    declared = Choice(key, options, help)
    return field(default=options[0], kw_only=True, metadata={"file": declared})


def text(key: str, help: str, *, required: bool = False) -> Any:  # noqa: A002
    """Declare a free text that is kept and shown."""
    return field(default="", kw_only=True, metadata={"file": Text(key, help, required)})


def _size(size: Size) -> Any:
    if size.usual is None:
        return field(kw_only=True, metadata={"file": size})
    return field(default=size.usual, kw_only=True, metadata={"file": size})


_STEP = 1e-30


@dataclass(frozen=True)
class Port:
    """A named mating place: point (3,) mm and outward unit direction (3,), local frame."""

    point: NDArray[np.float64]
    direction: NDArray[np.float64]
    bore_mm: float = 0.0


@dataclass(frozen=True, eq=False)
class Freedom:
    """One way in which a part moves in use, from where it was measured to stand.

    turns: whether it turns about a line (by the right-hand rule) or shifts along it. through,
    along: (3,) mm and (3,), a point and the direction of the line, local frame; all turns of one
    part go through one point. back, forth: keys of the sizes that say how far it goes against
    `along` and with it. back_scale, forth_scale: degrees or mm of the movement for one unit of the
    key's size. more: keys of other sizes, with the mm that each unit of theirs adds either way.
    either: the whole range in words, with {back} and {forth}. said: what it does when it goes back
    and forth, with {} for how far.
    """

    turns: bool
    through: NDArray[np.float64]
    along: NDArray[np.float64]
    back: str
    forth: str
    either: str
    said: tuple[str, str]
    back_scale: float = 1.0
    forth_scale: float = 1.0
    more: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, eq=False)
class Triangles:
    """A surface of triangles: vertices (n, 3) mm, triangles (m, 3) of their numbers.

    deflection_mm: how far the thing that it stands for may be from it.
    """

    vertices: NDArray[np.float64]
    triangles: NDArray[np.int32]
    deflection_mm: float = 0.0


@dataclass(frozen=True)
class About:
    """What a kind of part says of itself besides its sizes; see `noseroom.envelope.kinds.Kind`.

    colour: "#rrggbb". touches: component pairs meant to touch or overlap when this part is carried
    by (or names) the other one, as (own component, the other's component); "*" means any.
    """

    name: str
    help: str
    group: Group
    carried_by: tuple[str, ...]
    colour: str
    freedom: Literal["placed", "on axis", "fixed"] = "placed"
    assumed: tuple[str, ...] = ()
    references: tuple[Reference, ...] = ()
    start_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    also: tuple[str, ...] = ()
    touches: tuple[tuple[str, str], ...] = ()
    points: str = ""
    travels: str = ""


@dataclass(frozen=True, slots=True)
class Odds:
    """Sizes of one part that contradict one another.

    keys: of the sizes, the one to look at first in front. over_mm: by how much. found, wanted: in
    words.
    """

    keys: tuple[str, ...]
    over_mm: float
    found: str
    wanted: str


@dataclass(frozen=True, kw_only=True)
class Part:
    """Base of every part. Subclasses are frozen dataclasses with an `about` of their own."""

    about: ClassVar[About]

    def features(self) -> dict[str, Feature]:
        """Everything on it that a tape can touch, by dotted name, in the local frame."""
        raise NotImplementedError

    def pieces(self) -> tuple[Piece, ...]:
        """Convex pieces that together contain each component's solid."""
        raise NotImplementedError

    def solids(self) -> dict[str, cq.Shape]:
        """Its components as solids in the local frame, mm, by name. Loads the CAD kernel."""
        raise NotImplementedError

    def meshes(self) -> dict[str, Triangles]:
        """Components that are triangles and no solid (a scan), in the local frame, by name."""
        return {}

    def unseen(self) -> tuple[str, ...]:
        """Components that stand for space of which nobody knows what is in it.

        Nothing "fits" unless it keeps its rule to them too; nothing fouls them either.
        """
        return ()

    def sweeps(self) -> tuple[str, ...]:
        """Components that stand for swept space, not metal: checked, but drawn as ghosts."""
        return ()

    def moves(self) -> tuple[Freedom, ...]:
        """How it moves in use, and with it all that it carries; nothing for what stands still."""
        return ()

    def ports(self) -> dict[str, Port]:
        """Ports and mounting holes, by names that stay: hoses and brackets rely on them."""
        return {}

    def at_odds(self) -> tuple[Odds, ...]:
        """Sizes that no one part can have together, each as it is within its limits."""
        return ()

    @classmethod
    def sizes(cls) -> dict[str, Size]:
        """Declared sizes by attribute name, in order."""
        found = {one.name: one.metadata.get("file") for one in fields(cls)}
        return {name: one for name, one in found.items() if isinstance(one, Size)}

    @classmethod
    def from_file(cls, sizes: Mapping[str, Any], choices: Mapping[str, str]) -> Self:
        """Make it from values by their keys in the file (floats, complex or batches)."""
        given: dict[str, Any] = {}
        for one in fields(cls):
            declared = one.metadata.get("file")
            if isinstance(declared, Size) and declared.key in sizes:
                value = sizes[declared.key]
                given[one.name] = round(value.real) if declared.measure == "count" else value
            elif isinstance(declared, Choice) and declared.key in choices:
                given[one.name] = choices[declared.key]
        return cls(**given)

    def movement_bounds(self) -> dict[str, float]:
        """How far at most any point of the surface moves with each size, at these sizes.

        By attribute, mm per mm or per degree. From the pieces, whose corners follow the sizes
        exactly: every point of a hull is a mean of its corners.
        """
        names, moved = self._stepped()
        total = np.zeros(len(names))
        for piece in moved.pieces():
            if np.iscomplexobj(piece.corners):
                total = np.maximum(total, sweep_bound(piece) / _STEP)
        return dict(zip(names, (float(one) for one in total), strict=True))

    def axes_mm(self, component: str) -> dict[str, NDArray[np.float64]]:
        """How far points of a component's surface move along each axis with each size.

        By attribute, (3, 2) mm per mm or per degree from least to most, signed, in the local
        frame, at these sizes and as each grows. From the pieces, as `movement_bounds`.
        """
        found: dict[str, NDArray[np.float64]] = {}
        for _, axes in self.growths_mm(component):
            for name, ends in axes.items():
                known = found.get(name, ends)
                found[name] = np.stack(
                    [np.minimum(known[:, 0], ends[:, 0]), np.maximum(known[:, 1], ends[:, 1])], -1
                )
        return found

    def growths_mm(
        self, component: str
    ) -> list[tuple[NDArray[np.float64], dict[str, NDArray[np.float64]]]]:
        """The same piece by piece: a box (2, 3) round each, and what is within it.

        Together the boxes hold the component. Where two overlap, a point follows one or the other.
        Holes are no pieces: what moves more than the pieces do may move in any direction.
        """
        names, moved = self._stepped()
        by_pieces, most = Part.movement_bounds(self), self.movement_bounds()
        loose = np.array([most[name] if most[name] > by_pieces[name] else 0.0 for name in names])
        widened = loose[:, None, None] * np.array([-1.0, 1.0])
        found = []
        for piece in moved.pieces():
            if piece.component != component:
                continue
            corners = np.real(piece.corners).reshape(-1, 3)
            rates = np.imag(piece.corners) / _STEP
            rates = np.broadcast_to(rates, (len(names), *rates.shape[-2:]))
            ends = np.stack([rates.min(axis=1), rates.max(axis=1)], axis=-1)
            ends[..., 0] = np.minimum(ends[..., 0], widened[..., 0])
            ends[..., 1] = np.maximum(ends[..., 1], widened[..., 1])
            box = np.stack([corners.min(axis=0), corners.max(axis=0)])
            found.append((box, dict(zip(names, ends, strict=True))))
        return found

    def _stepped(self) -> tuple[list[str], Self]:
        """Sizes that are measured, and a batch of this part with a complex step in each."""
        names = [name for name, size in self.sizes().items() if size.measure != "count"]
        batch = {
            name: getattr(self, name) + 1j * _STEP * (np.arange(len(names)) == k)
            for k, name in enumerate(names)
        }
        return names, dataclasses.replace(self, **batch)


def kind_of(part: type[Part]) -> Kind:
    """The record that the envelope reader needs, from a part's declarations.

    The features are the union over every word that its choices may take, at its usual sizes (the
    middle of its range where a size has none): which exist may follow a choice, never a size.
    """
    about = part.about
    declared = [one.metadata["file"] for one in fields(part) if "file" in one.metadata]
    middle = {
        name: size.usual if size.usual is not None else (size.low + size.high) / 2
        for name, size in part.sizes().items()
    }
    options = {
        one.name: one.metadata["file"].options
        for one in fields(part)
        if isinstance(one.metadata.get("file"), Choice)
    }
    names: dict[str, FeatureName] = {}
    ports: dict[str, None] = {}
    for words in itertools.product(*options.values()):
        made = part(**middle, **dict(zip(options, words, strict=True)))
        ports |= dict.fromkeys(made.ports())
        for name, feature in made.features().items():
            spots = tuple(spot for reach in feature.reach for spot in _SPOTS[reach])
            facing = _facing(feature)
            if name in names and names[name].facing != facing:
                facing = ""  # where it looks depends on a choice
            names[name] = FeatureName(name, feature.shape, spots, facing)
    return Kind(
        name=about.name,
        help=about.help,
        group=about.group,
        sizes=tuple(one for one in declared if isinstance(one, Size)),
        features=tuple(names.values()),
        carried_by=about.carried_by,
        freedom=about.freedom,
        choices=tuple(one for one in declared if isinstance(one, Choice)),
        texts=tuple(one for one in declared if isinstance(one, Text)),
        references=about.references,
        assumed=about.assumed,
        start_mm=about.start_mm,
        also=about.also,
        points=about.points,
        travels=about.travels,
        ports=tuple(ports),
    )


def _facing(feature: Feature) -> str:
    """Into which of the six directions a face or a rim looks on a square part; "" for none."""
    if feature.shape not in ("face", "circle"):
        return ""
    near = np.real(feature.direction).round(6)
    axis = int(np.argmax(np.abs(near)))
    if abs(near[axis]) < _SQUARE_ON:
        return ""
    return _WAYS[axis][int(near[axis] > 0)]
