"""What to buy, on the page: empty after a check, filled once the sizes that are sold were tried."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from noseroom.findings import Finding
from noseroom.report.page_cooling import answers
from noseroom.report.page_drawings import embedded
from noseroom.report.page_html import Html, tag
from noseroom.report.page_sections import folded, section

IDENT, TITLE = "buy", "To buy"


def not_chosen() -> Html:
    """The section before anything has been tried."""
    return section(
        IDENT,
        TITLE,
        tag(
            "p",
            "No sizes have been tried for this file yet. ",
            tag("code", "noseroom choices FILE"),
            " tries the condensers and fans that are sold, and then what fits and does most is "
            "here, with hoses, refrigerant, wires and fuses.",
        ),
    )


def to_buy(
    findings: Sequence[Finding],
    cautions: Sequence[str],
    pictures: Mapping[str, str],
    names: Sequence[str],
) -> Html:
    """The section with all that was found.

    findings, cautions: as `making.Advice`. pictures: SVG by its title. names: files beside the
    page.
    """
    return section(
        IDENT,
        TITLE,
        tag("ul", [tag("li", one) for one in cautions], class_="cautions"),
        [
            folded(title, tag("div", embedded(sheet, f"{IDENT}-{k}"), class_="sheet", tabindex="0"))
            for k, (title, sheet) in enumerate(pictures.items())
        ],
        answers(findings),
        tag("p", "Beside this page: ", [tag("span", tag("code", one), " ") for one in names]),
    )
