"""Layers of card on one another: rings, tabs and lugs that are thicker than the card."""

from __future__ import annotations

from shapely.geometry.base import BaseGeometry

from noseroom.tables.card import card_mm
from noseroom.workshop.card_joints import Ends, Works

_SAME_MM = 1e-6


def doubled(
    works: Works, host: str, what: str, kind: str, thickness: float, region: BaseGeometry
) -> None:
    """Layers on both faces of a panel that lies in the middle of something thicker than the card.

    what: its name. kind: what such things are called in a note. A panel that is thicker than what
    it stands for stays as it is, and that is said.
    """
    t, one = works.t, works.panels[host]
    each = max(0, round((thickness - t) / 2.0 / t))
    low, high = one.ends
    for k in range(each):
        for side, at in ((-1, low - (k + 1) * t), (1, high + k * t)):
            name = f"{what} layer {2 * k + (2 if side > 0 else 1)}"
            works.add(name, one.normal, at, region, (one.normal, -side))
            works.meet(host, name)
    off = (thickness - t) / 2.0 - each * t
    if abs(off) > card_mm("shown"):
        works.notes.append(
            f"the {kind}: {thickness:.1f} mm thick, with {_layers(2 * each + 1)} of {t:g} mm here; "
            + (
                f"{off:.1f} mm is missing on either face: glue paper on."
                if off > 0
                else f"{-off:.1f} mm is too much on either face: pare it down where its bolt sits."
            )
        )


def stacked(
    works: Works, name: str, normal: int, ends: Ends, region: BaseGeometry, way: int
) -> None:
    """Layers between two faces, the last moved out to the far one, and paper in the gap.

    way: 1 where they are laid on from the low end up, else -1.
    """
    t, thick = works.t, ends[1] - ends[0]
    count = max(1, int((thick + card_mm("shown")) / t))
    gap = thick - count * t
    for k in range(count):
        off = k * t if k < count - 1 or gap < 0 else thick - t
        at = ends[0] + off if way > 0 else ends[1] - off - t
        own = f"{name} {k + 1}" if count > 1 else name
        works.add(own, normal, at, region, (normal, -way))
        if k:
            works.meet(f"{name} {k}", own)
    layers = _layers(count)
    if gap > _SAME_MM:
        works.notes.append(
            f"the {name} is {thick:.2f} mm thick and has {layers} of {t:g} mm: put {gap:.2f} mm of "
            "paper or thin card under the last."
        )
    elif gap < -card_mm("shown"):
        works.notes.append(
            f"the {name} is {thick:.2f} mm thick: one layer of {t:g} mm is {-gap:.2f} mm too much."
        )


def _layers(count: int) -> str:
    return f"{count} layers" if count > 1 else "one layer"
