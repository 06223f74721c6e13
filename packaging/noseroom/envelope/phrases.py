"""The fixed phrases of place sentences, and what each means to the model."""

from __future__ import annotations

from typing import Literal

from noseroom.envelope.model import Bound, Direction, Turn

FORMS: tuple[str, ...] = (
    "core.front at top 5/8 aft of core support.face",
    "core.front 5/8 aft of core support.face, along the car",
    "hub 3 in from core support.opening.left",
    "core above core support.opening.bottom",
    "core.front flush with core support.face",
    "brackets touching core support.face",
    "core centred in core support.opening ± 20 mm",
    "axis to radiator.upper neck.end 12 1/2",
    "nose edge to water pump pulley edge 1 1/2",
    "plumb, level, or square across, each with ± 1 deg where it is known",
    "3 1/2 deg nose up",
    "parallel to radiator.core.front",
    "square to core support.face",
)
"""One example of every form of sentence."""

TRAVELS: tuple[str, ...] = (
    "fan.blade.front at 12 o'clock 3/8 toward radiator",
    "water pump.hub.face 1/4 ± 1/16 forward",
)
"""One example of every form of sentence on what was pried."""

_METRIC = {
    " 5/8 ": " 16 mm ",
    " 3 in from ": " 75 mm in from ",
    "end 12 1/2": "end 318 mm",
    " 1 1/2": " 38 mm",
}


def forms(unit: str) -> tuple[str, ...]:
    """The same examples with lengths as a file in this unit writes them."""
    if unit not in ("mm", "cm"):
        return FORMS
    found = list(FORMS)
    for inches, metric in _METRIC.items():
        found = [one.replace(inches, metric) for one in found]
    return tuple(found)


DIRECTIONS: dict[str, Direction | Literal["in", "out"]] = {
    **dict.fromkeys(("ahead of", "fore of", "forward of", "in front of"), "ahead"),
    **dict.fromkeys(("aft of", "behind", "back of", "rearward of"), "aft"),
    **dict.fromkeys(("left of", "to the left of"), "left"),
    **dict.fromkeys(("right of", "to the right of"), "right"),
    "above": "above",
    **dict.fromkeys(("below", "under"), "below"),
    "in from": "in",
    "out from": "out",
}
WENT: dict[str, Direction] = {
    **dict.fromkeys(("forward", "ahead"), "ahead"),
    **dict.fromkeys(("aft", "back", "rearward"), "aft"),
    **dict.fromkeys(("left", "to the left"), "left"),
    **dict.fromkeys(("right", "to the right"), "right"),
    **dict.fromkeys(("up", "upward"), "above"),
    **dict.fromkeys(("down", "downward"), "below"),
}
"""Which way something came that was pried."""
INWARD: dict[str, Direction] = {
    "left": "right",
    "right": "left",
    "top": "below",
    "bottom": "above",
    "front": "aft",
    "rear": "ahead",
}
OPPOSITE: dict[Direction, Direction] = {
    "aft": "ahead",
    "ahead": "aft",
    "left": "right",
    "right": "left",
    "above": "below",
    "below": "above",
}
# Which axis, and the sign that `model.Sentence` gives the way that is said.
TURNS: dict[str, tuple[Turn, float]] = {
    "nose up": ("pitch", 1.0),
    "nose down": ("pitch", -1.0),
    "leaning back": ("pitch", 1.0),
    "leaning forward": ("pitch", -1.0),
    "turned left": ("yaw", -1.0),
    "turned right": ("yaw", 1.0),
    "left side up": ("roll", 1.0),
    "right side up": ("roll", -1.0),
}
SQUARE: dict[str, tuple[Turn, ...]] = {
    "plumb": ("pitch",),
    "level": ("roll",),
    "square across": ("yaw",),
}
AGAINST: dict[str, tuple[Turn, ...]] = {
    "parallel to": ("pitch", "yaw", "roll"),
    "square to": ("pitch", "yaw"),
}
OTHER_BOUND: dict[Bound, Bound] = {"at least": "at most", "at most": "at least"}
