"""What is said of where a compressor may stand: a finding, and the move that others then name."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.clear_places import STEP_MM, neighbours
from noseroom.checks.compressor_place import REACH_MM, Place, Places, find_places, reach_of
from noseroom.checks.moves import FURTHEST_MM
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Finding, Verdict, overall
from noseroom.layout import Layout, PlacedPart
from noseroom.units import format_length

Floats = NDArray[np.float64]

QUESTION = "where may it stand"
PREFIX = "stand: "
_KIND = "compressor"
_NAMED = 3
_AT_REST = "at rest"
_BUT, _ALONG = ", but ", (" forward", " aft")
_PAIR, _FAN_GAP = "fit: ", "fan gap"
_MOST_STEPS = 60
_LEAST_STEP_MM = 0.5


def with_places(pairs: Pairs, rules: Rules, findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The findings, with one on each compressor that fouls, or whose bracket may go elsewhere.

    Where it fouls and a place is found, that place stands in what fouls it instead of other moves
    of it: those clear one part, and this clears all.
    """
    made = list(findings)
    for part in pairs.layout.parts.values():
        fouled = [one for one in made if _concerns(one, part)]
        verdict = overall([Verdict.FITS, *(one.verdict for one in fouled)])
        reach = reach_of(part) if part.kind == _KIND else None
        if part.kind != _KIND or (verdict is not Verdict.FOULS and reach is None):
            continue
        places = find_places(pairs, rules, part, reach)
        if places is None:
            continue
        if verdict is Verdict.FOULS:
            made = [_instead(one, places, pairs.layout.envelope.unit) for one in made]
        made.append(_finding(pairs, rules, places, verdict, fouled, made))
    return tuple(made)


def _concerns(finding: Finding, part: PlacedPart) -> bool:
    at_rest = finding.state == _AT_REST and finding.id.startswith((_PAIR, _FAN_GAP))
    return at_rest and part.name in finding.parts


def _instead(finding: Finding, places: Places, unit: str) -> Finding:
    """What fouls the part, with the best place for what else would be said of moving it."""
    part = places.part
    moved = [one for one in finding.remedies if one.startswith(f"move the {part.name} ")]
    if not moved or not _concerns(finding, part) or finding.verdict is not Verdict.FOULS:
        return finding
    best = [one for one in places.best if one.far_mm > 0]
    if best:
        instead = [moved_to(places, best[0], unit), *(None for _ in moved[1:])]
    else:
        instead = [_but(places, one) for one in moved]
    swap = dict(zip(moved, instead, strict=True))
    said = (swap.get(one, one) for one in finding.remedies)
    return replace(finding, remedies=tuple(one for one in said if one is not None))


def _but(places: Places, move: str) -> str:
    """A move in the plane, with what speaks against it: no place in that plane will do."""
    if _BUT in move or move.endswith(_ALONG):
        return move
    who, what = max(places.struck, key=lambda one: (one[0] != places.part.name, places.struck[one]))
    belt = who != places.part.name and places.struck[who, what]
    met = f"the {who} {_meets(what)}" if belt else "it is then in the way of something else"
    return f"{move}{_BUT}{met} there"


def _meets(what: str) -> str:
    return f"meets the {what}" if what else "leaves a pulley or its line"


def moved_to(places: Places, place: Place, unit: str) -> str:
    """A move to a place, with what it then keeps: "set", as it goes two ways at once."""
    keeps = []
    if place.nearest is not None:
        room = words.length(place.nearest.sure_mm, unit)
        who = "it" if place.nearest.part == places.part.name else f"the {place.nearest.part}"
        keeps.append(f"{who} then surely keeps {room} to the {place.nearest.other}")
    if place.pulley:
        keeps.append(f"the belt surely lies on {math.floor(place.wrap_deg)}° of every pulley")
    said = f"set the {places.part.name} {_figures(places, place, unit)}"
    return f"{said}: {' and '.join(keeps)}" if keeps else said


def _figures(places: Places, place: Place, unit: str) -> str:
    window = places.window
    said = [
        f"{format_length(abs(by), unit)} {words.way(by * way)}"
        for by, way in ((place.up_mm, window.up), (place.right_mm, window.right))
        if by
    ]
    return " and ".join(said)


def _finding(
    pairs: Pairs,
    rules: Rules,
    places: Places,
    verdict: Verdict,
    fouled: Sequence[Finding],
    found: Sequence[Finding],
) -> Finding:
    """found: all findings so far; fouled: those of them that are about the part."""
    part, unit = places.part, pairs.layout.envelope.unit
    window, allowed = places.window, places.allowed
    best = [one for one in places.best if one.far_mm > 0]
    others = [name for one in fouled for name in one.parts if one.verdict is verdict]
    others = [name for name in dict.fromkeys(others) if name != part.name]
    remedies: tuple[str, ...] = ()
    if verdict is not Verdict.FITS:
        foul, close = _left_in_fans(pairs.layout, places, found)
        remedies = tuple(_remedies(places, best, unit))
        left = f"still lacks room to {_the(foul)}" if foul else ""
        if close and not foul:
            left = f"may still lack room to {_the(close)}"
        remedies = remedies or tuple(_no_place(pairs, rules, places, left))
        if _spacer_serves(part, found):
            # Of what asks for a wider look there is no need then; nor of a move that leaves the fan
            # in something else, so that it takes the spacer all the same.
            kept = () if foul else remedies[:1]
            remedies = tuple(f"without a spacer for the fan: {one}" for one in kept)
    return Finding(
        id=f"{PREFIX}{part.name}",
        question=QUESTION,
        parts=(part.name,),
        verdict=verdict,
        note=_note(pairs, places, verdict, others),
        remedies=remedies,
        details={
            "places": float(allowed.sum()),
            "looked_at": float(allowed.size),
            "step_mm": STEP_MM,
            "window_mm": [
                [float(window.across[0]), float(window.across[-1])],
                [float(window.along[0]), float(window.along[-1])],
            ],
            "rows_mm": list(_rows(places)),
            "best_mm": [[round(one.right_mm, 3), round(one.up_mm, 3)] for one in places.best],
            "best_wrap_deg": [[round(one.wrap_deg, 1)] for one in places.best if one.pulley],
            "best_spare_mm": [
                [round(one.nearest.spare_mm, 3)] for one in places.best if one.nearest
            ],
        },
    )


def _spacer_serves(part: PlacedPart, findings: Sequence[Finding]) -> bool:
    """Whether all that a part fouls is a fan that a spacer serves, with the part where it is."""
    bad = [one for one in findings if one.verdict is Verdict.FOULS]
    fans = {one.parts[0] for one in bad if one.id.startswith(_FAN_GAP) and one.details["spacer_mm"]}
    met = {name for one in bad if _concerns(one, part) for name in one.parts} - {part.name}
    return bool(met) and met <= fans


def _moved(places: Places) -> list[PlacedPart]:
    """What goes along to another plane: the part, the pulleys of its belts, and the belts."""
    along = {one.part.name: one.part for drive in places.belts for one in drive.circles}
    part = places.part
    return [*{part.name: part, **along}.values(), *(one.belt for one in places.belts)]


def _left_in_fans(
    layout: Layout, places: Places, findings: Sequence[Finding]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What the fans that a part fouls foul besides, and are too close to, wherever it goes.

    What goes along to another plane is left out.
    """
    moved = {one.name for one in _moved(places)}
    pairs = [one for one in findings if one.id.startswith(_PAIR) and one.state == _AT_REST]
    met = {name for one in pairs if _fouls(one, places.part) for name in one.parts}
    fans = {name for name in met if layout.parts[name].kind == "fan"}
    left: dict[Verdict, list[str]] = {Verdict.FOULS: [], Verdict.TOO_CLOSE: []}
    for one in pairs:
        others = [name for name in one.parts if name not in fans]
        if one.verdict in left and len(others) < len(one.parts) and not moved & set(others):
            left[one.verdict] += others
    foul = tuple(dict.fromkeys(left[Verdict.FOULS]))
    close = (name for name in dict.fromkeys(left[Verdict.TOO_CLOSE]) if name not in foul)
    return foul, tuple(close)


def _fouls(finding: Finding, part: PlacedPart) -> bool:
    return finding.verdict is Verdict.FOULS and part.name in finding.parts


def _rows(places: Places) -> Iterable[list[float]]:
    """The places that are allowed, by rows from below: up, then from and to, to the right, mm."""
    window = places.window
    for up, row in zip(window.along, places.allowed, strict=True):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
        for start, end in edges.reshape(-1, 2):
            yield [float(up), float(window.across[start]), float(window.across[end - 1])]


def _note(pairs: Pairs, places: Places, verdict: Verdict, others: Sequence[str]) -> str:
    part, unit = places.part, pairs.layout.envelope.unit
    window, count = places.window, int(places.allowed.sum())
    left, right = abs(window.across[0]), window.across[-1]
    down, up = abs(window.along[0]), window.along[-1]
    if left == right == down == up:
        within = f"within {format_length(right, unit)} to either side, up and down"
    else:
        within = (
            f"up to {format_length(left, unit)} left, {format_length(right, unit)} right, "
            f"{format_length(up, unit)} up and {format_length(down, unit)} down"
        )
    belts = words.listed([f"the {one.belt.name}" for one in places.belts])
    plane = f"in the plane of {belts}" if places.belts else "across its axis"
    hold = f" and keeps {belts} on its pulleys" if places.belts else ""
    now = ""
    if verdict is Verdict.FOULS:
        now = f"The {part.name} fouls {words.listed([f'the {one}' for one in others])}. "
    elif verdict is not Verdict.FITS:
        now = f"Where it stands now is {verdict.value}. "
    if count and places.best:
        said = (
            f"{_capital(plane)}, {within}, it keeps clear of everything{hold} at "
            f"{_share(places)} of the places that were looked at"
        )
    elif count:
        said = f"{_capital(plane)}, {within}, no place was found that surely does"
    else:
        said = f"{_capital(plane)}, {within}, no place keeps it clear of everything{hold}"
    said = f"{now}{said}{_in_the_way(places)}."
    if places.untold:
        names = words.listed([f"the {one}" for one in places.untold])
        said += f" Not looked at, because nobody knows where they stand: {names}."
    if count and verdict is not Verdict.FITS:
        said += " What moves, and what a fan does at speed, is told when the new place is checked."
    return said


def _the(names: Iterable[str]) -> str:
    return words.listed([f"the {one}" for one in names])


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _share(places: Places) -> str:
    """How many places will do, for whoever does not know of a grid."""
    share = 100.0 * float(places.allowed.mean())
    return f"{math.floor(share)} %" if share >= 1.0 else "less than 1 %"


def _in_the_way(places: Places) -> str:
    """What rules out the most, where there is too little left."""
    if places.best:
        return ""
    most = sorted(places.struck.items(), key=lambda it: -it[1])
    said = [f"the {who} {_meets(what)}" for (who, what), count in most[:_NAMED] if count]
    if not said:
        return ""
    return f": mostly {said[0]}{f', elsewhere {words.listed(said[1:])}' if said[1:] else ''}"


def _remedies(places: Places, best: Sequence[Place], unit: str) -> Iterable[str]:
    if not best:
        return
    yield moved_to(places, best[0], unit)
    if best[1:]:
        others = [_figures(places, one, unit) for one in best[1:]]
        yield f"or set the {places.part.name} {', or '.join(others)}"
    if places.hoses:
        yield f"lead the {words.listed(places.hoses)} anew from its new place"


def _no_place(pairs: Pairs, rules: Rules, places: Places, left: str) -> Iterable[str]:
    """What is left where no place in the plane will do: another plane, or a wider look.

    left: what a fan that it fouls does in whatever plane the part stands, as words; "" for nothing.
    """
    part, layout, unit = places.part, pairs.layout, pairs.layout.envelope.unit
    met = {what for (_, what), count in places.struck.items() if what and count}
    if met:
        ends = _moved(places)
        axis = np.array(np.cross(places.window.right, places.window.up))
        others = [layout.parts[one] for one in sorted(met)]
        needs = [(_clear_after(pairs, rules, ends, others, way), way) for way in (axis, -axis)]
        by, way = min(needs, key=lambda each: each[0])
        if np.isfinite(by):
            names = [one.name for one in ends if one.kind != "belt"]
            what = f"set {_the(names)}"
            still = f", but the fan {left}" if left else ""
            yield (
                f"{what} {words.at_least(by, unit)} {words.way(way)}: in that plane it clears "
                f"{_the(sorted(met))}{still}; then check again"
            )
    sides = "left: …, right: …, up: …, down: …"
    yield (
        f"if its bracket can go further than {format_length(REACH_MM, unit)}, say how far: "
        f"places: {{{sides}}} under the {part.name} (line {part.entry.line})"
        if reach_of(part) is None
        else f"let its bracket go further (places, line {part.entry.line}), or drive it from the "
        f"other side"
    )


def _clear_after(
    pairs: Pairs, rules: Rules, ends: Sequence[PlacedPart], met: Sequence[PlacedPart], way: Floats
) -> float:
    """How far along a way all of some parts surely clear all of others, mm; inf: not within reach.

    A gap grows by no more than a part moves, so that steps by what is missing skip nothing.
    """
    cases = [(one, near) for one in ends for near in neighbours(pairs, rules, one, met)]
    by = 0.0
    for _ in range(_MOST_STEPS):
        missing = max(
            near.asked_mm
            - pairs.sure_gap(
                one, near.mine, near.part, near.theirs, enough_mm=near.asked_mm, shift=by * way
            ).lower_mm
            for one, near in cases
        )
        if missing <= 0:
            return by
        by += max(missing, _LEAST_STEP_MM)
        if not by <= FURTHEST_MM:
            break
    return float("inf")
