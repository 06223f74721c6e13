"""The page's section on working on the nose once it is together."""

from __future__ import annotations

from noseroom.report import digest, page_words, service_room
from noseroom.report.page_findings import stamp
from noseroom.report.page_html import Html, tag
from noseroom.report.result import CAUTIONS, Result


def room_to_work(result: Result) -> Html | None:
    """What can be reached and what is in the way; None where nothing was looked at."""
    rows = service_room.rows(result)
    if not rows:
        return None
    named = {name for one in result.service for name in one.parts}
    kinds = {part.kind for part in result.parts if part.name in named}
    cautions = [one for one in digest.cautions(result) if CAUTIONS.get(one, frozenset()) & kinds]
    figures = [
        *service_room.taken(result),
        *(f"From: {one}" for one in service_room.sources(result)),
    ]
    return tag(
        "section",
        tag("h2", service_room.TITLE, id="service-title"),
        tag(
            "p",
            f"{service_room.APART} Each part may come out first; how an arm gets there is not "
            "looked at.",
            class_="quiet",
        ),
        tag("ul", [_row(one) for one in rows], class_="heads"),
        tag("p", tag("strong", "Take care: "), " ".join(cautions), class_="caution")
        if cautions
        else None,
        tag(
            "details",
            tag("summary", "What room was taken"),
            tag("ul", [tag("li", page_words.begun(one)) for one in figures], class_="more"),
        ),
        id="service",
        aria_labelledby="service-title",
    )


def _row(row: service_room.Row) -> Html:
    word = service_room.WORD[row.verdict]
    return tag(
        "li",
        stamp(row.verdict),
        tag(
            "span",
            tag("strong", page_words.begun(word)),
            ": ",
            page_words.begun(row.text),
            f" {page_words.begun(row.more[0])}." if row.more else None,
        ),
    )
