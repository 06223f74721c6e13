"""Can a belt be laid as it is named at all? Pulleys that overlap, and runs that cannot be."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from noseroom.checks import words
from noseroom.checks.drive import Circle, Drive
from noseroom.checks.drive_forms import RunForms
from noseroom.checks.moves import Moves
from noseroom.findings import Verdict
from noseroom.physics.belts import BeltRun, belt_run

_WAYS = tuple(np.array(way) for way in ((0, 0, 1.0), (0, 0, -1.0), (0, 1.0, 0), (0, -1.0, 0)))
_HUNG = ("alternator", "compressor", "idler pulley")


@dataclass(frozen=True)
class Route:
    """Whether a belt can be laid. said: sentences. parts: what is in the way of it."""

    verdict: Verdict = Verdict.FITS
    said: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    remedies: tuple[str, ...] = ()


def route_of(drive: Drive, moves: Moves) -> Route:
    """What keeps a belt from being laid; the pulleys' places must be known."""
    forms = RunForms(drive)
    found = _overlaps(drive, forms, moves)
    if found.verdict is Verdict.FITS and any(drive.back):
        found = _in_turn(drive, forms)
    return found


def _overlaps(drive: Drive, forms: RunForms, moves: Moves) -> Route:
    unit, circles = drive.layout.envelope.unit, drive.circles
    said, parts, remedies = [], list[str](), []
    verdict = Verdict.FITS
    for a, b, deep, loose in forms.overlaps():
        names = circles[a].part.name, circles[b].part.name
        sure = deep > loose
        verdict = min(
            verdict, Verdict.FOULS if sure else Verdict.TOO_CLOSE, key=lambda one: one.rank
        )
        how = "overlap" if sure else "may overlap"
        said.append(
            f"The {names[0]} and the {names[1]} {how} in the plane of the {drive.belt.name}, by "
            f"{words.at_least(deep, unit)} as read."
        )
        parts += names
        remedies += _apart(circles[a], circles[b], deep + loose, moves, unit)
    return Route(verdict, tuple(said), tuple(dict.fromkeys(parts)), tuple(remedies))


def _apart(a: Circle, b: Circle, short_mm: float, moves: Moves, unit: str) -> list[str]:
    """How to get two pulleys apart: a move of one that hangs in a bracket, or a smaller pulley."""
    one, other = (a, b) if a.part.kind in _HUNG else (b, a)
    line = one.centre - other.centre
    line = line - (line @ other.axis) * other.axis
    wanted = math.hypot(*line) + short_mm
    found = []
    if one.part.kind in _HUNG:
        tried = []
        for way in _WAYS:
            along = float(line @ way)
            rest = float(line @ line) - along**2
            by = math.sqrt(max(wanted**2 - rest, 0.0)) - along
            tried.append((by, way))
        by, way = min(tried, key=lambda each: each[0])
        why = moves.hampered(one.part, by * way, belts=False)
        but = f", but {why}" if why else ""
        found.append(f"move the {one.part.name} {words.at_least(by, unit)} {words.way(way)}{but}")
    small = min(a, b, key=lambda each: each.metal_mm)
    least = 2.0 * (small.metal_mm - short_mm)
    if least > small.metal_mm:
        found.append(
            f"or a pulley of at most {words.length(least, unit)} over the rim on the "
            f"{small.part.name}"
        )
    return found


def _in_turn(drive: Drive, forms: RunForms) -> Route:
    """What keeps a belt with pulleys on its back from being laid in the order named."""
    run, name = forms.run, drive.belt.name
    assert run is not None
    names = [drive.circles[k].part.name for k in forms.order]
    if run.no_tangent.any():
        return _no_way(drive, forms, run, names)
    remedy = (
        f"write over: of the {name} in the order in which it goes round, and under back on: only "
        f"pulleys that stand outside its loop",
    )
    across = Route(
        Verdict.FOULS,
        (f"The {name} cannot be laid as it is written: it would cross itself.",),
        tuple(names),
        remedy,
    )
    if run.missed.any():
        # What the belt of the others passes is told by its wrap.
        kept = ~run.missed
        there = kept.sum() > 1 and belt_run(run.xyr[kept], run.sense[kept] < 0).ok
        return Route() if there else across
    if int(run.turning) != 1:
        return across
    found = _through(drive, forms, run, names)
    if found.verdict is Verdict.FITS:
        return across if run.crossed.any() else found
    return replace(found, remedies=(*found.remedies, *remedy))


def _no_way(drive: Drive, forms: RunForms, run: BeltRun, names: list[str]) -> Route:
    """No span goes from one pulley to the next: the belt's own thickness counts here too."""
    k = int(np.flatnonzero(run.no_tangent)[0])
    after = (k + 1) % len(names)
    deep = float(run.overlap_mm[k, after])
    sure = deep > forms.loose_mm()
    unit = drive.layout.envelope.unit
    return Route(
        Verdict.FOULS if sure else Verdict.TOO_CLOSE,
        (
            f"The {drive.belt.name} {'cannot' if sure else 'may not'} be laid from the {names[k]} "
            f"to the {names[after]}: they leave no room for it between them.",
        ),
        (names[k], names[after]),
        (
            f"set the {names[k]} and the {names[after]} "
            f"{words.at_least(deep + forms.loose_mm(), unit)} further apart",
        ),
    )


def _through(drive: Drive, forms: RunForms, run: BeltRun, names: list[str]) -> Route:
    """The span that comes nearest to a pulley that is none of its own, where it may meet it."""
    deep = run.blocked_mm
    k, m = (int(one) for one in np.unravel_index(int(deep.argmax()), deep.shape))
    loose, most = forms.loose_mm(), float(deep[k, m])
    if most + loose <= 0:
        return Route()
    far = names[(k + 1) % len(names)]
    sure = most - loose > 0
    unit = drive.layout.envelope.unit
    how = "runs" if sure else "may run"
    figure = f", by {words.at_least(most, unit)} as read" if most > 0 else ""
    return Route(
        Verdict.FOULS if sure else Verdict.TOO_CLOSE,
        (
            f"The {drive.belt.name} {how} through the {names[m]} from the {names[k]} to the "
            f"{far}{figure}.",
        ),
        (names[m],),
        (f"set the {names[m]} {words.at_least(most + loose, unit)} further from that span",),
    )
