"""What has been read from an envelope file: plain frozen records, every one with its line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from noseroom.envelope.cooling_records import CoolingEntry

Bound = Literal["at least", "at most"]
Direction = Literal["aft", "ahead", "left", "right", "above", "below"]
Turn = Literal["pitch", "yaw", "roll"]
Form = Literal[
    "offset",  # subject VALUE direction of object
    "side",  # subject direction of object: no figure, only which side
    "centred across",  # halfway, left to right
    "centred up and down",
    "straight",  # point to point
    "edge to edge",  # nearest points of two round things or edges
    "travel",  # a point came VALUE one way, or toward object, when its carrier was pried
    "turn",  # an angle about one vehicle axis, against the car or another feature
]
Knowledge = Literal["measured", "from a sheet", "assumed"]


@dataclass(frozen=True, slots=True)
class FeatureRef:
    """A feature of a part or a mark: `radiator`, `core.front`, at `top`.

    part: the name in the file. feature: its dotted name ("" for the thing as a whole).
    spot: "" for its reference point, else "top", "bottom left", "12 o'clock", ...; left and right
    are the car's own (as seated), whatever the file's `sides` says.
    """

    part: str
    feature: str = ""
    spot: str = ""

    def __str__(self) -> str:
        name = f"{self.part}.{self.feature}" if self.feature else self.part
        return f"{name} at {self.spot}" if self.spot else name


@dataclass(frozen=True, slots=True)
class Sentence:
    """One place sentence: one equation of the survey, or a bound, or a side word.

    value: mm or degrees, None for forms without a figure. half_width: of the reading, rectangular,
    in the same unit (filled from the file's tape when the sentence has none of its own).
    along: "square" to the object's face where it has one and the direction is fore-and-aft (the
    way a tape is held there), "car" for plain vehicle axes; "" lets the survey choose so.
    turn: for the form "turn"; pitch is positive nose up (top leaning aft), yaw positive when the
    nose turns to the car's right, roll positive when the car's left side is up.
    contact: whether the two parts are said to touch.
    """

    form: Form
    subject: FeatureRef
    object: FeatureRef | None
    text: str
    line: int
    value: float | None = None
    half_width: float | None = None
    direction: Direction | None = None
    along: Literal["", "square", "car"] = ""
    turn: Turn | None = None
    bound: Bound | None = None
    knowledge: Knowledge = "measured"
    contact: bool = False


@dataclass(frozen=True, slots=True)
class SizeReading:
    """A size as the file gives it, or as it is assumed. mm, degrees or a plain number."""

    key: str
    value: float
    half_width: float
    knowledge: Knowledge
    text: str
    line: int
    source: str = ""


@dataclass(frozen=True, slots=True)
class PartEntry:
    """One part of the file. `sizes` holds every size of its kind, the assumed ones too.

    points: landmarks of a scan by name, in the axes and the unit of the scan's own file.
    text_lines: where each of `texts` stands in the file. joined: parts that it is bolted or welded
    to, or said to touch; they are meant to meet. pried: sentences of the form "travel".
    """

    name: str
    kind: str
    line: int
    sizes: Mapping[str, SizeReading]
    choices: Mapping[str, str]
    texts: Mapping[str, str]
    references: Mapping[str, tuple[str, ...]]
    carrier: str
    place: tuple[Sentence, ...]
    assumed: tuple[Sentence, ...]
    fitted: bool = True
    bought: bool = True
    place_wanted: bool = False
    points: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    text_lines: Mapping[str, int] = field(default_factory=dict)
    joined: tuple[str, ...] = ()
    pried: tuple[Sentence, ...] = ()


@dataclass(frozen=True, slots=True)
class RuleChange:
    """A rule that the file changes: its key in the rule table and the room asked for, mm."""

    key: str
    value_mm: float
    line: int


@dataclass(frozen=True, slots=True)
class Shop:
    """What the builder's own shelf or shop has, thinnest and shortest first; mm.

    Empty: what is usually sold or had. grade: of the bolts, "" for the usual one. metal: of the
    sheet, as its table names it. bend_radius_mm: inside, of the brake, one or none. bend_k: the
    neutral factor that a test piece gave. bed_mm: the printer's width, depth and height. card_mm,
    card_size_mm: the card's thickness, and its width and height.
    """

    spacers_mm: tuple[float, ...] = ()
    bolts_mm: tuple[float, ...] = ()
    grade: str = ""
    metal: str = ""
    sheet_mm: tuple[float, ...] = ()
    bend_radius_mm: tuple[float, ...] = ()
    bend_k: float | None = None
    bed_mm: tuple[float, ...] = ()
    card_mm: tuple[float, ...] = ()
    card_size_mm: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Envelope:
    """A whole file. parts and marks keep the file's order; a mark is a part of kind "mark"."""

    stem: str
    title: str
    unit: str
    tape_mm: float
    parts: Mapping[str, PartEntry]
    datum: str
    rules: tuple[RuleChange, ...] = ()
    notes: tuple[str, ...] = field(default=())
    digest: str = ""
    shop: Shop = field(default=Shop())
    cooling: CoolingEntry | None = None
