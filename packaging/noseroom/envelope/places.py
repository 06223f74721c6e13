"""Place sentences as the rest reads them: by the file they stand in, each worked out only once."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache

from noseroom.envelope.kinds import Kind, Kinds
from noseroom.envelope.mirror import as_the_file_says
from noseroom.envelope.model import Knowledge, Sentence
from noseroom.envelope.names import BadSentenceError, comparable, names_for
from noseroom.envelope.schema import MARK
from noseroom.envelope.sentences import SentenceReader
from noseroom.envelope.suggest import quoted


def parse_place(
    text: str,
    line: int,
    *,
    part: str,
    parts: Mapping[str, str],
    kinds: Kinds,
    unit: str,
    tape_mm: float,
    facing: bool,
    knowledge: Knowledge = "measured",
) -> list[Sentence]:
    """Read one place sentence of `part`.

    parts: name -> kind name, of every part and mark in the file. unit: of numbers without one.
    tape_mm: half-width of a reading that states none. facing: whether the file's left and right
    are those of somebody who faces the grille; the result has the car's own either way.
    Returns one sentence, or several where the words say several things ("parallel to").
    Raises SentenceError.
    """
    said = _said(text, part, tuple(parts.items()), _Same(kinds), unit, tape_mm, facing, knowledge)
    return [replace(one, line=line) for one in said]


class _Same:
    """A mapping by what it is, not by what is in it: kinds do not change."""

    def __init__(self, mapping: Kinds) -> None:
        self.mapping = mapping

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.mapping is self.mapping

    def __hash__(self) -> int:
        return id(self.mapping)


@lru_cache(maxsize=4096)
def _said(
    text: str,
    part: str,
    parts: tuple[tuple[str, str], ...],
    kinds: _Same,
    unit: str,
    tape_mm: float,
    facing: bool,
    knowledge: Knowledge,
) -> tuple[Sentence, ...]:
    """What a sentence says, on no line: a file that is read again says mostly the same."""
    names = names_for(part, dict(parts), kinds.mapping, MARK, facing=facing)
    reader = SentenceReader(" ".join(text.split()).rstrip("."), 0, names, unit, tape_mm, knowledge)
    return tuple(as_the_file_says(one, text, facing=facing) for one in reader.read())


def parse_turn(
    text: str, line: int, *, part: str, kind: Kind, facing: bool, words: tuple[str, ...]
) -> list[Sentence]:
    """Read the value of a key such as `tilt`: an angle and one of a few words for its way.

    Raises SentenceError.
    """
    said = comparable(" ".join(text.split()))
    if not any(word in said for word in words):
        hint = (
            f'write "{text.strip()} {words[0]}"' if re.fullmatch(r"[\d ./-]+(deg|°)?", said) else ""
        )
        raise BadSentenceError(0, quoted(text), f"an angle that is {' or '.join(words)}", hint)
    return parse_place(
        text,
        line,
        part=part,
        parts={part: kind.name},
        kinds={kind.name: kind},
        unit="mm",
        tape_mm=1.0,
        facing=facing,
    )
