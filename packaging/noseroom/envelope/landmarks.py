"""Landmarks: points of a scan that a tape can touch too, by their figures in the scan's file."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from noseroom.envelope.kinds import FeatureName, Kind
from noseroom.envelope.mirror import exchanged
from noseroom.envelope.suggest import described, quoted
from noseroom.envelope.values import BadValueError

Point = tuple[float, float, float]

EXAMPLE = {"front bolt": [12.5, 330, 88]}
SCHEMA: dict[str, Any] = {
    "type": "object",
    "additionalProperties": {
        "type": "array",
        "items": {"type": ["number", "string"]},
        "minItems": 3,
        "maxItems": 3,
    },
}
_EXPECTED = "points by name, such as front bolt: [12.5, 330, 88]"
_MOST = 200
_NAME = re.compile(r"[^\W\d_][^\W_]*(?: [^\W_]+)*")
_TAKEN = frozenset({"at", "to", "of", "in", "from", "aft", "ahead", "left", "right", "touching"})
"""Words that would cut a sentence in two where they stand alone."""


def read(value: Any) -> dict[str, Point]:
    """Points by name from what stands in the file. Raises BadValueError."""
    if not isinstance(value, Mapping):
        raise BadValueError(described(value), _EXPECTED)
    if len(value) > _MOST:
        raise BadValueError(f"{len(value)} points", f"at most {_MOST}")
    return {_name(str(name)): _point(str(name), figures) for name, figures in value.items()}


def _name(name: str) -> str:
    if not _NAME.fullmatch(name) or name.casefold() in _TAKEN or len(name) > 40:
        expected = "a name of words, such as front bolt"
        raise BadValueError(f"the point {quoted(name)}", expected)
    return name


def _point(name: str, figures: Any) -> Point:
    if not isinstance(figures, list) or len(figures) != 3:
        raise BadValueError(f"{name}: {described(figures)}", "three figures, x, y and z")
    read = [_figure(name, one) for one in figures]
    return read[0], read[1], read[2]


def _figure(name: str, figure: Any) -> float:
    text = figure if isinstance(figure, str) else ""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        hint = "as the scan's own file has them, without a unit"
        raise BadValueError(f"{name}: {described(figure)}", "plain numbers", hint)
    return value


def with_points(kind: Kind, names: Mapping[str, Point]) -> Kind:
    """The kind as one part has it: each of its points is a feature."""
    own = tuple(FeatureName(name, "point") for name in names)
    return replace(kind, features=(*kind.features, *own))


def mirrored(points: Mapping[str, Point]) -> dict[str, Point]:
    """The points of a file that is written as one faces the grille, by the car's own sides."""
    return {exchanged(name): point for name, point in points.items()}
