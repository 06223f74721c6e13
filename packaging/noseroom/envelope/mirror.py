"""Left and right as the file means them.

The model knows only the car's own left and right (as seated). A file that is written as one faces
the grille is read against kinds whose every "left" and "right" are exchanged; what comes out is
exchanged back. So one parser serves both, and its messages keep to the words of the file.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache

from noseroom.envelope.kinds import Kind
from noseroom.envelope.model import Bound, Direction, FeatureRef, Sentence

_SIDE = re.compile(r"(?<![^\s.])(left|right)(?![^\s.])")
_OTHER_DIRECTION: dict[Direction, Direction] = {"left": "right", "right": "left"}
_OTHER_BOUND: dict[Bound, Bound] = {"at least": "at most", "at most": "at least"}


def exchanged(text: str) -> str:
    """The text with every whole word "left" and "right" exchanged, between dots or spaces."""
    return _SIDE.sub(lambda word: "right" if word[0] == "left" else "left", text)


def unchanged(text: str) -> str:
    """The text itself: the counterpart of `exchanged` for a file written as seated."""
    return text


def words(facing: bool) -> Callable[[str], str]:
    """What turns a word of the file into one of the model, and back."""
    return exchanged if facing else unchanged


@lru_cache(maxsize=256)
def as_facing(kind: Kind) -> Kind:
    """The kind as somebody sees it who faces the grille."""

    def when(condition: tuple[str, str] | None) -> tuple[str, str] | None:
        return condition and (exchanged(condition[0]), exchanged(condition[1]))

    return replace(
        kind,
        sizes=tuple(replace(s, key=exchanged(s.key), when=when(s.when)) for s in kind.sizes),
        choices=tuple(
            replace(c, key=exchanged(c.key), options=tuple(map(exchanged, c.options)))
            for c in kind.choices
        ),
        texts=tuple(replace(t, key=exchanged(t.key)) for t in kind.texts),
        references=tuple(replace(r, key=exchanged(r.key)) for r in kind.references),
        features=tuple(
            replace(
                f,
                name=exchanged(f.name),
                spots=tuple(map(exchanged, f.spots)),
                facing=exchanged(f.facing),
            )
            for f in kind.features
        ),
        ports=tuple(map(exchanged, kind.ports)),
    )


def as_seated(sentence: Sentence) -> Sentence:
    """A sentence read as one faces the grille, in the car's own left and right."""
    value, bound = sentence.value, sentence.bound
    # A turn is signed and so changes its sign; at least 2 deg one way is at most -2 the other.
    if sentence.turn in ("yaw", "roll") and value:
        value = -value
        bound = _OTHER_BOUND[bound] if bound else None
    direction = sentence.direction
    return replace(
        sentence,
        subject=_seated(sentence.subject),
        object=_seated(sentence.object) if sentence.object else None,
        direction=_OTHER_DIRECTION.get(direction, direction) if direction else None,
        value=value,
        bound=bound,
    )


def _seated(ref: FeatureRef) -> FeatureRef:
    return replace(ref, feature=exchanged(ref.feature), spot=exchanged(ref.spot))


def as_the_file_says(sentence: Sentence, text: str, *, facing: bool) -> Sentence:
    """A sentence with its text as it stands, and the car's own sides."""
    kept = replace(sentence, text=text.strip())
    return as_seated(kept) if facing else kept
