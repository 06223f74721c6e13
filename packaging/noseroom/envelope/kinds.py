"""What a kind of part may say about itself in the envelope file.

The reader and its JSON Schema are made from these records. The parts themselves declare them
(`noseroom.parts`), so that a size stands in one place only, next to the shape that it drives;
this module only says what a declaration looks like.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Measure = Literal["length", "angle", "number", "count"]
FeatureShape = Literal["face", "axis", "point", "circle", "cylinder", "edge"]
Group = Literal["body", "engine", "fan"]

CAR = "car"
COMMON_PRACTICE = "common practice"
NOT_KNOWN = "0: not known"
"""The source of a size that nobody can guess: what needs it is not answered without it."""


@dataclass(frozen=True, slots=True)
class Size:
    """One size of a part: where it stands in the file, what is allowed, what is usual.

    key: dotted path in the file, such as "core.width". low, high: the range accepted, in mm,
    degrees or a plain number; outside it the file is refused. usual: the value taken when the file
    says nothing (None: the file must say it). reach: half-width of the range in which the real
    thing lies when `usual` is taken. A reach of 0 marks something that is chosen or counted, not
    measured. tolerance: half-width of a measured value when it is not a tape reading. when: the
    choice and the word for which this size exists at all (a cross-flow radiator has no top tank).
    usual_for: (choice, word, value) where another value is usual with another word of a choice.
    """

    key: str
    measure: Measure
    help: str
    low: float
    high: float
    usual: float | None = None
    reach: float = 0.0
    source: str = COMMON_PRACTICE
    tolerance: float | None = None
    when: tuple[str, str] | None = None
    usual_for: tuple[tuple[str, str, float], ...] = ()

    def usual_with(self, choices: Mapping[str, str]) -> float | None:
        """What is usual with these words of the part's choices."""
        for choice, word, value in self.usual_for:
            if choices.get(choice) == word:
                return value
        return self.usual

    @property
    def required(self) -> bool:
        """Whether the file has to give it."""
        return self.usual is None


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few words, such as the flow of a radiator. The first option is the usual one."""

    key: str
    options: tuple[str, ...]
    help: str
    required: bool = False


@dataclass(frozen=True, slots=True)
class Text:
    """A free text that is kept and shown, such as a thread or the name of a scan's file."""

    key: str
    help: str
    required: bool = False


@dataclass(frozen=True, slots=True)
class Reference:
    """Names of other parts in the file, such as the pulleys that a belt runs over.

    kinds: what kinds may be named (empty: any). least: how many at the least. port: whether each
    names a port of a part ("radiator.upper neck") instead of a part; it is then kept as that text
    with the part's name and the port's name separated by one dot. among: the key of another
    reference of the same part, of whose names these have to be. apart: of whose they may not be; it
    comes before. completes: a group of keys of which
    none means anything without this one.
    """

    key: str
    help: str
    many: bool = False
    kinds: tuple[str, ...] = ()
    least: int = 0
    port: bool = False
    among: str = ""
    apart: str = ""
    completes: str = ""


@dataclass(frozen=True, slots=True)
class FeatureName:
    """Something on a part that a tape can touch: its name after the part's, and what it is.

    spots: the places on it that "at ..." may name, such as "top"; a circle also takes clock
    positions ("12 o'clock"), seen from the front of the car looking aft. facing: the direction of
    `model.Direction` into which a face or a rim looks while the part sits square, "" for what has
    no plane.
    """

    name: str
    shape: FeatureShape
    spots: tuple[str, ...] = ()
    facing: str = ""


@dataclass(frozen=True, slots=True)
class Kind:
    """All that the envelope file may say of one kind of part.

    carried_by: kinds that may carry it, the usual one first; `CAR` stands for the car itself.
    freedom: "placed" (six unknowns), "on axis" (slides along its carrier's axis only: a fan on
    its hub) or "fixed" (none: the carrier's place is its own).
    assumed: place sentences, in the file's own language, that hold while nobody has measured;
    `{carrier}` stands for the carrier's name. Each has its ± and is shown in the result.
    start_mm: where the part usually stands relative to its carrier, only to start from.
    travels: the key under which sentences say how far points on it, and on what it carries, came
    when it was pried; "" for what is never pried.
    points: the key under which a part names points of its own, "" where it cannot: a scan's
    landmarks, by their figures in the scan's own file. Each is a feature of that part.
    ports: names of the ports that hoses may start and end at.
    """

    name: str
    help: str
    group: Group
    sizes: tuple[Size, ...]
    features: tuple[FeatureName, ...]
    carried_by: tuple[str, ...]
    freedom: Literal["placed", "on axis", "fixed"] = "placed"
    choices: tuple[Choice, ...] = ()
    texts: tuple[Text, ...] = ()
    references: tuple[Reference, ...] = ()
    assumed: tuple[str, ...] = ()
    start_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    also: tuple[str, ...] = field(default=())
    points: str = ""
    travels: str = ""
    ports: tuple[str, ...] = ()

    def feature(self, name: str) -> FeatureName | None:
        """The feature of this name, or None."""
        return next((one for one in self.features if one.name == name), None)


Kinds = Mapping[str, Kind]
