"""Reading an envelope file: from bytes to a checked `Envelope`, or to every fault in it.

The story: bytes → tree with lines (`source`) → each entry against its model (`schema`) → who
carries whom (`carriers`) → place sentences (`sentences`) → records. Each step notes its faults and
goes on with what can still be judged, so that one pass shows them all.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Collection
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from noseroom.envelope import entries, landmarks, records
from noseroom.envelope.carriers import Held, find_carriers
from noseroom.envelope.cooling import COOLING, cooling_of
from noseroom.envelope.cooling_records import CoolingEntry
from noseroom.envelope.entries import Draft, FileWords
from noseroom.envelope.kinds import CAR, Kind, Kinds
from noseroom.envelope.mirror import as_facing
from noseroom.envelope.model import Envelope, PartEntry, RuleChange, Shop
from noseroom.envelope.names import comparable
from noseroom.envelope.pried import mentions, strayed
from noseroom.envelope.schema import (
    MARK,
    SIDES,
    TOP_KEYS,
    UNIT_NAMES,
    json_schema,
    names_of,
    names_of_all,
    part_kinds,
    top_model,
)
from noseroom.envelope.shop import shop_of
from noseroom.envelope.source import Node, SourceError, load
from noseroom.envelope.source_blocks import parse_again
from noseroom.envelope.suggest import described, did_you_mean, listed, nearest, quoted
from noseroom.envelope.values import DEFAULT_TAPE_MM, BadValueError, Units, length_mm
from noseroom.envelope.workshop_words import kind_meant
from noseroom.errors import EnvelopeError, Fault

__all__ = ["json_schema", "read", "read_text"]

_MOST_FAULTS = 200
_TAPE_MM = (0.01, 50.0)
_RULE_MM = (0.0, 1000.0)
_SIDES_UNSAID = (
    "left and right are taken as the driver's, because the file does not say whose they are "
    "(sides: as seated, or as facing the grille)"
)
_DATUM_KIND = "core support"
_FAN_KINDS = ("fan", "electric fan")
_UNSAFE = set('./\\:,;"*?<>|#[]{}')
_LONGEST_NAME = 60
_RESERVED_NAMES = (CAR, "the car", "centreline", "centerline", "centre line", "center line")


def read(path: str | Path, kinds: Kinds, *, rule_keys: Collection[str] = ()) -> Envelope:
    """Read an envelope file.

    kinds: every kind of part (and "mark") by its name. rule_keys: the rules that the file may
    change. Raises EnvelopeError, whose `faults` are everything that is wrong with the file.
    """
    try:
        data = load(Path(path))
    except SourceError as error:
        raise EnvelopeError(str(path), error.faults) from None
    return read_text(data, kinds, name=str(path), rule_keys=rule_keys)


def read_text(
    text: str | bytes,
    kinds: Kinds,
    *,
    name: str = "envelope.yaml",
    rule_keys: Collection[str] = (),
) -> Envelope:
    """Read an envelope from its text; `name` stands in messages. Raises EnvelopeError."""
    try:
        # Lone surrogates have no bytes; they become some that are refused as not UTF-8.
        data = text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text
        root, faults = parse_again(data)
    except SourceError as error:
        raise EnvelopeError(name, error.faults) from None
    reader = _Reader(root, kinds, frozenset(rule_keys), faults)
    made = reader.envelope(Path(name).stem, hashlib.sha256(data).hexdigest())
    if made is None:
        # Beyond the first few hundred, more faults tell nobody anything.
        raise EnvelopeError(name, tuple(sorted(set(reader.faults)))[:_MOST_FAULTS])
    return made


def _says_a_side(part: PartEntry) -> bool:
    """Whether the file says left or right of a part."""
    said = [one.text for one in part.place]
    said += [one.key for one in part.sizes.values() if one.knowledge != "assumed"]
    return any(re.search(r"\b(left|right)\b", text) for text in said)


def _without(key: str, value: Any, bad: set[tuple[str, ...]]) -> Any:
    """A value of the file's own keys less what is wrong in it; None for nothing."""
    if (key,) in bad or not isinstance(value, dict):
        return None if any(one[0] == key for one in bad) else value
    return {name: one for name, one in value.items() if (key, str(name)) not in bad}


class _Reader:
    """One file being read; `faults` grows as it goes."""

    def __init__(
        self, root: Node, kinds: Kinds, rule_keys: frozenset[str], faults: list[Fault]
    ) -> None:
        self.root = root
        self.kinds = kinds
        self.rule_keys = rule_keys
        self.faults = faults
        self.broken: list[str] = []

    def envelope(self, stem: str, digest: str) -> Envelope | None:
        """The whole file, or None when anything is wrong with it."""
        top = self._top()
        words = self._words(top)
        rules = self._rules(top, words)
        shop = self._shop(top.get("shop", {}), words)
        drafts = self._drafts(words)
        held = self._carriers(drafts)
        parts = self._entries(drafts, held, words)
        datum = self._datum(top, held)
        cooling = self._cooling(drafts, words)
        if self.faults:
            return None
        notes = [*top.get("notes", ()), *(note for draft in drafts for note in draft.notes)]
        if "sides" not in top and any(_says_a_side(part) for part in parts.values()):
            notes.append(_SIDES_UNSAID)
        return Envelope(
            stem=stem,
            title=top.get("title", stem),
            unit=words.units.unit,
            tape_mm=words.units.tape_mm,
            parts=parts,
            datum=datum,
            rules=tuple(rules),
            notes=tuple(notes),
            digest=digest,
            shop=shop,
            cooling=cooling,
        )

    # -- the file's own keys ---------------------------------------------------------------

    def _top(self) -> dict[str, Any]:
        """The values of the file's own keys that are as they should be, by key."""
        data = self.root.plain()
        own = {k: data[k] for k in TOP_KEYS if k in data and k not in ("marks", COOLING)}
        try:
            model = top_model(self.rule_keys).model_validate(own)
        except ValidationError as error:
            self.faults += entries.faults_of(error, self.root, (), rule_keys=self.rule_keys)
            bad = {tuple(map(str, one["loc"][:2])) for one in error.errors(include_url=False)}
            # Each of the others still counts; only what is wrong goes without.
            good = {key: _without(key, value, bad) for key, value in own.items()}
            good = {key: value for key, value in good.items() if value is not None}
            fill = {"format": "1", "units": "in"}
            model = top_model(self.rule_keys).model_validate(fill | good)
            return {key: value for key, value in entries.given(model).items() if key in good}
        return entries.given(model)

    def _words(self, top: dict[str, Any]) -> FileWords:
        unit = top.get("units", UNIT_NAMES[0])
        tape_mm = DEFAULT_TAPE_MM
        if "tape" in top:
            tape_mm = self._length(("tape",), top["tape"], unit, _TAPE_MM) or DEFAULT_TAPE_MM
        return FileWords(
            units=Units(unit, tape_mm, known="units" in top),
            facing=top.get("sides") == SIDES[1],
        )

    def _length(
        self, path: tuple[str | int, ...], text: str, unit: str, limits: tuple[float, float]
    ) -> float | None:
        try:
            return length_mm(text, unit, *limits)
        except BadValueError as fault:
            line = self.root.at(path)[1].line
            key = ".".join(one for one in path if isinstance(one, str))
            self.faults.append(Fault(line, key, fault.found, fault.expected, fault.suggestion))
            return None

    def _rules(self, top: dict[str, Any], words: FileWords) -> list[RuleChange]:
        changes = []
        for key, text in top.get("rules", {}).items():
            value = self._length(("rules", key), text, words.units.unit, _RULE_MM)
            if value is not None:
                changes.append(RuleChange(key, value, self.root.at(("rules", key))[0]))
        return changes

    def _shop(self, given: dict[str, Any], words: FileWords) -> Shop:
        def read(
            path: tuple[str | int, ...], text: str, limits: tuple[float, float]
        ) -> float | None:
            return self._length(path, text, words.units.unit, limits)

        def wrong_count(path: tuple[str | int, ...], found: str, expected: str) -> None:
            line = self.root.at(path)[0]
            self.faults.append(Fault(line, ".".join(map(str, path)), found, expected))

        return shop_of(given, read, wrong_count)

    def _cooling(self, drafts: list[Draft], words: FileWords) -> CoolingEntry | None:
        if COOLING not in self.root.entries:
            return None
        line, node = self.root.entries[COOLING]
        kinds = {one.name: one.kind.name for one in drafts}
        fans = {name: kind == _FAN_KINDS[0] for name, kind in kinds.items() if kind in _FAN_KINDS}
        found, faults = cooling_of(node, line, fans, words.units.unit)
        self.faults += faults
        return found

    def _datum(self, top: dict[str, Any], held: dict[str, Held]) -> str:
        named = top.get("datum")
        supports = [one.name for one in held.values() if one.kind.name == _DATUM_KIND]
        if named is None:
            return supports[0] if supports else CAR
        known = {comparable(name): name for name in held}
        if comparable(named) in known:
            return known[comparable(named)]
        if mentions(named, self.broken):
            return CAR
        line = self.root.at(("datum",))[1].line
        expected = f"a part of this file ({listed(held)})"
        self.faults.append(Fault(line, "datum", quoted(named), expected, did_you_mean(named, held)))
        return CAR

    # -- parts and marks -------------------------------------------------------------------

    def _drafts(self, words: FileWords) -> list[Draft]:
        """Every part and mark against its own model, in the file's order."""
        drafts: list[Draft] = []
        places: list[tuple[tuple[str, ...], int, Node, bool]] = [
            ((key,), line, node, False)
            for key, (line, node) in self.root.entries.items()
            if key not in TOP_KEYS
        ]
        places += self._marks()
        seen: dict[str, int] = {}
        for path, line, node, is_mark in places:
            name = path[-1]
            kind = self._mark_kind(path, line) if is_mark else self._kind(name, line, node)
            if kind is None or not self._name_fits(path, line, seen):
                near = nearest(name, names_of_all(self.kinds))
                self.broken += [name, near] if near else [name]
                continue
            if node.kind != "mapping":
                found = node.why_empty or described(node.plain())
                hint = "write {} when nothing of it was measured" if node.text is None else ""
                expected = f"a mapping of what was measured on the {kind.name}"
                self.faults.append(Fault(line, ".".join(path), found, expected, hint))
                self.broken.append(name)
                continue
            seen_as = as_facing(kind) if words.facing else kind
            draft = Draft(name, kind, seen_as, path, line, node)
            self.faults += entries.check(draft, words)
            drafts.append(draft)
        if not drafts and not self.faults:
            expected = "at least one part, such as radiator"
            self.faults.append(Fault(self.root.line, "", "no part at all", expected))
        return drafts

    def _marks(self) -> list[tuple[tuple[str, ...], int, Node, bool]]:
        if "marks" not in self.root.entries:
            return []
        line, node = self.root.entries["marks"]
        if node.kind != "mapping":
            found = node.why_empty or described(node.plain())
            expected = "a mapping of marks, such as rail line: {is: straightedge}"
            self.faults.append(Fault(line, "marks", found, expected))
            return []
        return [(("marks", key), at, one, True) for key, (at, one) in node.entries.items()]

    def _mark_kind(self, path: tuple[str, ...], line: int) -> Kind | None:
        if MARK not in self.kinds:
            key = ".".join(path)
            self.faults.append(Fault(line, key, "a mark", "parts only: no marks are known"))
        return self.kinds.get(MARK)

    def _name_fits(self, path: tuple[str, ...], line: int, seen: dict[str, int]) -> bool:
        name, key = path[-1], ".".join(path)
        if comparable(name) in seen:
            found = f"{quoted(name)}, a name taken on line {seen[comparable(name)]}"
            self.faults.append(Fault(line, key, found, "a name of its own"))
            return False
        seen[comparable(name)] = line
        odd = sorted(set(name) & _UNSAFE)
        if odd or len(name) > _LONGEST_NAME or not any(one.isalpha() for one in name):
            expected = f"a name of letters, digits and spaces, at most {_LONGEST_NAME} long"
            hint = f"leave out {' '.join(odd)}" if odd else ""
            if odd == ["."]:
                first, rest = name.split(".", 1)
                hint = f"write {first}: {{{rest}: ...}}"
            self.faults.append(Fault(line, key, quoted(name), expected, hint))
            return False
        if comparable(name) in _RESERVED_NAMES:
            self.faults.append(Fault(line, key, quoted(name), "a name that means nothing else"))
            return False
        return True

    def _kind(self, name: str, line: int, node: Node) -> Kind | None:
        """The kind of a part: what `is` says, else the longest kind that its name ends in."""
        kinds = part_kinds(self.kinds)
        words = {word.casefold(): kind for kind in kinds.values() for word in names_of(kind)}
        if node.kind == "mapping" and "is" in node.entries:
            said_line, said = node.entries["is"]
            text = said.text or ""
            if text.strip().casefold() in words:
                return words[text.strip().casefold()]
            found = said.why_empty or described(said.plain())
            expected = f"a kind of part ({listed(kinds)})"
            meant = kind_meant(text)
            hint = f"write is: {meant}, for its outside" if meant else did_you_mean(text, words)
            self.faults.append(Fault(said_line, f"{name}.is", found, expected, hint))
            return None
        own = name.casefold()
        ends = [word for word in words if own == word or own.endswith(f" {word}")]
        if ends:
            return words[max(ends, key=len)]
        self.faults.append(self._no_kind(name, line, node, words))
        return None

    def _no_kind(self, name: str, line: int, node: Node, words: dict[str, Kind]) -> Fault:
        first = name.split(".")[0].casefold()
        if "." in name and (first in words or first in TOP_KEYS):
            rest = name.split(".", 1)[1]
            expected = "nested keys in place of a dot"
            hint = f"write {name.split('.')[0]}: {{{rest}: ...}}"
            return Fault(line, name, quoted(name), expected, hint)
        # A value that is no mapping cannot be a part, so one of the file's own keys was meant.
        candidates = [*words, *TOP_KEYS] if node.kind == "mapping" else [*TOP_KEYS, *words]
        near = nearest(name, candidates) or nearest(name.split()[-1], candidates)
        hint = f'did you mean "{near}"?' if near else f"or add is: ({listed(words)})"
        if node.kind == "mapping" and (meant := kind_meant(name)):
            hint = f"add is: {meant}, for its outside"
        expected = "a part whose name ends in its kind, or that says it with is"
        return Fault(line, name, f"{quoted(name)}, which names no kind of part", expected, hint)

    def _carriers(self, drafts: list[Draft]) -> dict[str, Held]:
        """Who carries each part, and the parts that have to be there though nobody named them."""
        held = {draft.name: Held(draft.name, draft.kind, draft.line) for draft in drafts}
        known = {comparable(draft.name): draft for draft in drafts}
        for draft in drafts:
            text = draft.carried_by
            if not text:
                continue
            one = held[draft.name]
            one.given_line = draft.node.at(("carried by",))[1].line
            carrier = known.get(comparable(text))
            if comparable(text) in (CAR, "the car"):
                one.given = CAR
            elif carrier is not None and carrier.kind.name != MARK:
                one.given = carrier.name
            elif mentions(text, self.broken):
                one.given = CAR
            else:
                parts = [draft.name for draft in drafts if draft.kind.name != MARK]
                expected = f"a part of this file ({listed(parts)}) or car"
                found = f"{quoted(text)}, a mark" if carrier else quoted(text)
                hint = did_you_mean(text, [*parts, CAR])
                key = f"{draft.key}.carried by"
                self.faults.append(Fault(one.given_line, key, found, expected, hint))
                one.given = CAR
        self.faults += find_carriers(held, self.kinds)
        return held

    def _entries(
        self, drafts: list[Draft], held: dict[str, Held], words: FileWords
    ) -> dict[str, PartEntry]:
        """The records, implicit parts last."""
        parts = {name: one.kind.name for name, one in held.items()}
        kinds = self.kinds
        for draft in drafts:
            if draft.points:
                # Its landmarks are features that no other part of its kind has.
                own = landmarks.mirrored(draft.points) if words.facing else draft.points
                parts[draft.name] = f"{draft.kind.name} of {draft.name}"
                kinds = {**kinds, parts[draft.name]: landmarks.with_points(draft.kind, own)}
        made: dict[str, PartEntry] = {}
        for draft in drafts:
            carrier = held[draft.name].carrier
            entry, faults = records.entry(draft, carrier, parts, kinds, words, self.broken)
            self.faults += faults
            made[draft.name] = entry
        for one in held.values():
            if one.implicit:
                made[one.name] = records.implicit(one, parts, kinds)
        self.faults += strayed(made)
        return made
