"""The page's answers: one card for each finding, worst first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from noseroom.checks import words
from noseroom.findings import Finding, Rule, Support, Verdict
from noseroom.report import digest, page_words
from noseroom.report.drawing_svg import verdict_shape
from noseroom.report.page_html import Html, tag
from noseroom.report.page_scene import numbers
from noseroom.report.result import CAUTIONS, Result

LINE = "line-{}"
"""The id of a line's row among the readings."""


def answers(result: Result, shown: Mapping[str, bool], lines: Iterable[int]) -> Html:
    """All cards with their filters.

    shown: by a finding's id, whether the 3-D view can show it. lines: those that have a row among
    the readings, to link to.
    """
    known = frozenset(lines)
    numbered = numbers(result)
    cards = [
        (one, _card(result, one, index, numbered.get(one.id, 0), shown[one.id], known))
        for index, one in enumerate(result.findings, start=1)
    ]
    opened = [card for one, card in cards if one.verdict is not Verdict.FITS]
    fits = [card for one, card in cards if one.verdict is Verdict.FITS]
    return tag(
        "section",
        tag("h2", "Answers, worst first", id="answers-title"),
        _filters(result) if result.findings else None,
        tag("p", role="status", id="filter-said", class_="quiet"),
        tag("div", opened, class_="cards") if opened else None,
        _fitting(fits, result.far_pairs),
        id="answers",
        aria_labelledby="answers-title",
    )


def _fitting(cards: list[Html], far_pairs: int) -> Html:
    far = (
        tag(
            "p",
            f"{digest.surely_fit(far_pairs, 'further')}; far apart, with their rules kept.",
            class_="quiet",
            id="far-pairs",
        )
        if far_pairs
        else tag("p", "No other pairs of parts were looked at.", class_="quiet", id="far-pairs")
    )
    if not cards:
        return far
    one = len(cards) == 1
    title = f"{len(cards)} {'answer that fits' if one else 'answers that fit'}, with figures"
    return tag(
        "details", tag("summary", title), tag("div", cards, class_="cards"), far, id="fitting"
    )


def _filters(result: Result) -> Html:
    used = [verdict for verdict, count in page_words.counts(result).items() if count]
    used = [verdict for verdict in used if result.of(verdict)]
    names = sorted({name for one in result.findings for name in one.parts})
    return tag(
        "form",
        tag(
            "div",
            tag("label", "Show", for_="by-verdict"),
            tag(
                "select",
                tag("option", "every verdict", value=""),
                [
                    tag(
                        "option",
                        f"{page_words.WORD[one]} ({len(result.of(one))})",
                        value=page_words.CLASS[one],
                    )
                    for one in used
                ],
                id="by-verdict",
            ),
        ),
        tag(
            "div",
            tag("label", "of", for_="by-part"),
            tag(
                "select",
                tag("option", "every part", value=""),
                [tag("option", name, value=name) for name in names],
                id="by-part",
            ),
        ),
        class_="filters",
        id="filters",
        aria_label="Choose which answers are shown",
        hidden=True,
    )


def stamp(verdict: Verdict, label: str = "") -> Html:
    """A verdict's own shape, with a number or its sign in it; for the eye only."""
    inner = label or page_words.SIGN[verdict]
    # The shapes' corners stand out beyond their radius by more or by less.
    radius = 12.5 if verdict in (Verdict.FOULS, Verdict.FITS) else 10.0
    return tag(
        "svg",
        tag("path", d=verdict_shape(verdict.value, 16, 16, radius)),
        tag("text", inner, x="16", y="21", text_anchor="middle"),
        viewBox="0 0 32 32",
        width="34",
        height="34",
        class_=f"stamp v-{page_words.CLASS[verdict]}",
        aria_hidden="true",
    )


def _card(
    result: Result,
    finding: Finding,
    index: int,
    number: int,
    showable: bool,
    lines: frozenset[int],
) -> Html:
    kind = page_words.CLASS[finding.verdict]
    names = page_words.names(finding)
    ident = f"finding-{index}"
    return tag(
        "article",
        tag(
            "h3",
            stamp(finding.verdict, str(number) if number else ""),
            tag(
                "span",
                tag("span", page_words.WORD[finding.verdict], class_="word"),
                " ",
                tag("span", names, class_="names"),
            ),
            id=f"{ident}-title",
        ),
        tag("p", page_words.begun(finding.note), class_="note"),
        _fan_gaps(result, finding),
        _figures(finding, result.unit),
        _rule(finding.rule) if finding.rule is not None else None,
        _what_to_do(result, finding),
        _show_button(ident, names, number, showable, finding),
        _rests_on(finding.rests_on, lines),
        class_=f"card v-{kind}",
        id=ident,
        tabindex="-1",
        aria_labelledby=f"{ident}-title",
        data_verdict=kind,
        data_parts="\u241f".join(finding.parts),
    )


def _show_button(ident: str, names: str, number: int, showable: bool, finding: Finding) -> Html:
    if not showable:
        said = "Not in the 3-D view: its place is not known." if finding.parts else ""
        return tag("p", said, class_="quiet") if said else Html("")
    return tag(
        "button",
        "Show in 3-D",
        tag("span", f": {f'tight spot {number}, ' if number else ''}{names}", class_="heard"),
        type="button",
        class_="show",
        data_finding=ident,
        hidden=True,
    )


def _fan_gaps(result: Result, finding: Finding) -> Html | None:
    """What the fan's answer has besides: its gaps at the clock's hours, and the spacer."""
    head = next((one for one in digest.headlines(result) if one.text == finding.note), None)
    if head is None or not head.more:
        return None
    return tag("ul", [tag("li", line) for line in head.more], class_="more")


def _figures(finding: Finding, unit: str) -> Html | None:
    if finding.measured_mm is None or finding.rule is None:
        return None
    rows = [
        ("apart", page_words.apart(finding, unit)),
        ("of it sure", page_words.sure(finding, unit)),
        ("asked", page_words.asked(finding.rule, unit)),
    ]
    if finding.spread_mm is not None:
        rows.append(("readings may take off", page_words.both_up(finding.spread_mm, unit)))
    return tag(
        "dl",
        [tag("div", tag("dt", name), tag("dd", said)) for name, said in rows],
        class_="figures",
    )


def _rule(rule: Rule) -> Html:
    changed = f"; changed in line {rule.line} of the file" if rule.line else ""
    return tag("p", f"Rule “{rule.key}”: {rule.source}{changed}", class_="rule")


def _what_to_do(result: Result, finding: Finding) -> Html | None:
    if not finding.remedies:
        return None
    kinds = {part.kind for part in result.parts if part.name in finding.parts}
    cautions = [one for one in digest.cautions(result) if CAUTIONS.get(one, frozenset()) & kinds]
    return tag(
        "div",
        tag("h4", "What to do"),
        tag("ul", [tag("li", one) for one in finding.remedies]),
        tag("p", tag("strong", "Take care: "), " ".join(cautions), class_="caution")
        if cautions
        else None,
        class_="todo",
    )


def _rests_on(supports: tuple[Support, ...], lines: frozenset[int]) -> Html | None:
    """The readings that it rests on, each said once."""
    shares: dict[tuple[str, int, bool], float] = {}
    for one in supports:
        key = (one.reading, one.line, one.assumed)
        shares[key] = shares.get(key, 0.0) + one.share
    if not shares:
        return None
    rows = [
        tag(
            "li",
            tag("span", f"{max(100 * share, 1):.0f} %", class_="share"),
            tag("span", reading, " ", tag("em", "assumed") if assumed else None),
            _line(line, lines),
        )
        for (reading, line, assumed), share in sorted(shares.items(), key=lambda it: -it[1])
    ]
    many = "reading" if len(rows) == 1 else "readings"
    return tag(
        "details",
        tag("summary", f"Rests on {len(rows)} {many}"),
        tag("p", "Share of what the readings may take off, largest first.", class_="quiet"),
        tag("ol", rows, class_="rests"),
    )


def _line(line: int, lines: frozenset[int]) -> Html:
    said = f"line {line}"
    if line not in lines:
        return tag("span", said, class_="line")
    return tag("a", said, href=f"#{LINE.format(line)}", class_="line")


def short_of_it(result: Result) -> Html:
    """The causes in a few lines, and what to do first."""
    heads = digest.headlines(result)
    ranked = digest.remedies(result)
    shown = heads[: digest.MOST_HEADLINES]
    more = len(heads) - len(shown)
    return tag(
        "section",
        tag("h2", "In short", id="short-title"),
        tag(
            "ul",
            [
                tag(
                    "li",
                    stamp(one.verdict),
                    tag(
                        "span",
                        tag("strong", page_words.WORD[one.verdict]),
                        ": ",
                        page_words.begun(one.text),
                    ),
                )
                for one in shown
            ],
            class_="heads",
        )
        if shown
        else tag("p", "Nothing is open."),
        tag("p", f"and {more} more, below", class_="quiet") if more else None,
        [
            tag("h3", "What to do first"),
            tag("ol", [tag("li", one) for one in ranked.shown], class_="first"),
            tag("p", f"and {ranked.more} more, with the answers below", class_="quiet")
            if ranked.more
            else None,
        ]
        if ranked.shown
        else None,
        id="short",
        aria_labelledby="short-title",
    )


def listed_cautions(result: Result) -> Html:
    """What has to be said before hands go near it."""
    return tag(
        "ul",
        [tag("li", one) for one in digest.cautions(result)],
        class_="cautions",
        aria_label="Cautions",
    )


def tally(result: Result) -> Html:
    """How many answers each verdict has."""
    return tag(
        "ul",
        [
            tag(
                "li",
                stamp(verdict),
                tag("strong", str(count)),
                " ",
                tag("span", page_words.WORD[verdict].lower()),
            )
            for verdict, count in page_words.counts(result).items()
            if count
        ],
        class_="tally",
        aria_label="Answers by verdict",
    )


def not_known(result: Result) -> list[Html]:
    """What is not known, as list items."""
    found = [one.note for one in result.of(Verdict.NOT_KNOWN)]
    lost = [part.name for part in result.parts if not part.known and part.kind != "mark"]
    rows = [tag("li", note) for note in found]
    if lost:
        rows.append(tag("li", f"Nothing fixes the place of: {words.listed(lost)}."))
    return rows
