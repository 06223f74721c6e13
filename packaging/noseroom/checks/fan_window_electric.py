"""An electric fan in place of one on the engine: how deep it may be, behind the core or ahead."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from noseroom.checks import words
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.layout import PlacedPart

SLIM_MM = 50.0
"""Depth of a slim electric fan with its motor (from memory: about 2 in; no printed figure was
found)."""
_CORES = ("condenser", "radiator")
_WITH_THE_FAN = ("fan", "electric fan", "shroud")
_MOST_MM = 300.0
_AFT = np.array([1.0, 0.0, 0.0])


def electric_offers(pairs: Pairs, rules: Rules, fan: PlacedPart) -> Iterator[tuple[str, bool]]:
    """Remedies: an electric fan behind the core, and in front of it as a last resort.

    Each with whether a usual one finds room there.

    The depths are from boxes round all that faces the core, so that they are never too large.
    """
    unit = pairs.layout.envelope.unit
    memory = f"slim ones are about {words.at_least(SLIM_MM, unit)} deep, from memory: confirm"
    placed = [one for one in pairs.layout.parts.values() if not one.unplaced]
    core = next((one for one in placed if one.kind == "radiator"), None)
    if core is None:
        yield f"leave the {fan.name} off, and put an electric fan on the radiator", True
        return
    front = next(one for kind in _CORES for one in placed if one.kind == kind)
    behind, before = (_depth(pairs, rules, fan, *one) for one in ((core, 1.0), (front, -1.0)))
    if behind.mm >= SLIM_MM:
        yield (
            f"leave the {fan.name} off, and put an electric fan behind the {core.name}: with its "
            f"motor it may be {behind.said(unit)} ({memory})",
            True,
        )
    less = "" if behind.mm >= SLIM_MM else f", as it may only be {behind.said(unit)} behind it"
    if before.mm >= SLIM_MM:
        yield (
            f"as a last resort, leave the {fan.name} off, and put an electric fan in front of the "
            f"{front.name}{less}: there it may be {before.said(unit)} ({memory}), but it stands "
            f"in the way of the air when the car moves, and draws less of it (common practice)",
            True,
        )
    elif less:
        yield (
            f"leave the {fan.name} off only if an electric fan is found that goes behind the "
            f"{core.name}, {behind.said(unit)} at most, or in front of the {front.name}, "
            f"{before.said(unit)} at most ({memory})",
            False,
        )


@dataclass(frozen=True)
class _Depth:
    """How deep something may be, mm, and up to which part."""

    mm: float
    part: str

    def said(self, unit: str) -> str:
        """As in "it may be 60 mm deep to the compressor"."""
        if not self.part:
            return "as deep as they are made"
        return f"{words.length(max(self.mm, 0.0), unit)} deep to the {self.part}"


def _depth(pairs: Pairs, rules: Rules, fan: PlacedPart, core: PlacedPart, way: float) -> _Depth:
    """What is surely left between the core's face and what faces it, less its rule; and what.

    way: 1 aft of the core, -1 ahead of it.
    """
    boxes = np.array([piece.box for piece in core.moving["core"][0]])
    low, high = boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)
    best, which = _MOST_MM, ""
    for other in pairs.layout.parts.values():
        carried = other.name == fan.name or other.carrier == fan.name
        if other is core or carried or other.unplaced or other.kind in _WITH_THE_FAN:
            continue
        room = rules.named("body to body" if other.group == "body" else "engine to body").value_mm
        for component in other.components:
            each = np.array([piece.box for piece in other.moving[component][0]])
            faces = (each[:, 0, 1:] < high[1:]).all(axis=1) & (each[:, 1, 1:] > low[1:]).all(axis=1)
            # What reaches behind the face counts by what of it stands beyond.
            beyond = each[:, 1, 0] > high[0] if way > 0 else each[:, 0, 0] < low[0]
            if not (faces & beyond).any():
                continue
            sure = pairs.sure_towards(core, "core", other, component, way * _AFT, np.zeros(3))
            left = float(sure.min(axis=0)[faces & beyond].min()) - room
            if left < best:
                best, which = left, other.name
    return _Depth(best, which)
