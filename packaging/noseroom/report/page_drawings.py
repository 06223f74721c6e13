"""The shop drawings inside the page: no id may clash, no text may shrink below what can be read."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Mapping

from noseroom.report.drawing_svg import SVG_NAMESPACE
from noseroom.report.page_html import Html, tag

TITLES: Mapping[str, str] = {"side": "From the car's left side", "front": "From the front"}
_NS = f"{{{SVG_NAMESPACE}}}"


def drawings(sheets: Mapping[str, str]) -> Html:
    """All drawings, each in a frame that scrolls. sheets: SVG texts by view."""
    return tag(
        "section",
        tag("h2", "Drawings", id="drawings-title"),
        tag(
            "p",
            "To scale on A3. Drag or pinch to look around; printed, each has a page of its own.",
            class_="quiet",
        ),
        [_drawing(view, text) for view, text in sheets.items()],
        id="drawings",
        aria_labelledby="drawings-title",
    )


def _drawing(view: str, text: str) -> Html:
    title = TITLES.get(view, view)
    return tag(
        "figure",
        tag("figcaption", title),
        tag(
            "div",
            tag("button", "−", type="button", data_scale="out", aria_label=f"{title}: smaller"),
            tag("button", "+", type="button", data_scale="in", aria_label=f"{title}: larger"),
            tag("button", "Open alone", type="button", data_alone=f"{view}.svg"),
            class_="row",
            hidden=True,
        ),
        tag(
            "details",
            tag("summary", "See through parts"),
            tag(
                "fieldset",
                tag("legend", f"{title}: look through", class_="heard"),
                tag("div", _switches(view, text), class_="switches"),
            ),
            class_="see-through",
            hidden=True,
        )
        if view == "front"
        else None,
        tag(
            "div",
            embedded(text, view),
            class_="sheet",
            tabindex="0",
            role="region",
            aria_label=f"Drawing: {title}. Scrolls both ways.",
        ),
        class_="drawing",
        id=f"drawing-{view}",
    )


def embedded(text: str, view: str) -> Html:
    """A drawing as a part of the page: its ids named after the view, its outlines numbered."""
    ET.register_namespace("", SVG_NAMESPACE)
    root = ET.fromstring(text)
    for element in root.iter():
        if "id" in element.attrib:
            element.set("id", f"{view}-{element.attrib['id']}")
    labels = root.get("aria-labelledby", "").split()
    root.set("aria-labelledby", " ".join(f"{view}-{one}" for one in labels))
    for index, outline in enumerate(_outlines(root)):
        outline.set("data-outline", str(index))
    return Html(ET.tostring(root, encoding="unicode", short_empty_elements=False))


def _outlines(root: ET.Element) -> list[ET.Element]:
    return [one for one in root.iter(f"{_NS}g") if one.get("class", "").startswith("outline")]


def _switches(view: str, text: str) -> list[Html]:
    """One switch for each outline that a viewer may look through."""
    made = []
    for index, outline in enumerate(_outlines(ET.fromstring(text))):
        label = outline.findtext(f"{_NS}title", "").strip()
        made.append(
            tag(
                "label",
                tag("input", type="checkbox", data_outline=f"{view} {index}"),
                label,
                class_="tick",
            )
        )
    return made
