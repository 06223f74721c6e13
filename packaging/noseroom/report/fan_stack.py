"""The fan stack from the side: core, fan and hub, and where on its axis a spacer may put the fan.

The view is square to the fan's own axis, which lies level in it, front to the left. Distances along
the axis are therefore true, however the engine tilts.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.fan_window_scan import MOST_SPACER_MM
from noseroom.checks.spacer_stack import stack_of
from noseroom.findings import SPACER, Finding, Verdict
from noseroom.layout import Layout, PlacedPart
from noseroom.report.drawing_model import Outline
from noseroom.report.view_sizes import solid_components
from noseroom.report.views import areas_of, silhouette
from noseroom.tables.fasteners import Stock, stock_spacers

Floats = NDArray[np.float64]
Window = tuple[float, float]

WINDOW_COLOUR = "#1f7a4d"
_STACK = ("radiator", "condenser", "shroud", "electric fan")
_PAST_TIPS_MM = 25.0
_BEHIND_MM = 60.0
_AHEAD_MM = 20.0
_BAND = 0.9  # of the hub's radius


@dataclass(frozen=True)
class End:
    """One end of a window: thickness, mm, and what is in the way beyond it; "" for nothing."""

    thickness_mm: float
    least: bool
    why: str


@dataclass(frozen=True)
class FanStack:
    """What the picture shows.

    outlines: (u, v) mm from the middle of the fan's mounting face as it is today, u aft, v up.
    windows: thicknesses with which the fan keeps its room, mm. known: whether they are.
    stock: thicknesses that are sold. chosen: the spacer that is recommended, mm, if one is.
    tips: (u, v) of the upper ends of the blades' front and rear edge.
    """

    title: str
    fan: str
    unit: str
    note: str
    outlines: tuple[Outline, ...]
    windows: tuple[Window, ...]
    known: bool
    ends: tuple[End, ...]
    stock: tuple[Stock, ...]
    chosen_mm: float | None
    tips: tuple[tuple[float, float], tuple[float, float]]

    def keeps(self, thickness_mm: float) -> bool:
        """Whether the fan keeps its room with a spacer of this thickness."""
        return any(low <= thickness_mm <= high for low, high in self.windows)


def fan_stacks(layout: Layout, findings: Sequence[Finding]) -> tuple[FanStack, ...]:
    """A picture for every fan whose gap was looked at and whose place is known."""
    gaps = [one for one in findings if one.id.startswith("fan gap: ")]
    return tuple(
        _stack(layout, one, findings)
        for one in gaps
        if (fan := layout.parts.get(one.parts[0])) is not None and fan.known and fan.components
    )


def _stack(layout: Layout, finding: Finding, findings: Sequence[Finding]) -> FanStack:
    fan, unit = layout.parts[finding.parts[0]], layout.envelope.unit
    windows = _windows(finding)
    chosen = _chosen(fan.name, findings)
    front = fan.part.features()["blade.front"]
    width = float(getattr(fan.part, "width_mm", 0.0))
    u, radius = float(np.real(front.point[0])), float(np.real(front.radius))
    return FanStack(
        title=layout.envelope.title,
        fan=fan.name,
        unit=unit,
        note=finding.note,
        outlines=tuple(_outlines(layout, finding, windows, chosen)),
        windows=windows,
        known=finding.verdict is not Verdict.NOT_KNOWN,
        ends=tuple(_ends(finding, windows)),
        stock=_stock(layout, fan),
        chosen_mm=chosen,
        tips=((u, radius), (u + width, radius)),
    )


def _stock(layout: Layout, fan: PlacedPart) -> tuple[Stock, ...]:
    """What can be bought: the file's own list, or what is usually sold."""
    known = stack_of(layout, fan)
    return stock_spacers() if known is None else known.stock


def _windows(finding: Finding) -> tuple[Window, ...]:
    found = finding.details.get("spacer_mm", [])
    if not isinstance(found, list):
        return ()
    return tuple((float(low), float(high)) for low, high in found)


def _chosen(fan: str, findings: Sequence[Finding]) -> float | None:
    """The thickness that the choice of a spacer recommends, mm."""
    for one in findings:
        if one.id == f"{SPACER}{fan}":
            thickness = one.details.get("thickness_mm")
            return float(thickness) if isinstance(thickness, float | int) else None
    return None


def _ends(finding: Finding, windows: Sequence[Window]) -> Iterator[End]:
    """What limits each end, as the check says it."""
    for number, (low, high) in enumerate(windows, start=1):
        for least, at in ((True, low), (False, high)):
            key = f"spacer_{'from' if least else 'to'}_{number}"
            why = str(finding.details.get(key, ""))
            if not least and at >= MOST_SPACER_MM:
                why = why or "no thicker single spacer is made"
            yield End(at, least, why)


def _outlines(
    layout: Layout, finding: Finding, windows: Sequence[Window], chosen: float | None
) -> Iterator[Outline]:
    """What is drawn, from the back to the front."""
    from shapely import MultiPolygon, box
    from shapely.affinity import translate

    fan = layout.parts[finding.parts[0]]
    plane = np.stack([fan.pose[:3, 0], fan.pose[:3, 2]])
    origin = plane @ fan.pose[:3, 3]

    def shadow(part: PlacedPart, names: Sequence[str]) -> Any:
        found = silhouette(part, names, plane)
        return None if found is None else translate(found, -origin[0], -origin[1])

    shown = _shown(layout, fan, finding)
    frame = _frame(layout, fan, [shadow(one, solid_components(one)) for one in shown], windows)
    for depth, part in enumerate(shown):
        whole = shadow(part, solid_components(part))
        cut = None if whole is None else areas_of(whole.intersection(box(*frame)))
        if cut is not None:
            yield Outline(part.name, part.part.about.colour, cut, float(depth))
    front = len(shown) + 1.0
    today, swept = shadow(fan, fan.components), shadow(fan, fan.ghosts)
    if today is not None:
        yield Outline(f"{fan.name} as it is", fan.part.about.colour, today, front)
    moved = chosen if chosen is not None else _middle(windows)
    if moved and swept is not None:
        said = words.at_least(moved, layout.envelope.unit)
        where = f"{fan.name} with a spacer of {said}" + ("" if chosen else ", mid-window")
        yield Outline(where, fan.part.about.colour, translate(swept, -moved, 0), front + 1, "ghost")
    yield from _flex(layout, fan, moved or 0.0, front + 2)
    if windows:
        half = _hub_radius(layout, fan) * _BAND
        bands = MultiPolygon([box(-high, -half, -low, half) for low, high in windows])
        yield Outline("window of its mounting face", WINDOW_COLOUR, bands, front + 3)


def _middle(windows: Sequence[Window]) -> float | None:
    """The middle of the widest window that asks for a spacer."""
    asked = [one for one in windows if one[0] > 0.0]
    if not asked or any(low == 0.0 for low, _ in windows):
        return None
    low, high = max(asked, key=lambda one: one[1] - one[0])
    return (low + high) / 2


def _flex(layout: Layout, fan: PlacedPart, moved: float, depth: float) -> Iterator[Outline]:
    """Where the blades may lean forward to at speed, above the axis and below it."""
    from shapely import MultiPolygon, box

    flex = float(getattr(fan.part, "flex_mm", 0.0))
    if flex <= 0.0:
        return
    front, spider = fan.part.features()["blade.front"], fan.part.features()["spider.edge"]
    u, tip, root = (float(np.real(one)) for one in (front.point[0], front.radius, spider.radius))
    ends = (u - moved - flex, u - moved)
    both = MultiPolygon([box(ends[0], root, ends[1], tip), box(ends[0], -tip, ends[1], -root)])
    said = words.at_least(flex, layout.envelope.unit)
    yield Outline(f"flex at speed, {said} forward", "#b3261e", both, depth, "swept")


def _shown(layout: Layout, fan: PlacedPart, finding: Finding) -> list[PlacedPart]:
    """The stack, what is on the same shaft, and what the finding speaks of; the fan apart."""
    said = " ".join((finding.note, *finding.remedies, *map(str, finding.details.values())))
    found = [
        one
        for one in layout.parts.values()
        if one is not fan
        and one.known
        and solid_components(one)
        and (
            one.kind in _STACK
            or one.name == fan.carrier
            or (one.carrier == fan.carrier and one.kind == "pulley")
            or (one.name in said and one.kind not in ("engine", "hood"))
        )
    ]
    # What is on the shaft is seen before what stands beside it.
    on_shaft = (fan.carrier, *(one.name for one in found if one.carrier == fan.carrier))
    return sorted(found, key=lambda one: (one.name in on_shaft, one.kind == "pulley"))


def _hub_radius(layout: Layout, fan: PlacedPart) -> float:
    carrier = layout.parts.get(fan.carrier)
    across = getattr(carrier.part, "hub_diameter_mm", 0.0) if carrier is not None else 0.0
    return float(across) / 2 or float(getattr(fan.part, "spider_diameter_mm", 100.0)) / 4


def _frame(
    layout: Layout, fan: PlacedPart, shadows: Sequence[Any], windows: Sequence[Window]
) -> tuple[float, float, float, float]:
    """What of it all is shown, (u0, v0, u1, v1): the fan, its whole way, the core, the hub."""
    front = fan.part.features()["blade.front"]
    u, tip = float(np.real(front.point[0])), float(np.real(front.radius)) + _PAST_TIPS_MM
    left = u - max((high for _, high in windows), default=0.0)
    core = [one for one in layout.parts.values() if one.kind == "radiator" and one.known]
    for one in core[:1]:
        ahead = fan.pose[:3, 0] @ (one.touch_point("core.front")[0] - fan.pose[:3, 3])
        left = min(left, float(ahead))
    return left - _AHEAD_MM, -tip, _BEHIND_MM + _hub_radius(layout, fan), tip
