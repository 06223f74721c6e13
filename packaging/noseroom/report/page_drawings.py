"""The shop drawings inside the page: no id may clash, no text may shrink below what can be read."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Mapping

from noseroom.report.drawing_svg import SVG_NAMESPACE
from noseroom.report.page_html import Html, tag

TITLES: Mapping[str, str] = {"side": "From the car's left side", "front": "From the front"}
STACK = "fan-stack"
"""How the name of a picture of a fan stack begins among the sheets."""
BELTS = "belts"
"""The name of the picture of the belts."""
AIR = "air"
"""How the names of the pictures of air and heat begin."""
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
        [_drawing(view, text) for view, text in sheets.items() if not _stands_apart(view)],
        id="drawings",
        aria_labelledby="drawings-title",
    )


def fan_stacks(sheets: Mapping[str, str]) -> Html | None:
    """The fan stack from the side, one picture a fan; None where there is none."""
    return _pictures(
        sheets,
        STACK,
        "Fan stack",
        "From the side, along the fan's own axis, with the thicknesses of a spacer that keep "
        "its room. Battery off and engine cold before hands go near it. Never stack spacers.",
    )


def belts(sheets: Mapping[str, str]) -> Html | None:
    """The belts from the front; None where there are none."""
    return _pictures(
        sheets,
        BELTS,
        "Belts",
        "From the front, each belt in its own plane, with how much of each pulley it lies on. "
        "Battery off and engine cold before hands go near them.",
    )


def air(sheets: Mapping[str, str]) -> list[Html]:
    """The pictures of air and heat, for the section that they belong to."""
    return [_drawing(view, text) for view, text in sheets.items() if view.startswith(AIR)]


def _pictures(sheets: Mapping[str, str], name: str, title: str, said: str) -> Html | None:
    """A section of its own for the pictures whose names begin so."""
    views = [view for view in sheets if view.startswith(name)]
    if not views:
        return None
    return tag(
        "section",
        tag("h2", title, id=f"{name}-title"),
        tag("p", said, class_="quiet"),
        [_drawing(view, sheets[view]) for view in views],
        id=name,
        aria_labelledby=f"{name}-title",
    )


def _stands_apart(view: str) -> bool:
    return view.startswith((STACK, BELTS, AIR))


def _drawing(view: str, text: str) -> Html:
    title = TITLES.get(view) or ET.fromstring(text).findtext(f"{_NS}title", view)
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
        class_=_class_of(view),
        id=f"drawing-{view}",
    )


def _class_of(view: str) -> str:
    if view.startswith(AIR):
        return "drawing tall"
    return "drawing stack" if _stands_apart(view) else "drawing"


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
