"""The page's section on air and heat: in words, ranked, what to read next, what it rests on."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from noseroom.checks.cooling_records import Cooling, ReadingView, StateView
from noseroom.checks.cooling_words import left, odd, per_cent
from noseroom.findings import COOLING, Finding
from noseroom.report import page_drawings, page_words
from noseroom.report.cooling_bars import costs, sound_text
from noseroom.report.cooling_text import Way, band, ways
from noseroom.report.page_findings import stamp
from noseroom.report.page_html import Html, tag
from noseroom.report.page_sections import folded, section
from noseroom.report.result import Result
from noseroom.tables.heat import Band

IDENT, TITLE = "air", "Air and heat"
APART = "It does not decide whether the nose fits."
_IN_FULL = ("summary", "coolant", "head pressure", "alternator", "outside a range")
"""Answers whose every word stands in the section anyway."""
_NARROWS = 0.97
_SHOWN = 5
"""The nose as it is and the three best changes; what else was looked at is folded."""


def air_and_heat(result: Result, found: Cooling | None, sheets: Mapping[str, str]) -> Html | None:
    """The section; None for a nose whose file asks for nothing of it.

    found: with all figures; without it the answers alone are told. sheets: all drawings by name.
    """
    if found is None and not result.cooling:
        return None
    if found is None:
        return section(IDENT, TITLE, _apart(), answers(result.cooling))
    told = [one for one in result.cooling if one.id.removeprefix(COOLING) not in _IN_FULL]
    shown, rest = ways(found)[:_SHOWN], ways(found)[_SHOWN:]
    return section(
        IDENT,
        TITLE,
        tag("p", found.words, class_="lead"),
        tag("p", tag("strong", "Take care: "), " ".join(found.cautions), class_="caution"),
        _apart(),
        tag("h3", "What helps, the best first"),
        tag("p", _limits(found), class_="quiet"),
        _ranking(shown, "What helps, ranked"),
        folded(f"The other {len(rest)} ways", _ranking(rest, "The other ways, ranked"))
        if rest
        else None,
        tag("h3", "What to read next, and how"),
        tag("ul", [_reading(one, found) for one in _by_worth(found)], class_="plain"),
        [tag("h3", "What is open"), answers(told)] if told else None,
        _outside(found),
        _rests_on(found),
        tag("h3", "Pictures"),
        page_drawings.air(sheets),
    )


def _apart() -> Html:
    return tag("p", APART, class_="quiet")


# -- the ranking ----------------------------------------------------------------------------


def _limits(found: Cooling) -> str:
    """What the figures are held against, and how they are to be read."""
    boils = dict.fromkeys(band(one.boils_c, "°C") for one in found.base.states)
    text = f"Under its cap the coolant boils at {' or '.join(boils)}"
    if found.with_ac is not None:
        acts = dict.fromkeys(band(one.cut_out_bar, "bar") for one in found.base.states)
        text += f"; the pressure switch acts at {' or '.join(acts)} (gauge)"
    cars = "car" if found.draws == 1 else "cars"
    return (
        f"{text}. Each figure is a band that holds nine of ten of the {found.draws} {cars} that "
        "could be this one."
    )


_HEADS = (
    "State",
    "Air through the radiator, of today's",
    "Air into the radiator",
    "Coolant",
    "Head pressure (gauge)",
    "Current taken, and given",
)


def _ranking(shown: Sequence[Way], caption: str) -> Html:
    """A group of rows for each way; on a small screen each figure has a line of its own."""
    return tag(
        "div",
        tag(
            "table",
            tag("caption", caption, class_="heard"),
            tag("thead", tag("tr", [tag("th", head, scope="col") for head in _HEADS])),
            [_way(one) for one in shown],
            class_="ranking",
        ),
        class_="sideways",
        tabindex="0",
        role="region",
        aria_label=caption,
    )


def _way(way: Way) -> Html:
    said = [sound_text(way.view.sound), *costs(way)]
    if way.number:
        said.insert(1, way.view.text)
    return tag(
        "tbody",
        tag(
            "tr",
            tag(
                "th",
                tag("strong", page_words.begun(way.label)),
                tag("span", page_words.begun("; ".join(said))),
                scope="rowgroup",
                colspan=len(_HEADS),
            ),
        ),
        [_state(one) for one in way.view.states],
    )


def _state(state: StateView) -> Html:
    cells = [state.state, *_figures(state)]
    return tag(
        "tr", [tag("td", text, data_head=head) for head, text in zip(_HEADS, cells, strict=True)]
    )


def _figures(state: StateView) -> Iterator[str]:
    yield band(state.air, "%", 0, 100.0)
    yield band(state.into_c, "°C")
    coolant = band(state.coolant_c, "°C", beyond="boils over")
    yield f"{coolant}; boils in {per_cent(state.boils)}"
    if state.head_bar is None:
        yield "A/C off"
    else:
        head = band(state.head_bar, "bar", beyond="runs away")
        yield f"{head}; cut out in {per_cent(state.cut_out)}"
    yield f"{band(state.amps, 'A')} of {band(state.amps_there, 'A')}"


# -- readings -------------------------------------------------------------------------------


def _by_worth(found: Cooling) -> list[ReadingView]:
    """The one to take next first, then what else is not taken, then what is."""
    following = found.next_reading
    return sorted(found.readings, key=lambda one: (one is not following, bool(one.taken)))


def _reading(one: ReadingView, found: Cooling) -> Html:
    digits = 2 if one.unit == "m/s" else 0
    expected = band(one.expected, one.unit, digits)
    if one.taken and one.agrees:
        text = f"was read as {one.taken}. {_narrowed(one, 'left')}"
    elif one.taken:
        text = f"was read as {one.taken}, but {odd(one)}. It was left out: read it again. {one.how}"
    else:
        worth = "is worth reading next" if one is found.next_reading else "was not read yet"
        text = f"{worth}; expected {expected}. {_narrowed(one, 'should leave about')} {one.how}"
    return tag("li", tag("strong", page_words.begun(one.key)), f" {text}")


def _narrowed(one: ReadingView, verb: str) -> str:
    """How much of the bands is left with it."""
    pairs = ((one.narrows_coolant, "the coolant's band"), (one.narrows_head, "the head pressure's"))
    said = [f"{left(share)} of {what}" for share, what in pairs if not math.isnan(share)]
    if not said:
        return "By how much it narrows the bands is not known."
    told = f"It {verb} {' and '.join(said)}."
    least = min(share for share, _ in pairs if not math.isnan(share))
    return told if least < _NARROWS else f"{told} That is hardly any narrower."


# -- answers, remarks, assumptions ----------------------------------------------------------


def answers(rows: Sequence[Finding]) -> Html:
    """Findings that decide nothing on the nose, each with what to do."""
    return tag("ul", [_answer(one) for one in rows], class_="heads")


def _answer(one: Finding) -> Html:
    todo = tag("ul", [tag("li", page_words.begun(each)) for each in one.remedies], class_="plain")
    return tag(
        "li",
        stamp(one.verdict),
        tag(
            "div",
            tag("strong", page_words.begun(one.id.removeprefix(COOLING))),
            f": {one.note}",
            todo if one.remedies else None,
        ),
    )


def _outside(found: Cooling) -> list[Html] | None:
    """Correlations by name that were asked for more than they were tested for."""
    if not found.remarks:
        return None
    return [
        tag("h3", "Outside what has been tested"),
        tag("ul", [tag("li", page_words.begun(one)) for one in found.remarks], class_="plain"),
    ]


def _rests_on(found: Cooling) -> list[Html]:
    """What most of the bands comes from, then all that stood in for what nobody measured."""
    known = [(key, share, found.assumed.get(key)) for key, share in found.drivers]
    shown = [
        tag("li", tag("strong", page_words.begun(key)), f", {per_cent(share)}{_of(one)}")
        for key, share, one in known
    ]
    return [
        tag("h3", "What most of it comes from"),
        tag("p", "Share of the spread that follows each of these.", class_="quiet"),
        tag("ol", shown, class_="first") if shown else tag("p", "Too few cars to tell."),
        folded(
            f"All that stood in for what nobody measured: {len(found.assumed)}",
            tag(
                "ul",
                [
                    tag("li", tag("strong", page_words.begun(key)), _of(one))
                    for key, one in found.assumed.items()
                ],
                class_="plain",
            ),
        ),
    ]


def _of(one: Band | None) -> str:
    if one is None:
        return ""
    unit = f" {one.unit}" if one.unit else ""
    low, usual, high = (_plain(value) for value in (one.low, one.usual, one.high))
    return f": {low} to {high}{unit}, usually {usual}; {one.meaning} ({one.source})"


def _plain(value: float) -> str:
    """Three figures of it, and never as a power of ten."""
    return f"{value:.0f}" if abs(value) >= 1000 else f"{value:.3g}"
