"""page.html as a file: whole, closed to the outside, and safe from what its input says."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import itertools
import json
import os
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from noseroom.checks.bodies import bodies_of
from noseroom.envelope.reader import read
from noseroom.errors import GeometryError
from noseroom.findings import Finding, Rule, Support, Verdict
from noseroom.geometry.clearance import Relation, clearance
from noseroom.geometry.mesh import Body, body_from_mesh
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS, PARTS
from noseroom.report import page_file, page_library, page_words
from noseroom.report.drawing import svg
from noseroom.report.page_file import check_page, page
from noseroom.report.page_html import data_block, tag
from noseroom.report.page_removal import GAP_MM, REMOVALS, exploded
from noseroom.report.page_scene import scene
from noseroom.report.result import SCHEMA_VERSION, PlacedSummary, Result
from noseroom.report.views import draw
from noseroom.tables.clearances import clearance_rules
from test_demos import DEMOS, Run, shared_run

EVIL = (
    "<script>alert(1)</script> & \"quoted\" 'too' </script><!-- \u2028 <img src=x onerror=alert(2)>"
)
SMALL = """\
format: 1
title: two parts
units: mm
core support:
  opening: {width: 600, height: 400}
radiator:
  flow: down
  core: {width: 450, height: 300, thickness: 40}
  place:
    - core.front 60 aft of core support.face
"""


class Outline(HTMLParser):
    """A page's elements as any reader of HTML sees them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.blocks: list[str] = []
        self._inside = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self._inside = tag in ("script", "style")
        if self._inside:
            self.blocks.append("")

    def handle_data(self, data: str) -> None:
        if self._inside:
            self.blocks[-1] += data

    def handle_endtag(self, tag: str) -> None:
        self._inside = False


def demo_run(name: str, tmp_path_factory: pytest.TempPathFactory) -> Run:
    """The demo's run that all tests share."""
    base = tmp_path_factory.getbasetemp()
    base = (base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base) / "demo-noses"
    base.mkdir(exist_ok=True)
    return shared_run(name, base)


@pytest.fixture(scope="session")
def pickup(tmp_path_factory: pytest.TempPathFactory) -> Run:
    return demo_run("farm_pickup", tmp_path_factory)


@pytest.fixture(scope="session")
def made(pickup: Run) -> str:
    return (pickup.folder / "page.html").read_text(encoding="utf-8")


def small_nose(folder: Path) -> tuple[Layout, dict[tuple[str, str], Body]]:
    file = folder / "small.yaml"
    file.write_text(SMALL, encoding="utf-8")
    layout = arrange(read(file, KINDS, rule_keys=clearance_rules()))
    return layout, bodies_of(layout, lambda done, of, what: None)


def result_for(layout: Layout, *findings: Finding, title: str = "two parts") -> Result:
    return Result(
        schema=SCHEMA_VERSION,
        title=title,
        unit="in",
        verdict=Verdict.TOO_CLOSE,
        findings=findings,
        far_pairs=3,
        assumptions=(),
        left_out=(title,),
        notes=(title,),
        parts=tuple(
            PlacedSummary(one.name, one.kind, one.group, one.known, ((0.0,) * 4,) * 4, {})
            for one in layout.parts.values()
        ),
        degrees_of_freedom=1,
        input_sha256="0" * 64,
        made_with={"noseroom": title},
    )


def pair(verdict: Verdict, measured_mm: float | None, *, note: str = "a and b.") -> Finding:
    rule = Rule("body to body", 3.0, note)
    return Finding(
        id=f"fit: {note}",
        question="do they keep clear",
        parts=("core support", "radiator"),
        verdict=verdict,
        note=note,
        measured_mm=measured_mm,
        bound_mm=measured_mm,
        spread_mm=5.0,
        rule=rule,
        points=((0.0, 0.0, 0.0), (10.0, 0.0, 0.0)),
        remedies=(note,),
        rests_on=(Support(note, 7, 1.0, 1.0),),
    )


@pytest.fixture(scope="session")
def small(
    tmp_path_factory: pytest.TempPathFactory,
) -> tuple[Layout, dict[tuple[str, str], Body]]:
    return small_nose(tmp_path_factory.mktemp("small"))


def sheets(layout: Layout, result: Result) -> dict[str, str]:
    return {"side": svg(draw(layout, result.findings, "side"))}


# -- the file -------------------------------------------------------------------------------


def test_the_page_is_one_of_the_files_that_the_findings_name(pickup: Run, made: str) -> None:
    named = {one.name: one.sha256 for one in pickup.result.files}
    assert named["page.html"] == hashlib.sha256(made.encode()).hexdigest()


def test_the_page_stays_small_enough_to_be_sent(made: str) -> None:
    assert len(made.encode()) < 8_000_000


def test_the_page_knows_neither_paths_nor_times(pickup: Run, made: str) -> None:
    library = page_library.viewer_library()
    own = made.replace(library, "")
    assert str(pickup.folder.parent) not in own
    assert str(DEMOS.parent) not in own
    assert not re.search(r"\b20\d\d-\d\d-\d\d\b|\b\d\d:\d\d:\d\d\b", own)


def test_the_same_input_gives_the_same_page(
    small: tuple[Layout, dict[tuple[str, str], Body]], tmp_path: Path
) -> None:
    pages = []
    for layout, bodies in (small, small_nose(tmp_path)):
        result = result_for(layout, pair(Verdict.TOO_CLOSE, 4.0))
        pages.append(page(result, layout, bodies, sheets(layout, result)))
    assert pages[0] == pages[1]


def test_every_answer_stands_in_the_page_with_its_remedies(pickup: Run, made: str) -> None:
    articles = re.findall(r"<article.*?</article>", made, re.DOTALL)
    assert len(articles) == len(pickup.result.findings)
    for finding, card in zip(pickup.result.findings, articles, strict=True):
        assert page_words.WORD[finding.verdict] in card
        for remedy in finding.remedies:
            assert str(tag("li", remedy)) in card
        for one in finding.rests_on:
            assert f"line {one.line}" in card
    assert f"{pickup.result.far_pairs} further pairs" in made


def test_the_worst_answers_come_first(made: str) -> None:
    order = re.findall(r'data-verdict="(\w+)"', made)
    ranks = [["fouls", "unknown", "close", "fits"].index(kind) for kind in order]
    assert ranks == sorted(ranks)


# -- nothing from outside, nothing out of place ---------------------------------------------


def test_nothing_in_the_page_is_fetched(made: str) -> None:
    for name, attributes in Outline(made).elements:
        assert name not in ("link", "iframe", "object", "embed", "base"), name
        for key in ("src", "srcset", "href", "xlink:href", "action", "style", "onclick"):
            value = attributes.get(key)
            assert value is None or (key == "href" and value.startswith("#")), (name, key)
    css = (Path(page_file.__file__).parent / "page" / "page.css").read_text(encoding="utf-8")
    assert "url(" not in css
    assert "@import" not in css


def test_the_policy_allows_exactly_the_scripts_and_the_style_inside(made: str) -> None:
    """Hash sources of Content Security Policy Level 3: base64 of SHA-256 (from memory)."""
    outline = Outline(made)
    policy = next(
        str(attributes["content"])
        for name, attributes in outline.elements
        if attributes.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy
    allowed = set(re.findall(r"'sha256-([^']+)'", policy))
    kinds = [it for it in outline.elements if it[0] in ("script", "style")]
    texts = [
        text
        for (_, attributes), text in zip(kinds, outline.blocks, strict=True)
        if attributes.get("type") != "application/json"
    ]
    digests = {base64.b64encode(hashlib.sha256(t.encode()).digest()).decode() for t in texts}
    assert digests == allowed


def test_no_id_stands_twice_and_every_link_leads_somewhere(made: str) -> None:
    elements = Outline(made).elements
    ids = [str(it["id"]) for _, it in elements if it.get("id")]
    assert len(ids) == len(set(ids))
    links = {str(it["href"])[1:] for name, it in elements if name == "a"}
    assert links <= set(ids)
    for _, attributes in elements:
        for key in ("aria-labelledby", "aria-describedby", "for"):
            assert set(str(attributes.get(key) or "").split()) <= set(ids)


def test_hostile_words_stay_words(
    small: tuple[Layout, dict[tuple[str, str], Body]],
) -> None:
    layout, bodies = small
    result = result_for(layout, pair(Verdict.TOO_CLOSE, 4.0, note=EVIL), title=EVIL)
    text = page(result, layout, bodies, sheets(layout, result))
    check_page(text, result)
    calm = page(
        result_for(layout, pair(Verdict.TOO_CLOSE, 4.0)),
        layout,
        bodies,
        sheets(layout, result_for(layout, pair(Verdict.TOO_CLOSE, 4.0))),
    )
    names = [name for name, _ in Outline(text).elements]
    assert sorted(set(names)) == sorted({name for name, _ in Outline(calm).elements})
    assert names.count("script") == [n for n, _ in Outline(calm).elements].count("script")
    assert "<img" not in text
    assert "&lt;script&gt;alert(1)" in text


def test_data_for_the_script_comes_back_whole_and_cannot_close_its_element() -> None:
    block = data_block("x", {"text": EVIL})
    inside = block[block.index(">") + 1 : block.rindex("</script>")]
    assert "<" not in inside
    assert json.loads(inside) == {"text": EVIL}


@pytest.mark.parametrize(
    ("harm", "said"),
    [
        (lambda text: text[: len(text) // 2], "end is missing"),
        (lambda text: text.replace("<article", "<div", 1), "answers instead of"),
        (lambda text: text.replace('href="#answers"', 'href="#nowhere"'), "leads nowhere"),
        (lambda text: text.replace("<h1>", '<h1 id="answers">'), "twice"),
        (lambda text: text.replace("<h1>", '<img src="a.png"><h1>'), "loaded"),
        (lambda text: text.replace('{"unit"', '{"unit', 1), "did not come back"),
    ],
)
def test_a_damaged_page_is_not_let_through(pickup: Run, made: str, harm: Any, said: str) -> None:
    check_page(made, pickup.result)
    with pytest.raises(GeometryError, match=said):
        check_page(harm(made), pickup.result)


def test_without_its_3d_library_the_page_says_so_and_has_all_the_rest(
    small: tuple[Layout, dict[tuple[str, str], Body]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(page_file, "viewer_library", lambda: "")
    layout, bodies = small
    result = result_for(layout, pair(Verdict.FOULS, -4.0))
    text = page(result, layout, bodies, sheets(layout, result))
    check_page(text, result)
    assert "The 3-D view is not in this page" in text
    assert "@license" not in text


def test_the_3d_library_is_there_with_its_licence_beside_it(made: str) -> None:
    library = page_library.viewer_library()
    assert all(name in library for name in page_library.NEEDED)
    assert "Three.js Authors" in library[:200]
    assert "SPDX-License-Identifier: MIT" in library[:200]
    assert library in made
    assert "Permission is hereby granted" in made


# -- words ----------------------------------------------------------------------------------


def test_what_overlaps_though_the_readings_do_not_decide_may_overlap(
    small: tuple[Layout, dict[tuple[str, str], Body]],
) -> None:
    layout, bodies = small
    result = result_for(layout, pair(Verdict.TOO_CLOSE, -2.0))
    text = page(result, layout, bodies, sheets(layout, result))
    assert "may overlap" in text
    assert page_words.tag_figure(result.findings[0], "in") == "may overlap"
    assert "may overlap" not in page_words.apart(pair(Verdict.FOULS, -2.0), "in")


def test_a_moving_engine_is_named_in_the_heading_and_at_the_spot(
    small: tuple[Layout, dict[tuple[str, str], Body]],
) -> None:
    layout, bodies = small
    at_rest = pair(Verdict.TOO_CLOSE, 2.0)
    moved = dataclasses.replace(at_rest, id="moving: core support / radiator", state="moving")
    result = result_for(layout, at_rest, moved)
    text = page(result, layout, bodies, sheets(layout, result))
    headings = re.findall(r'class="names">(.*?)<', text)
    assert headings == ["core support and radiator", "core support and radiator, engine moving"]
    spots = scene(result, layout, bodies)["findings"]
    assert [one["names"] for one in spots] == headings
    assert ["engine moved" in one["figure"] for one in spots] == [False, True]


def test_the_picture_comes_after_what_to_do_and_before_the_answers(made: str) -> None:
    """On a phone the page is one column, in the order of its elements."""
    order = [made.index(f'id="{one}"') for one in ("short", "view", "answers", "drawings")]
    assert order == sorted(order)
    assert made.index("What to do first") < made.index('id="view"')


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize("sure_mm", [3.0, 3.4, 4.0, 10.3, 25.3])
def test_what_is_sure_is_never_said_to_be_more(unit: str, sure_mm: float) -> None:
    finding = dataclasses.replace(pair(Verdict.FITS, sure_mm + 5.0), bound_mm=sure_mm + 5.0)
    for said in (page_words.sure(finding, unit), page_words.both(sure_mm, unit)):
        for figure in re.findall(r"([\d.]+) mm", said):
            assert float(figure) <= sure_mm + 1e-9


def test_cautions_stand_beside_the_answers_that_they_concern(pickup: Run, made: str) -> None:
    kinds = {part.name: part.kind for part in pickup.result.parts}
    articles = re.findall(r"<article.*?</article>", made, re.DOTALL)
    for finding, card in zip(pickup.result.findings, articles, strict=True):
        fans = {"fan", "electric fan"} & {kinds[name] for name in finding.parts}
        assert ("A fan can start by itself" in card) == bool(fans and finding.remedies)


# -- meshes ---------------------------------------------------------------------------------


def unpacked(body: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    """A mesh of the page's data, decoded without the code that wrote it."""
    ticks = np.frombuffer(base64.b64decode(body["corners"]), "<u2").reshape(-1, 3)
    kind = "<u4" if body["wide"] else "<u2"
    numbers = np.frombuffer(base64.b64decode(body["triangles"]), kind).reshape(-1, 3)
    return np.array(body["low"]) + ticks * np.array(body["step"]), numbers


def test_meshes_stand_in_the_car_as_the_bodies_do(
    small: tuple[Layout, dict[tuple[str, str], Body]],
) -> None:
    layout, bodies = small
    data = scene(result_for(layout), layout, bodies)
    assert [part["name"] for part in data["parts"]] == list(layout.parts)
    for part in data["parts"]:
        placed = layout.parts[part["name"]]
        for name, body in zip(placed.components, part["bodies"], strict=True):
            true = bodies[placed.name, name].mesh
            points, numbers = unpacked(body)
            want = true.vertices @ placed.pose[:3, :3].T + placed.pose[:3, 3]
            assert np.abs(points - want).max() < 0.02
            assert np.array_equal(numbers, true.triangles)


def test_an_open_mesh_without_a_solid_is_shown_too(
    small: tuple[Layout, dict[tuple[str, str], Body]],
) -> None:
    """A scan: a flat grid of more than 65,536 corners, open at its edges."""
    layout, bodies = small
    side = 260
    x, y = np.meshgrid(np.arange(side) * 2.0, np.arange(side) * 2.0)
    points = np.column_stack([x.ravel(), y.ravel(), 3.0 * np.sin(x.ravel() / 20)])
    at = (np.arange(side - 1)[:, None] * side + np.arange(side - 1)).ravel()
    faces = np.concatenate(
        [
            np.column_stack([at, at + 1, at + side]),
            np.column_stack([at + 1, at + side + 1, at + side]),
        ]
    )
    key = next(iter(bodies))
    scan = body_from_mesh("scan", points, faces, deflection_mm=0.1)
    assert not scan.watertight
    result = result_for(layout)
    data = scene(result, layout, {**bodies, key: scan})
    found = next(part for part in data["parts"] if part["name"] == key[0])["bodies"][0]
    assert found["wide"]
    assert not found["closed"]
    corners, numbers = unpacked(found)
    assert np.array_equal(numbers, faces)
    pose = layout.parts[key[0]].pose
    assert np.abs(corners - (points @ pose[:3, :3].T + pose[:3, 3])).max() < 0.02


# -- taken apart ----------------------------------------------------------------------------


def test_every_kind_of_part_has_a_way_out() -> None:
    assert set(REMOVALS) >= set(PARTS)
    turns = [one.turn for one in REMOVALS.values() if one.turn]
    assert sorted(turns) == list(range(1, len(turns) + 1))
    assert all((one.way == "stays") == (one.turn == 0) for one in REMOVALS.values())


@pytest.fixture(scope="session", params=["farm_pickup", "small_estate"])
def whole(request: pytest.FixtureRequest) -> tuple[Layout, dict[tuple[str, str], Body]]:
    file = DEMOS / f"{request.param}.yaml"
    layout = arrange(read(file, KINDS, rule_keys=clearance_rules()))
    return layout, bodies_of(layout, lambda done, of, what: None)


def test_parts_that_are_taken_apart_do_not_touch(
    whole: tuple[Layout, dict[tuple[str, str], Body]],
) -> None:
    """Measured on the solids' meshes, not on the boxes that the offsets are made from."""
    layout, bodies = whole
    away = exploded(layout)
    moved = {}
    for (name, component), body in bodies.items():
        pose = layout.parts[name].pose.copy()
        pose[:3, 3] += away[name]
        points = body.mesh.vertices @ pose[:3, :3].T + pose[:3, 3]
        moved[name, component] = body, pose, points.min(axis=0), points.max(axis=0)
    for (one, a), (two, b) in itertools.combinations(moved.items(), 2):
        if one[0] == two[0] or not (away[one[0]].any() or away[two[0]].any()):
            continue
        if (a[2] > b[3]).any() or (b[2] > a[3]).any():
            continue
        gap = clearance(a[0], b[0], a[1], b[1], cap_mm=GAP_MM)
        assert gap.relation is Relation.APART, (one, two)


def test_what_comes_out_first_stands_furthest(
    whole: tuple[Layout, dict[tuple[str, str], Body]],
) -> None:
    layout, _ = whole
    away = exploded(layout)
    ahead = [
        (REMOVALS[part.kind].turn, -away[name][0])
        for name, part in layout.parts.items()
        if away[name][0] < -1
    ]
    assert len(ahead) > 5
    for (turn, distance), (later, less) in itertools.permutations(ahead, 2):
        assert not turn < later or distance > less
    stay = [name for name, part in layout.parts.items() if part.kind in ("engine", "core support")]
    assert not any(away[name].any() for name in stay)
