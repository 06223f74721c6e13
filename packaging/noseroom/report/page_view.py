"""The 3-D view's place in the page: the stage, and the controls beside it."""

from __future__ import annotations

from typing import Any

from noseroom.report.page_html import Html, tag
from noseroom.report.page_scene import SHELVES

VIEWS = (
    ("grille", "Over the grille"),
    ("front", "Front"),
    ("left", "Car's left"),
    ("right", "Car's right"),
    ("top", "Above"),
    ("rear", "Engine side"),
)
CUTS = (
    ("x", "Cut front to rear", "Keep what is ahead"),
    ("y", "Cut side to side", "Keep the car's left"),
    ("z", "Cut top to bottom", "Keep what is above"),
)
"""Axis, name, and what the cut keeps when it is turned round."""


def view_section(data: dict[str, Any], *, has_library: bool) -> Html:
    """The section, with everything hidden that only works once the script has drawn."""
    unable = (
        "This browser cannot draw the 3-D view (it has no WebGL, or scripts are off). "
        "Everything else on this page works; the drawings below show the same nose."
        if has_library
        else "The 3-D view is not in this page: the library that draws it was not found when the "
        "page was made. The drawings below show the same nose."
    )
    return tag(
        "section",
        tag("h2", "3-D view", id="view-title"),
        tag("p", unable, id="no-view", class_="notice"),
        tag(
            "div",
            _standpoints(),
            _stage(data),
            tag("div", _parts(data), tag("div", _cuts(), _look()), class_="controls"),
            id="viewer",
            hidden=True,
        ),
        id="view",
        aria_labelledby="view-title",
    )


def _standpoints() -> Html:
    return tag(
        "div",
        tag("span", "Look from"),
        [tag("button", name, type="button", data_view=key) for key, name in VIEWS],
        class_="row standpoints",
        role="group",
        aria_label="Look from",
    )


def _stage(data: dict[str, Any]) -> Html:
    names = ", ".join(str(part["name"]) for part in data["parts"])
    marked = sum(1 for one in data["findings"] if one["number"])
    picture = (
        f"Picture of the nose with these parts: {names}. {marked} tight spots are marked; each is "
        "described in its answer."
    )
    return tag(
        "figure",
        tag(
            "div",
            tag("canvas", id="canvas", role="img", aria_label=picture),
            Html('<svg id="overlay" aria-hidden="true" focusable="false"></svg>'),
            tag("div", id="callouts", role="group", aria_label="Tight spots in the picture"),
            tag(
                "div",
                tag("button", "−", type="button", id="farther", aria_label="Farther away"),
                tag("button", "+", type="button", id="nearer", aria_label="Nearer"),
                tag("button", "Whole nose", type="button", id="whole"),
                class_="lens",
            ),
            id="stage",
            tabindex="0",
            role="application",
            aria_label="3-D view of the nose",
            aria_describedby="keys",
        ),
        tag(
            "figcaption",
            tag("p", role="status", id="said"),
            tag("p", id="left-out", class_="quiet"),
            tag("button", "Back to the answer", type="button", id="back", hidden=True),
            tag("button", "Show all parts alike", type="button", id="unmark", hidden=True),
        ),
        tag(
            "p",
            "Drag to turn, two fingers (or Shift and drag) to shift, pinch or Ctrl and wheel to "
            "come nearer. With the keyboard: ",
            tag("kbd", "arrows"),
            " turn, ",
            tag("kbd", "Shift"),
            " and arrows shift, ",
            tag("kbd", "+"),
            " and ",
            tag("kbd", "−"),
            " come nearer and go back, ",
            tag("kbd", "0"),
            " shows the whole nose.",
            id="keys",
            class_="quiet",
        ),
        class_="picture",
    )


def _parts(data: dict[str, Any]) -> Html:
    groups = []
    for shelf, title in SHELVES.items():
        members = [(i, part) for i, part in enumerate(data["parts"]) if part["shelf"] == shelf]
        if members:
            groups.append(_group(title, members, placed=all(p["placed"] for _, p in members)))
    return tag("details", tag("summary", "Parts"), groups, id="parts-box", open=True)


def _group(title: str, members: list[tuple[int, dict[str, Any]]], *, placed: bool) -> Html:
    return tag(
        "fieldset",
        tag("legend", title),
        None
        if placed
        else tag("p", "They stand somewhere only so that they can be drawn.", class_="quiet"),
        tag(
            "div",
            tag("button", "All", type="button", data_all="on", aria_label=f"{title}: show all"),
            tag("button", "None", type="button", data_all="off", aria_label=f"{title}: hide all"),
            class_="row",
        ),
        tag(
            "div",
            [
                tag(
                    "label",
                    tag("input", type="checkbox", data_part=index, checked=part["placed"]),
                    _swatch(str(part["colour"])),
                    str(part["name"]),
                    class_="tick",
                )
                for index, part in members
            ],
            class_="ticks",
        ),
    )


def _swatch(colour: str) -> Html:
    return tag(
        "svg",
        tag("rect", x="1", y="1", width="14", height="14", fill=colour, stroke="#1b1e22"),
        viewBox="0 0 16 16",
        width="16",
        height="16",
        aria_hidden="true",
    )


def _cuts() -> Html:
    return tag(
        "details",
        tag("summary", "Cut it open"),
        [_cut(axis, name, kept) for axis, name, kept in CUTS],
        id="cuts-box",
    )


def _cut(axis: str, name: str, kept: str) -> Html:
    return tag(
        "fieldset",
        tag("legend", name),
        tag(
            "div",
            tag(
                "label",
                tag("input", type="checkbox", data_cut=axis),
                "On",
                tag("span", f": {name.lower()}", class_="heard"),
                class_="tick",
            ),
            tag(
                "label",
                tag("input", type="checkbox", data_flip=axis),
                kept,
                class_="tick",
            ),
            class_="row",
        ),
        tag(
            "input",
            type="range",
            min="0",
            max="1",
            step="1",
            value="0",
            data_slide=axis,
            aria_label=f"{name}, where",
        ),
        tag("output", data_read=axis),
    )


def _look() -> Html:
    return tag(
        "details",
        tag("summary", "Take it apart, see through"),
        tag(
            "fieldset",
            tag("legend", "Take it apart"),
            tag(
                "p",
                "Each part goes the way it is taken out; what comes out first stands furthest. "
                "Whether it passes what is in its way is not looked at.",
                class_="quiet",
            ),
            tag(
                "input",
                type="range",
                min="0",
                max="100",
                step="1",
                value="0",
                id="apart",
                aria_label="Taken apart, in per cent",
            ),
            tag("output", "together", id="apart-said"),
        ),
        tag(
            "fieldset",
            tag("legend", "Swept and unseen space"),
            tag(
                "input",
                type="range",
                min="0",
                max="60",
                step="1",
                value="14",
                id="ghosts",
                aria_label="How solid swept and unseen space is drawn, in per cent",
            ),
            tag("output", "14 %", id="ghosts-said"),
        ),
        tag(
            "fieldset",
            tag("legend", "In the picture"),
            tag(
                "label",
                tag("input", type="checkbox", id="fade", checked=True),
                "At a tight spot, fade all parts but its own",
                class_="tick",
            ),
            tag(
                "label",
                tag("input", type="checkbox", id="labels", checked=True),
                "Figures in the picture",
                class_="tick",
            ),
            tag(
                "label",
                tag("input", type="checkbox", id="rooms"),
                "Room that movement takes",
                class_="tick",
            ),
            tag(
                "label",
                tag("input", type="checkbox", id="outer", checked=True),
                "See through hood, grille and bumper",
                class_="tick",
            ),
        ),
        id="look-box",
    )
