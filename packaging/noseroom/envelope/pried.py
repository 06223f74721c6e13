"""What a builder saw move when he pried: "fan.blade.front at 12 o'clock 3/8 toward radiator".

Such a sentence names a point, how far it came from where it rests, and which way. It says nothing
of where anything stands, and so is no equation of the survey.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import Any

from noseroom.envelope.entries import Draft, FileWords
from noseroom.envelope.figures import Figure, SentenceText
from noseroom.envelope.kinds import Kinds
from noseroom.envelope.mirror import as_the_file_says
from noseroom.envelope.model import Direction, FeatureRef, PartEntry, Sentence
from noseroom.envelope.names import (
    CENTRELINE,
    BadSentenceError,
    Named,
    Names,
    UnknownNameError,
    comparable,
    names_for,
)
from noseroom.envelope.phrases import TRAVELS, WENT
from noseroom.envelope.schema import MARK
from noseroom.envelope.suggest import did_you_mean, listed, quoted
from noseroom.errors import Fault, UnitsError
from noseroom.units import split_length

_TOWARD = ("toward", "towards")
_MOST_MM = 150.0
"""Nothing that still stands on its mounts comes further."""


def mentions(text: Any, names: Collection[str]) -> bool:
    """Whether a text has one of these names in it."""
    return any(comparable(name) in comparable(str(text)) for name in names)


def pried(
    draft: Draft,
    parts: Mapping[str, str],
    kinds: Kinds,
    words: FileWords,
    broken: Collection[str],
) -> tuple[tuple[Sentence, ...], list[Fault]]:
    """What a part says of how far points on it came, and what is wrong with that."""
    made: list[Sentence] = []
    faults: list[Fault] = []
    key = draft.kind.travels
    for number, text in enumerate(draft.values.get(key) or () if key else ()):
        line = draft.node.at((key, number))[1].line
        try:
            made.append(
                parse_travel(
                    text,
                    line,
                    part=draft.name,
                    parts=parts,
                    kinds=kinds,
                    unit=words.units.unit,
                    tape_mm=words.units.tape_mm,
                    facing=words.facing,
                )
            )
        except BadSentenceError as fault:
            if not (isinstance(fault, UnknownNameError) and mentions(text, broken)):
                found = f"{fault.found}, in {quoted(text)}"
                faults.append(Fault(line, f"{draft.key}.{key}", found, fault.expected, fault.hint))
    return tuple(made), faults


def parse_travel(
    text: str,
    line: int,
    *,
    part: str,
    parts: Mapping[str, str],
    kinds: Kinds,
    unit: str,
    tape_mm: float,
    facing: bool,
) -> Sentence:
    """Read one sentence on a point that came some way when `part` was pried.

    parts, unit, tape_mm and facing are as for `places.parse_place`. Raises BadSentenceError.
    """
    names = names_for(part, parts, kinds, MARK, facing=facing)
    found = _Reader(" ".join(text.split()).rstrip("."), unit, tape_mm, names, line).read()
    return as_the_file_says(found, text, facing=facing)


class _Reader(SentenceText):
    """Reads one sentence; every method takes the character from which it reads."""

    def __init__(self, text: str, unit: str, tape_mm: float, names: Names, line: int) -> None:
        super().__init__(text, unit, tape_mm)
        self.names, self.line = names, line

    def read(self) -> Sentence:
        """All ways of cutting the text into names are tried; the first that works is meant."""
        if not self.text:
            raise BadSentenceError(0, "an empty text", f'a sentence such as "{TRAVELS[0]}"')
        faults: list[BadSentenceError] = []
        for subject in self._subjects():
            try:
                return self._travel(subject)
            except BadSentenceError as fault:
                faults.append(fault)
        raise max(faults, key=lambda one: one.at)

    def _subjects(self) -> Iterator[Named]:
        whole: UnknownNameError | None = None
        found = False
        for named in self.names.objects(self.text, 0):
            if named.ref.part == CENTRELINE or self.names.parts[named.ref.part] == MARK:
                raise BadSentenceError(0, str(named.ref), "something on a part that was pried")
            try:
                subject = self.names.touchable(named, 0, "")
            except UnknownNameError as fault:
                whole = fault
                continue
            found = True
            yield from self.names.spots(subject, self.text)
        if whole is not None and not found:
            raise whole

    def _travel(self, subject: Named) -> Sentence:
        at = self.skip(subject.end)
        try:
            read, rest = split_length(self.text[at:], self.unit)
        except UnitsError as error:
            if not self.text[at:].strip():
                wanted = f'how far it came and which way, as in "{TRAVELS[0]}"'
                raise BadSentenceError(at, "the end of the sentence", wanted) from None
            raise self.units_fault(error, at) from None
        figure = self.length(read, at)
        if figure.bound == "at least":
            hint = "pry it until it stops, and write how far it came"
            raise BadSentenceError(at, "at least", "how far it came, or at most", hint)
        if not 0 <= figure.value <= _MOST_MM:
            raise BadSentenceError(
                at, quoted(self.text[at:]), f"a movement between 0 and {_MOST_MM:g} mm"
            )
        way_at = len(self.text) - len(rest)
        toward = self.first(way_at, dict.fromkeys(_TOWARD))
        if toward is not None:
            target = self._target(subject, toward[1])
            return self._made(subject.ref, figure, None, target)
        way = self.first(way_at, WENT)
        if way is None:
            expected = "forward, aft, left, right, up, down, or toward something"
            found = quoted(rest) if rest else "the end of the sentence"
            hint = did_you_mean(rest.split(" ")[0], [*WENT, *_TOWARD]) if rest else ""
            raise BadSentenceError(way_at, found, expected, hint)
        if left := self.text[way[1] :].strip():
            raise BadSentenceError(way[1], quoted(left), "the end of the sentence")
        return self._made(subject.ref, figure, WENT[way[0]], None)

    def _target(self, subject: Named, at: int) -> FeatureRef:
        ends: list[Named] = []
        for named in self.names.objects(self.text, at):
            for spot in self.names.spots(named, self.text):
                if not self.text[spot.end :].strip(" ,"):
                    if spot.ref.part == subject.ref.part:
                        raise BadSentenceError(at, f"{spot.ref.part} toward itself", "another part")
                    return spot.ref
                ends.append(spot)
        raise self.names.leftover(ends[0], self.text, ends[0].end)

    def _made(
        self,
        subject: FeatureRef,
        figure: Figure,
        direction: Direction | None,
        target: FeatureRef | None,
    ) -> Sentence:
        return Sentence(
            form="travel",
            subject=subject,
            object=target,
            text=self.text,
            line=self.line,
            value=figure.value,
            half_width=figure.half_width,
            bound=figure.bound,
            direction=direction,
        )


def strayed(entries: Mapping[str, PartEntry]) -> Iterator[Fault]:
    """Sentences on what does not move with the part that was pried."""
    for entry in entries.values():
        for one in entry.pried:
            if entry.name in _carriers(entries, one.subject.part):
                continue
            with_it = [name for name in entries if entry.name in _carriers(entries, name)]
            yield Fault(
                one.line,
                f"{entry.name}.pried",
                f"{one.subject.part}, which the {entry.name} does not carry, in {quoted(one.text)}",
                f"something that moves with the {entry.name} ({listed(with_it)})",
            )


def _carriers(entries: Mapping[str, PartEntry], name: str) -> list[str]:
    """A part and all that carries it, in their order."""
    found: list[str] = []
    while name in entries and name not in found:
        found.append(name)
        name = entries[name].carrier
    return found
