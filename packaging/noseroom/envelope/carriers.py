"""Who carries whom: chosen, found by kind, or added because a part cannot be without it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from noseroom.envelope.kinds import CAR, Kind, Kinds
from noseroom.envelope.names import comparable
from noseroom.errors import Fault


@dataclass(slots=True)
class Held:
    """A part of the file as far as carrying goes. given: what its `carried by` says, "" if none."""

    name: str
    kind: Kind
    line: int
    given: str = ""
    given_line: int = 0
    carrier: str = CAR
    implicit: bool = False


def find_carriers(parts: dict[str, Held], kinds: Kinds) -> list[Fault]:
    """Fill in every carrier, adding implicit parts at the end of `parts`; what is wrong with them.

    A part whose name begins with a possible carrier's name ("water pump pulley") is carried by
    that one; else the first of its kind's carriers that the file has, in the kind's order.
    """
    faults: list[Fault] = []
    waiting = list(parts.values())
    while waiting:
        held = waiting.pop(0)
        if held.given:
            held.carrier = held.given
            fault = _unfit(held, parts)
        else:
            added = _usual_carrier(held, parts, kinds)
            if added is not None:
                parts[added.name] = added
                waiting.append(added)
            fault = _missing(held)
        if fault:
            faults.append(fault)
    return faults + _loops(parts)


def _usual_carrier(held: Held, parts: Mapping[str, Held], kinds: Kinds) -> Held | None:
    """Set the carrier of a part that names none; the part to add for it, if any."""
    wanted = held.kind.carried_by
    own = comparable(held.name)
    others = [one for one in parts.values() if one is not held]
    namesakes = [
        one.name
        for one in others
        if one.kind.name in wanted and own.startswith(f"{comparable(one.name)} ")
    ]
    if namesakes:
        held.carrier = max(namesakes, key=len)
        return None
    for rank, kind_name in enumerate(wanted):
        if kind_name == CAR:
            break
        found = next((one.name for one in others if one.kind.name == kind_name), None)
        if found is not None:
            held.carrier = found
            return None
        kind = kinds.get(kind_name)
        free = kind_name not in parts and kind_name != held.kind.name
        if rank == 0 and kind is not None and free and _needs_nothing(kind):
            held.carrier = kind_name
            return Held(kind_name, kind, held.line, implicit=True)
    held.carrier = CAR
    return None


def _needs_nothing(kind: Kind) -> bool:
    """Whether a part of this kind can be all assumed."""
    return not (
        any(size.required for size in kind.sizes)
        or any(choice.required for choice in kind.choices)
        or any(reference.least for reference in kind.references)
    )


def _bound_to_carrier(kind: Kind) -> bool:
    """Whether the part's place follows from its carrier, so that it cannot do without."""
    return kind.freedom != "placed" and CAR not in kind.carried_by


def _missing(held: Held) -> Fault | None:
    if held.carrier != CAR or not _bound_to_carrier(held.kind):
        return None
    expected = f"{' or '.join(held.kind.carried_by)} in the file, to carry it"
    return Fault(held.line, f"{held.name}.carried by", "no such part", expected)


def _unfit(held: Held, parts: Mapping[str, Held]) -> Fault | None:
    if not _bound_to_carrier(held.kind):
        return None
    kind = parts[held.carrier].kind.name if held.carrier in parts else CAR
    if kind in held.kind.carried_by:
        return None
    expected = f"a {' or a '.join(held.kind.carried_by)}: a {held.kind.name} stands on its carrier"
    found = f"{held.carrier}, a {kind}" if kind != CAR else CAR
    return Fault(held.given_line, f"{held.name}.carried by", found, expected)


def _loops(parts: Mapping[str, Held]) -> list[Fault]:
    """One fault for each ring of parts that carry one another."""
    faults: list[Fault] = []
    done: set[str] = set()
    for start in parts:
        path: list[str] = []
        name = start
        while name in parts and name not in done and name not in path:
            path.append(name)
            name = parts[name].carrier
        if name in path:
            ring = path[path.index(name) :]
            shown = [f"{one} (line {parts[one].given_line or parts[one].line})" for one in ring]
            found = f"{', carried by '.join(shown)}, carried by {ring[0]}"
            line = min(parts[one].given_line or parts[one].line for one in ring)
            expected = "carriers that end at the car"
            faults.append(Fault(line, f"{ring[0]}.carried by", found, expected))
        done.update(path)
    return faults
