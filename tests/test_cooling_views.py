"""The pictures of air and heat: readable, with every way in them, and true to the record."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import shapely

from cooling_noses import FAN, KNOWN, PULLER, nose
from noseroom.checks.cooling import cooling_of_nose
from noseroom.checks.cooling_records import Cooling, OptionView, Span, StateView
from noseroom.report.cooling_text import band, directed, ways
from noseroom.report.drawing_svg import SVG_NAMESPACE, text_boxes_of
from noseroom.report.drawing_text import Box
from noseroom.workshop.nose_files import air_sheets

NS = f"{{{SVG_NAMESPACE}}}"
PX_PER_MM = 96 / 25.4
TITLE = "an invented nose"
NOWHERE = Span(math.nan, math.nan, math.nan)
AWAY = Span(27.0, math.inf, math.inf)
MORE = """
  states:
    hill: {outside: 35 C, speed: 40 km/h, engine: 2600 rpm}
"""


@cache
def answer(which: str) -> Cooling:
    texts = {
        "fan": (FAN, KNOWN),
        "puller": (PULLER, KNOWN),
        "hill": (FAN, KNOWN + MORE.lstrip("\n")),
    }
    found = cooling_of_nose(nose(*texts[which.removesuffix(" odd")]), draws=8)
    assert found is not None
    return odd(found) if which.endswith(" odd") else found


def odd(found: Cooling) -> Cooling:
    """The same with figures that are none, and with names as long as somebody may write them."""

    def state(one: StateView, k: int) -> StateView:
        head = None if one.head_bar is None else (AWAY, NOWHERE)[k % 2]
        coolant = (NOWHERE, AWAY)[k % 2]
        fans = tuple(replace(fan, flow=NOWHERE, system=(), beyond=math.nan) for fan in one.fans)
        zones = tuple(replace(zone, speed=NOWHERE, inlet_c=NOWHERE) for zone in one.zones)
        return replace(
            one,
            head_bar=head,
            coolant_c=coolant,
            air=(AWAY, NOWHERE)[k % 2],
            boils=math.nan,
            cut_out=math.nan,
            cycle=one.cycle if k % 2 else None,
            fans=fans,
            zones=zones,
        )

    def way(one: OptionView, k: int) -> OptionView:
        states = tuple(state(each, k + m) for m, each in enumerate(one.states))
        name = f"{one.name} with everything that somebody wrote of it <in one line> & more {k}"
        return replace(one, states=states, name=name, amps=NOWHERE, sound=math.nan)

    assert found.with_ac is not None
    return replace(
        found,
        options=tuple(way(one, k) for k, one in enumerate(found.options)),
        with_ac=replace(
            found.with_ac, states=tuple(state(s, k) for k, s in enumerate(found.with_ac.states))
        ),
    )


@cache
def sheets(which: str) -> dict[str, str]:
    return air_sheets(answer(which), TITLE)


CASES = ("fan", "puller", "hill", "fan odd")
DRAWN = [
    (which, kind) for which in CASES for kind in ("ranking", "front", "options", "curve", "loop")
]


def of_kind(which: str, kind: str) -> list[str]:
    found = [text for name, text in sheets(which).items() if name.startswith(f"air-{kind}")]
    assert found
    return found


def boxes_of(text: str) -> list[tuple[str, Box]]:
    return [(said, Box(*box)) for said, *box in text_boxes_of(text)]


def lines_of(root: ET.Element) -> Iterator[shapely.LineString]:
    """Every stroke of a sheet that is made of straight lines, its frame and its leaders too."""
    for one in root.iter(f"{NS}path"):
        data = one.get("d", "")
        if one.get("stroke", "none") in ("none", "#ffffff") or "A" in data:
            continue
        for part in data.replace("Z", "").split("M")[1:]:
            points = [tuple(map(float, at.split())) for at in part.split("L")]
            yield shapely.LineString(points if "Z" not in data else [*points, points[0]])


@pytest.mark.parametrize(("which", "kind"), DRAWN)
def test_no_text_meets_another_or_a_line_or_leaves_the_sheet(which: str, kind: str) -> None:
    for text in of_kind(which, kind):
        root = ET.fromstring(text)
        _, _, wide, high = (float(one) for one in root.get("viewBox", "").split())
        boxes = boxes_of(text)
        assert len(boxes) > 8
        lines = list(lines_of(root))
        assert len(lines) > 10
        tree = shapely.STRtree(lines)
        for k, (said, box) in enumerate(boxes):
            assert box.inside(Box(3.0, 3.0, wide - 3.0, high - 3.0)), said
            for other, there in boxes[:k]:
                assert not box.overlaps(there), (said, other)
            # Capitals and descenders only: the room for accents is mostly empty.
            slim = shapely.box(box.x0, box.y0 + 0.25 * (box.y1 - box.y0), box.x1, box.y1)
            assert not len(tree.query(slim, predicate="intersects")), said


@pytest.mark.parametrize(("which", "kind"), DRAWN)
def test_no_text_is_smaller_than_twelve_pixels(which: str, kind: str) -> None:
    for text in of_kind(which, kind):
        sizes = [float(one.get("font-size", "0")) for one in ET.fromstring(text).iter(f"{NS}text")]
        assert min(sizes) * PX_PER_MM >= 12.0


def words_of(text: str) -> str:
    """All that is written on a sheet, line after line."""
    return " ".join(one.text or "" for one in ET.fromstring(text).iter(f"{NS}text"))


@pytest.mark.parametrize("which", CASES)
@pytest.mark.parametrize("kind", ["ranking", "options", "curve", "loop"])
def test_every_way_is_in_every_picture(which: str, kind: str) -> None:
    text = " ".join(map(words_of, of_kind(which, kind)))
    for way in ways(answer(which)):
        if kind == "loop" and way.view.states[0].head_bar is None:
            continue
        assert way.label in text


@pytest.mark.parametrize("which", CASES)
def test_the_same_record_gives_the_same_pictures(which: str) -> None:
    assert air_sheets(answer(which), TITLE) == sheets(which)


@pytest.mark.parametrize("which", CASES)
def test_each_picture_has_its_cautions_once(which: str) -> None:
    for text in sheets(which).values():
        said = words_of(text)
        assert said.count("Hot coolant scalds") == 1
        assert said.count("certified people") == 1


def test_a_nose_without_ac_has_no_loop() -> None:
    found = answer("fan")
    bare = replace(found, with_ac=None, options=())
    assert not any("loop" in name for name in air_sheets(bare, TITLE))


# -- the ranking ----------------------------------------------------------------------------


def groups(text: str, name: str) -> list[ET.Element]:
    return [one for one in ET.fromstring(text).iter(f"{NS}g") if one.get("class") == name]


def test_band_ends_on_the_ranking_are_those_of_the_record() -> None:
    found = answer("fan")
    written = [
        one.findtext(f"{NS}text", "") for one in groups(of_kind("fan", "ranking")[0], "band")
    ]
    wanted: list[tuple[Span | None, float]] = [
        pair
        for way in ways(found)
        for state in way.view.states
        for pair in ((state.coolant_c, 1.0), (state.head_bar, 1.0), (state.air, 100.0))
    ]
    assert len(written) == len(wanted)
    for text, (span, scale) in zip(written, wanted, strict=True):
        if span is None:
            assert text == "A/C off"
            continue
        ends = [float(one) for one in re.findall(r"-?\d+", text)]
        finite = [end for end in (span.low, span.high) if math.isfinite(end)]
        assert ends[0] == pytest.approx(scale * finite[0], abs=0.5)
        assert ends[-1] == pytest.approx(scale * finite[-1], abs=0.5)
        assert ("and up" in text) == (math.isinf(span.high) and math.isfinite(span.low))


def test_bars_are_as_long_as_their_bands() -> None:
    """All ends of one column lie on one straight scale."""
    found, text = answer("fan"), of_kind("fan", "ranking")[0]
    drawn = [
        group for group in groups(text, "band") if "Radiator" in group.findtext(f"{NS}title", "")
    ]
    spans = [state.air for way in ways(found) for state in way.view.states]
    values, places = [], []
    for group, span in zip(drawn, spans, strict=True):
        bar = group.findall(f"{NS}path")[0].get("d", "")
        xs = [float(at.split()[0]) for at in bar.strip("MZ ").split(" L")]
        if max(xs) - min(xs) > 0.51:
            values += [span.low, span.high]
            places += [min(xs), max(xs)]
    assert len(values) > 8
    slope, start = np.polyfit(values, places, 1)
    assert slope > 0
    assert np.abs(np.polyval((slope, start), values) - places).max() < 0.01


def test_ways_stand_in_the_order_of_their_rank() -> None:
    found = answer("fan")
    labels = [one.label for one in ways(found)]
    assert labels[:2] == ["today", "with A/C"]
    assert [one.split()[0] for one in labels[2:]] == [str(k + 1) for k in range(len(found.options))]
    drawn = groups(of_kind("fan", "ranking")[0], "way")
    assert [one.findtext(f"{NS}title") for one in drawn] == labels
    heights = [numbers_of(one.findall(f"{NS}path")[0].get("d", ""))[0][1] for one in drawn]
    assert heights == sorted(set(heights))


# -- the loop -------------------------------------------------------------------------------


def numbers_of(data: str) -> list[tuple[float, float]]:
    return [
        (float(x), float(y))
        for x, y in (at.split() for at in re.sub(r"[MZ]", "", data).strip().split(" L"))
    ]


def scale_of(boxes: list[tuple[str, Box]], *, across: bool, within: Box) -> tuple[float, ...]:
    """Slope and start of a scale by its written ticks: value to place."""
    ticks = [
        (float(said), (box.x0 + box.x1) / 2 if across else (box.y0 + box.y1) / 2)
        for said, box in boxes
        if re.fullmatch(r"\d+(\.\d+)?", said) and box.inside(within)
    ]
    assert len(ticks) > 2
    values = [value for value, _ in ticks]
    if not across:
        values = [math.log(one * 1e5 + 101_325.0) for one in values]
    return tuple(np.polyfit(values, [place for _, place in ticks], 1))


def test_the_dome_is_that_of_the_equation_of_state() -> None:
    """Saturated R-134a by CoolProp, which the tables of this program are made from once."""
    from CoolProp.CoolProp import PropsSI

    text = of_kind("fan", "loop")[0]
    boxes = boxes_of(text)
    foot = next(box for said, box in boxes if said == "kJ/kg")
    across = scale_of(boxes, across=True, within=Box(3.0, foot.y0 - 0.1, foot.x0, foot.y1 + 0.1))
    up = scale_of(boxes, across=False, within=Box(3.0, 20.0, 21.0, foot.y0))
    (dome,) = groups(text, "dome")
    sides = [numbers_of(path.get("d", "")) for path in dome.findall(f"{NS}path")]
    assert len(sides) == 2
    for quality, side in enumerate(sides):
        for x, y in side[5:-5:7]:
            pressure = math.exp((y - up[1]) / up[0])
            enthalpy = PropsSI("H", "P", pressure, "Q", quality, "R134a") / 1e3
            assert x == pytest.approx(np.polyval(across, enthalpy), abs=0.5)


def test_the_loop_condenses_at_one_pressure_and_expands_at_one_enthalpy() -> None:
    for group in groups(of_kind("fan", "loop")[0], "loop"):
        gas, hot, liquid, coil = numbers_of(group.findall(f"{NS}path")[0].get("d", ""))
        assert hot[1] == liquid[1] < gas[1] == coil[1]
        assert liquid[0] == coil[0] < gas[0] < hot[0]


# -- the face -------------------------------------------------------------------------------


def shape_of(data: str) -> shapely.Geometry:
    rings = [numbers_of(f"M{one}") for one in data.split("M") if one.strip()]
    whole: shapely.Geometry = shapely.Polygon()
    for ring in rings:
        whole = shapely.symmetric_difference(whole, shapely.Polygon(ring))
    return whole


@pytest.mark.parametrize("which", ["fan", "puller", "hill"])
def test_zones_are_drawn_as_large_as_they_are(which: str) -> None:
    found = answer(which)
    zones = [zone for state in found.base.states for zone in state.zones]
    drawn = groups(of_kind(which, "front")[0], "zone")
    shares = [
        shape_of(group.findall(f"{NS}path")[0].get("d", "")).area / (zone.area_m2 * 1e6)
        for group, zone in zip(drawn, zones, strict=True)
    ]
    assert max(shares) / min(shares) < 1.02


def test_zones_together_are_the_face() -> None:
    """24 in by 16 in of core; without a condenser nothing masks any of it."""
    zones = answer("fan").today.states[0].zones
    shape = shapely.union_all([shapely.Polygon(r[0], r[1:]) for zone in zones for r in zone.pieces])
    assert shape.area == pytest.approx(24 * 25.4 * 16 * 25.4, rel=2e-3)
    assert sum(one.area_m2 for one in zones) == pytest.approx(shape.area * 1e-6, rel=2e-3)


def test_the_fans_disc_stands_where_the_file_has_it() -> None:
    """15 in of fan with its axis on the centreline, 8 in above the bottom of a 16 in core."""
    (fan,) = answer("fan").today.states[0].fans
    ((y, z, diameter),) = fan.discs
    assert diameter == pytest.approx(15 * 25.4, abs=1.0)
    assert max(abs(y), abs(z)) < 3.0


def test_air_that_runs_back_is_hatched_and_said_so() -> None:
    found = answer("fan")
    for state, text in ((found.base.states[0], of_kind("fan", "front")[0]),):
        for group, zone in zip(groups(text, "zone"), state.zones, strict=False):
            assert (len(group.findall(f"{NS}path")) > 1) == (zone.speed.middle < 0)
            assert ("back" in group.findtext(f"{NS}title", "")) == (zone.speed.low < 0)


# -- the fan --------------------------------------------------------------------------------


def test_a_point_stands_on_both_its_bands() -> None:
    for text in of_kind("fan", "curve"):
        for group in groups(text, "point"):
            across, up = (numbers_of(one.get("d", "")) for one in group.findall(f"{NS}path"))
            dot = group.find(f"{NS}circle")
            assert dot is not None
            x, y = float(dot.get("cx", "0")), float(dot.get("cy", "0"))
            assert across[0][0] - 0.01 <= x <= across[1][0] + 0.01
            assert up[1][1] - 0.01 <= y <= up[0][1] + 0.01
            assert across[0][1] == pytest.approx(y)
            assert up[0][0] == pytest.approx(x)


def test_what_works_outside_its_curve_is_told() -> None:
    found = answer("fan")
    fans = [f for way in ways(found) for s in way.view.states for f in s.fans if f.beyond > 0.05]
    assert fans
    text = " ".join(map(words_of, of_kind("fan", "curve")))
    assert text.count("off it in") == len(fans)


# -- words ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("span", "said"),
    [
        (Span(95.4, 101.0, 112.2), "95 to 112 °C"),
        (Span(28.0, 40.0, math.inf), "28 °C and up"),
        (Span(math.inf, math.inf, math.inf), "boils over"),
        (NOWHERE, "not known"),
        (Span(-0.2, 0.0, 0.3), "0 °C"),
    ],
)
def test_a_band_is_written_with_both_ends(span: Span, said: str) -> None:
    assert band(span, "°C", beyond="boils over") == said


@pytest.mark.parametrize(
    ("span", "said"),
    [
        (Span(0.3, 0.5, 1.1), "0.3 to 1.1 m/s"),
        (Span(-1.8, -0.7, -0.3), "0.3 to 1.8 m/s back"),
        (Span(-0.2, 0.1, 1.1), "0.2 back to 1.1 m/s on"),
        (NOWHERE, "not known"),
    ],
)
def test_air_that_runs_back_has_no_minus_sign(span: Span, said: str) -> None:
    assert directed(span, "m/s", 1) == said
