"""One part of the file: checked against its model, then turned into a record."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from pydantic import BaseModel, ValidationError

from noseroom.envelope import landmarks
from noseroom.envelope.kinds import Kind, Size
from noseroom.envelope.schema import (
    COMMON_KEYS,
    Declared,
    Reading,
    declared_keys,
    model_of,
    required_keys,
    yes_or_no,
)
from noseroom.envelope.shop import SHOP_KEYS
from noseroom.envelope.source import Node
from noseroom.envelope.suggest import described, did_you_mean, listed, quoted
from noseroom.envelope.values import BadValueError, Units, size_example
from noseroom.errors import Fault


@dataclass(frozen=True, slots=True)
class FileWords:
    """What the file's own keys say about how to read the parts."""

    units: Units
    facing: bool


@dataclass(slots=True)
class Draft:
    """A part as its model took it. values: by dotted key, in the words of the file.

    kind: as the model knows it; seen: the same with the file's left and right.
    """

    name: str
    kind: Kind
    seen: Kind
    path: tuple[str, ...]
    line: int
    node: Node
    values: dict[str, Any] = field(default_factory=dict)

    @property
    def key(self) -> str:
        """Where it stands in the file."""
        return ".".join(self.path)

    @property
    def carried_by(self) -> str:
        """The carrier that it names, or ""."""
        return str(self.values.get("carried by", ""))

    @property
    def notes(self) -> list[str]:
        """What the builder noted on it, each with its name."""
        return [f"{self.name}: {note}" for note in self.values.get("notes", ())]

    @property
    def points(self) -> dict[str, landmarks.Point]:
        """Its own points by name, in the words of the file."""
        found = self.values.get(self.kind.points) if self.kind.points else None
        return found if isinstance(found, dict) else {}

    def line_of(self, key: str) -> int:
        """The line of a value by its dotted key, or of as much of the key as the file has."""
        return self.node.at(tuple(key.split(".")))[1].line


def given(model: BaseModel) -> dict[str, Any]:
    """What the file gave of a model, by its keys there."""
    fields = type(model).model_fields
    return {
        str(fields[name].alias): given(value) if isinstance(value, BaseModel) else value
        for name, value in model
        if name in model.model_fields_set
    }


def _flat(
    values: Mapping[str, Any], whole: Collection[str] = (), before: str = ""
) -> dict[str, Any]:
    """Values by dotted key; what stands under a key of `whole` stays a mapping."""
    flat: dict[str, Any] = {}
    for key, value in values.items():
        if isinstance(value, dict) and f"{before}{key}" not in whole:
            flat |= _flat(value, whole, f"{before}{key}.")
        else:
            flat[f"{before}{key}"] = value
    return flat


# -- against the model ---------------------------------------------------------------------


def check(draft: Draft, words: FileWords) -> list[Fault]:
    """Fill in `draft.values` with all that is right about a part; what is wrong with it."""
    data = draft.node.plain()
    try:
        bought = yes_or_no(data.get("bought", "yes"))
    except BadValueError:
        bought = True  # its own fault comes from the model
    try:
        fitted = yes_or_no(data.get("fitted", "yes"))
    except BadValueError:
        fitted = True
    if not fitted:
        draft.seen = undemanding(draft.seen)
    model, context = model_of(draft.seen), Reading(words.units, bought)
    faults: list[Fault] = []
    # A second pass without what was wrong keeps the rest, so that its sentences are read too.
    for _ in range(2):
        try:
            draft.values |= _flat(
                given(model.model_validate(data, context=context)), (draft.kind.points,)
            )
            break
        except ValidationError as error:
            faults = faults or faults_of(
                error, draft.node, draft.path, draft.seen, unit=words.units.unit
            )
            bad = [one["loc"] for one in error.errors(include_url=False)]
            named = data.get(draft.kind.points)
            _drop(data, bad)
            draft.values = _salvaged(data, draft.seen)
            if draft.kind.points and isinstance(named, dict):
                # Sentences that name a point are no fault of theirs.
                draft.values[draft.kind.points] = dict.fromkeys(named, (0.0, 0.0, 0.0))
    faults += _choice_faults(draft)
    return faults


def undemanding(kind: Kind) -> Kind:
    """The kind for a part that is not in the car: nothing has to be said of it yet.

    Its sizes are never looked at; the middle of what is allowed stands in for what is not said.
    """
    sizes = tuple(
        replace(one, usual=(one.low + one.high) / 2, reach=(one.high - one.low) / 2)
        if one.required
        else one
        for one in kind.sizes
    )
    choices = tuple(replace(one, required=False) for one in kind.choices)
    references = tuple(replace(one, least=0) for one in kind.references)
    return replace(kind, sizes=sizes, choices=choices, references=references)


def _drop(data: Any, bad: list[tuple[int | str, ...]]) -> None:
    """Take what was wrong out of the data, in place."""
    for path in bad:
        branch = data
        for step in path[:-1]:
            inside = isinstance(branch, dict) and step in branch
            inside = inside or (isinstance(branch, list) and step in range(len(branch)))
            branch = branch[step] if inside else None
        if isinstance(branch, dict):
            branch.pop(path[-1], None)
        elif isinstance(branch, list) and path[-1] in range(len(branch)):
            branch[int(path[-1])] = None


def _salvaged(data: dict[str, Any], kind: Kind) -> dict[str, Any]:
    """The plain words of a part whose model was refused: enough to judge its other faults."""
    flat = {key: value for key, value in _flat(data).items() if isinstance(value, str)}
    keys = [*COMMON_KEYS, *(one.key for one in kind.choices)]
    found: dict[str, Any] = {key: flat[key] for key in keys if key in flat}
    for key in ("place", "notes", "joined to"):
        value = data.get(key)
        if isinstance(value, list):
            found[key] = value
        elif isinstance(value, str):
            found[key] = [value]
    return found


def faults_of(
    error: ValidationError,
    node: Node,
    path: tuple[str, ...],
    kind: Kind | None = None,
    rule_keys: Collection[str] = (),
    unit: str = "in",
) -> list[Fault]:
    """The faults behind a model's refusal, each with its line in the file.

    kind: of the part, None for the file's own keys, of which only the rules have keys of theirs.
    """
    faults: list[Fault] = []
    for one in error.errors(include_url=False):
        where = tuple(one["loc"])
        key_line, at = node.at(where)
        key = ".".join([*path, *(str(step) for step in where if isinstance(step, str))])
        context = one.get("ctx", {})
        if one["type"] == "extra_forbidden":
            known = _below(where[:-1], kind) if kind else _known_below(where[0], rule_keys)
            faults.append(_unknown_key(where, node, path, kind, known))
        elif one["type"] == "missing":
            faults += _missing_keys(where, node, path, kind, unit)
        elif one["type"] == "noseroom":
            found, hint = context["found"], context["suggestion"]
            if at.kind == "scalar" and at.text is None:
                found, hint = at.why_empty, at.hint
                if kind and key[len(".".join(path)) + 1 :] in required_keys(kind):
                    hint = hint if "quotes" in hint else f"a {kind.name} needs it"
            line = at.line if at.kind == "scalar" else key_line
            faults.append(Fault(line, key, found, context["expected"], hint))
        else:
            found = at.why_empty if at.why_empty else described(at.plain())
            faults.append(Fault(key_line, key, found, _shape_wanted(where, kind), at.hint))
    return faults


def _known_below(key: int | str, rule_keys: Collection[str]) -> list[str]:
    """The keys that may stand below one of the file's own."""
    return list(SHOP_KEYS) if key == "shop" else sorted(rule_keys)


def _below(where: tuple[int | str, ...], kind: Kind | None) -> list[str]:
    """The keys that may stand below a path."""
    keys = [*declared_keys(kind)] if kind else []
    if kind and kind.points:
        keys.append(kind.points)
    if kind and kind.travels:
        keys.append(kind.travels)
    if not where:
        return [*COMMON_KEYS, *dict.fromkeys(key.split(".")[0] for key in keys)]
    before = ".".join(str(step) for step in where) + "."
    return list(
        dict.fromkeys(key[len(before) :].split(".")[0] for key in keys if key.startswith(before))
    )


def _shape_wanted(where: tuple[int | str, ...], kind: Kind | None) -> str:
    below = _below(where, kind) if where else []
    if below:
        return f"a mapping of {listed(below)}"
    if where and where[-1] == "rules":
        return "a mapping from rules to lengths"
    if where and where[0] == "shop":
        return f"a mapping of {listed(SHOP_KEYS)}" if len(where) == 1 else "a length, or a list"
    return "a text, or a list of texts"


def _unknown_key(
    where: tuple[int | str, ...],
    node: Node,
    path: tuple[str, ...],
    kind: Kind | None,
    known: list[str],
) -> Fault:
    line, at = node.at(where)
    word = str(where[-1])
    keys = [*declared_keys(kind)] if kind else []
    hint = did_you_mean(word, known)
    if "." in word and word in keys:
        hint = f"write {': {'.join(word.split('.'))}: ..." + "}" * word.count(".")
    elif not hint:
        # The right word at the wrong depth: "width" for "core: {width: ...}".
        deeper = [key for key in keys if key.split(".")[-1] == word]
        hint = f"did you mean {deeper[0].replace('.', ': ')}?" if deeper else ""
    if at.kind == "scalar" and at.text is None and " " in word and not hint:
        hint = "quote a text that has a comma: in braces a comma starts a new key"
    expected = f"one of {', '.join(known)}" if known else "no key: there are no rules to change"
    key = ".".join([*path, *(str(step) for step in where)])
    return Fault(line, key, f"{quoted(word)}, an unknown key", expected, hint)


def _missing_keys(
    where: tuple[int | str, ...],
    node: Node,
    path: tuple[str, ...],
    kind: Kind | None,
    unit: str,
) -> list[Fault]:
    """One fault for each required key at or below a path that is not there."""
    dotted = ".".join(str(step) for step in where)
    line = node.at(where)[0] if path or node.entries else 1
    if kind is None:
        return [Fault(line, dotted, "nothing", f"{dotted}: {_TOP_EXAMPLES.get(dotted, '...')}")]
    every = declared_keys(kind)
    missing = [key for key in required_keys(kind) if key == dotted or key.startswith(f"{dotted}.")]
    return [
        Fault(line, ".".join([*path, key]), "nothing", _needed(every[key], path[-1], kind, unit))
        for key in missing
    ]


def _needed(declared: Declared, part: str, kind: Kind, unit: str) -> str:
    """What a part has to say, with the part's name and an example to go by."""
    whose = part if part.endswith(kind.name) else f"{part} ({kind.name})"
    text = f"{declared.key} of the {whose}: {declared.help}"
    if isinstance(declared, Size):
        *groups, last = declared.key.split(".")
        written = f"{last}: {size_example(declared, unit)}"
        for group in reversed(groups):
            written = f"{group}: {{{written}}}"
        text += f", such as {written}"
    return text


_TOP_EXAMPLES = {"format": "1", "units": "in, mm, cm or ft"}


def _choice_faults(draft: Draft) -> list[Fault]:
    """Sizes that go with another word of a choice, or that the chosen word makes necessary."""
    faults: list[Fault] = []
    choices = chosen(draft)
    for size in draft.seen.sizes:
        if size.when is None:
            continue
        choice, word = size.when
        has = choices.get(choice) == word
        at = draft.node
        for step in size.key.split("."):
            at = at.entries[step][1] if step in at.entries else Node("scalar", 0)
        present = at.line > 0
        key = f"{draft.key}.{size.key}"
        if present and not has:
            said = "" if choice in draft.values else ", as it is unless the file says otherwise"
            expected = f"{size.key} only where {choice} is {word}"
            found = f"{described(at.plain())} where {choice} is {choices.get(choice)}{said}"
            faults.append(Fault(at.line, key, found, expected, f"leave it out, or set {choice}"))
        elif has and size.required and not present:
            expected = f"{size.help}, because {choice} is {word}"
            faults.append(Fault(draft.line, key, "nothing", expected))
    return faults


def chosen(draft: Draft) -> dict[str, str]:
    """Every choice of a part in the words of the file: what it says, else the usual word."""
    return {one.key: str(draft.values.get(one.key, one.options[0])) for one in draft.seen.choices}
