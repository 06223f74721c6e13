"""Names in place sentences: which features, parts and spots a text may mean at a given point.

Part and feature names may have several words, joined by dots or spaces, so a text can often be cut
in more than one way. These functions give every way, the longest first; the parser takes the first
that makes a sentence.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from noseroom.envelope.kinds import FeatureName, Kinds
from noseroom.envelope.mirror import as_facing
from noseroom.envelope.model import FeatureRef
from noseroom.envelope.suggest import did_you_mean, listed, nearest, quoted
from noseroom.errors import SentenceError

CENTRELINE = "centreline"
_CENTRELINES = ("centreline", "centerline", "centre line", "center line")
_OPPOSITES = (("top", "bottom"), ("left", "right"), ("front", "rear"))
_CLOCK = re.compile(r" at (\d{1,2})(:00|:30)? ?o ?'? ?clock(?=$|[ ,])")
_ROUND = ("circle", "cylinder")
# Where an unknown name ends, for the message about it.
_NAME_END = re.compile(
    r"[ ,](?:at|of|in|on|to|aft|ahead|fore|forward|behind|back|left|right|above|below|under|about"
    r"|between|flush|touching|centred|centered|plumb|level|square|parallel|[^a-z].*)(?=$|[ ,])"
)


class BadSentenceError(SentenceError):
    """A sentence that does not work out, and at which of its characters that shows."""

    def __init__(self, at: int, found: str, expected: str, hint: str = "") -> None:
        super().__init__(f"found {found}; expected {expected}", hint=hint)
        self.at, self.found, self.expected = at, found, expected


class UnknownNameError(BadSentenceError):
    """A name that stands for nothing in this file."""


@lru_cache(maxsize=8192)
def comparable(text: str) -> str:
    """The text for comparing, character by character in place: lower case, dots as spaces."""
    lower = "".join(one.lower() if len(one.lower()) == 1 else one for one in text)
    return re.sub(r"\.(?=[^\W\d_])", " ", lower).replace("\u2019", "'").replace("\u2032", "'")


@dataclass(frozen=True, slots=True)
class Named:
    """A feature that a text names: the reference, what it is, and where its name ends."""

    ref: FeatureRef
    feature: FeatureName | None
    end: int

    @property
    def words(self) -> list[str]:
        """The words of the feature's name."""
        return re.split(r"[ .]", self.ref.feature)


class Names:
    """All that a sentence of one part may name.

    part: the part whose place it is. parts: name -> kind name, of every part and mark.
    """

    def __init__(self, part: str, parts: Mapping[str, str], kinds: Kinds, mark: str) -> None:
        self.part = part
        self.mark = mark
        self.kinds = kinds
        self.parts = parts
        self.own = self._of(part, prefix="")
        self.marks = [
            one for other, kind in parts.items() if kind == mark for one in self._of(other)
        ]
        self.every = [one for other in parts for one in self._of(other)]
        self.every += [(word, FeatureRef(CENTRELINE), None) for word in _CENTRELINES]

    def _of(
        self, part: str, prefix: str | None = None
    ) -> list[tuple[str, FeatureRef, FeatureName | None]]:
        """Comparable name, reference and feature for each feature of a part and for itself."""
        kind = self.kinds[self.parts[part]]
        before = f"{comparable(part)} " if prefix is None else prefix
        made = [
            (f"{before}{comparable(one.name)}", FeatureRef(part, one.name), one)
            for one in kind.features
            if one.name
        ]
        return [*made, (comparable(part), FeatureRef(part), kind.feature(""))]

    def subjects(self, text: str) -> Iterator[Named]:
        """What the start of a sentence may name: own features, own name, marks, or nothing."""
        full = [(f"{comparable(self.part)} {name}", ref, one) for name, ref, one in self.own[:-1]]
        yield from _matching([*self.own, *full, *self.marks], text, 0)
        yield Named(FeatureRef(self.part), self.kinds[self.parts[self.part]].feature(""), 0)

    def objects(self, text: str, at: int) -> Iterator[Named]:
        """What the text from a character on may name: anything in the file, or the centreline."""
        found = list(_matching(self.every, text, at))
        if not found:
            raise self.unknown_object(text, at)
        yield from found

    def starts_elsewhere(self, text: str) -> bool:
        """Whether a sentence starts with another part's name, longer than any of its own."""
        whole = next(_matching(self.every, text, 0), None)
        own = max(one.end for one in self.subjects(text))
        return whole is not None and whole.end > own and whole.ref.part != self.part

    def unknown_subject(self, text: str) -> UnknownNameError:
        """What to say of a sentence that starts with no name known here."""
        word = _unknown_word(text, 0)
        own = [ref.feature for _, ref, _ in self.own if ref.feature]
        other = next(_matching(self.every, text, 0), None)
        expected = f"a feature of {self.part} first ({listed(own)})"
        if other is not None:
            hint = f"a sentence about {other.ref.part} belongs under {other.ref.part}"
            return UnknownNameError(0, quoted(str(other.ref)), expected, hint)
        marks = [str(ref) for _, ref, _ in self.marks]
        hint = did_you_mean(word, [*own, *marks, self.part])
        return UnknownNameError(0, quoted(word), expected, hint)

    def unknown_object(self, text: str, at: int) -> UnknownNameError:
        """What to say of a name that is no part's, or no feature of the part that it names."""
        word = _unknown_word(text, at)
        if not word:
            return UnknownNameError(at, "the end of the sentence", "the part measured from")
        holders = [
            ref
            for _, ref, _ in self.every
            if ref.feature and comparable(ref.feature) == comparable(word)
        ]
        expected = f"a part or mark of this file ({listed(self.parts)}) or centreline"
        others = [ref for ref in holders if ref.part != self.part]
        if others:
            hint = f'write "{others[0]}"'
            return UnknownNameError(at, f"{quoted(word)} without its part", expected, hint)
        if holders:
            return UnknownNameError(at, f"{quoted(word)} of {self.part} itself", expected)
        return UnknownNameError(at, quoted(word), expected, self._meant(word))

    def _meant(self, word: str) -> str:
        """Which part, or which of its features, a misspelt name stands for."""
        first, dot, rest = word.partition(".")
        near = nearest(first, self.parts)
        if dot and near:
            features = [str(ref) for _, ref, _ in self.every if ref.part == near]
            return did_you_mean(f"{near}.{rest}", features) or f'did you mean "{near}"?'
        hint = did_you_mean(word, [str(ref) for _, ref, _ in self.every])
        return hint or (f'did you mean "{near}"?' if near else "")

    def touchable(self, named: Named, at: int, towards: str) -> Named:
        """An object that a tape can touch: a part as a whole is none, unless it has one feature.

        towards: where the subject lies from it, or "edge"; the guess looks that way. Raises
        BadSentenceError.
        """
        kind = self.kinds.get(self.parts.get(named.ref.part, ""))
        if named.ref.feature or named.ref.spot or kind is None or kind.name == self.mark:
            return named
        known = [one for one in kind.features if one.name]
        named_so = [one for one in known if re.split(r"[ .]", one.name)[-1] == towards]
        looking = [one for one in known if towards and one.facing == towards]
        if len(known) == 1 or len(named_so) == 1:
            (only,) = named_so or known
            return replace(named, ref=replace(named.ref, feature=only.name), feature=only)
        if not known:
            return named
        guess = next((one.name for one in (*named_so, *looking, *known)), "")
        # The tape ends on something of the part, and its datum is nothing that one can see.
        raise UnknownNameError(
            at,
            f"{named.ref.part} as a whole",
            f"something on it that a tape can touch ({listed(one.name for one in known)})",
            f'such as "{named.ref.part}.{guess}"',
        )

    def leftover(self, named: Named, text: str, at: int) -> BadSentenceError:
        """What to say of words after a name that belong to nothing."""
        rest = text[at:].strip(" ,.")
        found = f"{quoted(rest)} after {named.ref}"
        if named.ref.part not in self.parts or named.ref.spot:
            return BadSentenceError(at, found, "the end of the sentence")
        kind = self.kinds[self.parts[named.ref.part]]
        known = [one.name for one in kind.features if one.name]
        tried = f"{named.ref.feature} {_unknown_word(text, at)}".strip()
        near = nearest(tried, known)
        hint = f'did you mean "{named.ref.part}.{near}"?' if near else ""
        if tail := nearest(rest, ("along the car", "square to it")):
            hint = f'did you mean ", {tail}"?'
        elif near == named.ref.feature:
            hint = ""
        expected = f"a feature of {named.ref.part} ({listed(known)})"
        return UnknownNameError(at, found, expected, hint)

    def misspelt(self, named: Named, text: str) -> UnknownNameError | None:
        """What to say where the next word was meant to go on with the feature's name."""
        word = _unknown_word(text, named.end)
        kind = self.kinds[self.parts[named.ref.part]]
        known = [one.name for one in kind.features if one.name]
        tried = f"{named.ref.feature} {word}".strip()
        near = nearest(tried, known)
        if not word or not near or near == named.ref.feature:
            return None
        hint = f'did you mean "{near}"?'
        expected = f"a feature of {named.ref.part} ({listed(known)})"
        return UnknownNameError(named.end, quoted(tried), expected, hint)

    def spots(self, named: Named, text: str) -> Iterator[Named]:
        """The same feature at each spot that the text may name next, and without one."""
        found = sorted(_spots(named, comparable(text)), key=lambda one: -one.end)
        yield from found
        rest = comparable(text)[named.end :]
        if found:
            return
        if rest.startswith(" at ") and not re.match(r" at (least|most)\b", rest):
            at = named.end + 4
            word = _unknown_word(text, at) or text[at:]
            known = named.feature.spots if named.feature else ()
            expected = f"a spot of {named.ref} ({listed(known)})" if known else "no spot here"
            if named.feature and named.feature.shape in _ROUND:
                expected = f"a clock position on {named.ref}, such as 12 o'clock"
            raise BadSentenceError(at, f'"at {word}"', expected, did_you_mean(word, known))
        yield named


def _unknown_word(text: str, at: int) -> str:
    start = at + len(text[at:]) - len(text[at:].lstrip())
    end = _NAME_END.search(comparable(text), start)
    return text[start : end.start() if end else len(text)].strip(" ,.")


def names_for(
    part: str, parts: Mapping[str, str], kinds: Kinds, mark: str, *, facing: bool
) -> Names:
    """All that a sentence of one part may name, by the sides that its file speaks of."""
    seen: Kinds = {name: as_facing(kind) for name, kind in kinds.items()} if facing else kinds
    return Names(part, parts, seen, mark)


def _matching(
    known: list[tuple[str, FeatureRef, FeatureName | None]], text: str, at: int
) -> Iterator[Named]:
    """Every known name that the text has at a character, the longest first."""
    plain = comparable(text)
    at += len(plain[at:]) - len(plain[at:].lstrip())
    if plain.startswith("the ", at):
        at += 4
    found = [
        (name, ref, feature)
        for name, ref, feature in known
        if plain.startswith(name, at)
        and plain[at + len(name) : at + len(name) + 1] in ("", " ", ",")
    ]

    def order(one: tuple[str, FeatureRef, FeatureName | None]) -> tuple[int, bool, int]:
        # "water pump.pulley edge": where a dot is written, the part's name ends there.
        name, ref, _ = one
        dot = text[at + len(ref.part) : at + len(ref.part) + 1] == "."
        return -len(name), not (dot and bool(ref.feature)), -len(ref.part)

    done: set[str] = set()
    for name, ref, feature in sorted(found, key=order):
        if name not in done:
            done.add(name)
            yield Named(ref, feature, at + len(name))


def _spots(named: Named, plain: str) -> Iterator[Named]:
    feature = named.feature
    if feature is None:
        return
    clock = _CLOCK.match(plain, named.end)
    if clock and feature.shape in _ROUND and 1 <= int(clock[1]) <= 12:
        hour = f"{int(clock[1])}{'.5' if clock[2] == ':30' else ''}"
        yield replace(named, ref=replace(named.ref, spot=f"{hour} o'clock"), end=clock.end())
    pairs = [[one for one in pair if one in feature.spots] for pair in _OPPOSITES]
    for count in (1, 2, 3):
        for chosen in itertools.combinations(pairs, count):
            for words in itertools.product(*chosen):
                for said in itertools.permutations(words):
                    phrase = f" at {' '.join(said)}"
                    end = named.end + len(phrase)
                    if plain.startswith(phrase, named.end) and plain[end : end + 1] in (
                        "",
                        " ",
                        ",",
                    ):
                        yield replace(named, ref=replace(named.ref, spot=" ".join(words)), end=end)
