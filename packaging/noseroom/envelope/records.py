"""A checked part of the file as a record of the model: sizes, references, sentences."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import Any

from noseroom.envelope import landmarks, mirror
from noseroom.envelope.carriers import Held
from noseroom.envelope.entries import Draft, FileWords, chosen
from noseroom.envelope.kinds import CAR, Kind, Kinds, Reference, Size
from noseroom.envelope.model import PartEntry, Sentence, SizeReading
from noseroom.envelope.names import BadSentenceError, UnknownNameError, comparable
from noseroom.envelope.phrases import OPPOSITE
from noseroom.envelope.places import parse_place, parse_turn
from noseroom.envelope.pried import mentions, pried
from noseroom.envelope.schema import MARK
from noseroom.envelope.suggest import did_you_mean, listed, quoted
from noseroom.envelope.values import BadValueError, SizeValue
from noseroom.errors import Fault

WANTED = "wanted"
_TURN_KEYS = {
    "tilt": ("nose up", "nose down"),
    "lean": ("leaning back", "leaning forward"),
}


def entry(
    draft: Draft,
    carrier: str,
    parts: Mapping[str, str],
    kinds: Kinds,
    words: FileWords,
    broken: Collection[str] = (),
) -> tuple[PartEntry, list[Fault]]:
    """The record of one part, and what is wrong with its references and sentences.

    broken: names of parts that could not be read; that others name them is no fault of theirs.
    """
    own = mirror.words(words.facing)
    references, faults = _references(draft, parts, kinds, own, broken)
    sentences, more = _sentences(draft, parts, kinds, words, broken)
    joined, unjoined = _joined_to(draft, parts, broken)
    touched = [one.object.part for one in sentences if one.object is not None and one.contact]
    values, choices = draft.values, chosen(draft)
    texts = {own(one.key): values[one.key] for one in draft.seen.texts if one.key in values}
    if draft.kind.name == MARK and "is" in values:
        texts["is"] = values["is"]
    travels, unread = pried(draft, parts, kinds, words, broken)
    record = PartEntry(
        name=draft.name,
        kind=draft.kind.name,
        line=draft.line,
        sizes=_sizes(draft, choices, own),
        choices={own(key): own(word) for key, word in choices.items()},
        texts=texts,
        references=references,
        carrier=carrier,
        place=tuple(sentences),
        assumed=unsaid(
            assumed(draft.name, draft.line, draft.kind, carrier, parts, kinds), sentences
        ),
        fitted=values.get("fitted", True) is not False,
        bought=values.get("bought", True) is not False,
        place_wanted=_wanted(values),
        points=landmarks.mirrored(draft.points) if words.facing else draft.points,
        text_lines={
            own(k.key): draft.line_of(k.key) for k in draft.seen.texts if own(k.key) in texts
        },
        joined=tuple(dict.fromkeys([*joined, *touched])),
        pried=travels,
    )
    return record, [*faults, *more, *unjoined, *unread]


def implicit(held: Held, parts: Mapping[str, str], kinds: Kinds) -> PartEntry:
    """The record of a part that the file needs but does not name: all of it assumed."""
    kind = held.kind
    choices = {one.key: one.options[0] for one in kind.choices}
    return PartEntry(
        name=held.name,
        kind=kind.name,
        line=held.line,
        sizes={
            one.key: _usual(one, held.line, one.key, choices)
            for one in kind.sizes
            if one.when is None or choices.get(one.when[0]) == one.when[1]
        },
        choices=choices,
        texts={},
        references={},
        carrier=held.carrier,
        place=(),
        assumed=assumed(held.name, held.line, kind, held.carrier, parts, kinds),
    )


def _usual(size: Size, line: int, key: str, choices: Mapping[str, str]) -> SizeReading:
    usual = float(size.usual_with(choices) or 0.0)
    return SizeReading(key, usual, size.reach, "assumed", "usual", line, size.source)


def _sizes(
    draft: Draft, choices: Mapping[str, str], own: Callable[[str], str]
) -> dict[str, SizeReading]:
    """Every size that exists for the chosen words, the assumed ones too."""
    sizes: dict[str, SizeReading] = {}
    for size in draft.seen.sizes:
        if size.when is not None and choices.get(size.when[0]) != size.when[1]:
            continue
        key, read = own(size.key), draft.values.get(size.key)
        if isinstance(read, SizeValue):
            line = draft.line_of(size.key)
            sizes[key] = SizeReading(
                key, read.value, read.half_width, read.knowledge, read.text, line
            )
        else:
            sizes[key] = _usual(size, draft.line, key, choices)
    return sizes


def _references(
    draft: Draft,
    parts: Mapping[str, str],
    kinds: Kinds,
    own: Callable[[str], str],
    broken: Collection[str],
) -> tuple[dict[str, tuple[str, ...]], list[Fault]]:
    made: dict[str, tuple[str, ...]] = {}
    faults: list[Fault] = []
    for one in draft.seen.references:
        said = draft.values.get(one.key)
        if said is None:
            faults += _incomplete(one, draft)
            continue
        texts = said if isinstance(said, list) else [said]
        if any(mentions(text, broken) for text in texts):
            continue
        named: list[str] = []
        path = tuple(one.key.split("."))
        for number, text in enumerate(texts):
            line = draft.node.at((*path, number))[1].line
            try:
                named.append(_named(one, text, draft.name, parts, kinds, own))
            except BadValueError as fault:
                key = f"{draft.key}.{one.key}"
                faults.append(Fault(line, key, fault.found, fault.expected, fault.suggestion))
        if not faults and len(set(named)) < max(len(named), one.least):
            found = f"{len(set(named))} different ({listed(named)})"
            expected = f"{max(one.least, len(named))} different parts"
            key = f"{draft.key}.{one.key}"
            faults.append(Fault(draft.line_of(one.key), key, found, expected))
        among = made.get(own(one.among), ()) if one.among else tuple(named)
        for number, name in enumerate(named):
            if name not in among and own(one.among) in made:
                line = draft.node.at((*path, number))[1].line
                expected = f"one of those under {one.among} ({listed(among)})"
                faults.append(Fault(line, f"{draft.key}.{one.key}", quoted(name), expected))
            if one.apart and name in made.get(own(one.apart), ()):
                line = draft.node.at((*path, number))[1].line
                expected = f"another part than the one under {one.apart}"
                faults.append(Fault(line, f"{draft.key}.{one.key}", quoted(name), expected))
        made[own(one.key)] = tuple(named)
    return made, faults


def _incomplete(reference: Reference, draft: Draft) -> list[Fault]:
    """A group of keys is given, and not the part without which it means nothing."""
    group = f"{reference.completes}."
    said = [key for key in draft.values if reference.completes and key.startswith(group)]
    if not said:
        return []
    line, key = draft.line_of(said[0]), f"{draft.key}.{reference.key}"
    return [Fault(line, key, "nothing", f"{reference.key}: {reference.help}, by its name")]


def _named(
    reference: Reference,
    text: str,
    own_name: str,
    parts: Mapping[str, str],
    kinds: Kinds,
    own: Callable[[str], str],
) -> str:
    """The part, or the part and its port, that a reference names. Raises BadValueError."""
    allowed = [
        name
        for name, kind in parts.items()
        if name != own_name and kind != MARK and (not reference.kinds or kind in reference.kinds)
    ]
    said = comparable(" ".join(text.split()))
    wanted = " or ".join(reference.kinds) or "part"
    expected = f"the name of a {wanted} of this file ({listed(allowed) or 'it has none'})"
    if not reference.port:
        exact = next((name for name in allowed if comparable(name) == said), None)
        if exact is None:
            kind = next((k for name, k in parts.items() if comparable(name) == said), "")
            found = f"{quoted(text)}, a {kind}" if kind else quoted(text)
            raise BadValueError(found, expected, did_you_mean(text, allowed))
        return exact
    expected = f"a port, such as radiator.upper neck, of a part of this file ({listed(allowed)})"
    for name in sorted(allowed, key=len, reverse=True):
        rest = text.strip()[len(name) :]
        if said.startswith(comparable(name)) and rest[:1] in (".", " ") and rest[1:].strip():
            return f"{name}.{_port(name, rest[1:].strip(), kinds[parts[name]], own)}"
    first = text.split(".")[0].strip()
    hint = did_you_mean(first, allowed)
    if any(comparable(name) == said for name in allowed):
        hint = f'write "{text.strip()}.", and the port after it'
    raise BadValueError(quoted(text), expected, hint)


def _port(part: str, text: str, kind: Kind, own: Callable[[str], str]) -> str:
    """The port of a part that a text names, in the words of the model. Raises BadValueError."""
    there = {comparable(own(one)): one for one in kind.ports}
    said = comparable(" ".join(text.split()))
    if said in there:
        return there[said]
    shown = [own(one) for one in kind.ports]
    expected = f"a port of {part} ({listed(shown) or 'it has none'})"
    raise BadValueError(f"{quoted(text)} on {part}", expected, did_you_mean(text, shown))


def _joined_to(
    draft: Draft, parts: Mapping[str, str], broken: Collection[str]
) -> tuple[list[str], list[Fault]]:
    """The parts that this one is said to be joined to."""
    found: list[str] = []
    faults: list[Fault] = []
    others = {comparable(n): n for n, k in parts.items() if n != draft.name and k != MARK}
    for number, text in enumerate(draft.values.get("joined to") or ()):
        said = comparable(" ".join(str(text).split()))
        if said in others:
            found.append(others[said])
        elif not mentions(text, broken):
            line = draft.node.at(("joined to", number))[1].line
            names = list(others.values())
            expected = f"a part of this file ({listed(names) or 'it has no other'})"
            hint = did_you_mean(str(text), names)
            faults.append(Fault(line, f"{draft.key}.joined to", quoted(str(text)), expected, hint))
    return found, faults


def _wanted(values: Mapping[str, Any]) -> bool:
    place = values.get("place") or []
    return len(place) == 1 and str(place[0]).strip().casefold() == WANTED


def _sentences(
    draft: Draft,
    parts: Mapping[str, str],
    kinds: Kinds,
    words: FileWords,
    broken: Collection[str],
) -> tuple[list[Sentence], list[Fault]]:
    """The place, tilt and lean of a part."""
    made: list[Sentence] = []
    faults: list[Fault] = []

    def note(fault: BadSentenceError, text: str, line: int, key: str) -> None:
        found = f"{fault.found}, in {quoted(text)}"
        faults.append(Fault(line, f"{draft.key}.{key}", found, fault.expected, fault.hint))

    for key, ways in _TURN_KEYS.items():
        text = draft.values.get(key)
        if text is None:
            continue
        line = draft.line_of(key)
        try:
            made += parse_turn(
                text, line, part=draft.name, kind=draft.kind, facing=words.facing, words=ways
            )
        except BadSentenceError as fault:
            note(fault, text, line, key)
    place = [] if _wanted(draft.values) else draft.values.get("place") or []
    for number, text in enumerate(place):
        if not isinstance(text, str):
            continue
        line = draft.node.at(("place", number))[1].line
        if text.strip().casefold() == WANTED:
            found, expected = '"wanted" among sentences', "wanted alone, or sentences alone"
            faults.append(Fault(line, f"{draft.key}.place", found, expected))
            continue
        try:
            made += parse_place(
                text,
                line,
                part=draft.name,
                parts=parts,
                kinds=kinds,
                unit=words.units.unit,
                tape_mm=words.units.tape_mm,
                facing=words.facing,
            )
        except BadSentenceError as fault:
            if not (isinstance(fault, UnknownNameError) and mentions(text, broken)):
                note(fault, text, line, "place")
    return made, faults


def unsaid(assumptions: Collection[Sentence], said: Collection[Sentence]) -> tuple[Sentence, ...]:
    """The assumptions of which the file itself says nothing.

    A reading takes the place of an assumption only where the two are the same equation but for
    figure and ±, so that nothing that was known goes with it. What says the same in other words
    is left to the adjustment to weigh.
    """
    read = {_equation(one) for one in said if one.value is not None and one.bound is None}
    return tuple(one for one in assumptions if _equation(one) not in read)


def _equation(sentence: Sentence) -> tuple[object, ...]:
    """What a sentence is an equation of, whatever its figure and sign."""
    way = sentence.direction and frozenset({sentence.direction, OPPOSITE[sentence.direction]})
    turn = sentence.form == "turn"
    # Every face of a part turns alike.
    subject = sentence.subject.part if turn else sentence.subject
    target = sentence.object and (sentence.object.part if turn else sentence.object)
    return sentence.form, subject, target, way, sentence.along, sentence.turn


def assumed(
    name: str, line: int, kind: Kind, carrier: str, parts: Mapping[str, str], kinds: Kinds
) -> tuple[Sentence, ...]:
    """A kind's assumed sentences for this carrier; those that it has no feature for are dropped."""
    made: list[Sentence] = []
    for text in kind.assumed:
        if carrier == CAR and "{carrier}." in text:
            continue
        try:
            made += parse_place(
                text.replace("{carrier}", carrier),
                line,
                part=name,
                parts=parts,
                kinds=kinds,
                unit="mm",
                tape_mm=1.0,
                facing=False,
                knowledge="assumed",
            )
        except UnknownNameError:
            if "{carrier}" not in text:
                raise
    return tuple(made)
