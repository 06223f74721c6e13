"""The fan stack from the side: core, fan and hub, and where on its axis a spacer may put the fan.

The view is square to the fan's own axis, which lies level in it, front to the left. Distances along
the axis are therefore true, however the engine tilts.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.fan_window_scan import MOST_SPACER_MM
from noseroom.checks.fan_window_words import TURNED_DENOMINATOR, ends, in_place, turned
from noseroom.checks.spacer_stack import stack_of
from noseroom.findings import SPACER, Finding, Verdict
from noseroom.layout import Layout, PlacedPart
from noseroom.report.drawing_model import Outline
from noseroom.report.fan_stack_breaks import Cut, Frame, cuts_of
from noseroom.report.view_sizes import solid_components
from noseroom.report.views import areas_of, silhouette
from noseroom.tables.fasteners import Stock, stock_spacers
from noseroom.units import MM_PER_INCH

Floats = NDArray[np.float64]
Window = tuple[float, float]

WINDOW_COLOUR = "#1f7a4d"
_GHOST_COLOUR = "#c9cdd2"
_STACK = ("radiator", "condenser", "shroud", "electric fan")
_PAST_TIPS_MM = 25.0
_BEHIND_MM = 60.0
_AHEAD_MM = 20.0
_MOST_AHEAD_MM = 200.0
"""How far ahead of the core a picture goes at most, for what stands there."""
ON_MM = MM_PER_INCH / TURNED_DENOMINATOR
"""How near to what is on a thickness is the same."""
_BAND = 0.9  # of the hub's radius


@dataclass(frozen=True)
class End:
    """One end of a window: thickness, mm, and what is in the way beyond it; "" for nothing.

    said: the thickness in words, rounded into the window.
    """

    thickness_mm: float
    least: bool
    why: str
    said: str


@dataclass(frozen=True)
class FanStack:
    """What the picture shows.

    outlines: (u, v) mm from the middle of the fan's mounting face as it is today, u aft, v up.
    windows: thicknesses with which the fan keeps its room, mm, in the place of what is on.
    on_mm: the spacer that is on; thinner ones were not looked at. known: whether windows are.
    stock: thicknesses that are sold. chosen: the spacer that is recommended, mm, if one is.
    tips: (u, v) of the upper ends of the blades' front and rear edge. cuts: where it is cut off.
    """

    title: str
    fan: str
    unit: str
    note: str
    outlines: tuple[Outline, ...]
    windows: tuple[Window, ...]
    on_mm: float
    known: bool
    ends: tuple[End, ...]
    stock: tuple[Stock, ...]
    chosen_mm: float | None
    tips: tuple[tuple[float, float], tuple[float, float]]
    cuts: tuple[Cut, ...]

    def keeps(self, thickness_mm: float) -> bool:
        """Whether the fan keeps its room with a spacer of this thickness.

        What is on is known to 1/64 in, as it is said.
        """
        return any(
            (low if low > self.on_mm or not low else low - ON_MM) <= thickness_mm <= high
            for low, high in self.windows
        )


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
    added, on = _windows(finding), _on_mm(finding)
    windows = in_place(added, on)
    chosen = _chosen(fan.name, findings)
    drawn = _Drawn(layout, finding, added, chosen, on)
    front = fan.part.features()["blade.front"]
    width = float(getattr(fan.part, "width_mm", 0.0))
    u, radius = float(np.real(front.point[0])), float(np.real(front.radius))
    return FanStack(
        title=layout.envelope.title,
        fan=fan.name,
        unit=unit,
        note=finding.note,
        outlines=tuple(drawn.outlines()),
        windows=windows,
        on_mm=on,
        known=finding.verdict is not Verdict.NOT_KNOWN,
        ends=tuple(_ends(finding, windows, unit)),
        stock=_stock(layout, fan),
        chosen_mm=chosen,
        tips=((u, radius), (u + width, radius)),
        cuts=cuts_of([whole for _, whole in drawn.shadows], drawn.frame),
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


def _on_mm(finding: Finding) -> float:
    """The spacer that is on already, mm."""
    found = finding.details.get("spacer_on_mm", 0.0)
    return float(found) if isinstance(found, float | int) else 0.0


def _chosen(fan: str, findings: Sequence[Finding]) -> float | None:
    """The thickness that the choice of a spacer recommends, mm."""
    for one in findings:
        if one.id == f"{SPACER}{fan}":
            thickness = one.details.get("thickness_mm")
            return float(thickness) if isinstance(thickness, float | int) else None
    return None


def _ends(finding: Finding, windows: Sequence[Window], unit: str) -> Iterator[End]:
    """What limits each end, as the check says it."""
    both = ends(windows, unit)
    for number, ((low, high), (thin, thick)) in enumerate(zip(windows, both, strict=True), start=1):
        for least, at, text in ((True, low, thin), (False, high, thick)):
            key = f"spacer_{'from' if least else 'to'}_{number}"
            why = str(finding.details.get(key, ""))
            if not least and at >= MOST_SPACER_MM:
                why = why or "no thicker single spacer is made"
            yield End(at, least, why, text)


@dataclass(frozen=True, eq=False)
class _Drawn:
    """What is drawn. windows: of what is added to where the fan stands today, mm."""

    layout: Layout
    finding: Finding
    windows: Sequence[Window]
    chosen: float | None
    on_mm: float

    @property
    def fan(self) -> PlacedPart:
        """The fan that it is about."""
        return self.layout.parts[self.finding.parts[0]]

    def _shadow(self, part: PlacedPart, names: Sequence[str]) -> Any:
        from shapely.affinity import translate

        plane = np.stack([self.fan.pose[:3, 0], self.fan.pose[:3, 2]])
        origin = plane @ self.fan.pose[:3, 3]
        found = silhouette(part, names, plane)
        return None if found is None else translate(found, -origin[0], -origin[1])

    @cached_property
    def shadows(self) -> list[tuple[PlacedPart, Any]]:
        """The parts besides the fan, the rearmost first, with all that is seen of them."""
        shown = _shown(self.layout, self.fan, self.finding)
        return [(one, self._shadow(one, solid_components(one))) for one in shown]

    @cached_property
    def frame(self) -> Frame:
        """What of it all is shown."""
        return _frame(self.layout, self.fan, self.shadows, self.windows)

    def outlines(self) -> Iterator[Outline]:
        """From the back to the front."""
        from shapely import MultiPolygon, box
        from shapely.affinity import translate

        layout, fan, windows, chosen = self.layout, self.fan, self.windows, self.chosen
        for depth, (part, whole) in enumerate(self.shadows):
            cut = None if whole is None else areas_of(whole.intersection(box(*self.frame)))
            if cut is not None:
                yield Outline(part.name, part.part.about.colour, cut, float(depth))
        front = len(self.shadows) + 1.0
        today, swept = self._shadow(fan, fan.components), self._shadow(fan, fan.ghosts)
        if today is not None:
            yield Outline(f"{fan.name} as it is", fan.part.about.colour, today, front)
        moved = chosen if chosen is not None else _middle(windows)
        if moved and swept is not None:
            said = turned(moved + self.on_mm, layout.envelope.unit)
            where = f"{fan.name} with a spacer of {said}" + ("" if chosen else ", mid-window")
            yield Outline(where, _GHOST_COLOUR, translate(swept, -moved, 0), front + 1, "ghost")
        yield from _flex(layout, fan, moved or 0.0, front + 2)
        if windows:
            half = _hub_radius(layout, fan) * _BAND
            bands = MultiPolygon([box(-high, -half, -low, half) for low, high in windows])
            yield Outline("where its mounting face may stand", WINDOW_COLOUR, bands, front + 3)


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
    layout: Layout,
    fan: PlacedPart,
    shadows: Sequence[tuple[PlacedPart, Any]],
    windows: Sequence[Window],
) -> Frame:
    """What of it all is shown, (u0, v0, u1, v1): the fan, its whole way, the cores, the hub."""
    front = fan.part.features()["blade.front"]
    u, tip = float(np.real(front.point[0])), float(np.real(front.radius)) + _PAST_TIPS_MM
    left = u - max((high for _, high in windows), default=0.0)
    core = [one for one in layout.parts.values() if one.kind == "radiator" and one.known]
    for one in core[:1]:
        ahead = fan.pose[:3, 0] @ (one.touch_point("core.front")[0] - fan.pose[:3, 3])
        left = min(left, float(ahead))
    first = [whole.bounds[0] for one, whole in shadows if one.kind in _STACK and whole is not None]
    left = max(min([left, *first]), left - _MOST_AHEAD_MM)
    return left - _AHEAD_MM, -tip, _BEHIND_MM + _hub_radius(layout, fan), tip
