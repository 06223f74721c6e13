"""Place sentences: "core.front at top 5/8 aft of core support.face" as an equation.

The language is small and closed: a subject (a feature of the part whose place it is, or a mark), a
figure with its ±, a direction, an object. `FORMS` lists every form with an example; the messages
and the manual quote it. Sentences are read in the words of the file; `mirror` turns left and right
into the car's own afterwards.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Literal

from noseroom.envelope.contact import direction_of
from noseroom.envelope.figures import STEEPEST_DEG, WIDTH, Figure, SentenceText
from noseroom.envelope.kinds import CAR
from noseroom.envelope.model import (
    Direction,
    FeatureRef,
    Form,
    Knowledge,
    Sentence,
    Turn,
)
from noseroom.envelope.names import (
    CENTRELINE,
    BadSentenceError,
    Named,
    Names,
)
from noseroom.envelope.phrases import (
    AGAINST,
    DIRECTIONS,
    FORMS,
    INWARD,
    OPPOSITE,
    OTHER_BOUND,
    SQUARE,
    TURNS,
    forms,
)
from noseroom.envelope.suggest import did_you_mean, quoted
from noseroom.envelope.values import ABOUT, ANGLE_DEG
from noseroom.envelope.workshop_words import AFTER_LENGTH, INSTEAD, BuildersWordsError
from noseroom.errors import UnitsError
from noseroom.units import split_angle, split_length

_TAIL = re.compile(r"\s*,?\s*(along the car|square to it)$")
_TURNED = re.compile(rf"\b(?:{'|'.join(TURNS)})\b|\d ?(?:deg|degs|degrees?|rad)\b|°")
_LONGEST_TEXT = 500


class SentenceReader(SentenceText):
    """Reads one sentence; every method takes the character from which it reads."""

    def __init__(
        self, text: str, line: int, names: Names, unit: str, tape_mm: float, knowledge: Knowledge
    ) -> None:
        super().__init__(text, unit, tape_mm)
        self.line = line
        self.names = names
        self.forms = forms(unit)
        self.knowledge = knowledge
        self._spot_faults: list[BadSentenceError] = []

    def read(self) -> list[Sentence]:
        """All ways of cutting the text into names are tried; the first that works is meant."""
        self._refuse_traps()
        found: list[list[Sentence]] = []
        faults: list[BadSentenceError] = []
        for subject in self.names.subjects(self.text):
            try:
                for spot in self.names.spots(subject, self.text):
                    try:
                        found.append(self._predicate(spot))
                    except BadSentenceError as fault:
                        faults.append(fault)
            except BadSentenceError as fault:
                faults.append(fault)
        if not found:
            spoken = [one for one in faults if isinstance(one, BuildersWordsError)]
            if spoken:
                raise spoken[0]
            furthest = max(faults, key=lambda one: one.at)
            if furthest.at == 0 or self.names.starts_elsewhere(self.text):
                raise self.names.unknown_subject(self.text)
            raise furthest
        if any(one[0].value != found[0][0].value for one in found[1:]):
            readings = f"{found[0][0].object} and {found[1][0].object}"
            hint = "give the length its unit, or rename a part"
            raise BadSentenceError(0, f"a sentence that may mean {readings}", "one meaning", hint)
        return found[0]

    def _refuse_traps(self) -> None:
        if not self.text:
            raise BadSentenceError(0, "an empty text", f'a sentence such as "{self.forms[0]}"')
        if len(self.text) > _LONGEST_TEXT:
            found = f"a sentence of {len(self.text)} characters"
            raise BadSentenceError(0, found, f"at most {_LONGEST_TEXT}")
        if "?" in self.text:
            hint = "leave the sentence out if nobody has measured it, or write place: wanted"
            raise BadSentenceError(0, "a question mark", "a reading", hint)
        if self.plain in ("along the car", "square to it"):
            hint = "quote the sentence: in [ ] a comma parts it in two"
            raise BadSentenceError(0, quoted(self.text), "the sentence that it belongs to", hint)

    def _make(
        self,
        form: Form,
        subject: Named,
        target: FeatureRef | None,
        figure: Figure | None = None,
        *,
        direction: Direction | None = None,
        along: Literal["", "square", "car"] = "",
        turn: Turn | None = None,
    ) -> Sentence:
        if target is not None and target.part == subject.ref.part:
            expected = "another part, a mark or the centreline"
            raise BadSentenceError(subject.end, f"{target.part} against itself", expected)
        return Sentence(
            form=form,
            subject=subject.ref,
            object=target,
            text=self.text,
            line=self.line,
            value=figure.value if figure else None,
            half_width=figure.half_width if figure else None,
            direction=direction,
            along=along,
            turn=turn,
            bound=figure.bound if figure else None,
            knowledge=self.knowledge,
        )

    # -- which form ------------------------------------------------------------------------

    def _predicate(self, subject: Named) -> list[Sentence]:
        at = subject.end
        if said := self.first(at, INSTEAD):
            raise BuildersWordsError(self.text, subject, said, self.names.parts, self.forms[0])
        if way := self.first(at, DIRECTIONS):
            return [self._towards("side", subject, way, None)]
        for words, read in self._starts().items():
            if (end := self.word(at, words)) is not None:
                return read(subject, end)
        if way := self.first(at, SQUARE):
            return self._turns(subject, None, SQUARE[way[0]], way[1])
        if way := self.first(at, AGAINST):
            return self._against(subject, AGAINST[way[0]], way[1])
        if _TURNED.search(self.plain, at):
            return [self._angle(subject, at)]
        return [self._offset(subject, at)]

    def _starts(self) -> dict[str, Callable[[Named, int], list[Sentence]]]:
        centred = {
            f"{word}{how}": read
            for word in ("centred", "centered")
            for how, read in (
                (" both ways", self._centred_both),
                (" up and down", self._centred_up),
                (" across", self._centred_across),
                ("", self._centred_across),
            )
        }
        return {
            "flush with": self._flush,
            "touching": self._touching,
            **centred,
            "nearest to": self._nearest,
            "nearest point to": self._nearest,
            "edge to": self._nearest,
            "to": self._straight,
        }

    # -- objects ---------------------------------------------------------------------------

    def _object(self, at: int, *, car: bool = False) -> list[Named]:
        """Every object that the text may name here, at every spot; never none."""
        for word in ("the car", CAR):
            end = self.word(at, word)
            if car and end is not None and not self.plain[end : end + 2].strip().isalpha():
                return [Named(FeatureRef(CAR), None, end)]
        found: list[Named] = []
        faults = self._spot_faults = []
        for named in self.names.objects(self.text, at):
            try:
                found.extend(self.names.spots(named, self.text))
            except BadSentenceError as fault:
                faults.append(fault)
        if not found:
            raise max(faults, key=lambda one: one.at)
        return found

    def _last_object(self, at: int, end: int) -> Named:
        """The object that the text names from here to `end`."""
        found = self._object(at)
        for named in found:
            if not self.plain[named.end : end].strip(" ,"):
                return named
        raise self._leftover(found[0], end)

    def _leftover(self, named: Named, end: int) -> BadSentenceError:
        """The fault of words after an object; a misspelt spot of a longer name says more."""
        fault = self.names.leftover(named, self.text[:end], named.end)
        return max([*self._spot_faults, fault], key=lambda one: one.at)

    def _object_then_width(
        self, at: int, usual: float, *, car: bool = False, angle: bool = False
    ) -> tuple[Named, Figure]:
        found = self._object(at, car=car)
        for named in found:
            rest = self.text[named.end :]
            if not rest.strip() or WIDTH.match(rest):
                return named, self.trailing_width(named.end, usual, angle=angle)
        raise self._leftover(found[0], len(self.text))

    # -- offsets and sides -----------------------------------------------------------------

    def _offset(self, subject: Named, at: int) -> Sentence:
        at = self.skip(at)
        try:
            read, rest = split_length(self.text[at:], self.unit)
        except UnitsError as error:
            raise self._not_understood(error, subject, at) from None
        figure = self.length(read, at)
        way_at = len(self.text) - len(rest)
        way = self.first(way_at, DIRECTIONS)
        if way is None:
            word = rest.split(" of ")[0] + (" of" if " of " in rest else "")
            hint = did_you_mean(word, DIRECTIONS) if rest else ""
            if said := self.first(way_at, AFTER_LENGTH):
                hint = AFTER_LENGTH[said[0]]
            expected = "a direction: ahead of, aft of, left of, right of, above, below, in from"
            found = quoted(rest) if rest else "the end of the sentence"
            raise BadSentenceError(way_at, found, expected, hint)
        if figure.value < 0:
            hint = "say the other direction instead"
            raise BadSentenceError(at, "a distance below zero", "zero or more", hint)
        return self._towards("offset", subject, way, figure)

    def _towards(
        self, form: Form, subject: Named, way: tuple[str, int], figure: Figure | None
    ) -> Sentence:
        """The sentence whose direction phrase is `way`; its object and tail follow."""
        phrase, at = way
        tail = _TAIL.search(self.plain)
        end = tail.start() if tail and tail.start() >= at else len(self.text)
        target = self._last_object(at, end)
        said = DIRECTIONS[phrase]
        if said == "in" or said == "out":
            inward = self._inward(target, phrase, at)
            direction = inward if said == "in" else OPPOSITE[inward]
        else:
            direction = said
        if target.ref.part == CENTRELINE and direction not in ("left", "right"):
            raise BadSentenceError(
                at, f"{phrase} the centreline", "left of or right of the centreline"
            )
        if form == "offset":
            target = self.names.touchable(target, at, direction)
        along: Literal["", "square", "car"] = ""
        if end < len(self.text) and tail:
            along = "car" if tail[1] == "along the car" else "square"
        return self._make(form, subject, target.ref, figure, direction=direction, along=along)

    def _inward(self, target: Named, phrase: str, at: int) -> Direction:
        """Which way is in, from a feature or a spot that names a side."""
        for words in ([target.words[-1]], target.ref.spot.split()):
            if len(words) == 1 and words[0] in INWARD:
                return INWARD[words[0]]
        expected = f"a side after {phrase}, such as core support.opening.left"
        hint = "or say left of, right of, above or below instead"
        raise BadSentenceError(at, f"{phrase} {target.ref}, which names no side", expected, hint)

    def _not_understood(self, error: UnitsError, subject: Named, at: int) -> BadSentenceError:
        """What to say where neither a figure nor any other form starts."""
        rest = self.text[at:]
        figure = re.match(r"[\d.+±<>=≥≤¼½¾#-]|at (least|most)|about|between", self.plain[at:])
        if figure:
            return self.units_fault(error, at)
        if not rest:
            expected = "a length and a direction, or another form"
            hint = f"as in {self.forms[0]}"
            return BadSentenceError(at, "the end of the sentence", expected, hint)
        if subject.end and (name := self.names.misspelt(subject, self.text)):
            return name
        start = " ".join(rest.split()[:2])
        forms = [*DIRECTIONS, *SQUARE, *AGAINST, *TURNS, *self._starts()]
        return BadSentenceError(
            at,
            quoted(rest),
            f'a length and a direction, or another form, such as "{self.forms[0]}" or "{FORMS[6]}"',
            did_you_mean(start, forms) or did_you_mean(start.split()[0], forms),
        )

    def _flush(self, subject: Named, at: int) -> list[Sentence]:
        target, figure = self._object_then_width(at, self.tape_mm)
        self._refuse_centreline(target, at)
        return [self._meeting(subject, target, figure, "flush with", at)]

    def _meeting(
        self, subject: Named, target: Named, figure: Figure, phrase: str, at: int
    ) -> Sentence:
        """Two things that meet, along the normal of their faces."""
        target = self.names.touchable(target, at, "")
        way = direction_of(subject, target, phrase, at)
        along: Literal["", "square"] = "" if way in ("aft", "ahead") else "square"
        return self._make("offset", subject, target.ref, figure, direction=way, along=along)

    def _touching(self, subject: Named, at: int) -> list[Sentence]:
        direction: Direction | None = None
        tail = re.search(r"\s*,\s*(aft|ahead)$", self.plain)
        if way := self.first(at, DIRECTIONS):
            said = DIRECTIONS[way[0]]
            if said == "in" or said == "out":
                raise BadSentenceError(at, way[0], "ahead of, aft of or another direction")
            direction, at = said, way[1]
        if tail:
            direction = "aft" if tail[1] == "aft" else "ahead"
            target, figure = self._last_object(at, tail.start()), Figure(0.0, self.tape_mm)
        else:
            target, figure = self._object_then_width(at, self.tape_mm)
        self._refuse_centreline(target, at)
        if direction is None:
            made = self._meeting(subject, target, figure, "touching", at)
        else:
            target = self.names.touchable(target, at, direction)
            made = self._make("offset", subject, target.ref, figure, direction=direction)
        return [replace(made, contact=True)]

    def _refuse_centreline(self, target: Named, at: int) -> None:
        if target.ref.part == CENTRELINE:
            raise BadSentenceError(at, "the centreline", "a part or a mark that can be touched")

    # -- centred ---------------------------------------------------------------------------

    def _centred(self, subject: Named, at: int, *forms: Form) -> list[Sentence]:
        end = next((e for w in ("in", "on", "with") if (e := self.word(at, w)) is not None), None)
        if end is None:
            rest = self.text[at:].strip()
            raise BadSentenceError(at, quoted(rest) if rest else "the end", "in or on, and a part")
        target, figure = self._object_then_width(end, 2 * self.tape_mm)
        if "centred up and down" in forms:
            self._refuse_centreline(target, end)
        return [self._make(form, subject, target.ref, figure) for form in forms]

    def _centred_across(self, subject: Named, at: int) -> list[Sentence]:
        return self._centred(subject, at, "centred across")

    def _centred_up(self, subject: Named, at: int) -> list[Sentence]:
        return self._centred(subject, at, "centred up and down")

    def _centred_both(self, subject: Named, at: int) -> list[Sentence]:
        return self._centred(subject, at, "centred across", "centred up and down")

    # -- straight and edge to edge ---------------------------------------------------------

    def _straight(self, subject: Named, at: int) -> list[Sentence]:
        return self._between(subject, at, nearest=subject.words[-1] == "edge")

    def _nearest(self, subject: Named, at: int) -> list[Sentence]:
        return self._between(subject, at, nearest=True)

    def _between(self, subject: Named, at: int, *, nearest: bool) -> list[Sentence]:
        """`to OBJECT LENGTH`, whose names may end in "edge" as a name's word or on top of it."""
        made: list[Sentence] = []
        ends: list[Named] = []
        faults: list[BadSentenceError] = []
        for named in self._object(at):
            self._refuse_centreline(named, at)
            end, edge = named.end, nearest or named.words[-1] == "edge"
            for word in ("edge", "nearest point", "nearest"):
                if (after := self.word(end, word)) is not None:
                    end, edge = after, True
                    break
            try:
                figure = self.trailing_length(end)
            except BadSentenceError as fault:
                faults.append(fault)
                continue
            form: Form = "edge to edge" if edge else "straight"
            made.append(self._make(form, subject, named.ref, figure))
            ends.append(named)
        if not made:
            raise max(faults, key=lambda one: one.at)
        if any(one.value != made[0].value for one in made[1:]):
            readings = " and ".join(f"{one.object} with {one.value:g} mm" for one in made[:2])
            hint = "put the word edge before the length, or rename a part"
            raise BadSentenceError(at, f"a sentence that may mean {readings}", "one meaning", hint)
        edge = made[0].form == "edge to edge"
        touched = self.names.touchable(ends[0], at, "edge" if edge else "")
        return [replace(made[0], object=touched.ref)]

    # -- turns -----------------------------------------------------------------------------

    def _turns(
        self, subject: Named, target: FeatureRef | None, turns: tuple[Turn, ...], at: int
    ) -> list[Sentence]:
        figure = self.trailing_width(at, ANGLE_DEG, angle=True)
        self._refuse_spot(subject)
        return [self._make("turn", subject, target, figure, turn=turn) for turn in turns]

    def _against(self, subject: Named, turns: tuple[Turn, ...], at: int) -> list[Sentence]:
        target, figure = self._object_then_width(at, ANGLE_DEG, car=True, angle=True)
        self._refuse_centreline(target, at)
        self._refuse_spot(subject)
        self._refuse_spot(target)
        against = None if target.ref.part == CAR else target.ref
        return [self._make("turn", subject, against, figure, turn=turn) for turn in turns]

    def _refuse_spot(self, named: Named) -> None:
        if named.ref.spot:
            found = f'"at {named.ref.spot}" with an angle'
            raise BadSentenceError(named.end, found, "an angle of a whole face or part")

    def _angle(self, subject: Named, at: int) -> Sentence:
        at = self.skip(at)
        try:
            read, rest = split_angle(self.text[at:])
        except UnitsError as error:
            raise self.units_fault(error, at) from None
        rest_at = len(self.text) - len(rest)
        way = self.first(rest_at, TURNS)
        if way is None:
            expected = ", ".join(TURNS)
            found = quoted(rest) if rest else "an angle that says no way"
            raise BadSentenceError(rest_at, found, expected, did_you_mean(rest, TURNS))
        trailing = self.trailing_width(way[1], ANGLE_DEG, angle=True)
        width = trailing.half_width if read.half_width is None else read.half_width
        if width == 0:
            raise BadSentenceError(at, "a ± of zero", "a ± above zero")
        if abs(read.value) > STEEPEST_DEG or width > STEEPEST_DEG:
            raise BadSentenceError(at, quoted(self.text[at:]), f"at most {STEEPEST_DEG:g} deg")
        self._refuse_spot(subject)
        turn, sign = TURNS[way[0]]
        # "At least 2 deg nose down" is a pitch of at most -2.
        bound = OTHER_BOUND[read.bound] if read.bound and sign < 0 else read.bound
        width *= ABOUT if read.about else 1.0
        value = sign * read.value + 0.0  # never -0.0
        return self._make("turn", subject, None, Figure(value, width, bound), turn=turn)
