"""Brackets by what a shop has and what a file asks for: metal, sheet, brake, rubber, hands."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from noseroom.checks.bracket_bench import bench_of
from noseroom.checks.bracket_bolts import fastener_for
from noseroom.checks.bracket_slots import take_ups
from noseroom.checks.brackets import design_brackets
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.model import Shop
from noseroom.envelope.reader import read_text
from noseroom.findings import Verdict
from noseroom.geometry.kernel import transformed, volume_mm3
from noseroom.geometry.outlines import Circle
from noseroom.geometry.separation import Uncertainty
from noseroom.geometry.sheet import folded_places
from noseroom.layout import arrange
from noseroom.memo import Memo
from noseroom.parts import shapes
from noseroom.parts.made_bracket import PLATE
from noseroom.parts.registry import KINDS
from noseroom.physics.bending import din_k
from noseroom.tables.fasteners import clearance_holes, grommets, nuts, washers
from noseroom.tables.service import bolt_heads

PICKUP = (Path(__file__).parents[1] / "vehicle_envelopes/farm_pickup.yaml").read_text("utf-8")
UPPER = "condenser upper left tab"
RUBBER = PICKUP.replace("tabs: {width: 1 1/4,", "tabs: {width: 2,").replace(
    "condenser:\n", "condenser:\n  mounts: rubber\n"
)


@cache
def brackets(text, *only):
    layout = arrange(read_text(text, KINDS, name="pickup"))
    rules = Rules(layout.envelope)
    return design_brackets(Pairs(layout, memo=Memo()), rules, lambda *_: None, only)


def with_shop(*lines):
    return PICKUP + "\nshop:\n" + "".join(f"  {line}\n" for line in lines)


def test_the_shops_metal_sheet_radius_and_k_are_what_brackets_are_made_of():
    text = with_shop(
        "metal: 5052-H32 aluminium", "sheet: [0.125]", "bend radius: 1/4", "bend k: 0.4"
    )
    (one,) = brackets(text, UPPER).made
    assert one.material.name == "5052-H32 aluminium"
    assert one.stock == ".125 in"  # by the name that it is sold under
    assert one.blanks[0][0].thickness_mm == pytest.approx(3.175)
    assert {bend.inside_mm for bend in one.blanks[0][0].bends} == {6.35}
    assert {bend.k for bend in one.blanks[0][0].bends} == {0.4}


def test_only_thicknesses_on_the_shelf_are_taken_and_k_is_dins_where_nobody_bent_a_piece():
    (one,) = brackets(with_shop("sheet: [2.5 mm, 3.5 mm]"), UPPER).made
    (blank, _), t = one.blanks[0], one.blanks[0][0].thickness_mm
    assert t in (2.5, 3.5)
    assert one.stock in ("2.5 mm", "0.138 in")
    assert {bend.k for bend in blank.bends} == {din_k(blank.bends[0].inside_mm, t)}


def test_a_brake_too_sharp_for_the_metal_is_a_fault_with_what_would_do():
    """A design book's table of bend radii: 6061-T6 of 0.125 in asks for 0.500 in inside."""
    text = with_shop("metal: 6061-T6 aluminium", "sheet: [0.125]", "bend radius: 1/8")
    (one,) = brackets(text, UPPER).not_made
    assert "inside radius" in one.why
    assert "12.7 mm inside" in one.why
    assert "3.2 mm are too sharp" in one.why
    (bent,) = {fell.short_mm for fell in one.fell if fell.rule == "inside radius"}
    assert bent == pytest.approx(12.7 - 3.175)
    assert any("12.7 mm or more" in cure for cure in one.would_do)


def test_a_shop_that_says_nothing_has_mild_steel_in_the_files_own_gauges():
    inches, metric = bench_of(Shop(), "in"), bench_of(Shop(), "mm")
    assert inches.material.name == metric.material.name == "mild steel"
    assert {one.unit for one in inches.stocks} == {"in"}
    assert {one.unit for one in metric.stocks} == {"mm"}
    for bench in (inches, metric):
        for strip in bench.strips(fastener_for(7.0, "mm")):
            assert bench.too_sharp(strip.stock) is None


def test_on_rubber_a_grommet_sits_in_a_round_hole_and_holds_the_tab_off():
    found = brackets(RUBBER)
    made = [one for one in found.made if one.site.host.name == "condenser"]
    assert len(made) == 4
    grommet = grommets()["1/4"]
    for one in made:
        assert one.form.endswith("on rubber")
        blank, home = one.blanks[-1]
        (hole,) = blank.flanges[one.tab_flat].holes
        assert isinstance(hole, Circle)
        assert hole.diameter_mm == pytest.approx(grommet.hole_mm)
        stands = home @ folded_places(blank)[one.tab_flat]
        middle = (stands @ [*hole.centre, 0.0, 1.0])[:3]
        off = middle - one.site.middle
        along = off @ one.site.normal
        # On the hole's own axis, half the tab and a flange off, the sheet's other side maybe.
        assert off - along * one.site.normal == pytest.approx(np.zeros(3), abs=1e-9)
        near = one.site.thickness_mm / 2 + grommet.flange_mm
        assert min(abs(abs(along) - near), abs(abs(along) - near - blank.thickness_mm)) < 1e-9
        assert grommet.least_sheet_mm <= blank.thickness_mm <= grommet.most_sheet_mm
        solid = one.placed.part.solids()[PLATE]
        tab = transformed(one.site.host.part.solids()["tabs"], one.site.host.pose)
        assert solid.distance(tab) == pytest.approx(grommet.flange_mm, abs=1e-6)
        # The bolt clamps washers, tab, and a collar through sheet and both flanges.
        bolt = next(each for each in one.bolts if each.where == "tab")
        clamped = one.site.thickness_mm + blank.thickness_mm + 2 * grommet.flange_mm
        assert bolt.grip.most_mm > clamped + 2 * washers()["1/4"].least_mm
        assert any("measure yours before the hole is cut" in note for note in one.notes)


def test_on_rubber_nobody_knows_the_first_frequency():
    """A grommet's stiffness is in no table here: what rests on it is not known."""
    one = next(each for each in brackets(RUBBER).made if each.site.title == UPPER)
    assert one.strength.sum.hz is None
    (strength,) = [each for each in one.findings if each.id.startswith("strength")]
    assert strength.verdict is Verdict.NOT_KNOWN
    assert one.strength.sum.idle == "not known"
    assert "frequency is not known" in strength.note
    assert {each.verdict for each in one.findings if each is not strength} == {Verdict.FITS}


def test_a_grommet_needs_no_slot_where_the_rails_hole_is_drilled_last():
    sure, x = Uncertainty(np.full(3, 1.0), np.zeros(3)), np.array([1.0, 0.0, 0.0])
    strip = np.array([0.0, 40.0, 0.0])
    for made in take_ups(np.eye(3), sure, x, x, strip, (0.3, 0.0), drilled=True, round_tab=True):
        assert made.slot("tab slot") is None
        assert made.marked_last
        assert sum(np.outer(one.along, one.form) for one in made.takes) == pytest.approx(np.eye(3))
    for made in take_ups(np.eye(3), sure, x, x, strip, (0.3, 0.0), drilled=False, round_tab=True):
        # Into a hole that is there it goes only if the holes are known to meet.
        assert made.fault() is not None


def test_left_and_right_brackets_are_mirror_images_bend_by_bend():
    """The pickup's condenser stands in the middle: its hands are mirror images by geometry."""
    made = {one.site.name: one for one in brackets(PICKUP).made}
    mirror = np.diag([1.0, -1.0, 1.0])
    for end in ("upper", "lower"):
        left, right = made[f"{end} left tab"], made[f"{end} right tab"]
        assert (left.hand, right.hand) == ("left", "right")
        solids = [one.placed.part.solids()[PLATE] for one in (left, right)]
        ends = [np.array([v.toTuple() for v in solid.Vertices()]) for solid in solids]
        assert len(ends[0]) == len(ends[1])
        apart = np.linalg.norm((ends[0] @ mirror)[:, None] - ends[1][None], axis=-1)
        assert apart.min(axis=1).max() < 1e-6
        assert apart.min(axis=0).max() < 1e-6
        assert volume_mm3(solids[0]) == pytest.approx(volume_mm3(solids[1]))
        (blank, home), (other, there) = left.blanks[0], right.blanks[0]
        for number, place in enumerate(folded_places(blank)):
            # Each flat faces the same way but for the mirror, so bends turn the same way too.
            up, twin = (home @ place)[:3, 2], (there @ folded_places(other)[number])[:3, 2]
            assert mirror @ up == pytest.approx(twin, abs=1e-9)
        turns = [[bend.angle_deg for bend in one.bends] for one in (blank, other)]
        assert turns[0] == pytest.approx(turns[1], abs=1e-9)
        assert [(cut.where, cut.way, cut.travel_mm) for cut in left.slots] == [
            (cut.where, cut.way, cut.travel_mm) for cut in right.slots
        ]


def test_each_foot_lies_flat_on_the_side_that_is_named_and_holes_are_over_holes():
    """By the solids: metal just above face and tab beside the holes, none below or in them."""
    for one in brackets(PICKUP).made:
        job, solid = one.made.job, one.placed.part.solids()[PLATE]
        tab = job.site.face(job.side)
        beside = job.bolt.metal_mm - 1.0
        for plane, at in ((job.face.plane, one.rail_holes[0].point), (tab, tab.point)):
            ring = np.array(_around(plane.up)) * beside
            assert any(solid.isInside(tuple(at + way + 0.2 * plane.up)) for way in ring)
            assert not any(solid.isInside(tuple(at + way - 0.2 * plane.up)) for way in ring)
            assert not solid.isInside(tuple(at + 0.2 * plane.up))
        bolt = transformed(
            shapes.cylinder((0.0, 0.0, -40.0), (0.0, 0.0, 1.0), 80.0, 3.0), _frame(one.site)
        )
        # A bolt through the tab's hole goes through the bracket's: it meets no metal.
        assert volume_mm3(solid.intersect(bolt)) == pytest.approx(0.0, abs=1e-6)


def _around(up):
    first = np.cross(up, [0.3, 0.2, 0.9])
    first /= np.linalg.norm(first)
    second = np.cross(up, first)
    turns = np.arange(12) * np.pi / 6
    return [np.cos(turn) * first + np.sin(turn) * second for turn in turns]


def _frame(site):
    across = np.cross(site.normal, [0.3, 0.2, 0.9])
    made = np.eye(4)
    made[:3, 0] = across / np.linalg.norm(across)
    made[:3, 1], made[:3, 2], made[:3, 3] = (
        np.cross(site.normal, made[:3, 0]),
        site.normal,
        site.middle,
    )
    return made


@pytest.mark.parametrize(
    ("size", "hole", "flats", "nut", "outside"),
    [
        # ISO 273 medium; ISO 4014, 4032 and 7089, all from memory.
        ("M5", 5.5, 8.0, 4.7, 10.0),
        # ASME B18.2.8 normal: drill #2, 0.221 in, read in a handbook's table 1a; the others
        # ASME B18.6.3 and B18.21.1, from memory: nut 3/8 across flats, 0.130 in; washer 1/2 in.
        ("10", 0.221 * 25.4, 9.53, 0.130 * 25.4, 12.7),
    ],
)
def test_small_bolts_of_electric_fans_are_in_the_tables(size, hole, flats, nut, outside):
    assert clearance_holes()[size].normal_mm == pytest.approx(hole)
    assert bolt_heads()[size].across_flats_mm == pytest.approx(flats)
    assert nuts()[size].height_mm == pytest.approx(nut)
    assert washers()[size].outside_mm == pytest.approx(outside)
    assert fastener_for(6.0, "mm").thread.size == "M5"
    assert fastener_for(0.24 * 25.4, "in").thread.thread == "10-24"


def test_the_driers_bracket_of_the_pickup_holds_in_all_that_is_asked():
    (one,) = brackets(PICKUP, "drier lug").made
    assert {each.verdict for each in one.findings} == {Verdict.FITS}
    assert one.strength.sum.shock.holds
    assert one.strength.sum.idle == "above"
    # An inline six fires three times a turn: 600 rpm are 30 a second, and 1.4 times that is asked.
    assert one.strength.sum.hz >= 1.4 * 30.0


ESTATE = (Path(__file__).parents[1] / "vehicle_envelopes/small_estate.yaml").read_text("utf-8")


@pytest.mark.filterwarnings("error::RuntimeWarning")
def test_a_tab_too_short_for_a_foot_beside_its_header_says_so_once_and_what_would_do():
    """Plane geometry: an M6 foot reaches 9.9 mm, 1.5 x 6.6; a 20 mm tab's hole is 10 mm out."""
    (one,) = brackets(ESTATE, UPPER).not_made
    assert "the condenser's own headers" in one.why
    assert "0.9 mm too near" in one.why
    said = " ".join([one.why, *one.would_do])
    assert said.count("'room'") == 1
    assert "move the condenser" not in said
    assert "0.0 mm" not in said
    assert "float64" not in repr(one.fell)
    (cure,) = one.would_do
    assert "(tried)" in cure
    # What is said to do does: the hole is in the middle of the tab, so the tab grows by twice that.
    by = float(cure.split("a tab whose hole is ")[1].split(" mm")[0])
    longer = ESTATE.replace("tabs: {width: 20,", f"tabs: {{width: {20 + 2 * by:g},")
    assert brackets(longer, UPPER).made
    assert brackets(ESTATE.replace("tabs: {width: 20,", "tabs: {width: 20.6,"), UPPER).not_made


def test_a_part_in_the_way_is_to_go_so_far_the_other_way_and_that_was_tried():
    """The fans' frame is bolted up 3 mm behind the core, where the radiator leaves no room."""
    (one,) = brackets(ESTATE, "fans upper left hole").not_made
    assert "radiator's core" in one.why
    (cure,) = one.would_do
    assert "further forward" in cure
    assert "(tried)" in cure
