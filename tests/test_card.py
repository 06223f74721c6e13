"""Stand-ins of slotted card: put together by a mesh library, they interlock and have their size."""

from __future__ import annotations

import math
import random
from collections import Counter
from dataclasses import fields, replace

import numpy as np
import pytest
from shapely import box

from card_models import (
    NAMES,
    SPACER,
    asked,
    box_of,
    models,
    of_part,
    pickup,
    size_of,
    solid_of,
    way_in,
)
from noseroom.errors import GeometryError
from noseroom.geometry.outlines import Circle
from noseroom.parts.base import Choice, Part
from noseroom.parts.compressor import Compressor
from noseroom.parts.condenser import Condenser
from noseroom.parts.drier import Drier
from noseroom.parts.fan import Fan
from noseroom.workshop.card_check import check
from noseroom.workshop.card_regions import Round, cuts_of
from noseroom.workshop.card_stand_ins import card_stand_ins
from noseroom.workshop.card_stock import Card, CardError, CardModel
from noseroom.workshop.mock_up_outline import MockUpError

SHOWN_MM = 0.5
NOTHING_MM3 = 0.01
CONDENSER = Condenser(core_width_mm=400.0, core_height_mm=300.0, core_thickness_mm=19.0)


def part_of(name: str) -> Part:
    return SPACER if name == "spacer" else pickup().parts[name].part


def overlaps(model: CardModel) -> list[tuple[str, str, float]]:
    """Pairs of panels with card in one place, and how much."""
    solids = [solid_of(one) for one in model.panels]
    found = []
    for k, one in enumerate(solids):
        for n in range(k):
            common = (one ^ solids[n]).volume()
            if common > NOTHING_MM3:
                found.append((model.panels[k].name, model.panels[n].name, common))
    return found


# -- put together --------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_no_two_panels_have_card_in_one_place(name: str) -> None:
    assert overlaps(models()[name]) == []


@pytest.mark.parametrize("name", NAMES)
def test_the_outer_size_is_the_parts(name: str) -> None:
    model, part = models()[name], part_of(name)
    made = size_of([solid_of(one) for one in model.panels])
    assert np.abs(made - box_of(part)).max() <= SHOWN_MM


@pytest.mark.parametrize("name", NAMES)
def test_each_panel_slides_in_past_those_that_are_there(name: str) -> None:
    """The way in, swept, has nothing in common with any panel that is in place before it."""
    model = models()[name]
    reach = 2.0 * float(np.ptp(model.box_mm, axis=0).max())
    for number, panel in enumerate(model.panels):
        path = way_in(panel, reach)
        assert path.volume() > solid_of(panel).volume()
        for other in model.panels[:number]:
            common = (path ^ solid_of(other)).volume()
            assert common < NOTHING_MM3, f"{panel.name} past {other.name}"


@pytest.mark.parametrize("name", NAMES)
def test_letters_pair_panels_that_meet_and_join_all_of_them(name: str) -> None:
    """A letter stands on two panels, which are no further apart than their fit; all hang together.

    A lug's or a tab's layers stand that much off the part that they are beside.
    """
    model = models()[name]
    held: dict[str, list[int]] = {}
    for number, panel in enumerate(model.panels):
        for letter, _ in panel.letters:
            held.setdefault(letter, []).append(number)
    assert all(len(pair) == 2 for pair in held.values())
    roots = list(range(len(model.panels)))
    for a, b in held.values():
        gap = solid_of(model.panels[a]).min_gap(solid_of(model.panels[b]), 1.0)
        assert gap < 0.25, f"{model.panels[a].name} and {model.panels[b].name}"
        old, new = roots[a], roots[b]
        roots = [new if one == old else one for one in roots]
    assert len(set(roots)) == 1


@pytest.mark.parametrize("name", ["condenser", "drier", "compressor", "spacer"])
def test_nothing_stands_out_of_the_part(name: str) -> None:
    """Corners of the panels lie in the part, or no further from it than a stand-in may be."""
    import cadquery as cq

    solids = [piece for one in asked(part_of(name)).solids.values() for piece in one.Solids()]
    worst = 0.0
    for panel in models()[name].panels:
        outline = panel.figure.cuts[-1]
        path = outline.as_path() if isinstance(outline, Circle) else outline
        corners = path.sampled(5.0)
        for level in (0.0, panel.thickness_mm):
            for x, y in corners:
                at = cq.Vertex.makeVertex(*(panel.place @ np.array([x, y, level, 1.0]))[:3])
                worst = max(worst, min(at.distance(one) for one in solids))
    # The spacer's chamfers are not shown: sqrt(1/2) of 0.8 mm, and 0.2 mm of one layer more.
    assert worst <= (0.8 if name == "spacer" else SHOWN_MM + 0.05)


def test_bolt_holes_are_where_the_parts_are() -> None:
    for name in ("condenser", "drier", "compressor"):
        ports = {
            key: one
            for key, one in part_of(name).ports().items()
            if key.endswith(("tab", "ear")) or key == "lug"
        }
        assert ports
        for port in ports.values():
            axis = int(np.argmax(np.abs(port.direction)))
            holes = [
                (panel.place @ np.array([*cut.centre, 0.0, 1.0]))[:3]
                for panel in models()[name].panels
                if panel.normal == axis
                for cut in panel.figure.cuts
                if isinstance(cut, Circle) and cut.diameter_mm == pytest.approx(port.bore_mm)
            ]
            off = [np.delete(one - port.point, axis) for one in holes]
            assert min(float(np.linalg.norm(one)) for one in off) < 1e-6


def test_the_fans_hub_goes_onto_the_pumps_studs() -> None:
    """Four 5/16-24 studs on 1 3/4 in and a pilot of 5/8 in, as the file has them."""
    plate = max(
        (one for one in models()["fan"].panels if one.normal == 0), key=lambda one: one.low_mm
    )
    assert plate.low_mm + plate.thickness_mm == pytest.approx(0.0)
    region = plate.region
    for turn in range(4):
        at = (
            1.75 * 25.4 / 2 * np.array([math.sin(turn * math.pi / 2), math.cos(turn * math.pi / 2)])
        )
        stud = Round((float(at[0]), float(at[1])), 5 / 16 * 25.4 / 2).polygon()
        assert region.intersection(stud).area < 1e-6
    assert region.intersection(Round((0.0, 0.0), 5 / 8 * 25.4 / 2 - 0.01).polygon()).area < 1e-6


# -- sizes that the card does not divide ---------------------------------------------------------


@pytest.mark.parametrize("thickness", [8.6, 9.0, 10.4, 13.0, 19.05, 26.7, 41.3])
def test_a_core_has_its_depth_whatever_the_card(thickness: float) -> None:
    part = replace(CONDENSER, core_thickness_mm=thickness)
    model = of_part(part)
    core = [solid_of(one) for one in model.panels if one.name.startswith("core")]
    made = size_of(core)
    assert made[1, 0] - made[0, 0] == pytest.approx(thickness, abs=SHOWN_MM)
    assert overlaps(model) == []


def test_a_core_thinner_than_three_layers_says_what_would_do() -> None:
    with pytest.raises(CardError, match=r"8\.0 mm thick.*9 mm: 1\.0 mm too much.*2\.8 mm or less"):
        of_part(replace(CONDENSER, core_thickness_mm=8.0))


@pytest.mark.parametrize(("thickness", "card"), [(50.0, 3.0), (25.4, 3.0), (12.7, 5.0), (6.0, 2.0)])
def test_a_spacer_has_its_thickness_with_paper_between(thickness: float, card: float) -> None:
    part = replace(SPACER, form="plain", thickness_mm=thickness)
    model = of_part(part, Card(card))
    made = size_of([solid_of(one) for one in model.panels])
    assert np.abs(made - box_of(part)).max() <= SHOWN_MM
    layers = len(model.panels)
    left = thickness - layers * card
    said = [one for one in model.notes if "paper" in one]
    assert bool(said) == (left > 0.0)
    assert not said or f"{left:.2f} mm of paper" in said[0]


def test_a_tab_that_the_card_does_not_show_is_said() -> None:
    thick = of_part(replace(CONDENSER, tab_thickness_mm=6.0))
    assert any("tabs: 6.0 mm" in one and "1.5 mm is missing" in one for one in thick.notes)
    thin = of_part(replace(CONDENSER, tab_thickness_mm=1.0))
    assert any("tabs: 1.0 mm" in one and "1.0 mm is too much" in one for one in thin.notes)
    usual = of_part(CONDENSER)
    assert not any("tabs" in one for one in usual.notes)


# -- many parts ----------------------------------------------------------------------------------


def any_part(kind: type[Part], rng: random.Random) -> Part:
    """A part with sizes from anywhere in their ranges, half of them the usual ones."""
    sizes: dict[str, object] = {}
    for name, size in kind.sizes().items():
        if size.measure == "count":
            sizes[name] = rng.randint(int(size.low), int(size.high))
        elif size.usual is not None and rng.random() < 0.5:
            sizes[name] = size.usual
        else:
            sizes[name] = round(rng.uniform(size.low, size.high), 2)
    for one in fields(kind):
        declared = one.metadata.get("file")
        if isinstance(declared, Choice):
            sizes[one.name] = rng.choice(declared.options)
    return kind(**sizes)


@pytest.mark.parametrize("kind", [Condenser, Drier, Compressor, Fan])
def test_any_part_goes_together_or_is_refused_with_a_figure(kind: type[Part]) -> None:
    rng = random.Random(20)
    told: Counter[str] = Counter()
    for _ in range(5):
        part, card = any_part(kind, rng), Card(rng.choice([2.0, 3.0, 5.0]))
        try:
            model = of_part(part, card)
        except CardError as error:
            told["refused"] += 1
            told["with a figure"] += any(char.isdigit() for char in str(error))
            continue
        told["made"] += 1
        assert overlaps(model) == []
        made = size_of([solid_of(one) for one in model.panels])
        assert np.abs(made - box_of(part)).max() <= SHOWN_MM
    assert told["made"] >= 1
    assert told["refused"] == told["with a figure"]


# -- what the check catches ----------------------------------------------------------------------


def test_a_slot_that_is_missing_is_caught() -> None:
    model = models()["drier"]
    first, second, *rest = model.panels
    filled = replace(second, region=second.region.union(box(*second.region.bounds)))
    with pytest.raises(GeometryError, match="overlap"):
        check(replace(model, panels=(first, filled, *rest)))


def test_a_wrong_way_in_is_caught() -> None:
    model = models()["drier"]
    first, second, *rest = model.panels
    turned = replace(second, slide=-second.slide)
    with pytest.raises(GeometryError, match="cannot be brought to its place"):
        check(replace(model, panels=(first, turned, *rest)))


# -- what is asked for ---------------------------------------------------------------------------


def test_other_parts_and_bad_card_are_refused() -> None:
    with pytest.raises(MockUpError, match="radiator"):
        card_stand_ins(pickup(), ["radiator"])
    with pytest.raises(CardError, match="1 to 12 mm"):
        Card(0.3)
    with pytest.raises(CardError, match="margins"):
        Card(sheet_mm=(15.0, 700.0))


def test_progress_names_each_and_numbers_run_on() -> None:
    said: list[tuple[int, int, str]] = []
    made = card_stand_ins(pickup(), ["drier", "fan"], progress=lambda *one: said.append(one))
    assert said == [(0, 2, "drier"), (1, 2, "fan")]
    assert [one.order for model in made for one in model.panels] == list(
        range(1, sum(len(one.panels) for one in made) + 1)
    )


# -- outlines ------------------------------------------------------------------------------------


def test_what_is_left_of_a_circle_comes_back_as_arcs() -> None:
    """Areas by hand: a half disc, and a disc less a slot from its rim to its middle.

    The slot is 3 mm wide; it takes away a rectangle and a cap of the circle, whose area is
    r² asin(w / 2r) + w/2 · sqrt(r² - w²/4) in all.
    """
    radius, wide = 30.0, 3.0
    disc = Round((0.0, 0.0), radius)
    (half,) = cuts_of(disc.polygon().intersection(box(0.0, -99.0, 99.0, 99.0)), [disc])
    assert half.area_mm2 == pytest.approx(math.pi * radius**2 / 2, rel=1e-5)
    assert len(half.points) <= 4
    (slotted,) = cuts_of(disc.polygon().difference(box(-1.5, 0.0, 1.5, 99.0)), [disc])
    lost = radius**2 * math.asin(wide / 2 / radius) + wide / 2 * math.sqrt(radius**2 - wide**2 / 4)
    assert slotted.area_mm2 == pytest.approx(math.pi * radius**2 - lost, rel=1e-5)
    (whole,) = cuts_of(disc.polygon(), [disc])
    assert whole == Circle((0.0, 0.0), 2 * radius)


def test_room_for_a_wide_cut_goes_to_the_waste() -> None:
    """A laser's cut of 0.2 mm takes 0.1 mm off either side: outlines grow, holes shrink by that."""
    plain, wide = of_part(CONDENSER), of_part(CONDENSER, Card(kerf_mm=0.2))
    for a, b in zip(plain.panels, wide.panels, strict=True):
        (x0, y0, x1, y1), grown = a.figure.box(), b.figure.box()
        assert grown == pytest.approx((x0 - 0.1, y0 - 0.1, x1 + 0.1, y1 + 0.1), abs=1e-3)
        for hole, smaller in zip(a.figure.cuts[:-1], b.figure.cuts[:-1], strict=True):
            if isinstance(hole, Circle):
                assert isinstance(smaller, Circle)
                assert smaller.diameter_mm == pytest.approx(hole.diameter_mm - 0.2)
