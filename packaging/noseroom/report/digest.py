"""What a result comes down to: findings by cause, remedies by worth, assumptions by part.

Everything here is words made from a result; terminal and drawings show it, each in its own way.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from noseroom.checks import words
from noseroom.checks.fan_window_words import aim, in_place
from noseroom.findings import Finding, Verdict
from noseroom.report.result import CAUTIONS, Assumption, Result
from noseroom.units import read_length

_BELT = ("reach: ", "line: ", "length: ", "slip: ", "speed: ")
"""How the ids of what is asked of a belt alone begin."""

SENTENCE = {
    Verdict.FITS: "everything fits",
    Verdict.FOULS: "it does not fit",
    Verdict.TOO_CLOSE: "too close to call; nothing surely fouls",
    Verdict.NOT_KNOWN: "not known; nothing surely fouls",
}
"""The answer in a few words, by verdict."""
_COUNTED = {Verdict.FITS: "fit", Verdict.FOULS: "foul"}
MOST_HEADLINES = 8
MOST_REMEDIES = 8
_MOST_RETAKES = 3
_MOST_NAMED = 5
_MOST_OTHERS = 20
_STATES = {"at rest": "", "moving": "engine moving"}
"""What a finding's state is called beside its parts; any other state by its own name."""
_WHEN = {"moving": "When the engine moves, ", "at speed": "At speed, "}
"""How a sentence on several findings of a state begins: at rest it needs no saying."""
_MOVES = re.compile(r"when (the .+) moves?$")
"""What a question on a pair says of what moves."""
_MOVE = re.compile(
    r"move the (?P<part>.+?) (?P<by>\d.*?) "
    r"(?P<way>forward|aft|up|down|to the car's left|to the car's right)(?P<but>, but .+)?"
)
_PLACE = re.compile(
    r"(?:give (?:the )?(?P<given>.+?) a place|measure where the (?P<measured>.+?) stands)"
)


@dataclass(frozen=True)
class Headline:
    """One cause and all that comes of it; `more` are lines of figures below it."""

    verdict: Verdict
    text: str
    more: tuple[str, ...] = ()


@dataclass(frozen=True)
class Ranked:
    """The best remedies, and how many more there are."""

    shown: tuple[str, ...]
    more: int


@dataclass(frozen=True)
class Assumed:
    """What a part rests on that nobody measured. bears: an open answer rests on it."""

    part: str
    line: int
    texts: tuple[str, ...]
    bears: bool


def is_moved(finding: Finding) -> bool:
    """Whether its figure and points are those of an engine that has moved, and not of rest."""
    return finding.state == "moving"


def between(finding: Finding, joint: str = " / ") -> str:
    """What a finding is about: its parts, and the state where it is not the car at rest.

    "pump / post, engine moving"; a finding on an engine alone is "engine, moving".
    """
    state = _STATES.get(finding.state, finding.state)
    if is_moved(finding):
        asked = _MOVES.search(finding.question)
        state = f"{asked[1].replace('the ', '')} moving" if asked else state
        state = "moving" if len(finding.parts) == 1 else state
    return ", ".join(filter(None, (joint.join(finding.parts), state)))


def surely_fit(count: int, more: str = "") -> str:
    """How many pairs surely fit, in words. more: a word before "pairs", such as "further"."""
    said = f"{count} {more} " if more else f"{count} "
    return f"{said}pair surely fits" if count == 1 else f"{said}pairs surely fit"


def counts(result: Result) -> str:
    """How many answers there are of each verdict, worst first, in words."""
    parts = []
    for verdict in sorted(Verdict, key=lambda one: one.rank):
        count = len(result.of(verdict)) + (result.far_pairs if verdict is Verdict.FITS else 0)
        if count:
            parts.append(f"{count} {_COUNTED.get(verdict, verdict.value)}")
    return ", ".join(parts) or "nothing to check"


def open_findings(result: Result) -> list[Finding]:
    """All findings but those that fit, worst first."""
    return [one for one in result.findings if one.verdict is not Verdict.FITS]


def headlines(result: Result) -> list[Headline]:
    """The fan's answer first, which belts go on, then a line for each cause, worst first."""
    fans = [one for one in result.findings if _is_fan_gap(one) or one.is_choice]
    fans.sort(key=lambda one: (one.parts, one.is_choice))
    rest = [one for one in open_findings(result) if one not in fans]
    found = [Headline(one.verdict, one.note, _fan_figures(one, result.unit)) for one in fans]
    belts = [one for one in result.of(Verdict.FITS) if one.id.startswith("length: ")]
    found += [Headline(one.verdict, one.note) for one in belts]
    for verdict in sorted(set(Verdict) - {Verdict.FITS}, key=lambda one: one.rank):
        group = [one for one in rest if one.verdict is verdict]
        pairs = [one for one in group if _is_pair(one)]
        found += [Headline(verdict, one.note) for one in group if one not in pairs]
        # What an engine's movement does is never the cause of what is amiss at rest.
        for state in dict.fromkeys(one.state for one in pairs):
            found += [
                Headline(verdict, _cause(result, verdict, key, members))
                for key, members in _by_cause(result, [p for p in pairs if p.state == state])
            ]
    return found


def _is_pair(finding: Finding) -> bool:
    """Whether it is about the room between two parts, and not about how a belt runs."""
    return len(finding.parts) == 2 and (
        finding.verdict is Verdict.NOT_KNOWN or not finding.id.startswith(_BELT)
    )


def _is_fan_gap(finding: Finding) -> bool:
    return finding.id.startswith("fan gap")


def _fan_figures(finding: Finding, unit: str) -> tuple[str, ...]:
    """The gaps at the clock's hours and the spacer to aim for; or all that hangs on a spacer."""
    details = finding.details
    if finding.is_choice:
        return tuple(str(details.get("in_full", "")).splitlines())
    hours = [hour for hour in (12, 3, 6, 9) if f"gap_{hour}_mm" in details]
    lines = []
    if hours:
        gaps = [words.length(_figure(details[f"gap_{hour}_mm"]), unit) for hour in hours]
        spreads = [
            words.at_least(_figure(details.get(f"gap_{hour}_spread_mm", 0.0)), unit)
            for hour in hours
        ]
        if len(set(spreads)) == 1:
            said = f"{', '.join(gaps)} (each ± {spreads[0]})"
        else:
            # One that was taped is not to look as loose as one that follows from others.
            said = ", ".join(f"{gap} ± {far}" for gap, far in zip(gaps, spreads, strict=True))
        clock = words.listed([str(hour) for hour in hours])
        lines.append(f"blade front to radiator core at {clock} o'clock: {said}")
    on = _figure(details.get("spacer_on_mm", 0.0))
    for low, high in spacer_windows(finding):
        if low > on:
            lines.append(f"spacer to aim for: {aim(low, high, unit)}")
    return tuple(lines)


def spacer_windows(finding: Finding) -> list[tuple[float, float]]:
    """Thicknesses that keep every rule, (from, to) mm, of a fan's finding.

    Of one spacer in the place of one that is on already.
    """
    given = finding.details.get("spacer_mm", [])
    windows = [(low, high) for low, high in given] if isinstance(given, list) else []
    return list(in_place(windows, _figure(finding.details.get("spacer_on_mm", 0.0))))


def _figure(value: object) -> float:
    return float(value) if isinstance(value, int | float) else 0.0


Key = tuple[str, str]


def _ends(finding: Finding) -> tuple[Key, Key]:
    """Its two (part, component), the component "" where none is told."""
    told = str(finding.details.get("components", "")).split(" / ")
    mine, theirs = told if len(told) == 2 else ("", "")
    return (finding.parts[0], mine), (finding.parts[1], theirs)


def _by_cause(result: Result, pairs: Sequence[Finding]) -> list[tuple[Key, list[Finding]]]:
    """Pairs that share one end, the largest group first; what shares nothing stands alone."""
    lost = {part.name for part in result.parts if not part.known}
    left, groups = list(pairs), []

    def ends(one: Finding) -> tuple[Key, ...]:
        # A part whose place is not known is the cause, whichever of its components is near.
        return tuple((part, "" if part in lost else name) for part, name in _ends(one))

    while left:
        count = Counter(end for one in left for end in ends(one))
        key = max(count, key=lambda end: (end[0] in lost, count[end], end[0] == left[0].parts[0]))
        members = [one for one in left if key in ends(one)]
        groups.append((key, members))
        left = [one for one in left if one not in members]
    return groups


def _when(members: Sequence[Finding]) -> str:
    """How a sentence on several findings of one state begins."""
    if not is_moved(members[0]):
        return _WHEN.get(members[0].state, "")
    asked = {found[0] if (found := _MOVES.search(one.question)) else "" for one in members}
    if len(asked) > 1:
        return "In motion, "
    (only,) = asked
    return f"W{only[1:]}, " if only else _WHEN["moving"]


def _cause(result: Result, verdict: Verdict, key: Key, members: Sequence[Finding]) -> str:
    """One sentence on findings of one verdict and state that share an end."""
    if len(members) == 1:
        return members[0].note
    others = [next(end for end in _ends(one) if end[0] != key[0]) for one in members]
    when = _when(members)
    if verdict is Verdict.NOT_KNOWN:
        names = _few([part for part, _ in others])
        if when:
            return f"{when}it is not known whether {key[0]} keeps clear of {names}."
        if all(part.known for part in result.parts if part.name == key[0]):
            # It stands where it stands; what is not known is what its scan did not see.
            return f"What the scan of the {key[0]} did not see may be too close to {names}."
        return (
            f"Nothing fixes where the {key[0]} stands: how near it comes to {names} is not known."
        )
    if verdict is Verdict.TOO_CLOSE:
        return f"{when}{_named(key)} may be too close to {_few([_named(end) for end in others])}."
    said = []
    for finding, end in zip(members, others, strict=True):
        away = finding.measured_mm or 0.0
        figure = (
            f"by {words.at_least(-away, result.unit)}"
            if away < 0
            else f"({words.length(away, result.unit)} apart)"
        )
        said.append(f"{_named(end)} {figure}")
    return f"{when}{_named(key)} fouls {_few(said)}."


def _named(end: Key) -> str:
    part, component = end
    return part if not component or component in part else f"{part} ({component})"


def _few(names: Sequence[str]) -> str:
    if len(names) <= _MOST_NAMED + 1:
        return words.listed(names)
    return f"{', '.join(names[:_MOST_NAMED])} and {len(names) - _MOST_NAMED} more"


def remedies(result: Result) -> Ranked:
    """What to do, the most worth first: moves said once, readings by how many answers they open.

    Where a spacer answers for the fan, what else would free the fan is named as its alternative.
    """
    spaced = {
        one.parts[0]
        for one in open_findings(result)
        if _is_fan_gap(one) and spacer_windows(one) and one.remedies
    }
    bound = {fan for fan in spaced if not _goes_without(result, fan)}
    found = open_findings(result)
    sure = [one for one in found if one.verdict is Verdict.FOULS]
    cures = _acts_of(sure, spaced, bound)
    # What nothing speaks against comes first.
    cures = sorted(_joined(_largest_moves(cures)), key=lambda act: _BUT in act)
    rest = _acts_of([one for one in found if one not in sure], spaced, bound)
    rest = [act for act in _places_once(rest) if act not in cures]
    chosen = _chosen(result)
    cures, rest = ([chosen.get(act, act) for act in acts] for acts in (cures, rest))
    retakes = _retakes(found)
    # Cures of what surely fouls come before anything that asks to look again.
    room = MOST_REMEDIES - min(_MOST_RETAKES, len(retakes))
    shown = cures[:MOST_REMEDIES]
    shown += rest[: max(room - len(shown), 0)]
    shown += retakes[: MOST_REMEDIES - len(shown)]
    return Ranked(tuple(shown), len(cures) + len(rest) + len(retakes) - len(shown))


def _chosen(result: Result) -> dict[str, str]:
    """What a fan's window asks for, and the spacer with its bolts that was chosen for it."""
    best = {one.parts: one for one in result.of(Verdict.FITS) if one.is_choice}
    return {
        gap.remedies[0]: best[gap.parts].remedies[0]
        for gap in result.findings
        if _is_fan_gap(gap) and gap.remedies and gap.parts in best
    }


_BUT = ", but "


def _acts_of(findings: Sequence[Finding], spaced: set[str], bound: set[str]) -> list[str]:
    """What some findings ask to do, but for readings: the fan first, each thing once."""
    ordered = sorted(findings, key=lambda one: (one.verdict.rank, not _is_fan_gap(one)))
    return list(dict.fromkeys(act for one in ordered for act in _acts(one, spaced, bound)))


_INSTEAD = "or, without a spacer, "


def _goes_without(result: Result, fan: str) -> bool:
    """Whether everything that fouls a fan could be moved out of its way instead."""
    return all(
        any(
            move is not None and move["part"] != fan and not move["but"]
            for move in map(_MOVE.fullmatch, one.remedies)
        )
        for one in result.findings
        if one.verdict is Verdict.FOULS and len(one.parts) == 2 and fan in one.parts
    )


def _acts(finding: Finding, spaced: set[str], bound: set[str]) -> Iterable[str]:
    """What a finding asks to do, but for readings.

    spaced: fans that a spacer serves. bound: those that nothing else would serve.
    """
    fan = next((part for part in finding.parts if part in spaced), "")
    for remedy in finding.remedies:
        if words.is_retake(remedy):
            continue
        moved = _MOVE.fullmatch(remedy)
        if moved is None or not fan:
            yield remedy
        elif (
            moved["part"] != fan and not moved["but"] and fan not in bound
        ):  # a spacer is what moves the fan
            yield f"{_INSTEAD}{remedy}"


def _places_once(acts: Sequence[str]) -> list[str]:
    """What asks for a part's place, once for each part: the words that name a line, if any do."""
    best: dict[str, str] = {}
    for act in sorted(acts, key=lambda one: "line" not in one):
        if part := _part_to_place(act):
            best.setdefault(part, act)
    return list(dict.fromkeys(best.get(_part_to_place(act), act) for act in acts))


def _part_to_place(act: str) -> str:
    asked = _PLACE.match(act)
    return "" if asked is None else asked["given"] or asked["measured"]


def _largest_moves(acts: Sequence[str]) -> list[str]:
    """One move for each part and way: the largest serves them all."""
    largest: dict[tuple[str, str, str], tuple[float, str]] = {}
    order: list[tuple[str, str, str]] = []
    for act in acts:
        moved = _MOVE.fullmatch(act.removeprefix(_INSTEAD))
        if moved is None:
            key, by = (act, "", ""), 0.0
        else:
            prefix = _INSTEAD if act.startswith(_INSTEAD) else ""
            key, by = (prefix, moved["part"], moved["way"]), read_length(moved["by"], "mm").value
        if key not in largest:
            order.append(key)
        if key not in largest or by > largest[key][0]:
            largest[key] = by, act
    return [largest[key][1] for key in order]


def _joined(acts: Sequence[str]) -> list[str]:
    """All moves that stand in for a spacer as one remedy: none of them alone would do."""
    instead = [act for act in acts if act.startswith(_INSTEAD)]
    moves = [act.removeprefix(f"{_INSTEAD}move ") for act in instead]
    joined = f"{_INSTEAD}move {words.listed(moves)}"
    first = instead[:1]
    return [joined if act in first else act for act in acts if act in first or act not in instead]


def _retakes(findings: Sequence[Finding]) -> list[str]:
    """Readings that would settle the most, by their shares of the spreads of open answers."""
    worth: dict[tuple[str, int, bool], float] = {}
    serves: Counter[tuple[str, int, bool]] = Counter()
    for finding in findings:
        if finding.verdict is not Verdict.TOO_CLOSE:
            continue
        shares: dict[tuple[str, int, bool], float] = {}
        for one in finding.rests_on:
            key = (one.reading, one.line, one.assumed)
            shares[key] = shares.get(key, 0.0) + one.share
        for key, share in shares.items():
            worth[key] = worth.get(key, 0.0) + share
            serves[key] += share >= 0.1
    order = sorted((key for key in worth if serves[key]), key=lambda key: (-worth[key], key[1]))
    return [
        f"{words.measure(reading, line, assumed=assumed)} "
        f"(bears on {serves[reading, line, assumed]} open "
        f"{'answer' if serves[reading, line, assumed] == 1 else 'answers'})"
        for reading, line, assumed in order
    ]


def assumed(result: Result) -> list[Assumed]:
    """Assumptions in use by part, each said once, those that open answers rest on first."""
    bearing = {
        (one.line, one.reading)
        for finding in open_findings(result)
        for one in finding.rests_on
        if one.assumed
    }
    groups: dict[tuple[bool, str, int], dict[str, None]] = {}
    for one in result.assumptions:
        if one.state == "used":
            bears = any(
                line == one.line and _names(reading, one, result.unit) for line, reading in bearing
            )
            said = groups.setdefault((bears, one.part, one.line), {})
            said[_said(one, result.unit)] = None
    return [
        Assumed(part or f"line {line}", line, tuple(texts), bears)
        for (bears, part, line), texts in sorted(groups.items(), key=lambda it: not it[0][0])
    ]


def too_many(rows: Sequence[Assumed]) -> bool:
    """Whether what no open answer rests on is rather counted than told."""
    return sum(len(row.texts) for row in rows if not row.bears) > _MOST_OTHERS


def refuted(result: Result) -> list[str]:
    """Assumptions that the readings contradict."""
    return list(
        dict.fromkeys(
            words.described(words.in_unit(one.text, result.unit), one.part)
            for one in result.assumptions
            if one.state == "refuted by readings"
        )
    )


def _names(reading: str, one: Assumption, unit: str) -> bool:
    """Whether a finding's reading is this assumption: with its part or without, in mm or not."""
    texts = {one.text, words.in_unit(one.text, unit), words.usual(one.text.split(": about")[0])}
    return reading in texts or any(
        reading == words.described(text, one.part)
        or (not one.part and reading.endswith(f": {text}"))
        for text in texts
    )


def _said(one: Assumption, unit: str) -> str:
    text = words.in_unit(one.text, unit).removeprefix(f"{one.part} ")
    return text.replace(": about", " about", 1)


def cautions(result: Result) -> list[str]:
    """The result's cautions that concern a part of this nose."""
    kinds = {part.kind for part in result.parts}
    return [one for one in result.cautions if not CAUTIONS.get(one) or kinds & CAUTIONS[one]]
