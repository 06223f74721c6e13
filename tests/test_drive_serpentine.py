"""Belts that also run on pulleys with their back: path, band, wraps, and what cannot be laid."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from shapely import Polygon

import part_checks as checks
from drive_layouts import drive_of, found_of, layout_of
from noseroom.checks.belts import check_belts
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.reader import read_text
from noseroom.errors import EnvelopeError
from noseroom.findings import Verdict
from noseroom.layout import Layout
from noseroom.parts.belt import Belt
from noseroom.parts.belt_path import belt_path
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules
from part_checks import Expected
from test_belts import ON_BACK, SERPENTINE

REACH = "reach: drive belt"
ORDER = "crank pulley, idler pulley, compressor, water pump pulley"
IDLER = """\
idler pulley:
  diameter: 70
  width: 26
  place:
    - belt flush with water pump pulley.belt
    - axis {out} {hand} of water pump.axis
    - axis {down} below water pump.axis
    - parallel to engine ± 0.01 deg
"""
BACK = "  back on: [idler pulley]\n"


def serpentine(
    *,
    out: str = "125",
    down: str = "165",
    order: str = ORDER,
    belt: str = BACK,
    up: str = "-60",
    side: str = "160",
    hand: str = "right",
) -> Layout:
    return layout_of(
        section="ribbed",
        over=order,
        up=up,
        out=side,
        parts=IDLER.format(out=out, down=down, hand=hand),
        belt=belt,
    )


# -- path and band --------------------------------------------------------------------------------


def test_the_path_is_the_same_whichever_way_round_the_pulleys_are_named() -> None:
    ways = [list(range(6)), list(range(6))[::-1], [3, 4, 5, 0, 1, 2]]
    paths = [belt_path([SERPENTINE[k] for k in way], [ON_BACK[k] for k in way]) for way in ways]
    for path, way in zip(paths, ways, strict=True):
        assert path.missed == ()
        assert path.length_mm == pytest.approx(paths[0].length_mm, rel=1e-12)
        turned = sum(arc.turn * arc.wrap for arc in path.arcs)
        assert turned == pytest.approx(math.tau, abs=1e-9)
        for arc in path.arcs:
            assert (arc.turn < 0) is ON_BACK[way[arc.pulley]]
        # Each arc ends where its span begins, and the next one begins where that ends.
        for k, span in enumerate(path.spans):
            after = path.arcs[(k + 1) % len(path.arcs)]
            assert path.arcs[k].on(1.0) == pytest.approx(span.start, abs=1e-9)
            assert after.on(0.0) == pytest.approx(span.end, abs=1e-9)


def test_a_pulley_on_the_back_that_the_belt_passes_is_missed() -> None:
    run = [*SERPENTINE[:5], (-220.0, -80.0, 36.5)]
    path = belt_path(run, ON_BACK)
    assert path.missed == (5,)
    without = belt_path(run[:5], ON_BACK[:5])
    assert path.length_mm == pytest.approx(without.length_mm, rel=1e-12)


def outline(offset: float) -> Polygon:
    """The path as a polygon of many corners, moved outwards."""
    path = belt_path(SERPENTINE, ON_BACK)
    corners = [arc.on(share, offset) for arc in path.arcs for share in np.linspace(0.0, 1.0, 400)]
    return Polygon(corners)


def test_the_band_is_as_large_as_by_hand_over_the_whole_range() -> None:
    """By Steiner, for a line of length P that turns round once, whatever it runs on.

    The area between lines at d and at e outside of it is P (e - d) + π (e² - d²).
    """
    girth = belt_path(SERPENTINE, ON_BACK).length_mm
    for made in checks.draws(
        Belt, seed=71, count=8, run=SERPENTINE, back=ON_BACK, section="ribbed"
    ):
        back = made.proud_mm
        inside = back - made.thickness_mm
        width = made.ribs * 3.56
        area = girth * made.thickness_mm + math.pi * (back**2 - inside**2)
        low_y, low_z, high_y, high_z = outline(back).bounds
        low, high = (-width / 2, low_y, low_z), (width / 2, high_y, high_z)
        checks.check_solids(made, {"belt": Expected(area * width, low, high)})


def test_pieces_cover_the_band_and_stand_close_to_it() -> None:
    for made in checks.draws(
        Belt, seed=72, count=3, run=SERPENTINE, back=ON_BACK, section="ribbed"
    ):
        meshed = checks.bodies(made, checks.COARSE)
        checks.check_pieces_cover(made, meshed)
        checks.check_pieces_tight(made, meshed)


def test_the_back_lies_on_the_idlers_rim_and_the_ribs_in_the_others() -> None:
    layout = serpentine()
    belt = layout.parts["drive belt"].part
    assert isinstance(belt, Belt)
    points = checks.bodies(belt)["belt"].mesh.vertices[:, 1:]
    drive = drive_of(layout)
    for circle, (y, z, _) in zip(drive.circles, drive.run(), strict=True):
        nearest = float(np.hypot(*(points - (y, z)).T).min())
        deep = 0.0 if circle.sense < 0 else belt.thickness_mm - belt.proud_mm
        assert nearest == pytest.approx(circle.metal_mm - deep, abs=0.02)
    assert drive.circles[1].sense < 0
    assert drive.circles[1].metal_mm == pytest.approx(35.0, abs=1e-6)


# -- wraps ----------------------------------------------------------------------------------------


def test_a_drive_with_an_idler_on_its_back_fits() -> None:
    layout = serpentine()
    reach = found_of(layout, REACH)
    assert reach.verdict is Verdict.FITS
    wraps = dict(
        zip(
            (c.part.name for c in drive_of(layout).circles),
            drive_of(layout).wraps_deg(),
            strict=True,
        )
    )
    ribs = sum(angle for name, angle in wraps.items() if name != "idler pulley")
    assert ribs - wraps["idler pulley"] == pytest.approx(360.0, abs=1e-6)
    assert found_of(layout, "line: drive belt").verdict is Verdict.FITS


def test_sure_and_possible_wraps_hold_whatever_the_readings_hide() -> None:
    unsure = drive_of(serpentine(out="125 ± 2", down="165 ± 2", up="-60 ± 2"))
    wraps = unsure.wraps()
    assert wraps is not None
    wide = 0.0
    for out, down, up in product((124.0, 126.0), (164.0, 166.0), (-61.0, -59.0)):
        there = drive_of(serpentine(out=str(out), down=str(down), up=str(up))).wraps_deg()
        for one, angle in zip(wraps, there, strict=True):
            assert one.least_deg <= angle <= one.most_deg
            wide = max(wide, abs(angle - one.nominal_deg))
    assert max(one.most_deg - one.nominal_deg for one in wraps) < 6.0 * wide


def test_an_idler_that_the_belt_passes_fouls_and_is_told_where_to_go() -> None:
    layout = serpentine(down="240")
    reach = found_of(layout, REACH)
    assert reach.verdict is Verdict.FOULS
    assert "clear of its back" in reach.note
    by = float(reach.remedies[0].split(" mm")[0].split()[-1])
    assert reach.remedies[0].startswith("move the idler pulley ")
    assert " mm up" in reach.remedies[0]
    moved = {"idler pulley": np.array([0.0, 0.0, by])}
    assert min(drive_of(layout).wraps_deg(moved)) >= 30.0


# -- what cannot be laid --------------------------------------------------------------------------


def test_two_pulleys_that_overlap_foul_and_are_told_how_to_come_apart() -> None:
    """By hand: rims of 70 and 60 mm, 100 apart below one another, overlap by 30."""
    layout = layout_of(up="-100", out="0.001", pump=60)
    reach = found_of(layout, REACH)
    assert reach.verdict is Verdict.FOULS
    assert "overlap" in reach.note
    assert {"crank pulley", "compressor"} <= set(reach.parts)
    said = next(one for one in reach.remedies if one.startswith("move the compressor "))
    by = float(said.split(" mm")[0].split()[-1])
    way = next(
        np.array(way)
        for text, way in (
            (" mm down", (0, 0, -1)), (" mm up", (0, 0, 1)),
            (" mm to the car's left", (0, -1, 0)), (" mm to the car's right", (0, 1, 0)),
        )
        if text in said
    )  # fmt: skip
    run = drive_of(layout).run({"compressor": by * way})
    names = [one.part.name for one in drive_of(layout).circles]
    a, b = (run[names.index(name)] for name in ("crank pulley", "compressor"))
    assert math.dist(a[:2], b[:2]) >= 130.0


def test_an_idler_that_overlaps_its_neighbour_leaves_no_way_for_the_belt() -> None:
    layout = serpentine(out="60", down="165")
    reach = found_of(layout, REACH)
    assert reach.verdict is Verdict.FOULS
    assert reach.remedies
    belt = layout.parts["drive belt"].part
    assert belt.solids() == {}
    assert belt.pieces() == ()


def test_a_belt_named_in_an_order_in_which_it_crosses_itself_fouls() -> None:
    mixed = "crank pulley, compressor, idler pulley, water pump pulley"
    reach = found_of(serpentine(order=mixed), REACH)
    assert reach.verdict is Verdict.FOULS
    assert any("order" in one for one in reach.remedies)


def test_an_idler_pressed_right_through_the_loop_stands_in_the_far_span() -> None:
    """By hand: the far span runs from (-60, 0) on the pump to (-70, -200) on the crank, or so."""
    through = found_of(serpentine(out="40", down="100", hand="left"), REACH)
    assert through.verdict is Verdict.FOULS
    assert "runs through the idler pulley" in through.note
    assert through.remedies
    unsure = found_of(serpentine(out="30 ± 6", down="97", hand="left"), REACH)
    assert unsure.verdict is Verdict.TOO_CLOSE
    assert "may run through the idler pulley" in unsure.note


def test_what_cannot_be_laid_gives_no_length() -> None:
    layout = serpentine(out="60", belt=f"{BACK}  adjuster: {{moves: idler pulley, out: 20}}\n")
    ids = [one.id for one in check_belts(Pairs(layout), Rules(layout.envelope))]
    assert "length: drive belt" not in ids


# -- the file -------------------------------------------------------------------------------------

FILE = """\
format: 1
units: mm
core support: {{opening: {{width: 700, height: 480}}}}
radiator: {{core: {{width: 560, height: 420, thickness: 50}}}}
crank pulley: {{diameter: 140}}
alternator: {{}}
idler pulley: {{}}
drive belt:
  is: belt
  over: [crank pulley, alternator]
{more}
"""


@pytest.mark.parametrize(
    ("more", "key", "expected"),
    [
        ("  back on: [idler pulley]", "drive belt.back on", "one of those under over"),
        ("  adjuster: {moves: idler pulley}", "drive belt.adjuster.moves", "one of those under"),
        (
            "  adjuster: {moves: alternator, by: pivot, about: alternator}",
            "drive belt.adjuster.about",
            "another part than the one under adjuster.moves",
        ),
        ("  adjuster: {out: 20}", "drive belt.adjuster.moves", "is moved to tighten it"),
        ("  adjuster: {by: screw, moves: alternator}", "drive belt.adjuster.by", "slide or pivot"),
    ],
)
def test_what_a_belt_says_of_its_pulleys_has_to_hang_together(
    more: str, key: str, expected: str
) -> None:
    text = FILE.format(more=more).replace("idler pulley: {}", "idler pulley: {diameter: 70}")
    with pytest.raises(EnvelopeError) as caught:
        read_text(text, KINDS, rule_keys=clearance_rules())
    (fault,) = [one for one in caught.value.faults if one.key == key]
    assert expected in fault.expected
    assert fault.line >= 11
