"""Side and front view of every demo nose: to scale, dimensioned true, no text over text."""

from __future__ import annotations

import dataclasses
import itertools
import re
import xml.etree.ElementTree as ET
from functools import cache
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pytest

from demo_noses import DEMOS, nose
from noseroom.checks.pairs import Pairs, component_pairs
from noseroom.envelope.reader import read_text
from noseroom.findings import Finding, Rule, Verdict
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from noseroom.report.drawing import Drawing, svg, text_boxes
from noseroom.report.drawing_text import Box
from noseroom.report.result import GUARANTEE
from noseroom.report.views import draw
from noseroom.tables.clearances import clearance_rules
from noseroom.units import read_length

VIEWS: tuple[Literal["side", "front"], ...] = ("side", "front")
EVERY = [pytest.param(demo, view, id=f"{demo.stem} {view}") for demo in DEMOS for view in VIEWS]


@cache
def tight_spots(demo: Path) -> tuple[Finding, ...]:
    """The tightest pairs of a demo as findings, from their pieces: no CAD kernel is needed."""
    layout, found = nose(demo), []
    pairs = Pairs(layout)
    placed = [part for part in layout.parts.values() if part.known and part.components]
    for a, b in itertools.combinations(placed, 2):
        for mine, theirs in component_pairs(layout, a, b):
            if pairs.box_gap_mm(a, mine, b, theirs) > 25.0:
                continue
            gap = pairs.sure_gap(a, mine, b, theirs, enough_mm=0.0, look_mm=30.0)
            if gap.worst is not None:
                verdict = Verdict.FOULS if gap.nominal_mm < 3 else Verdict.TOO_CLOSE
                found.append(
                    Finding(
                        id=f"fit: {a.name} / {b.name}",
                        question="do they keep clear",
                        parts=(a.name, b.name),
                        verdict=verdict,
                        note=f"{a.name} ({mine}) and {b.name} ({theirs}): too little room.",
                        measured_mm=gap.nominal_mm,
                        rule=Rule("body to body", 3.0, "common practice"),
                        pull_apart=((1.0, 0.0, 0.0), 1.0) if gap.nominal_mm < 0 else None,
                        points=tuple(tuple(float(x) for x in p) for p in gap.worst.points),  # type: ignore[misc]
                        details={"components": f"{mine} / {theirs}"},
                    )
                )
    found.sort(key=lambda one: (one.verdict.rank, one.measured_mm or 0.0))
    return tuple(found[:15])


@cache
def drawn(demo: Path, view: Literal["side", "front"]) -> tuple[Drawing, str]:
    drawing = draw(nose(demo), tight_spots(demo), view)
    return drawing, svg(drawing)


@pytest.mark.parametrize(("demo", "view"), EVERY)
def test_no_text_lies_over_another(demo: Path, view: Any) -> None:
    boxes = [(text, Box(*corners)) for text, *corners in text_boxes(drawn(demo, view)[1])]
    assert len(boxes) > 20
    over = [(a[0], b[0]) for a, b in itertools.combinations(boxes, 2) if a[1].overlaps(b[1])]
    assert not over


@pytest.mark.parametrize(("demo", "view"), EVERY)
def test_every_dimension_says_how_far_its_ends_are_apart(demo: Path, view: Any) -> None:
    drawing, _ = drawn(demo, view)
    assert len(drawing.dimensions) >= 4
    # A text is right to half of its finest mark: 1/32 in or 0.05 mm.
    finest = 25.4 / 32 if drawing.unit == "in" else 0.05
    for one in drawing.dimensions:
        figure = re.search(r"(?:\d+ )?[\d./]+ (?:in|mm)$", one.text)
        assert figure is not None, one.text
        axis = 0 if one.direction == "horizontal" else 1
        away = abs(one.end[axis] - one.start[axis])
        assert read_length(figure[0], drawing.unit).value == pytest.approx(away, abs=finest + 1e-6)


@pytest.mark.parametrize(("demo", "view"), EVERY)
def test_the_sheet_is_to_its_scale(demo: Path, view: Any) -> None:
    drawing, sheet = drawn(demo, view)
    root = ET.fromstring(sheet)
    scale = float(root.attrib["data-scale"])
    assert any(text == f"Scale 1:{scale:g}" for text, *_ in text_boxes(sheet))
    assert scale <= 8
    paths = {
        (group.attrib["class"], title.text): group[1].attrib["d"]
        for group in root.iter("{http://www.w3.org/2000/svg}g")
        if group.attrib.get("class", "").startswith("outline")
        and (title := group.find("{http://www.w3.org/2000/svg}title")) is not None
    }
    for outline in drawing.outlines:
        data = paths[f"outline {outline.kind}", outline.label]
        sheet_points = np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+)", data), dtype=float)
        size = np.ptp(sheet_points, axis=0) * scale
        u0, v0, u1, v1 = outline.polygon.bounds
        assert size == pytest.approx((u1 - u0, v1 - v0), abs=0.002 * scale)


@pytest.mark.parametrize(("demo", "view"), EVERY)
def test_sides_are_named_as_seated(demo: Path, view: Any) -> None:
    texts = [text for text, *_ in text_boxes(drawn(demo, view)[1])]
    if view == "front":
        assert texts.index("CAR'S RIGHT") < texts.index("CAR'S LEFT")  # left on the sheet first
    else:
        assert {"FRONT", "REAR", "Side view, from the car's left"} <= set(texts)


@pytest.mark.parametrize("demo", [pytest.param(demo, id=demo.stem) for demo in DEMOS])
def test_the_core_supports_opening_is_seen_through(demo: Path) -> None:
    from shapely import box

    layout, (drawing, _) = nose(demo), drawn(demo, "front")
    support = next(part for part in layout.parts.values() if part.kind == "core support")
    outline = next(one for one in drawing.outlines if one.label == support.name)
    sides = {
        side: support.touch_point(f"opening.{side}")[0]
        for side in ("left", "right", "bottom", "top")
    }
    # In the front view the car's left is on the right: u is -Y.
    hole = box(
        -float(sides["right"][1]),
        float(sides["bottom"][2]),
        -float(sides["left"][1]),
        float(sides["top"][2]),
    )
    assert hole.area > 1e4
    brace = 0.15 * hole.area  # a latch brace may cross it
    assert outline.polygon.intersection(hole.buffer(-1.0)).area < brace
    if outline.polygon.intersection(hole.buffer(-1.0)).area == 0:
        assert outline.polygon.interiors


def fan_gap_of(layout: Layout) -> Finding:
    from noseroom.checks.fan_gap import check_fan_gaps
    from noseroom.checks.rules import Rules

    return check_fan_gaps(Pairs(layout), Rules(layout.envelope), lambda done, of, what: None)[0]


def test_drawn_gaps_agree_with_the_fans_finding() -> None:
    """Both run from one blade edge to one core: only the way differs, level or along the axis."""
    layout = nose(next(demo for demo in DEMOS if demo.stem == "half_measured_coupe"))
    gaps = fan_gap_of(layout).details
    fan = next(part for part in layout.parts.values() if part.kind == "fan")
    core = next(part for part in layout.parts.values() if part.kind == "radiator")
    ahead, normal = fan.pose[:3, 0], core.touch_point("core.rear")[1]
    for hour, where in ((12, "top"), (6, "bottom")):
        one = next(
            d for d in draw(layout, (), "side").dimensions if f"fan to core, {where}" in d.text
        )
        level = abs(one.end[0] - one.start[0])
        along = gaps[f"gap_{hour}_mm"]
        assert isinstance(along, float)
        assert level * float(normal[0]) == pytest.approx(along * float(ahead @ normal), abs=0.01)


NOSE = """
format: 1
title: test nose
units: mm
core support:
  opening: {width: 700, height: 480}
radiator:
  core: {width: 560, height: 420, thickness: 50}
  place:
    - core.front 25 aft of core support.face
    - core.bottom 25 above core support.opening.bottom
bumper bar:
  width: 1700
  height: 150
  depth: 80
  place:
    - rear 700 ahead of core support.face
    - top 20 below core support.opening.bottom
"""


@cache
def small() -> Layout:
    return arrange(read_text(NOSE, KINDS, rule_keys=clearance_rules()))


def test_what_stands_far_off_is_left_out_by_name_and_does_not_set_the_scale() -> None:
    side, front = draw(small(), (), "side"), draw(small(), (), "front")
    assert "Beyond this drawing: bumper bar." in side.notes
    assert "bumper bar" not in [one.label for one in side.outlines]
    assert "Cut off at its edge: bumper bar." in front.notes
    u0, _, u1, _ = front.extents_mm()
    assert u1 - u0 < 1000


def test_a_far_part_with_an_open_answer_is_drawn_whole() -> None:
    ends = ((-700.0, 0.0, 0.0), (0.0, 0.0, 0.0))
    open_on = Finding(
        id="fit: radiator / bumper bar",
        question="do they keep clear",
        parts=("radiator", "bumper bar"),
        verdict=Verdict.TOO_CLOSE,
        note="radiator and bumper bar: too close to call.",
        points=ends,
    )
    drawing = draw(small(), (open_on,), "front")
    bar = next(one for one in drawing.outlines if one.label == "bumper bar")
    u0, _, u1, _ = bar.polygon.bounds
    assert u1 - u0 == pytest.approx(1700, abs=1)
    assert [spot.number for spot in drawing.spots] == [1]


def test_what_has_no_known_place_is_named_and_neither_drawn_nor_marked() -> None:
    layout = small()
    bar = layout.parts["bumper bar"]
    adrift = dataclasses.replace(bar.placements[0], shift_null=np.ones((3, 1)))
    parts = {**layout.parts, bar.name: dataclasses.replace(bar, placements=(adrift,))}
    unknown = Finding(
        id="fit: radiator / bumper bar",
        question="do they keep clear",
        parts=("radiator", "bumper bar"),
        verdict=Verdict.NOT_KNOWN,
        note="not known",
        points=((0.0, 0.0, 0.0), (9.0, 9.0, 9.0)),
    )
    drawing = draw(dataclasses.replace(layout, parts=parts), (unknown,), "side")
    assert "Not drawn, place not known: bumper bar." in drawing.notes
    assert "bumper bar" not in [one.label for one in drawing.outlines]
    assert not drawing.spots


def test_a_spot_of_a_moved_engine_says_that_the_parts_are_drawn_at_rest() -> None:
    at_rest = Finding(
        id="fit: radiator / bumper bar",
        question="do they keep clear",
        parts=("radiator", "bumper bar"),
        verdict=Verdict.TOO_CLOSE,
        note="a note.",
        points=((-700.0, 0.0, 0.0), (0.0, 0.0, 0.0)),
    )
    moved = dataclasses.replace(at_rest, id="moving: radiator / bumper bar", state="moving")
    drawing = draw(small(), (at_rest, moved), "side")
    assert [spot.text for spot in drawing.spots] == ["a note.", "engine moved: a note."]
    assert any(note.startswith("Parts are drawn at rest") for note in drawing.notes)
    assert not any(
        note.startswith("Parts are drawn") for note in draw(small(), (at_rest,), "side").notes
    )


@pytest.mark.parametrize(("demo", "view"), EVERY)
def test_every_sheet_says_the_whole_of_what_is_guaranteed(demo: Path, view: Any) -> None:
    said = re.findall(r'data-text="([^"]*)"|>([^<]+)<', drawn(demo, view)[1])
    text = " ".join(" ".join(one) for one in said).replace("&#x27;", "'").replace("&#39;", "'")
    assert GUARANTEE in " ".join(text.split())


def test_the_same_nose_gives_the_same_bytes() -> None:
    assert svg(draw(small(), (), "front")) == svg(draw(small(), (), "front"))
