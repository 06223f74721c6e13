"""What a blank has to keep: each rule at its limit, and what is said to do does it."""

from __future__ import annotations

import math
import random
import re
from dataclasses import replace

import pytest

from noseroom.errors import GeometryError
from noseroom.geometry.kernel import solids_of, volume_mm3
from noseroom.geometry.outlines import Circle, Path, rectangle, slot
from noseroom.geometry.sheet import Bend, Blank, Flange
from noseroom.geometry.sheet_clashes import flat_clashes, folded_clashes
from noseroom.geometry.sheet_flat import blank_area_mm2, flat_outline, folded_volume_mm3
from noseroom.geometry.sheet_reliefs import with_reliefs
from noseroom.geometry.sheet_rules import SheetFault, sheet_faults
from noseroom.geometry.sheet_solids import flat_solid, folded_pieces, folded_solid
from noseroom.tables.sheet import SheetShop, sheet_materials
from sheet_makers import random_blank, strip

STEEL = sheet_materials()["mild steel"]
SOFT = sheet_materials()["5052-H32 aluminium"]
HARD = sheet_materials()["6061-T6 aluminium"]
T, R = 2.0, 4.0  # what `strip` has unless told


def faults(blank: Blank, rule: str = "", material=STEEL, shop=None) -> list[SheetFault]:
    return [one for one in sheet_faults(blank, material, shop) if rule in ("", one.rule)]


def only(blank: Blank, rule: str, **more) -> SheetFault:
    (fault,) = faults(blank, **more)
    assert fault.rule == rule
    return fault


def figure(text: str) -> float:
    return float(re.search(r"(\d+\.\d+) mm", text).group(1))


def test_a_bracket_as_the_trade_makes_it_has_no_fault() -> None:
    hole = Circle((20.0, -16.0), 9.0)
    assert faults(strip([30, 40], [90], holes=[(0, hole)])) == []
    assert faults(strip([30, 25, 30], [90, -90])) == []


# -- radii ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("material", "inches"),
    [(SOFT, 0.094), (HARD, 0.188), (STEEL, 0.094)],
    ids=["soft", "hard", "steel"],
)
def test_inside_radius_against_the_table(material, inches: float) -> None:
    """.063 in of sheet, a design book's table of 90° cold bends."""
    t, least = 0.063 * 25.4, inches * 25.4
    assert faults(strip([30, 30], [90], t, least), material=material) == []
    fault = only(strip([30, 30], [90], t, least - 0.3), "inside radius", material=material)
    assert fault.short_mm == pytest.approx(0.3)
    assert fault.wanted_mm == pytest.approx(least)
    assert "design book" in fault.source
    again = strip([30, 30], [90], t, figure(fault.remedy))
    assert faults(again, material=material) == []


def test_a_thinner_sheet_that_is_said_to_do_does() -> None:
    fault = only(strip([30, 30], [90], 3.0, 3.3), "inside radius")
    thin = float(re.search(r"sheet of (\d+\.\d+) mm", fault.remedy).group(1))
    assert faults(strip([30, 30], [90], thin, 3.3)) == []


def test_the_shops_own_radius_stands_above_the_table() -> None:
    blank = strip([30, 30], [90], T, 2.0)
    assert faults(blank, shop=SheetShop(least_radius_mm=2.0)) == []
    fault = only(blank, "inside radius", shop=SheetShop(least_radius_mm=2.5))
    assert fault.source == "the shop's own figure"


def test_what_no_table_has_is_said_not_to_be_known() -> None:
    thick = only(strip([50, 50], [90], 6.0, 12.0), "inside radius")
    assert math.isnan(thick.short_mm)
    assert "not known" in thick.text
    odd = replace(STEEL, name="brass")
    assert "not known" in only(strip([50, 50], [90]), "inside radius", material=odd).text
    assert faults(strip([50, 50], [90], 6.0, 12.0), shop=SheetShop(least_radius_mm=9.0)) == []


# -- holes ------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["circle", "slot"])
@pytest.mark.parametrize("near", [6.0, 5.9, 2.0])
def test_hole_to_bend_is_three_thicknesses_from_the_edge_of_the_hole(kind, near: float) -> None:
    """Common practice: 3 t + R to the inside of the other leg, 3 t to where the bend begins."""
    middle = (20.0, -30.0 + near + 4.0)
    hole = Circle(middle, 8.0) if kind == "circle" else slot(middle, 6.0, 8.0)
    blank = strip([30, 30], [90], holes=[(0, hole)])
    if near >= 6.0:
        assert faults(blank) == []
        return
    fault = only(blank, "hole to bend")
    assert fault.short_mm == pytest.approx(6.0 - near, abs=5e-3)
    moved = hole.placed(0.0, (0.0, figure(fault.remedy)))
    assert faults(strip([30, 30], [90], holes=[(0, moved)])) == []


def test_holes_of_the_child_are_looked_at_too() -> None:
    blank = strip([30, 30], [90], holes=[(1, Circle((20.0, -8.0), 8.0))])
    assert only(blank, "hole to bend").short_mm == pytest.approx(2.0, abs=5e-3)


@pytest.mark.parametrize("far", [12.0, 11.0])
def test_hole_to_edge_is_one_and_a_half_diameters_from_its_middle(far: float) -> None:
    """From memory, common practice for bolted sheet."""
    blank = strip([40, 30], [90], holes=[(0, Circle((far, -20.0), 8.0))])
    if far >= 12.0:
        assert faults(blank) == []
        return
    fault = only(blank, "hole to edge")
    assert fault.short_mm == pytest.approx(1.0, abs=5e-3)
    assert "from memory" in fault.source


def test_an_edge_that_bends_is_no_edge() -> None:
    """10 mm from the middle of an 8 mm hole to the bend: 1.25 d, and no matter."""
    assert faults(strip([40, 30], [90], holes=[(0, Circle((20.0, -30.0), 8.0))])) == []


# -- legs -------------------------------------------------------------------------------------


@pytest.mark.parametrize("flat", [6.0, 5.0, 1.0])
def test_a_leg_is_long_enough_for_the_brake(flat: float) -> None:
    """Common practice: 4 t + R, outside; at 90°, 3 t beyond the bend."""
    for lengths in ([flat, 30], [30, flat]):
        blank = strip(lengths, [90])
        if flat >= 6.0:
            assert faults(blank) == []
            continue
        fault = only(blank, "leg")
        assert fault.short_mm == pytest.approx(6.0 - flat, abs=5e-3)
        longer = [one + (figure(fault.remedy) if one == flat else 0.0) for one in lengths]
        assert faults(strip(longer, [90])) == []


def test_the_shops_own_leg_stands_above_common_practice() -> None:
    fault = only(strip([9.0, 30], [90]), "leg", shop=SheetShop(least_leg_mm=16.0))
    assert fault.short_mm == pytest.approx(16.0 - (9.0 + R + T), abs=1e-3)


def test_a_leg_that_is_cut_off_aslant_counts_at_its_short_end() -> None:
    """A tenth of the bend at each of its ends does not count: 28 mm less by a tenth of 40 mm."""
    full = strip([30, 30], [90])
    for short, long in (((0.0, -28.0), (40.0, 0.0)), ((0.0, 0.0), (40.0, -28.0))):
        aslant = Flange(Path(((0.0, -30.0), (40.0, -30.0), long, short)))
        fault = only(replace(full, flanges=(aslant, full.flanges[1])), "leg")
        assert fault.found_mm == pytest.approx(30 - 0.9 * 28 + R + T, abs=1e-3)


@pytest.mark.parametrize("flat", [8.0, 6.0])
def test_two_bends_have_flat_sheet_between_them(flat: float) -> None:
    """Common practice: 4 t."""
    blank = strip([30, flat, 30], [90, -90])
    if flat >= 8.0:
        assert faults(blank) == []
        return
    fault = only(blank, "between bends")
    assert fault.short_mm == pytest.approx(2.0, abs=1e-9)
    assert faults(strip([30, flat + figure(fault.remedy), 30], [90, -90])) == []


# -- reliefs ----------------------------------------------------------------------------------


def stepped(beside: float = 12.0) -> Blank:
    """A flange that goes on beside both ends of its bend."""
    bend = Bend(0, 1, (0.0, 0.0), (40.0, 0.0), 90.0, R, 0.4)
    edge = bend.far_edge(T)[0][1]
    root = Flange(rectangle((-beside, 0.0), (40.0 + beside, 30.0)))
    return Blank(T, (root, Flange(rectangle((0.0, edge - 30.0), (40.0, edge)))), (bend,))


def test_a_flange_that_goes_on_beside_a_bend_needs_reliefs() -> None:
    """Common practice: as wide as the sheet is thick, deeper than the inside radius."""
    found = faults(stepped(), "relief")
    assert len(found) == 2
    assert all(one.wanted_mm == T and one.short_mm == pytest.approx(T, abs=0.1) for one in found)
    assert "2.0 mm wide or more, and at least 4.0 mm" in found[0].remedy


def test_reliefs_are_what_the_rule_asks_for_and_take_their_metal_away() -> None:
    before, after = stepped(), with_reliefs(stepped())
    assert faults(after) == []
    slot_mm2 = T * (R + T - T / 2) + math.pi * (T / 2) ** 2 / 2
    assert blank_area_mm2(before) - blank_area_mm2(after) == pytest.approx(2 * slot_mm2)
    for solid, wanted in (
        (folded_solid(after), folded_volume_mm3(after)),
        (flat_solid(after), flat_outline(after).area_mm2 * T),
    ):
        assert volume_mm3(solid) == pytest.approx(wanted, rel=1e-9)


def test_a_relief_that_is_too_shallow_or_too_narrow_is_seen() -> None:
    for wide, deep in ((2.0, 3.0), (1.2, 6.0)):
        right, left = (40.0 + wide, 40.0), (0.0, -wide)
        corners = [(-12.0, 0.0), (left[1], 0.0), (left[1], deep), (0.0, deep), (0.0, 0.0)]
        corners += [(40.0, 0.0), (40.0, deep), (right[0], deep), (right[0], 0.0), (52.0, 0.0)]
        root = Flange(Path((*corners, (52.0, 30.0), (-12.0, 30.0))))
        blank = replace(stepped(), flanges=(root, stepped().flanges[1]))
        found = faults(blank)
        assert {one.rule for one in found} == {"relief"}
        assert len(found) == 2


def test_a_flange_that_opens_gently_from_its_bend_needs_no_relief() -> None:
    full = strip([30, 30], [90])
    wide = Flange(Path(((0.0, -30.0), (40.0, -30.0), (60.0, 0.0), (-20.0, 0.0))))
    assert faults(replace(full, flanges=(wide, full.flanges[1]))) == []
    flat = Flange(Path(((0.0, -30.0), (40.0, -30.0), (90.0, 0.0), (-50.0, 0.0))))
    found = faults(replace(full, flanges=(flat, full.flanges[1])), "relief")
    assert len(found) == 2


def test_a_relief_leaves_something_beside_it_or_is_refused() -> None:
    with pytest.raises(GeometryError, match=r"make it none, or 4\.0 mm or more"):
        with_reliefs(stepped(3.0))
    wide = with_reliefs(stepped(), width_mm=5.0)
    assert faults(wide) == []


# -- running into itself ----------------------------------------------------------------------


def test_a_hook_that_is_bent_into_itself_is_cut_shorter_by_what_is_said() -> None:
    """Three bends of 90° round 30 mm: the last leg may be as long as the first leaves it."""
    lengths = [60, 30, 30, 60]
    blank = strip(lengths, [90, 90, 90])
    found = [one for one in faults(blank, "runs into itself") if math.isfinite(one.short_mm)]
    worst = max(found, key=lambda one: one.short_mm)
    with pytest.raises(GeometryError, match="runs into itself"):
        folded_solid(blank)
    # By hand: the last leg points back at the first flat, 30 + R from where it begins.
    assert worst.short_mm == pytest.approx(60 - (30 + R), abs=0.05)
    lengths[3] -= figure(worst.remedy) + 0.1
    assert faults(strip(lengths, [90, 90, 90])) == []


@pytest.mark.parametrize(("last", "says"), [(34.3, "run into"), (34.0, "touch"), (33.9, "")])
def test_a_leg_may_come_near_and_not_touch(last: float, says: str) -> None:
    """The same hook: the last leg ends on the first flat when it is 30 + R long."""
    found = faults(strip([60, 30, 30, last], [90, 90, 90]), "runs into itself")
    assert bool(found) == bool(says)
    assert all(says in one.text for one in found)
    assert any(one.short_mm == pytest.approx(0.3) for one in found) == (last == 34.3)


def test_edges_too_near_in_the_flat_need_a_cut_between_them() -> None:
    """Common practice: a cut of one thickness. Two legs side by side on one flange."""
    for gap in (2.0, 1.5, 0.0, -3.0):
        root = Flange(rectangle((0.0, 0.0), (60.0 + gap, 30.0)))
        bends, legs = [], []
        for number, low in enumerate((0.0, 30.0 + gap), 1):
            bends.append(Bend(0, number, (low, 0.0), (low + 30.0, 0.0), 90.0, R, 0.4))
            edge = bends[-1].far_edge(T)[0][1]
            legs.append(Flange(rectangle((low, edge - 30.0), (low + 30.0, edge))))
        blank = Blank(T, (root, *legs), tuple(bends))
        if gap < 0:
            assert [one.rule for one in faults(blank)] == ["outline"]
            continue
        found = faults(blank, "gap")
        assert bool(found) == (gap < 2.0)
        assert all(one.short_mm == pytest.approx(2.0 - gap, abs=5e-3) for one in found)


def test_a_flat_that_lies_over_itself_is_seen() -> None:
    """Two legs round a corner that opens: their ends cross in the flat, and not when folded."""
    root = Flange(Path(((0.0, 0.0), (60.0, 0.0), (35.0, 12.0), (20.0, 60.0), (0.0, 60.0))))
    bends, legs = [], []
    for number, (start, end) in enumerate(
        (((57.0, 1.44), (37.0, 11.04)), ((34.0, 15.2), (22.0, 53.6))), 1
    ):
        bends.append(Bend(0, number, start, end, 90.0, R, 0.4))
        (sx, sy), (ex, ey) = bends[-1].far_edge(T)
        ux, uy = bends[-1].across
        legs.append(
            Flange(
                Path(
                    ((ex, ey), (sx, sy), (sx + 40 * ux, sy + 40 * uy), (ex + 40 * ux, ey + 40 * uy))
                )
            )
        )
    blank = Blank(T, (root, *legs), tuple(bends))
    found = faults(blank, "runs into itself")
    assert any("in the flat" in one.text for one in found)
    with pytest.raises(GeometryError, match="runs over itself in the flat"):
        flat_solid(blank)


def test_clashes_are_found_where_the_kernel_finds_metal_in_metal() -> None:
    """Against the sum of all pieces' volumes and that of their union."""
    seen = 0
    for k in range(700, 760):
        blank = random_blank(random.Random(k))
        if blank is None:
            continue
        try:
            flat_outline(blank)
            pieces = folded_pieces(blank)
        except GeometryError:
            continue
        if not all(one.isValid() for one in pieces):
            continue
        union = solids_of(pieces[0].fuse(*pieces[1:]))
        lost = sum(map(volume_mm3, pieces)) - sum(map(volume_mm3, union))
        meet = [one for one in folded_clashes(blank) if one.overlaps]
        assert bool(meet) == (lost > 0.01), k
        seen += bool(meet)
    assert seen >= 2


def test_a_blank_that_cannot_be_followed_is_one_fault() -> None:
    spoilt = strip([30, 30], [90], holes=[(0, Circle((20.0, -29.0), 8.0))])
    fault = only(spoilt, "outline")
    assert "meets another, or the edge of flange 0" in fault.text
    assert list(flat_clashes(spoilt, 2.0)) == []


def test_a_fault_reads_as_a_sentence() -> None:
    text = str(only(strip([5, 30], [90]), "leg"))
    assert text.startswith(
        "leg: the leg on flange 0 at bend 0, measured outside, is 11.0 mm, and 12.0 mm are wanted, "
        "by 1.0 mm; make it 1.0 mm longer (common practice"
    )
