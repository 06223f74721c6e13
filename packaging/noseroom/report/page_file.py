"""page.html: the whole answer as one file that opens anywhere, without a network.

Nothing is fetched: style, scripts, meshes and drawings are inside, and the page forbids its browser
to load anything else. Without scripting, and without WebGL, everything but the 3-D view is there.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Mapping
from functools import cache
from html.parser import HTMLParser
from importlib import resources
from typing import TYPE_CHECKING, Any

from noseroom.errors import GeometryError
from noseroom.layout import Layout
from noseroom.report import (
    page_choices,
    page_cooling,
    page_drawings,
    page_findings,
    page_make,
    page_sections,
    page_service,
    page_words,
)
from noseroom.report.page_html import Html, data_block, tag
from noseroom.report.page_library import viewer_library
from noseroom.report.page_scene import Bodies, scene, showable
from noseroom.report.page_view import view_section
from noseroom.report.result import Result

if TYPE_CHECKING:
    from noseroom.checks.cooling_records import Cooling

DATA_ID = "nose-data"
_STYLE = "page.css"
_SCRIPTS = (
    "page_words.js",
    "page_meshes.js",
    "page_cuts.js",
    "page_camera.js",
    "page_labels.js",
    "page_stage.js",
    "page_controls.js",
    "page_start.js",
)
"""In the order in which they are run, as one script."""


def page(
    result: Result,
    layout: Layout,
    bodies: Bodies,
    sheets: Mapping[str, str],
    cooling: Cooling | None = None,
) -> str:
    """The page as text. sheets: the drawings' SVG by view. The same input gives the same bytes.

    cooling: all of air and heat, where the file asks for it.
    """
    data = scene(result, layout, bodies)
    library = viewer_library()
    script = Html("\n".join(_asset(name) for name in _SCRIPTS))
    style = Html(_asset(_STYLE))
    scripts = [Html(one) for one in (library, script) if one]
    drawn = {part["name"] for part in data["parts"]}
    shown = {one.id: showable(layout, one, drawn) for one in result.findings}
    stack, belts = page_drawings.fan_stacks(sheets), page_drawings.belts(sheets)
    air = page_cooling.air_and_heat(result, cooling, sheets)
    body = tag(
        "body",
        tag("a", "Skip to the answers", href="#answers", class_="skip"),
        _header(
            result,
            has_air=air is not None,
            has_stack=stack is not None,
            has_belts=belts is not None,
        ),
        tag(
            "main",
            tag(
                "div",
                page_findings.short_of_it(result),
                view_section(data, has_library=bool(library)),
                page_findings.answers(result, shown, page_sections.reading_lines(layout)),
                class_="bench",
            ),
            tag(
                "div",
                page_service.room_to_work(result),
                air,
                None if air is None else page_choices.not_chosen(),
                stack,
                belts,
                page_make.not_made(),
                page_drawings.drawings(sheets),
                page_sections.assumed(result),
                page_sections.sizes(result, layout),
                page_sections.readings(layout),
                page_sections.made(result, bool(library)),
                class_="rest",
            ),
            id="main",
        ),
        data_block(DATA_ID, data),
        [tag("script", one) for one in scripts],
    )
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", http_equiv="Content-Security-Policy", content=_policy(style, scripts)),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", name="referrer", content="no-referrer"),
        tag("title", f"{result.title}: {page_words.WORD[result.verdict].lower()}"),
        tag("style", style),
    )
    return f"<!DOCTYPE html>\n{tag('html', head, body, lang='en')}\n"


def _header(result: Result, *, has_air: bool, has_stack: bool, has_belts: bool) -> Html:
    said, more = page_words.sentence(result.verdict)
    links = (
        ("answers", "Answers"),
        ("view", "3-D view"),
        *([(one.IDENT, one.TITLE) for one in (page_cooling, page_choices)] if has_air else []),
        *([(page_drawings.STACK, "Fan stack")] if has_stack else []),
        *([(page_drawings.BELTS, "Belts")] if has_belts else []),
        (page_make.IDENT, "To make"),
        ("drawings", "Drawings"),
        ("assumed", "Assumed"),
        ("readings", "Readings"),
    )
    return tag(
        "header",
        tag("h1", result.title),
        tag(
            "p",
            page_findings.stamp(result.verdict),
            tag("span", tag("strong", said), " ", more),
            class_=f"verdict v-{page_words.CLASS[result.verdict]}",
        ),
        page_findings.tally(result),
        page_findings.listed_cautions(result),
        tag(
            "nav",
            [tag("a", name, href=f"#{ident}") for ident, name in links],
            aria_label="On this page",
        ),
    )


def _policy(style: str, scripts: list[Html]) -> str:
    """What the browser may do: run these scripts, use this style, and load nothing."""
    allowed = " ".join(_fingerprint(one) for one in scripts)
    return (
        f"default-src 'none'; script-src {allowed}; style-src {_fingerprint(style)}; "
        "base-uri 'none'; form-action 'none'"
    )


def _fingerprint(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


@cache
def _asset(name: str) -> str:
    file = resources.files("noseroom.report").joinpath("page", name)
    return file.read_text(encoding="utf-8")


class _Reader(HTMLParser):
    """Collects what `check_page` looks at."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.ids: list[str] = []
        self.links: list[str] = []
        self.loads: list[str] = []
        self.cards = 0
        self.text = ""
        self.blocks: dict[str, str] = {}
        self._block = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if given.get("id"):
            self.ids.append(str(given["id"]))
        if tag == "a" and given.get("href"):
            self.links.append(str(given["href"]))
        elif "src" in given or "href" in given or "xlink:href" in given:
            self.loads.append(tag)
        self.cards += tag == "article"
        self._block = str(given.get("id", "")) if tag == "script" else ""

    def handle_data(self, data: str) -> None:
        if self._block:
            self.blocks[self._block] = self.blocks.get(self._block, "") + data

    def handle_endtag(self, tag: str) -> None:
        self._block = ""


def check_page(text: str, result: Result) -> None:
    """Read a page back: whole, every answer in it, no id twice, no dead link, nothing to load.

    Raises GeometryError when it is not as it should be.
    """
    reader = _Reader()
    reader.feed(text)
    reader.close()
    faults = []
    if len(set(reader.ids)) != len(reader.ids):
        faults.append("an id stands there twice")
    if any(link[:1] != "#" or link[1:] not in reader.ids for link in reader.links):
        faults.append("a link leads nowhere")
    if reader.loads or re.search(r"url\(|@import", _asset(_STYLE)):
        faults.append("something would be loaded")
    if reader.cards != len(result.findings):
        faults.append(f"{reader.cards} answers instead of {len(result.findings)}")
    if len(_scene_of(reader)) != len(result.findings):
        faults.append("the 3-D view's data did not come back")
    if not text.endswith("</html>\n"):
        faults.append("its end is missing")
    if faults:
        raise GeometryError(f"page.html: {'; '.join(faults)}")


def _scene_of(reader: _Reader) -> list[Any]:
    try:
        found = json.loads(reader.blocks.get(DATA_ID, "{}")).get("findings", [])
    except ValueError:
        return []
    return list(found)
