"""What is to be made, on the page: empty after a check, filled with the workshop's files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from noseroom.report.page_drawings import embedded
from noseroom.report.page_html import Html, tag
from noseroom.report.page_sections import folded, section, table

IDENT = "make"
_TITLE = "To make"


@dataclass(frozen=True)
class ToMake:
    """What the section shows.

    heads, rows: the cut list. sums: what is bought, in all. refused: what could not be made, and
    why. remarks: cautions. names: files that were written. pictures: drawings' SVG by their titles.
    answers: what was found of each piece, by its title.
    """

    heads: Sequence[str]
    rows: Sequence[Sequence[str]]
    sums: Sequence[Sequence[str]]
    refused: Sequence[str]
    remarks: Sequence[str]
    names: Sequence[str]
    pictures: Mapping[str, str]
    answers: Mapping[str, Sequence[str]]


def not_made() -> Html:
    """The section before anything has been made."""
    return section(
        IDENT,
        _TITLE,
        tag(
            "p",
            "Nothing has been made for the bench from this file yet. ",
            tag("code", "noseroom workshop FILE"),
            " writes brackets, spacer, paper templates and stand-ins, and then the list of what "
            "to cut and to buy is here.",
        ),
    )


def to_make(made: ToMake) -> Html:
    """The section with everything that was made."""
    return section(
        IDENT,
        _TITLE,
        tag("ul", [tag("li", one) for one in made.remarks], class_="cautions"),
        [
            tag("h3", "Could not be made, or is not surely right"),
            tag("ul", [tag("li", one) for one in made.refused], class_="plain"),
        ]
        if made.refused
        else None,
        tag("h3", "What was found of them") if made.answers else None,
        [
            folded(title, tag("ul", [tag("li", one) for one in said], class_="plain"))
            for title, said in made.answers.items()
        ],
        [tag("h3", "To buy, in all"), _table(made.heads, made.sums, "To buy, in all")]
        if made.sums
        else None,
        folded(
            "What is for what, and what to cut", _table(made.heads, made.rows, "What is for what")
        ),
        tag("h3", "Drawings") if made.pictures else None,
        [
            folded(title, tag("div", embedded(sheet, f"{IDENT}-{k}"), class_="sheet", tabindex="0"))
            for k, (title, sheet) in enumerate(made.pictures.items())
        ],
        folded(
            f"{len(made.names)} files beside this page",
            tag("ul", [tag("li", tag("code", one)) for one in made.names], class_="plain"),
        ),
    )


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]], caption: str) -> Html:
    """A table without the columns in which nothing stands; on a narrow screen a card a row."""
    kept = [k for k in range(len(heads)) if any(row[k] for row in rows)]
    return table(
        [heads[k] for k in kept],
        [tag("tr", [tag("td", row[k], data_head=heads[k]) for k in kept]) for row in rows],
        caption,
    )
