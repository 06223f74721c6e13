"""How fast does a belt turn each accessory, from idle to the red line?

The belt's own speed is that of its pitch line (ISO 9981:1998, 5.4). Pulleys on one shaft turn
together, so that a drive may go on from shaft to shaft over several belts. Slip is not counted: it
only slows what is driven.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.drive import Circle, Drive
from noseroom.findings import Finding, Verdict
from noseroom.layout import Layout, PlacedPart
from noseroom.physics.belts import speed_at
from noseroom.tables.belts import Section, section_of

Floats = NDArray[np.float64]

_CRANK = "the crank"
_SHAFTS = ("water pump", "alternator", "compressor")
QUESTION = "does it turn no faster than it may"
_FAN_CAUTION = "Never stand in line with a turning fan."


@dataclass(frozen=True, eq=False)
class Turn:
    """How often a shaft turns for one turn of the crank, and by how much that may be off.

    form: (s,) of the logarithm of the ratio. loose: share that no form has. circle: its pulley that
    is driven, and driver the one that drives it; None for the crank. Their pitch radii in mm.
    recalled: whether a pitch line from memory is in it.
    """

    ratio: float
    form: Floats
    loose: float = 0.0
    circle: Circle | None = None
    driver: Circle | None = None
    circle_pitch_mm: float = 0.0
    driver_pitch_mm: float = 0.0
    recalled: bool = False


def section(belt: PlacedPart) -> Section:
    """The section of a belt by what the file says of its width."""
    kind = belt.entry.choices.get("section", "v")
    return section_of(kind, belt.entry.sizes["width"].value if kind == "v" else 0.0)


def known(part: PlacedPart, key: str) -> float | None:
    """A figure that the file gives of a part; None where it does not."""
    read = part.entry.sizes.get(key)
    return None if read is None or read.knowledge == "assumed" else read.value


def ends(part: PlacedPart, key: str) -> tuple[float, float] | None:
    """The least and the most of a figure that the file gives of a part, by its ±; None without."""
    value = known(part, key)
    if value is None:
        return None
    half = part.entry.sizes[key].half_width
    return max(value - half, 0.0), value + half


def pitch_recalled(one: Section) -> bool:
    """Whether the table has the section's pitch line from memory only."""
    return "pitch line from memory" in one.source


def pitch_mm(drive: Drive, circle: Circle) -> float:
    """The radius on which a pulley's torque pulls the belt, mm."""
    diameter = speed_at(2.0 * circle.radius_mm, section(drive.belt).pitch_out_mm, circle.sense)
    return float(diameter) / 2.0


class Speeds:
    """The turns of every shaft that belts reach from the crank."""

    def __init__(self, layout: Layout, drives: Sequence[Drive]) -> None:
        self.layout, self.drives = layout, tuple(drives)
        self.turns: dict[str, Turn] = {_CRANK: Turn(1.0, np.zeros(len(layout.survey.sources)))}
        self._drivers: dict[str, int] = {}
        waiting = list(drives)
        while waiting:
            reached = [one for one in waiting if self._driver(one) is not None]
            if not reached:
                break
            for one in reached:
                waiting.remove(one)
                self._turn(one)

    def shaft(self, part: PlacedPart) -> str:
        """The shaft that a part turns with, by the name of what holds it."""
        if part.kind == "crank pulley":
            return _CRANK
        carrier = self.layout.parts.get(part.carrier)
        if part.kind in ("pulley", "fan") and carrier is not None and carrier.kind in _SHAFTS:
            return carrier.name
        return part.name

    def driver(self, drive: Drive) -> int | None:
        """The number of the pulley that drives a belt; None where none is known to."""
        return self._drivers.get(drive.belt.name)

    def _driver(self, drive: Drive) -> int | None:
        shafts = [self.shaft(one.part) for one in drive.circles]
        turned = [k for k, name in enumerate(shafts) if name in self.turns]
        return min(turned, key=lambda k: shafts[k] != _CRANK, default=None)

    def _turn(self, drive: Drive) -> None:
        number = self._driver(drive)
        assert number is not None
        self._drivers[drive.belt.name] = number
        first = drive.circles[number]
        given = self.turns[self.shaft(first.part)]
        kind = section(drive.belt)
        out, recalled = kind.pitch_out_mm, given.recalled or pitch_recalled(kind)
        proud = drive.belt.entry.sizes["proud"].half_width
        here = speed_at(first.radius_mm, out / 2, first.sense)
        for one in drive.circles:
            there = speed_at(one.radius_mm, out / 2, one.sense)
            form = given.form + first.radius_moves / here - one.radius_moves / there
            loose = given.loose + (proud / there if one.sense < 0 else 0.0)
            ratio = given.ratio * here / there
            turn = Turn(ratio, form, loose, one, first, float(there), float(here), recalled)
            self.turns.setdefault(self.shaft(one.part), turn)


def check_speeds(speeds: Speeds) -> tuple[Finding, ...]:
    """One finding for each part that says how fast it may turn."""
    return tuple(_speed_of(speeds, part, most) for part, most in _limited(speeds.layout))


def _limited(layout: Layout) -> Iterator[tuple[PlacedPart, float]]:
    for part in layout.parts.values():
        most = known(part, "highest speed") if part.kind != "crank pulley" else None
        if most:
            yield part, most


def _speed_of(speeds: Speeds, part: PlacedPart, most: float) -> Finding:
    layout = speeds.layout
    turn = speeds.turns.get(speeds.shaft(part))
    engine = next((one for one in layout.parts.values() if one.kind == "engine"), None)
    red = None if engine is None else known(engine, "red line")
    idle = None if engine is None else known(engine, "idle")
    if engine is None or turn is None or not red:
        return _open(part, most, "" if turn is None else "red line")
    off = float(layout.uncertainty.spread(turn.form)) + turn.loose
    fastest = red * turn.ratio
    red_off = engine.entry.sizes["red line"].half_width / red
    limit_off = part.entry.sizes["highest speed"].half_width
    high = fastest * (1 + red_off) * (1 + off)
    low = fastest * max(1 - red_off, 0.0) * max(1 - off, 0.0)
    verdict = Verdict.TOO_CLOSE
    if high <= most - limit_off:
        verdict = Verdict.FITS
    elif low > most + limit_off:
        verdict = Verdict.FOULS
    caution = f" {_FAN_CAUTION}" if part.kind == "fan" else ""
    how = {Verdict.FITS: "turns", Verdict.FOULS: "turns too fast", Verdict.TOO_CLOSE: "may turn"}
    note = (
        f"At the red line the {part.name} {how[verdict]}: {fastest:.0f} rpm "
        f"(± {high - fastest:.0f}), {turn.ratio:.3f} turns for one of the crank"
        f"{' (pitch line from memory)' if turn.recalled else ''}; "
        f"{most:.0f} rpm{f' (± {limit_off:.0f})' if limit_off else ''} is the most that it "
        f"bears.{caution}"
    )
    rests_on = words.supports(turn.form, layout.survey.sources, layout.envelope.unit)
    remedies: tuple[str, ...] = ()
    if verdict is not Verdict.FITS and most > limit_off:
        remedies = _slower(layout, turn, high / (most - limit_off))
    elif verdict is not Verdict.FITS:
        remedies = (f"look up how fast the {part.name} may turn, to within less",)
    details: dict[str, float | str | list[list[float]]] = {
        "ratio": round(turn.ratio, 4),
        "ratio_spread": round(turn.ratio * off, 4),
        "rpm_at_red_line": round(fastest, 1),
        "rpm_spread": round(high - fastest, 1),
        "limit_rpm": most,
        "limit_spread_rpm": limit_off,
    }
    if idle:
        details["rpm_at_idle"] = round(idle * turn.ratio, 1)
    return Finding(
        id=f"speed: {part.name}",
        question=QUESTION,
        parts=(part.name,),
        verdict=verdict,
        note=note,
        remedies=remedies,
        rests_on=rests_on if verdict is not Verdict.FITS else (),
        details=details,
    )


def _slower(layout: Layout, turn: Turn, over: float) -> tuple[str, ...]:
    """Pulleys with which it turns no faster than it may. over: by what factor it is too fast."""
    unit, one, first = layout.envelope.unit, turn.circle, turn.driver
    if one is None or first is None:
        return ("keep the engine below that speed",)
    larger = 2.0 * (one.metal_mm + turn.circle_pitch_mm * (over - 1.0))
    smaller = 2.0 * (first.metal_mm + turn.driver_pitch_mm * (1.0 / over - 1.0))
    return (
        f"a pulley of at least {words.at_least(larger, unit)} over the rim on the {one.part.name}",
        f"or one of at most {words.length(smaller, unit)} in the place of the {first.part.name}: "
        f"everything else on it then turns slower too",
    )


def _open(part: PlacedPart, most: float, lacks: str) -> Finding:
    why = "nothing says how fast the engine turns" if lacks else "no belt turns it from the crank"
    remedy = (
        "write how fast the engine may turn, as its red line"
        if lacks
        else f"name the pulley of the {part.name} under over: of a belt"
    )
    return Finding(
        id=f"speed: {part.name}",
        question=QUESTION,
        parts=(part.name,),
        verdict=Verdict.NOT_KNOWN,
        note=f"Whether the {part.name} turns faster than {most:.0f} rpm is not known: {why}.",
        remedies=(remedy,),
        details={"limit_rpm": most},
    )
