"""Reading `cooling`: what the file says of air and heat, or every fault in it with its line."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from itertools import pairwise
from typing import Any

from noseroom.envelope.cooling_keys import (
    FAN_KEYS,
    KEYS,
    OPTION_KEYS,
    READING_KEYS,
    STATE_KEYS,
    Asked,
    Key,
)
from noseroom.envelope.cooling_records import (
    CoolingEntry,
    FanEntry,
    Figure,
    NamedEntry,
)
from noseroom.envelope.cooling_units import MEASURES, read_figure
from noseroom.envelope.source import Node
from noseroom.envelope.suggest import described, did_you_mean, listed, quoted
from noseroom.envelope.values import BadValueError
from noseroom.errors import Fault

__all__ = ["COOLING", "cooling_of", "cooling_schema"]

COOLING = "cooling"
_FANS, _READINGS, _STATES, _OPTIONS = "fans", "readings", "states", "options"
_POINTS = "points"
_MOST_POINTS = 40
_POINT = "a flow at a pressure, such as 900 cfm at 0.4 in wc"
_READINGS_NEED = "outside"

Figures = dict[str, Figure]
Said = tuple[Figures, dict[str, str]]


def cooling_of(
    node: Node, line: int, fans: Mapping[str, bool], unit: str
) -> tuple[CoolingEntry, list[Fault]]:
    """What stands under `cooling`, and what is wrong with it.

    line: of the key. fans: the file's, by name, with whether the engine drives it. unit: the
    file's own, for lengths.
    """
    reader = _Reader(unit)
    return reader.entry(node, line, fans), reader.faults


class _Reader:
    def __init__(self, unit: str) -> None:
        self.unit = unit
        self.faults: list[Fault] = []

    def entry(self, node: Node, line: int, fans: Mapping[str, bool]) -> CoolingEntry:
        """All of it."""
        wanted = f"a mapping of {listed(_tops(KEYS))}; {COOLING}: {{}} asks with nothing known"
        if not self._is_mapping(node, line, (COOLING,), wanted):
            return CoolingEntry(line=line)
        own = (_FANS, _READINGS, _STATES, _OPTIONS)
        figures, words = self._said(node, (COOLING,), KEYS, own)
        readings, _ = self._below(node, _READINGS, READING_KEYS)
        self._demand_outside(node, readings)
        return CoolingEntry(
            figures=figures,
            words=words,
            fans=self._fans(node, fans),
            readings=readings,
            states=tuple(
                NamedEntry(name, *said, at)
                for name, at, said in self._named(node, _STATES, STATE_KEYS)
            ),
            options=tuple(
                NamedEntry(name, *said, at)
                for name, at, said in self._named(node, _OPTIONS, OPTION_KEYS)
            ),
            line=line,
        )

    def _demand_outside(self, node: Node, readings: Figures) -> None:
        """What was read means nothing without the day that it was read on."""
        if readings and _READINGS_NEED not in readings and not self.faults:
            line = node.entries[_READINGS][0]
            wanted = f"{_READINGS_NEED}: the temperature in the shade as they were taken"
            self._fault(line, (COOLING, _READINGS, _READINGS_NEED), "nothing", wanted)

    def _below(self, node: Node, key: str, keys: Mapping[str, Key]) -> Said:
        if key not in node.entries:
            return {}, {}
        line, below = node.entries[key]
        if not self._is_mapping(below, line, (COOLING, key), f"a mapping of {listed(keys)}"):
            return {}, {}
        return self._said(below, (COOLING, key), keys)

    def _named(self, node: Node, key: str, keys: Mapping[str, Key]) -> list[tuple[str, int, Said]]:
        if key not in node.entries:
            return []
        line, below = node.entries[key]
        if not self._is_mapping(below, line, (COOLING, key), "a mapping from names to figures"):
            return []
        found = []
        for name, (at, one) in below.entries.items():
            path = (COOLING, key, name)
            if self._is_mapping(one, at, path, f"a mapping of {listed(_tops(keys))}"):
                found.append((name, at, self._said(one, path, keys)))
        return found

    def _fans(self, node: Node, fans: Mapping[str, bool]) -> dict[str, FanEntry]:
        if _FANS not in node.entries:
            return {}
        line, below = node.entries[_FANS]
        if not self._is_mapping(below, line, (COOLING, _FANS), "a mapping from fans to figures"):
            return {}
        known = {one.casefold(): one for one in fans}
        found = {}
        for name, (at, one) in below.entries.items():
            path = (COOLING, _FANS, name)
            if name.casefold() not in known:
                wanted = f"a fan of this file ({listed(fans)})" if fans else "no fan: there is none"
                self._fault(at, path, quoted(name), wanted, did_you_mean(name, fans))
            elif self._is_mapping(one, at, path, f"a mapping of {_POINTS}, {listed(FAN_KEYS)}"):
                figures, _ = self._said(one, path, FAN_KEYS, (_POINTS,))
                points = self._points(one, path) if _POINTS in one.entries else ()
                mine = known[name.casefold()]
                if points and fans[mine] and "speed" not in figures:
                    wanted = "the fan's speed at its points, such as 2000 rpm: the engine drives it"
                    self._fault(at, (*path, "speed"), "nothing", wanted)
                found[mine] = FanEntry(points, figures, at)
        return found

    def _points(self, node: Node, path: tuple[str, ...]) -> tuple[tuple[float, float], ...]:
        line, below = node.entries[_POINTS]
        items = below.items if below.kind == "list" else [below]
        points: dict[float, tuple[float, float]] = {}
        for item in items[:_MOST_POINTS]:
            point = self._point(item, (*path, _POINTS))
            if point is not None:
                points[point[0]] = point
        if len(items) > _MOST_POINTS or not items:
            found = f"{len(items)} points"
            self._fault(line, (*path, _POINTS), found, f"one to {_MOST_POINTS} of them")
        ordered = sorted(points.values())
        for before, after in pairwise(ordered):
            if after[1] >= before[1]:
                found = f"{after[1]:.0f} Pa at {after[0]:.3g} m³/s after {before[1]:.0f} Pa"
                wanted = "less pressure where there is more flow"
                hint = "leave out the points where the fan stalls"
                self._fault(line, (*path, _POINTS), found, wanted, hint)
                return ()
        return tuple(ordered)

    def _point(self, item: Node, path: tuple[str, ...]) -> tuple[float, float] | None:
        text = item.text or ""
        flow, at, rise = text.partition(" at ")
        if not at:
            self._fault(item.line, path, described(item.plain()), _POINT)
            return None
        try:
            return (
                read_figure("flow", flow, 0.0, 10.0)[0],
                read_figure("pressure", rise, 0.0, 3000.0)[0],
            )
        except BadValueError as fault:
            self._fault(item.line, path, fault.found, fault.expected, fault.suggestion)
            return None

    # -- figures and words ------------------------------------------------------------------

    def _said(
        self,
        node: Node,
        path: tuple[str, ...],
        keys: Mapping[str, Key],
        also: Collection[str] = (),
    ) -> Said:
        figures: Figures = {}
        words: dict[str, str] = {}
        self._walk(node, path, "", keys, also, figures, words)
        return figures, words

    def _walk(
        self,
        node: Node,
        path: tuple[str, ...],
        before: str,
        keys: Mapping[str, Key],
        also: Collection[str],
        figures: Figures,
        words: dict[str, str],
    ) -> None:
        known = [key[len(before) :] for key in keys if key.startswith(before)]
        for key, (line, below) in node.entries.items():
            dotted = f"{before}{key}"
            if not before and key in also:
                continue
            if any(one.startswith(f"{dotted}.") for one in keys):
                inner = _tops([one[len(dotted) + 1 :] for one in keys if one.startswith(dotted)])
                wanted = f"a mapping of {listed(inner)}"
                if self._is_mapping(below, line, (*path, key), wanted):
                    self._walk(below, (*path, key), f"{dotted}.", keys, (), figures, words)
                continue
            asked = keys.get(dotted)
            if asked is None:
                there = _tops([*also, *known])
                text = f"one of {', '.join(there)}"
                unknown = f"{quoted(key)}, an unknown key"
                self._fault(line, (*path, key), unknown, text, did_you_mean(key, there))
                continue
            self._leaf(below, line, (*path, key), dotted, asked, figures, words)

    def _leaf(
        self,
        node: Node,
        line: int,
        path: tuple[str, ...],
        key: str,
        asked: Key,
        figures: Figures,
        words: dict[str, str],
    ) -> None:
        if node.text is None:
            found = node.why_empty or described(node.plain())
            self._fault(line, path, found, asked.help, node.hint)
            return
        if isinstance(asked, Asked):
            try:
                read = read_figure(asked.measure, node.text, asked.low, asked.high, self.unit)
            except BadValueError as fault:
                wanted = f"{fault.expected} ({asked.help})"
                self._fault(node.line, path, fault.found, wanted, fault.suggestion)
                return
            figures[key] = Figure(*read, node.text.strip(), node.line)
            return
        spoken = {"true": "yes", "false": "no"}.get(node.text.casefold(), node.text.casefold())
        meant = next((one for one in asked.options if one.casefold() == spoken), None)
        if meant is None:
            hint = did_you_mean(node.text, asked.options)
            self._fault(node.line, path, quoted(node.text), " or ".join(asked.options), hint)
            return
        words[key] = meant

    def _is_mapping(self, node: Node, line: int, path: tuple[str, ...], wanted: str) -> bool:
        if node.kind == "mapping":
            return True
        found = node.why_empty or described(node.plain())
        self._fault(line, path, found, wanted, node.hint)
        return False

    def _fault(
        self, line: int, path: tuple[str, ...], found: str, expected: str, hint: str = ""
    ) -> None:
        self.faults.append(Fault(line, ".".join(path), found, expected, hint))


def _tops(keys: Collection[str]) -> list[str]:
    return list(dict.fromkeys(key.split(".")[0] for key in keys))


# -- for editors ----------------------------------------------------------------------------


def cooling_schema() -> dict[str, Any]:
    """The JSON Schema of what may stand under `cooling`, from the same keys."""
    own = _schema_of(KEYS)
    points = {"type": "array", "items": {"type": "string"}, "description": _POINT}
    one_fan = _schema_of(FAN_KEYS)
    one_fan["properties"] = {_POINTS: points, **one_fan["properties"]}
    own["properties"] |= {
        _FANS: _each(one_fan),
        _READINGS: _schema_of(READING_KEYS),
        _STATES: _each(_schema_of(STATE_KEYS)),
        _OPTIONS: _each(_schema_of(OPTION_KEYS)),
    }
    return own


def _each(one: dict[str, Any]) -> dict[str, Any]:
    """A mapping from any name to one of these."""
    return {"type": "object", "additionalProperties": one}


def _schema_of(keys: Mapping[str, Key]) -> dict[str, Any]:
    tree: dict[str, Any] = {"type": "object", "properties": {}, "additionalProperties": False}
    for key, asked in keys.items():
        *groups, last = key.split(".")
        at = tree
        for group in groups:
            at = at["properties"].setdefault(
                group, {"type": "object", "properties": {}, "additionalProperties": False}
            )
        if isinstance(asked, Asked):
            base = MEASURES[asked.measure].base if asked.measure in MEASURES else "mm"
            text = f"{asked.help}; between {asked.low:g} and {asked.high:g} {base}".rstrip()
            leaf = {"type": ["number", "string"], "description": text, "examples": [asked.example]}
        else:
            given = [one for one in (True, False) if asked.options == ("yes", "no")]
            words: list[Any] = [*asked.options, *given]
            leaf = {"enum": words, "description": asked.help}
        at["properties"][last] = leaf
    return tree
