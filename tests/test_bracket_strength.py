"""Whether a bracket is strong enough: its middle line, its loads, what would do, and the words."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.checks import strength_words
from noseroom.checks.bracket_strength import Carried, Engine, Strength, strength_of, summed
from noseroom.checks.strength_frame import Change, Strip, Tab
from noseroom.errors import GeometryError
from noseroom.findings import Verdict
from noseroom.geometry.outlines import Circle, slot
from noseroom.geometry.sheet import Blank, Flange
from noseroom.geometry.strip_lines import Spot, strip_lines
from noseroom.physics.beams import curved_growth, rectangle
from noseroom.tables.sheet import SheetMaterial, sheet_materials
from noseroom.tables.strength import part_masses, strength_limits, usual_mass_kg
from strips import BentStrip, bent_strip

STEEL = SheetMaterial("steel", 250.0, 400.0, 200.0, 200_000.0, 7850.0, 0.3, "for a test", "read")
STRAP = bent_strip((110,))
ELL = bent_strip((60, 60), (90,))
ZED = bent_strip((50, 60, 50), (90, -90))
HAT = bent_strip((40, 30, 60, 30, 40), (-90, 90, 90, -90), bolts=(0, 2, 4))
EIGHT = Engine(8, 600.0)


def strength(
    made: BentStrip,
    mass_kg: float = 1.0,
    points: int = 4,
    arm_mm: tuple[float, float, float] = (0.0, 0.0, 0.0),
    *,
    rubber: bool = False,
    tab: Tab | None = None,
) -> Strength:
    fixed = made.spots[:1] + made.spots[2:]
    carried = Carried(mass_kg, points, "weighed", arm_mm, rubber, tab)
    return strength_of(made.blank, made.spots[1], fixed, carried, STEEL, EIGHT)


# -- the middle line --------------------------------------------------------------------------


def test_an_ell_has_its_corner_where_its_tangents_meet() -> None:
    """Middle lines at half the thickness; the corner at inside radius + t/2 beyond the bend."""
    lines = strip_lines(ELL.blank, ELL.spots[1], ELL.spots[:1])
    reach = 3.0 + 1.5
    assert lines.nodes == pytest.approx(
        np.array([[60 + reach, 0, 1.5 + reach + 45], [60 + reach, 0, 1.5], [15, 0, 1.5]])
    )
    assert [leg.wide_mm for leg in lines.legs] == pytest.approx([30.0, 30.0], abs=1e-5)
    assert [leg.inside_mm for leg in lines.legs] == [(0.0, 3.0), (3.0, 0.0)]
    assert lines.legs[0].ends_mm == pytest.approx((21.0, 30.0), abs=0.1)
    assert lines.legs[0].ends_mm[0] <= 21.0


@pytest.mark.parametrize("angle", [20.0, 60.0, 90.0, 120.0, 165.0, -75.0])
def test_the_middle_line_is_no_shorter_than_the_bend(angle: float) -> None:
    """From bolt to bolt: two flats and an arc of radius r + t/2 by hand."""
    made = bent_strip((60, 60), (angle,))
    lines = strip_lines(made.blank, made.spots[1], made.spots[:1])
    found = sum(
        float(np.linalg.norm(lines.nodes[leg.end] - lines.nodes[leg.start])) for leg in lines.legs
    )
    by_hand = 45.0 + 45.0 + math.radians(abs(angle)) * 4.5
    assert by_hand <= found <= by_hand + 4.5
    assert len(lines.legs) == (3 if abs(angle) > 90.0 else 2)


def test_holes_and_slots_between_bolts_take_from_the_width() -> None:
    """A slot 10 mm wide in a strap of 30 leaves 20."""
    flange = STRAP.blank.flanges[0]
    cut = slot((55.0, 0.0), 12.0, 10.0, math.pi / 2)
    weaker = Blank(3.0, (replace(flange, holes=(*flange.holes, cut)),))
    lines = strip_lines(weaker, STRAP.spots[1], STRAP.spots[:1])
    assert lines.legs[0].wide_mm == pytest.approx(30.0 - 22.0, abs=0.1)
    assert lines.legs[0].wide_mm <= 8.0


def test_of_a_wide_strip_two_washers_carry_at_a_bolt() -> None:
    wide = bent_strip((160,), wide=80.0)
    lines = strip_lines(wide.blank, wide.spots[1], wide.spots[:1])
    assert lines.legs[0].wide_mm == pytest.approx(80.0, abs=1e-4)
    assert lines.legs[0].ends_mm == pytest.approx((27.0, 27.0))


def test_a_hat_stands_on_both_its_feet() -> None:
    lines = strip_lines(HAT.blank, HAT.spots[1], (HAT.spots[0], HAT.spots[2]))
    assert len(lines.fixed) == 2
    assert len(lines.legs) == 6
    one = strip_lines(HAT.blank, HAT.spots[1], HAT.spots[:1])
    assert len(one.legs) == 3


def test_of_two_bolts_in_a_foot_the_further_one_counts() -> None:
    near = Spot(0, (40.0, 0.0), 9.0, 18.0)
    lines = strip_lines(ELL.blank, ELL.spots[1], (near, ELL.spots[0]))
    assert lines.counted == (ELL.spots[0],)
    assert lines.nodes[lines.fixed[0]] == pytest.approx([15.0, 0.0, 1.5])


def test_bolts_where_no_bolt_can_be_are_refused() -> None:
    off = Spot(0, (15.0, 300.0), 9.0, 18.0)
    with pytest.raises(GeometryError, match="no metal"):
        strip_lines(ELL.blank, ELL.spots[1], (off,))
    with pytest.raises(GeometryError, match="one place"):
        strip_lines(ELL.blank, ELL.spots[1], (ELL.spots[1],))
    with pytest.raises(GeometryError, match="no bolt holds"):
        strip_lines(ELL.blank, ELL.spots[1], ())


# -- the sum ----------------------------------------------------------------------------------


def test_a_strap_by_hand() -> None:
    """80 mm of lever, 30 × 3 mm less a hole of 9, 1 kg on two points at 5 g."""
    found = strength(STRAP, 1.0, 2)
    share = 0.75
    own = 30 * 3 * 80 * 7850e-9
    assert found.carried.share_kg == pytest.approx(share)
    assert found.sum.own_kg == pytest.approx(own, rel=1e-6)
    force = 5 * 9.80665 * (share + own)
    bending = force * 80.0 / (21.0 * 9.0 / 6.0)
    assert bending <= found.sum.shock.stress_mpa <= 1.05 * bending
    assert found.sum.shock.safety == pytest.approx(250.0 / found.sum.shock.stress_mpa)
    assert found.sum.shock.place in ("at the hole to the car", "at the hole that carries")
    # P L³ / 3 E I; a quarter of the strap's own mass at its tip (Dunkerley's formula).
    soft = 80.0**3 / (3 * 200_000.0 * 30 * 27 / 12)
    by_hand = 1 / math.tau / math.sqrt(soft * (share + own / 4) / 1000.0)
    assert found.sum.hz == pytest.approx(by_hand, rel=0.01)
    assert found.sum.hz <= by_hand


def test_vibration_is_three_deviations_by_miles_and_the_weight() -> None:
    """Above 55 Hz the profile falls: the worst of the range is its lower end, by hand."""
    found = strength(STRAP, 0.4, 2)
    hz = found.sum.hz
    assert hz is not None
    assert 60.0 < hz < 90.0
    slope = math.log(0.25 / 6.5) / math.log(180 / 55)
    density = 6.5 * (hz / 55) ** slope
    g = 1 + 3 * math.sqrt(math.pi / 2 * hz * 10 * density) / 9.80665
    assert found.sum.vibration.g == pytest.approx(g, rel=1e-9)
    ratio = found.sum.vibration.stress_mpa / found.sum.shock.stress_mpa
    assert ratio == pytest.approx(g / 5, rel=1e-9)


def test_a_point_gets_an_uneven_share_and_never_more_than_all() -> None:
    shares = [Carried(2.0, points, "weighed").share_kg for points in (1, 2, 3, 4)]
    assert shares == pytest.approx([2.0, 1.5, 1.0, 0.75])


def test_idle_is_met_or_cleared() -> None:
    """An eight at 600 rpm fires 40 times a second; 1.4 × that is 56 Hz."""
    assert strength(STRAP, 0.4, 2).sum.idle == "above"
    near = strength(STRAP, 2.0, 2)
    assert near.sum.hz is not None
    assert 20.0 < near.sum.hz < 56.0
    assert near.sum.idle == "near"
    fast = strength_of(
        STRAP.blank, STRAP.spots[1], STRAP.spots[:1], Carried(4.0, 1, "weighed"), STEEL,
        Engine(8, 1500.0), with_remedies=False,
    )  # fmt: skip
    assert fast.sum.hz is not None
    assert fast.sum.hz < 1.4 * 25.0
    # Below the firing, but where the crankshaft itself shakes it 25 times a second.
    assert fast.sum.idle == "near"
    light = strength_of(
        ZED.blank, ZED.spots[1], ZED.spots[:1], Carried(0.7, 4, "weighed"), STEEL,
        Engine(12, 1500.0), with_remedies=False,
    )  # fmt: skip
    assert light.sum.hz is not None
    assert light.sum.most_hz is not None
    assert 1.4 * 25.0 < light.sum.hz < light.sum.most_hz < 0.7 * 150.0
    assert light.sum.idle == "below"


def test_an_arm_makes_it_worse() -> None:
    now, out = strength(ELL, 1.0), strength(ELL, 1.0, arm_mm=(0.0, 0.0, 30.0))
    assert out.sum.hz is not None
    assert now.sum.hz is not None
    assert out.sum.hz < now.sum.hz
    assert out.sum.shock.stress_mpa > now.sum.shock.stress_mpa


def test_rubber_leaves_the_frequency_unknown_and_takes_the_worst() -> None:
    soft = strength(ELL, 1.0, rubber=True)
    assert soft.sum.hz is None
    assert soft.sum.idle == "not known"
    assert soft.sum.vibration.g >= strength(ELL, 1.0).sum.vibration.g
    # The profile's worst, at 1000 Hz and above or at its corner of 55 Hz.
    assert soft.sum.vibration.g >= 1 + 3 * math.sqrt(math.pi / 2 * 55 * 10 * 6.5) / 9.80665
    assert soft.verdict in (Verdict.NOT_KNOWN, Verdict.TOO_CLOSE)


def test_without_an_engine_the_verdict_is_not_known() -> None:
    found = strength_of(
        STRAP.blank, STRAP.spots[1], STRAP.spots[:1], Carried(0.3, 4, "weighed"), STEEL
    )
    assert found.sum.shock.holds
    assert found.verdict is Verdict.NOT_KNOWN
    assert strength(STRAP, 0.3).verdict is Verdict.FITS
    assert strength(STRAP, 30.0).verdict is Verdict.TOO_CLOSE


def test_bends_are_judged_with_the_stress_on_their_inside() -> None:
    """A U whose bend is furthest from the load: moment there by hand, with the curved beam."""
    made = bent_strip((45, 60, 70), (90, 90), inside=2.0, wide=30.0)
    found = strength(made, 1.0)
    assert found.sum.shock.place == "in a bend"
    lines = found.strip.lines
    tip = lines.nodes[lines.carried]
    lever = max(float(np.linalg.norm(node - tip)) for node in lines.nodes[1:-1])
    force = 5 * 9.80665 * (found.carried.share_kg + found.sum.own_kg)
    by_hand = force * lever / rectangle(30.0, 3.0).flat_mm3 * curved_growth(2.0, 3.0)
    assert found.sum.shock.stress_mpa == pytest.approx(by_hand, rel=0.05)


# -- what would do ----------------------------------------------------------------------------


def test_every_remedy_does_and_the_thicker_sheet_really_is_enough() -> None:
    weak = strength(ZED, 0.6)
    assert not weak.sum.enough
    ways = {one.way: one for one in weak.remedies}
    assert {"thicker", "shorter"} <= set(ways)
    for one in weak.remedies:
        assert summed(weak.strip, weak.carried, weak.engine, one.change).enough
    thick = ways["thicker"].value
    made = bent_strip((50, 60, 50), (90, -90), thick=thick, inside=3.0)
    assert strength(made, 0.6).sum.enough
    assert not strength(bent_strip((50, 60, 50), (90, -90), thick=thick - 1.0), 0.6).sum.enough


def test_nothing_is_proposed_where_nothing_does() -> None:
    hopeless = strength(bent_strip((200, 200), (90,), thick=1.0, inside=1.0), 40.0, 1)
    assert hopeless.remedies == ()
    assert "No one change" in strength_words.note(hopeless)


def test_thicknesses_that_can_be_had_are_the_ones_proposed() -> None:
    found = strength_of(
        ZED.blank, ZED.spots[1], ZED.spots[:1], Carried(0.6, 4, "weighed"), STEEL, EIGHT,
        thicknesses_mm=(2.0, 3.1, 7.0),
    )  # fmt: skip
    thicker = [one.value for one in found.remedies if one.way == "thicker"]
    assert thicker == [7.0]


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    thicker=st.floats(1.0, 2.0),
    wider=st.floats(0.0, 30.0),
    shorter=st.floats(0.4, 1.0),
    rim=st.floats(3.5, 25.0),
    mass=st.floats(0.1, 5.0),
)
def test_no_change_for_the_better_makes_it_worse(
    thicker: float, wider: float, shorter: float, rim: float, mass: float
) -> None:
    """Under one and the same force (common practice); mass of its own makes frequencies fall."""
    strip = Strip(ZED.blank, ZED.spots[1], ZED.spots[:1], STEEL)
    load = Carried(mass, 4, "weighed")
    now = summed(strip, load, EIGHT)
    for change in (
        Change(thickness_mm=3.0 * thicker),
        Change(shorter=shorter),
        Change(wider_mm=wider),
        Change(rim_mm=rim),
        Change(washers=1.5),
    ):
        with_it = summed(strip, load, EIGHT, change)
        weights = [load.share_kg + one.own_kg for one in (now, with_it)]
        mine = with_it.shock.stress_mpa / weights[1]
        assert mine <= now.shock.stress_mpa / weights[0] * (1 + 1e-9)
        assert now.hz is not None
        assert with_it.hz is not None
        if change.wider_mm == 0.0 and change.rim_mm == 0.0:
            assert with_it.hz >= now.hz * (1 - 1e-9)


# -- words ------------------------------------------------------------------------------------


def test_every_figure_has_its_source_beside_it() -> None:
    found = strength(ELL, 1.0)
    words = "\n".join(strength_words.lines(found))
    assert "ISO 16750-3" in words
    assert "Miles" in words
    assert "common practice" in words
    assert "from memory" in words
    assert "cracks" in words
    assert strength_words.AS_MEASURED in words
    assert f"{found.sum.hz:.0f} Hz at the least" in words
    for word in ("certified", "proved", "guaranteed safe"):
        assert word not in words


def test_the_note_says_which_way_it_is() -> None:
    assert strength_words.note(strength(ELL, 0.5)).startswith("Strong enough: ")
    load, four = Carried(2.4, 4, "weighed"), Engine(4, 600.0)
    soft = replace(STEEL, yield_mpa=160.0)
    found = strength_of(ZED.blank, ZED.spots[1], ZED.spots[:1], load, soft, four)
    weak = strength_words.note(found)
    assert weak.startswith("Not surely strong enough: under 5 times the weight in ")
    assert "What would do: sheet of" in weak


def test_a_stiff_enough_bracket_near_idle_is_told_so() -> None:
    long = bent_strip((260,), thick=4.0, wide=40.0)
    found = strength_of(
        long.blank, long.spots[1], long.spots[:1], Carried(0.4, 4, "weighed"),
        replace(STEEL, yield_mpa=700.0), EIGHT,
    )  # fmt: skip
    assert found.sum.shock.holds
    assert found.sum.idle == "near"
    note = strength_words.note(found)
    assert note.startswith("Strong enough, but its first natural frequency may be as low as ")
    assert "56 Hz or more" in note


def test_an_unknown_engine_is_said_with_what_it_would_clear() -> None:
    found = strength_of(
        STRAP.blank, STRAP.spots[1], STRAP.spots[:1], Carried(0.3, 4, "weighed"), STEEL
    )
    hz = found.sum.hz
    assert hz is not None
    note = strength_words.note(found)
    assert "is not known" in note
    # An eight fires four times a turn: so many turns a minute at a frequency 1.4 times as low.
    most = int(hz / 1.4 * 60 / 4 // 10) * 10
    assert f"an eight up to {most} rpm" in note


def test_safety_is_never_rounded_up() -> None:
    found = strength(ELL, 0.777)
    words = strength_words.note(found)
    assert words.startswith("Strong enough: ")
    assert f"{math.floor(found.sum.shock.safety * 100) / 100:.2f} times that" in words


# -- tables -----------------------------------------------------------------------------------


def test_every_limit_has_a_source_and_a_meaning() -> None:
    for row in strength_limits().values():
        assert row.value > 0
        assert row.source
        assert row.meaning


def test_margins_are_those_of_a_single_mass_on_a_spring() -> None:
    """Closed form: |1 / (1 - r²)|, r what shakes over the natural frequency."""
    above = 1 / strength_limits()["idle above"].value
    assert 1 / (1 - above**2) == pytest.approx(2.0, rel=0.03)
    below = 1 / strength_limits()["idle below"].value
    assert 1 / (below**2 - 1) == pytest.approx(1.0, rel=0.05)


def test_an_end_that_may_not_turn_rings_twice_as_high() -> None:
    """12 E I / L³ against 3 E I / L³ (beam tables)."""
    found = strength(STRAP, 1.0).sum
    assert found.hz is not None
    assert found.most_hz == pytest.approx(2 * found.hz, rel=0.02)


@pytest.mark.parametrize("times", [0.2, 1.0, 5.0])
def test_a_tab_holds_the_end_as_far_as_it_does_not_bend(times: float) -> None:
    """δ = (P L³ / 3 E I) (1 - 3κ / 4(κ + 1)), κ = k L / E I: slope-deflection by hand.

    The moment at the root falls to P L (1 - κ / 2(κ + 1)).
    """
    bending = 200_000.0 * 30 * 27 / 12
    tab = Tab(20.0, 2.5, 70_000.0 * 20 * 2.5**3 / 12 / (times * bending / 80.0))
    assert tab.spring == pytest.approx(times * bending / 80.0)
    free, held = strength(STRAP, 1.0).sum, strength(STRAP, 1.0, tab=tab).sum
    assert free.hz is not None
    assert held.hz is not None
    softer = 1 - 3 * times / (4 * (times + 1))
    assert held.hz / free.hz == pytest.approx(1 / math.sqrt(softer), rel=0.01)
    less = 1 - times / (2 * (times + 1))
    assert held.shock.stress_mpa / free.shock.stress_mpa == pytest.approx(less, rel=0.03)
    assert held.most_hz == pytest.approx(free.most_hz)


def test_what_hangs_on_one_bracket_alone_turns_on_it() -> None:
    """Mass and inertia on a cantilever's tip: the exact root of both, and Dunkerley's below it."""
    long, mass, gyration = 80.0, 1.0, 50.0
    found = strength_of(
        STRAP.blank, STRAP.spots[1], STRAP.spots[:1],
        Carried(mass, 1, "weighed", gyration_mm=gyration), STEEL, EIGHT, with_remedies=False,
    )  # fmt: skip
    bending = 200_000.0 * 30 * 27 / 12
    soft = np.array([[long**3 / 3, long**2 / 2], [long**2 / 2, long]]) / bending
    heavy = np.diag([mass, mass * gyration**2]) / 1000.0
    exact = 1 / math.sqrt(max(np.linalg.eigvals(soft @ heavy).real)) / math.tau
    assert found.sum.hz is not None
    assert 0.8 * exact < found.sum.hz <= exact


def test_a_condenser_weighs_a_few_kilograms() -> None:
    """600 × 350 × 20 mm: 2 to 4 kg (common practice)."""
    found = usual_mass_kg("condenser", 600 * 350 * 20)
    assert found is not None
    least, most = found
    assert 1.5 < least < 2.5 < 4.0 < most < 5.0
    assert usual_mass_kg("grille", 1e6) is None
    assert all(0 < row.least < row.most and row.remembered for row in part_masses().values())


@pytest.mark.parametrize("name", list(sheet_materials()))
def test_every_sheet_material_can_be_summed_up(name: str) -> None:
    found = strength_of(
        ELL.blank, ELL.spots[1], ELL.spots[:1], Carried(0.3, 4, "weighed"), sheet_materials()[name],
        EIGHT,
    )  # fmt: skip
    assert found.sum.shock.stress_mpa > 0
    assert strength_words.lines(found)


def test_a_blank_of_one_disc_has_no_strip() -> None:
    disc = Blank(3.0, (Flange(Circle((0.0, 0.0), 40.0).as_path(), (Circle((0.0, 0.0), 9.0),)),))
    spot = Spot(0, (0.0, 0.0), 9.0, 18.0)
    with pytest.raises(GeometryError, match="one place"):
        strip_lines(disc, spot, (spot,))
