"""Words that builders use and the file does not: what to write in their place."""

from __future__ import annotations

import re
from collections.abc import Iterable

from noseroom.envelope.names import BadSentenceError, Named, comparable
from noseroom.envelope.suggest import quoted

_ANY_WAY = "ahead of, aft of, left of, right of, above or below"

AFTER_LENGTH: dict[str, str] = {
    **dict.fromkeys(
        ("from", "away from", "off", "clear of", "inside", "within", "outside", "past", "beyond"),
        f"say which way: {_ANY_WAY}",
    ),
    **dict.fromkeys(
        ("outboard of", "inboard of", "beside", "next to", "to the side of"),
        "say left of or right of, or in from a side",
    ),
    **dict.fromkeys(("over", "on top of", "higher than"), "say above"),
    **dict.fromkeys(("beneath", "underneath", "lower than"), "say below"),
    **dict.fromkeys(("up from",), "say above"),
    **dict.fromkeys(("down from",), "say below"),
    **dict.fromkeys(("in of", "inwards of", "in towards"), "say in from"),
}
"""After a figure: "22 from radiator"."""

_FLUSH = 'write "{subject}flush with {rest}"'
_JOINED = 'write "joined to: {part}" beside place, and where it stands as a gap'
INSTEAD: dict[str, str] = {
    **dict.fromkeys(("in line with", "lined up with", "aligned with", "even with"), _FLUSH),
    "level with": 'write "{subject}0 above {rest}" or "{subject}flush with {rest}"',
    **dict.fromkeys(("inside", "clear of", "away from", "off"), f"say how far and {_ANY_WAY}"),
    **dict.fromkeys(("outboard of", "inboard of", "beside", "next to"), "say left of or right of"),
    **dict.fromkeys(
        ("bolted to", "bolted on", "welded to", "fixed to", "mounted on", "mounted to", "on"),
        _JOINED,
    ),
    **dict.fromkeys(("screwed to", "riveted to", "joined to", "attached to"), _JOINED),
    **dict.fromkeys(("against", "up against", "resting on"), 'write "{subject}touching {rest}"'),
    **dict.fromkeys(("over", "on top of"), "say above"),
    **dict.fromkeys(("beneath", "underneath"), "say below"),
    **dict.fromkeys(("vertical", "upright"), "say plumb"),
    "horizontal": "say level",
}
"""Where a form of sentence is expected: "bottom level with core support.opening.bottom"."""


class BuildersWordsError(BadSentenceError):
    """A sentence in a builder's own words.

    said: the phrase of `INSTEAD` after the subject, and where it ends. parts: names that the file
    has. example: a sentence in the file's words.
    """

    def __init__(
        self, text: str, subject: Named, said: tuple[str, int], parts: Iterable[str], example: str
    ) -> None:
        phrase, end = said
        rest = text[end:].strip() or "..."
        part = next((n for n in parts if comparable(rest).startswith(comparable(n))), "...")
        mine = f"{subject.ref.feature} " if subject.ref.feature else ""
        found = quoted(text[subject.end :].strip())
        hint = INSTEAD[phrase].format(subject=mine, rest=rest, part=part)
        super().__init__(subject.end, found, f'a form of sentence such as "{example}"', hint)


_OPTIONS: dict[str, str] = {
    **dict.fromkeys(("inches", "inch", '"', "imperial", "in."), "in"),
    **dict.fromkeys(
        ("metric", "millimetre", "millimetres", "millimeter", "millimeters", "mm."), "mm"
    ),
    **dict.fromkeys(("centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("feet", "foot"), "ft"),
    **dict.fromkeys(("viscous", "thermal", "fan clutch", "thermostatic", "fluid"), "clutch"),
    **dict.fromkeys(("solid", "fixed", "steel", "direct"), "rigid"),
    **dict.fromkeys(("flex", "plastic", "flex fan"), "flexible"),
    **dict.fromkeys(("serpentine", "multi-rib", "poly-v", "poly v", "micro-v", "rib"), "ribbed"),
    **dict.fromkeys(("v-belt", "vee", "wedge", "vee belt", "v belt"), "v"),
    **dict.fromkeys(("downflow", "down-flow", "vertical"), "down"),
    **dict.fromkeys(("crossflow", "cross-flow", "across"), "cross"),
    **dict.fromkeys(("pusher", "ahead", "front"), "in front"),
    **dict.fromkeys(("puller", "aft", "rear"), "behind"),
    **dict.fromkeys(("counterclockwise", "counter-clockwise", "ccw"), "anticlockwise"),
    "cw": "clockwise",
    **dict.fromkeys(("one", "1"), "single"),
    **dict.fromkeys(("two", "2", "double", "dual"), "twin"),
    **dict.fromkeys(("driver's", "drivers", "facing"), "as seated"),
}
_RIBBED = re.compile(r"\d* ?p[klmj]\b.*|\d+ ?-?(?:ribs?|grooves?)(?: .*)?")

_KINDS: dict[str, str] = {
    **dict.fromkeys(("horn", "battery", "fender", "steering box", "gearbox", "air box"), "box"),
    **dict.fromkeys(("inner fender", "inner panel", "wing", "fuse box", "reservoir"), "box"),
    **dict.fromkeys(("frame", "frame rail", "crossmember", "cross member", "steering rack"), "box"),
    **dict.fromkeys(("steering pump", "power steering pump", "air cleaner", "oil cooler"), "box"),
    **dict.fromkeys(("tensioner", "idler", "jockey"), "idler pulley"),
    **dict.fromkeys(("damper", "balancer", "harmonic balancer"), "crank pulley"),
    **dict.fromkeys(("pump", "waterpump"), "water pump"),
    **dict.fromkeys(("accumulator", "dryer", "filter drier"), "drier"),
    **dict.fromkeys(("pipe", "tube", "shaft", "steering column"), "cylinder"),
    **dict.fromkeys(("ac compressor", "a/c compressor"), "compressor"),
}


def option_meant(word: str, options: tuple[str, ...]) -> str:
    """The option that a word of the workshop stands for, or ""."""
    said = " ".join(word.split()).casefold()
    meant = "ribbed" if _RIBBED.fullmatch(said) else _OPTIONS.get(said, "")
    return meant if meant in options else ""


def kind_meant(name: str) -> str:
    """What a part that has no kind of its own may be said to be, or ""."""
    words = name.casefold().split()
    tails = (" ".join(words[start:]) for start in range(len(words)))
    return next((_KINDS[tail] for tail in tails if tail in _KINDS), "")
