"""The choice of a spacer and its bolts, against sums that were worked by hand."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from noseroom.checks.spacer_bolts import Joint, Span
from noseroom.checks.spacer_choice import Choice, Room, choose
from noseroom.checks.spacer_remedies import remedies
from noseroom.checks.spacer_stack import Missing, Stack
from noseroom.checks.spacer_words import lines, note
from noseroom.parts.spacer import Spacer
from noseroom.tables import fasteners as tables
from noseroom.units import read_thread

INCH = 25.4
BY_HAND = Room(
    ((53.2, 80.0),),
    ahead=lambda t: 152 - 12 - 3 - 38 - t,
    behind=lambda t: t - 22 - 17 - 1.5,
    shroud=lambda t: min(max((t + 38 - 78) / (38 + 17), 0.0), 1.0),
)
"""Axis forward from the hub's face, mm. Behind: an object that reaches 22 ahead of the hub, blades
whose trailing edge is 17 behind the mounting face and comes back 1.5 at speed, 12.7 asked; ahead:
the core at 152, 12 of engine movement, 3 of flex, leading edge 38 ahead, 19 asked; the shroud's
mouth at 78. So the window is 22 + 17 + 1.5 + 12.7 = 53.2 to 152 - 12 - 3 - 38 - 19 = 80.0."""


def joint(depth: float = 16.0, hole: str = "through", material: str = "steel") -> Joint:
    thread = tables.thread_like(read_thread("5/16-24"))
    assert thread is not None
    return Joint(
        thread,
        4,
        hole,  # type: ignore[arg-type]
        Span.about(depth),
        tables.hub_materials()[material],
        Span.about(5.0),
        tables.grades()["5"],
        tables.bolt_lengths("in"),
    )


RING = Spacer(thickness_mm=25.0, diameter_mm=76.0, bore_mm=16.0, bolt_circle_mm=44.45, hole_mm=8.73)
STACK = Stack(
    fan="fan",
    pump="water pump",
    drive="rigid",
    unit="in",
    joint=joint(),
    missing=(),
    pilot=Span.about(14.0, 1.0),
    between=Span.about(0.0),
    bearing=Span.about(40.0),
    balance=Span.about(20.0),
    sure_lever=True,
    mass_kg=None,
    most_rpm=None,
    hub_mm=76.0,
    ring=RING,
    unfit="",
    stock=tables.stock_spacers(),
)


def chosen(stack: Stack = STACK, room: Room = BY_HAND) -> Choice:
    found = choose(stack, room)
    assert found is not None
    return found


def said(choice: Choice) -> str:
    return " ".join((note(choice), *lines(choice)))


# -- by hand ----------------------------------------------------------------------------------


def test_stock_thicknesses_inside_the_window_and_one_to_turn() -> None:
    found = {round(one.thickness_mm, 2): one for one in chosen().options}
    assert sorted(found) == [57.15, 63.5, 66.67, 69.85, 76.2]
    assert [mm for mm, one in sorted(found.items()) if not one.stock] == [66.67]


@pytest.mark.parametrize(
    ("thickness", "behind", "ahead", "shroud", "growth"),
    [(63.5, 23.0, 35.5, 0.43, 2.06), (76.2, 35.7, 22.8, 0.66, 2.27)],
)
def test_what_two_stock_spacers_leave(
    thickness: float, behind: float, ahead: float, shroud: float, growth: float
) -> None:
    one = next(one for one in chosen().options if one.thickness_mm == thickness)
    assert one.behind_mm == pytest.approx(behind, abs=0.1)
    assert one.ahead_mm == pytest.approx(ahead, abs=0.1)
    assert one.shroud == pytest.approx(shroud, abs=0.005)
    assert one.growth.most_mm == pytest.approx(growth, abs=0.005)
    assert one.growth.least_mm == one.growth.most_mm


def test_the_best_is_in_stock_and_stands_furthest_inside() -> None:
    """2 1/2 in is 10.3 mm from the nearer end, 2 3/4 in 10.15, the others under 4."""
    order = [one.thickness_mm / INCH for one in chosen().options]
    assert order == pytest.approx([2.5, 2.75, 2.25, 3.0, 2.625])
    assert chosen().best.spare_mm == pytest.approx(10.3)


def test_bolts_of_the_best_by_hand() -> None:
    """2 1/2 in of spacer, 5 mm of flange, washers 0.051 to 0.080 in, steel 16 mm deep.

    Grip 69.70 to 70.63 mm, the spacer 0.1 off. Engaged, less a thread of 1.06 mm for the point:
    3 1/4 in, which may be 0.06 in short, 82.55 - 1.52 - 70.63 - 1.06 = 9.34 mm; the standard asks
    for 6.16 × 1.57 = 9.68 to bear all that grade 5 does (J = 1.57 for steel of 380 MPa), so 3 1/2
    in is taken: 15.69.
    75 % of 586.1 MPa × 37.46 mm² = 16 470 N; torque 0.15 to 0.20 × 7.9375 mm × that = 19.6 to 26.1.
    """
    made = chosen().best.bolts
    assert made is not None
    assert made.bolt is not None
    assert made.bolt.label == "3 1/2"
    assert made.grip.least_mm == pytest.approx(69.70, abs=0.01)
    assert made.grip.most_mm == pytest.approx(70.63, abs=0.01)
    assert made.joint.full_mm == pytest.approx(9.68, abs=0.02)
    assert made.engaged.least_mm == pytest.approx(15.69, abs=0.02)
    assert made.share == 1.0
    assert made.clamp_n == pytest.approx(16_470, rel=2e-3)
    assert made.torque_nm.least_mm == pytest.approx(19.6, abs=0.05)
    assert made.torque_nm.most_mm == pytest.approx(26.1, abs=0.1)
    assert made.joint.drill.normal == "11/32"


def test_the_hubs_pilot_is_left_or_the_spacer_has_its_own() -> None:
    """A pilot of 66.5 ± 1 mm reaches 2.0 mm through 63.5 mm at least: too little to centre by."""
    assert chosen().best.pilot_left_mm == 0.0
    assert chosen().best.double_pilot
    long = chosen(replace(STACK, pilot=Span.about(69.0, 1.0))).best
    assert long.pilot_left_mm == pytest.approx(4.5)
    assert not long.double_pilot
    # 66.5 ± 1 mm: too little comes through 63.5, and a recess for it leaves no floor.
    between = chosen(replace(STACK, pilot=Span.about(66.5, 1.0)))
    stuck = next(one for one in between.options if one.thickness_mm == 63.5)
    assert stuck.double_pilot
    assert "too thin for two pilots" in stuck.form.faults[0]
    assert between.best.form.faults == ()


def test_a_spacer_that_cannot_be_made_is_never_the_best() -> None:
    """A pilot of 20 ± 1 mm and its recess of 22 ask for 25 mm with two pilots; 3/4 in covers it."""
    found = chosen(replace(STACK, pilot=Span.about(20.0, 1.0)), Room(((16.5, 25.6),)))
    assert found.best.thickness_mm == pytest.approx(25.4)
    stuck = chosen(replace(STACK, pilot=Span.about(20.0, 1.0)), Room(((18.0, 22.0),)))
    assert stuck.best.stuck
    assert "No spacer that keeps the fan's room can be made" in note(stuck)
    assert "too thin for two pilots, for which it would take 25.0 mm" in note(stuck)
    assert "both faces" not in said(stuck)
    assert not any("fit one spacer" in one for one in remedies(stuck))


def test_a_hub_without_a_pilot_takes_a_plain_spacer() -> None:
    """A pilot of 1.5 ± 1 mm centres nothing, and a recess for it would be for nothing."""
    found = chosen(replace(STACK, pilot=Span.about(1.5, 1.0)))
    assert not found.best.double_pilot
    assert "no pilot to speak of" in said(found)
    assert not any("both faces" in one for one in (*remedies(found), said(found)))


def test_a_cut_names_its_bolt_and_is_never_too_short() -> None:
    """M8 in 17 mm of steel: 65.05 mm at least, said as 65.1; 70 mm less its tolerance at most."""
    one = tables.thread_like(read_thread("M8"))
    assert one is not None
    metric = replace(
        joint(17.0, "blind"),
        thread=one,
        depth=Span.about(17.0, 0.5),
        flange=Span(2.9, 3.1),
        grade=tables.grades()["8.8"],
        lengths=tables.bolt_lengths("mm"),
    )
    found = chosen(replace(STACK, unit="mm", joint=metric, stock=()), Room(((50.6, 51.0),)))
    (cut,) = [one for one in remedies(found) if one.startswith("cut bolts")]
    assert "cut bolts M8x1.25 × 70 mm down to between 65.1 mm and 69.4 mm" in cut


def test_moments_with_masses_by_hand() -> None:
    """2 kg at 60 mm is 1.177 N·m; at 123.5 mm 2.422.

    An aluminium ring of 76 mm and 63.5 mm long weighs 0.778 kg; its middle is 40 + 31.75 mm out of
    the bearing: 0.547 N·m. So it is 2.969 N·m, 2.52 times today's.
    """
    found = chosen(replace(STACK, mass_kg=2.0))
    assert found.moments_nm is not None
    today, then = found.moments_nm
    assert today.most_mm == pytest.approx(1.177, abs=1e-3)
    assert found.spacer_kg == pytest.approx(0.778, abs=1e-3)
    assert then.most_mm == pytest.approx(2.422 + 0.547, abs=2e-3)
    assert found.best.growth.most_mm == pytest.approx(2.969 / 1.177, abs=5e-3)
    assert found.best.growth.least_mm == found.best.growth.most_mm
    assert "2.53 times today's moment" in said(found)  # 2.522, rounded up
    assert "own weight not counted" in said(chosen())


# -- what comes first, and what cannot be ------------------------------------------------------


def test_a_spacer_that_cannot_be_bolted_comes_after_all_that_can() -> None:
    """In a blind hole of 16 mm of cast iron only some thicknesses meet a bolt of the series."""
    blind = replace(STACK, joint=joint(17.5, "blind", "cast iron"))
    order = [one.bolted for one in chosen(blind).options]
    assert True in order
    assert False in order
    assert order == sorted(order, reverse=True)


def test_where_no_stock_spacer_meets_a_bolt_one_is_turned_that_does() -> None:
    room = Room(((60.0, 66.0),))
    blind = replace(STACK, joint=joint(18.0, "blind", "cast iron"))
    found = chosen(blind, room)
    assert {one.thickness_mm: one.bolted for one in found.options}[63.5] is False
    assert not found.best.stock
    assert found.best.bolted
    assert 60.0 <= found.best.thickness_mm <= 66.0
    marks = found.best.thickness_mm / INCH * 64
    assert marks == pytest.approx(round(marks))


def test_nothing_to_choose_from_an_empty_window() -> None:
    assert choose(STACK, Room(())) is None


def test_a_window_thinner_than_any_spacer_has_no_answer() -> None:
    assert choose(STACK, Room(((0.5, 2.5),))) is None


def test_a_narrow_window_between_stock_sizes_is_turned_for() -> None:
    found = chosen(room=Room(((58.0, 58.6),)))
    assert [one.stock for one in found.options] == [False]
    assert 58.0 <= found.best.thickness_mm <= 58.6


def test_several_windows_each_count() -> None:
    found = chosen(room=Room(((24.0, 26.0), (60.0, 70.0))))
    stock = sorted(one.thickness_mm for one in found.options if one.stock)
    assert stock == pytest.approx([25.4, 63.5, 69.85])
    assert found.best.thickness_mm == 63.5


def test_the_shops_own_list_is_taken_instead_of_what_is_sold() -> None:
    own = (tables.Stock("2 7/8", "in", 2.875 * INCH, "the envelope file"),)
    found = chosen(replace(STACK, stock=own))
    assert found.best.thickness_mm == pytest.approx(73.025)
    assert "from your own list" in said(found)


def test_nothing_goes_on_top_of_what_can_only_be_a_spacer() -> None:
    assert choose(replace(STACK, between=Span.about(25.4)), BY_HAND) is None
    assert choose(replace(STACK, between=Span.about(3.0)), BY_HAND) is not None


# -- words ------------------------------------------------------------------------------------


def test_the_words_give_the_best_with_its_bolts_and_its_cautions() -> None:
    text = said(chosen())
    for part in (
        "a spacer of 2 1/2 in as sold is the best choice",
        "7/8 in behind it and 1 3/8 in ahead of its blades stay free",
        "43 % of the blades' width stands in the shroud",
        "4 bolts 5/16-24 × 3 1/2 in, grade 5, each with a plain washer",
        "at least 39/64 in in the hub's thread, where steel asks for 5/16 in",
        "2.06 times today's moment",
        "that is much",
        "a pilot on both faces",
        "From memory, confirm before you buy",
        "maker of fan, pump or bolts gives stands above",
    ):
        assert part in text, part
    first, *_ = remedies(chosen())
    assert first.endswith("never stack spacers")


def test_what_is_missing_is_named_with_how_to_get_it() -> None:
    waiting = replace(
        STACK, joint=None, missing=(Missing("the depth of the thread", "run a bolt in by hand"),)
    )
    found = chosen(waiting)
    assert "not known, for want of the depth of the thread" in said(found)
    assert remedies(found)[0] == "run a bolt in by hand"


@pytest.mark.parametrize(
    ("stuck", "why", "cure"),
    [
        (joint(10.0, "blind", "aluminium"), "asks for 5/8 in", "machine shop"),
        (joint(13.3, "blind", "steel"), "bottoms in the hub", "cut bolts 5/16-24 × "),
        (joint(25.0, "through", "aluminium"), "runs into the hub's thread", "up to the head"),
        (
            replace(joint(), lengths=tables.bolt_lengths("in")[:6]),
            "does not reach",
            "find bolts of at least",
        ),
    ],
)
def test_what_cannot_be_bolted_says_why_and_what_helps(stuck: Joint, why: str, cure: str) -> None:
    found = chosen(replace(STACK, joint=stuck), Room(((63.4, 63.6),)))
    assert not found.best.bolted
    assert why in said(found)
    assert any(cure in one for one in remedies(found))


def test_only_a_known_speed_gives_a_figure_for_balance() -> None:
    """G6.3 at 4500 rpm: 6.3 / 471.2 = 0.0134 mm (ISO 21940-11, from memory)."""
    assert chosen().off_centre_mm is None
    assert any("highest speed with its maker" in one for one in remedies(chosen()))
    fast = chosen(replace(STACK, most_rpm=4500.0))
    assert fast.off_centre_mm == pytest.approx(0.0134, abs=5e-5)
    text = said(fast)
    assert "its middle of mass may lie 0.013 mm off the axis" in text
    assert "Its balance" in text
    assert "off centre" not in text
    assert "may run" not in text
    assert "from memory" in said(fast)


@pytest.mark.parametrize(("drive", "how"), [("clutch", "clutch's flange"), ("flexible", "lean")])
def test_kinds_of_fans_differ(drive: str, how: str) -> None:
    assert how in said(chosen(replace(STACK, drive=drive)))
    assert how not in said(chosen())


def test_studs_say_how_far_they_go_in() -> None:
    """A blind end of 16 mm keeps a thread of 1.06 mm free: 14.94 mm of stud at most."""
    found = chosen(replace(STACK, joint=joint(hole="stud")))
    made = found.best.bolts
    assert made is not None
    assert made.bolt is not None
    text = said(found)
    assert "4 studs 5/16-24" in text
    assert "each with a nut and a plain washer" in text
    assert "Screw each stud" in text
    into = made.engaged.least_mm + 25.4 / 24
    assert into <= 16.0 - 25.4 / 24 + 1e-9
    # Nut, washer, fan and spacer find room on what stands out, two threads to spare.
    out = made.bolt.length_mm - made.bolt.shorter_mm - into
    assert out >= made.grip.most_mm + made.joint.nut.height_mm + 2 * 25.4 / 24 - 1e-9


def test_random_windows_and_joints_keep_their_promises() -> None:
    rng = random.Random(5)
    bolted = 0
    for _ in range(300):
        low = rng.uniform(0, 90)
        window = ((low, low + rng.uniform(0.05, 25)),)
        stack = replace(
            STACK,
            unit=rng.choice(("in", "mm")),
            joint=joint(
                rng.uniform(8, 30),
                rng.choice(("blind", "through", "stud")),
                rng.choice(("steel", "cast iron", "aluminium")),
            ),
        )
        found = choose(stack, Room(window))
        if found is None:
            stock = [one.thickness_mm for one in stack.stock]
            assert not any(window[0][0] + 0.1 < mm < window[0][1] - 0.1 for mm in stock)
            assert window[0][1] < 3.2 or window[0][1] - window[0][0] < 0.21
            continue
        for one in found.options:
            assert window[0][0] + 0.1 <= one.thickness_mm + 1e-9
            assert one.thickness_mm <= window[0][1] - 0.1 + 1e-9
            assert one.thickness_mm >= 3.0
        assert found.best.bolted == any(one.bolted for one in found.options)
        bolted += found.best.bolted
        assert said(found)
        assert remedies(found)
    assert 100 < bolted < 290
