"""The choice of a spacer on whole noses: what is read, what is missing, what is wrong."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path

import jsonschema
import pytest

from noseroom.checks.fan_window import window_of
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.checks.spacer import check_spacers, room_of, spacer_choice
from noseroom.checks.spacer_choice import Room, choose
from noseroom.checks.spacer_stack import Stack, stack_of
from noseroom.checks.spacer_words import lines, note
from noseroom.envelope.reader import json_schema, read_text
from noseroom.errors import EnvelopeError
from noseroom.findings import Finding, Verdict
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from noseroom.report.fan_stack import fan_stacks
from noseroom.report.result import verdict_of
from noseroom.workshop.spacer_plan import NoSpacerError, spacer_plan

INCH = 25.4
PICKUP = Path(__file__).parents[1] / "vehicle_envelopes" / "farm_pickup.yaml"
TEXT = PICKUP.read_text(encoding="utf-8")
BOLTS = "bolts: {count: 4, circle: 1 3/4, thread: 5/16-24, depth: 5/8 ± 1/32, hole: through}"


def changed(*changes: tuple[str, str]) -> Layout:
    """The pickup with words of its file changed."""
    text = TEXT
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return arrange(read_text(text, KINDS))


def stack(layout: Layout) -> Stack:
    found = stack_of(layout, layout.parts["fan"])
    assert found is not None
    return found


@dataclass(frozen=True)
class Windowed:
    """A window that leaves a known room, without a nose to measure."""

    layout: Layout
    room: Room

    @property
    def intervals(self) -> tuple[tuple[float, float], ...]:
        return self.room.window

    def gaps(self, _: float) -> tuple[()]:
        return ()

    def in_shroud(self, _: float) -> None:
        return None


@pytest.fixture(scope="module")
def pickup() -> Layout:
    return changed()


# -- the pickup, by hand -----------------------------------------------------------------------


def test_the_pickups_stack_is_as_its_file_says(pickup: Layout) -> None:
    """Bearing 1 1/2 in behind the hub, a ring of 1/8 in between, the fan balances 3/4 in ahead."""
    one = stack(pickup)
    assert not one.missing
    assert one.joint is not None
    assert one.joint.flange.least_mm == pytest.approx(INCH * (5 / 32 - 1 / 64), abs=1e-6)
    assert one.joint.depth.least_mm == pytest.approx(INCH * (5 / 8 - 1 / 32), abs=1e-6)
    # The readings of the blades' front edges bear on the ring a little.
    assert one.between.least_mm == pytest.approx(INCH * (1 / 8 - 1 / 64), abs=0.1)
    assert one.between.most_mm == pytest.approx(INCH * (1 / 8 + 1 / 64), abs=0.1)
    middle = (one.lever.least_mm + one.lever.most_mm) / 2
    assert middle == pytest.approx(INCH * (1.5 + 1 / 8 + 3 / 4), abs=0.1)
    assert one.sure_lever


def test_the_pickups_bolts_by_hand(pickup: Layout) -> None:
    """2 in of spacer. At most: washer 0.080, fan 11/64, ring 9/64 in, 0.1 mm: a grip of 60.87 mm.

    3 in, which may be 0.06 in short, less the grip and a thread of 1.06 mm for the point: 76.2 -
    1.52 - 60.87 - 1.06 = 12.75 mm. Cast iron asks for 1.5 d = 11.91. To bear all that grade 5 does
    it would take J Le = 2.88 × 6.16 = 17.8, so the thread carries 12.75 / 17.8 = 72 % of 75 % of
    586.1 MPa × 37.46 mm²: 11.8 kN, with 0.20 × 7.94 mm × that = 18.8 N·m dry, 14.1 oiled.
    """
    joint = stack(pickup).joint
    assert joint is not None
    found = choose(stack(pickup), Room(((50.0, 51.5),)))
    assert found is not None
    best = found.best
    assert (best.label, best.stock, best.double_pilot) == ("2 in", True, True)
    made = best.bolts
    assert made is not None
    assert made.bolt is not None
    assert made.bolt.label == "3"
    assert made.grip.most_mm == pytest.approx(60.87, abs=0.1)
    assert made.engaged.least_mm == pytest.approx(12.75, abs=0.1)
    assert made.joint.needed_mm == pytest.approx(11.906, abs=1e-3)
    assert made.joint.full_mm == pytest.approx(17.8, abs=0.05)
    assert made.clamp_n == pytest.approx(11_810, rel=0.01)
    assert made.torque_nm.most_mm == pytest.approx(18.8, rel=0.01)
    assert made.torque_nm.least_mm == pytest.approx(14.1, rel=0.01)
    # Moment: the fan's 1.6 kg go from 60.3 to 111.1 mm; 0.625 kg of spacer lie 38.1 + 3.2 + 25.4 =
    # 66.7 mm out: (1.6 × 111.1 + 0.625 × 66.7) / (1.6 × 60.3).
    assert (best.growth.least_mm + best.growth.most_mm) / 2 == pytest.approx(2.27, abs=0.03)
    moments = found.moments_nm
    assert moments is not None
    # At most, with a lever of 67.1 mm: 1.6 × 9.807 × 117.9 + 0.625 × 9.807 × 69, N·mm.
    assert moments[1].most_mm == pytest.approx(1.850 + 0.423, abs=0.02)
    assert moments[1].most_mm / moments[0].most_mm == pytest.approx(2.16, abs=0.02)


def test_a_spacer_of_one_inch_is_much_for_the_pickups_bearing_too(pickup: Layout) -> None:
    """(1.6 × 85.7 + 0.313 × 54) / (1.6 × 60.3) = 1.60: more than 1.5, which counts as much."""
    found = choose(stack(pickup), Room(((25.0, 26.0),)))
    assert found is not None
    assert found.best.growth.least_mm < 1.60 < found.best.growth.most_mm
    assert "that is much" in " ".join(lines(found))


def test_the_pickups_window_its_choice_and_what_it_leaves(pickup: Layout) -> None:
    """The best stands in the window, and the gaps named for it are no more than what is there.

    Ahead: 3 1/2 in at 6 o'clock less 2 in is 38.1 mm along the axis, which tilts by about 3 1/2
    degrees against a core that leans: less than that, and more than the rule's 3/4 in.
    """
    pairs, rules = Pairs(pickup), Rules(pickup.envelope)
    window = window_of(pairs, rules, pickup.parts["fan"])
    found = spacer_choice(window)
    assert found is not None
    best = found.best
    assert best.stock
    assert best.bolted
    assert window.holds(best.thickness_mm)
    stock = [one.thickness_mm for one in found.stack.stock if window.holds(one.thickness_mm)]
    assert sorted(one.thickness_mm for one in found.options if one.stock) == sorted(stock)
    assert best.ahead_mm is not None
    assert best.behind_mm is not None
    assert 19.05 <= best.ahead_mm < 38.1
    assert best.behind_mm >= 9.525
    gap = Finding("fan gap: fan", "", ("fan",), Verdict.FOULS, "")
    (answer,) = check_spacers(pickup, (gap,), {"fan": window})
    assert answer.verdict is Verdict.FITS
    assert answer.details["thickness_mm"] == pytest.approx(best.thickness_mm, abs=1e-3)
    assert "from memory" in answer.note.lower()
    assert room_of(window).ahead(best.thickness_mm) == pytest.approx(best.ahead_mm)


# -- what is missing ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "what", "how"),
    [
        (", depth: 5/8 ± 1/32", "", "the depth of the hub's thread", "count its turns"),
        (", material: cast iron", "", "what the hub is made of", "a file takes grey dust"),
        (", thickness: 5/32 ± 1/64", "", "the thickness of the fan's hub plates", "spider"),
        (", thread: 5/16-24", "", "the thread of its bolts", "gauge the thread"),
        (", circle: 1 3/4", "", "its bolt circle", "measure the bolt circle"),
        ("thread: 5/16-24", "thread: 7/16-18", "“7/16-18”, which is in no table", "again"),
        ("thread: 5/16-24", "thread: five", "“five”, which is in no table", "again"),
        (
            "    - mount 1/8 ± 1/64 ahead of water pump.hub.face   # a flat ring is between\n",
            "",
            "how far the fan stands ahead of the hub's face",
            "mount ... ahead of water pump.hub.face",
        ),
    ],
)
def test_without_a_size_the_bolts_are_not_known(old: str, new: str, what: str, how: str) -> None:
    layout = changed((old, new))
    one = stack(layout)
    assert one.joint is None
    (missing,) = one.missing
    assert what in missing.what
    assert how in missing.how
    found = choose(one, Room(((49.0, 58.0),)))
    assert found is not None
    assert found.best.bolts is None
    assert found.best.thickness_mm == pytest.approx(2 * INCH)


def test_a_fan_on_a_clutch_asks_for_the_clutchs_flange() -> None:
    layout = changed(("drive: rigid", "drive: clutch"))
    (missing,) = [one for one in stack(layout).missing if "flange" in one.what]
    assert "clutch: {flange: ...}" in missing.how


def test_a_circle_that_does_not_fit_the_hub_is_told() -> None:
    """2 3/4 in through the bolts and 11/32 in of hole leave 1.2 in of radius on a hub of 3 in."""
    layout = changed((BOLTS, BOLTS.replace("1 3/4", "2 3/4")))
    one = stack(layout)
    assert "bolt holes and the rim" in one.unfit
    found = choose(one, Room(((49.0, 58.0),)))
    assert found is not None


def test_a_fan_that_no_pump_carries_has_no_known_spacer() -> None:
    layout = changed(
        ("  drive: rigid\n", "  drive: rigid\n  carried by: engine\n"),
        (
            "    - mount 1/8 ± 1/64 ahead of water pump.hub.face   # a flat ring is between\n",
            "    - axis 0 ± 1/8 right of centreline\n",
        ),
    )
    assert stack_of(layout, layout.parts["fan"]) is None
    gap = Finding("fan gap: fan", "", ("fan",), Verdict.FOULS, "")
    window = Windowed(layout, Room(((20.0, 30.0),)))
    (answer,) = check_spacers(layout, (gap,), {"fan": window})  # type: ignore[dict-item]
    assert answer.verdict is Verdict.NOT_KNOWN
    assert "no water pump" in answer.note


@pytest.mark.parametrize("without", [Verdict.FOULS, Verdict.TOO_CLOSE])
@pytest.mark.parametrize(
    ("new", "why"),
    [
        (BOLTS.replace("through", "blind").replace("5/8 ±", "1/2 ±"), "asks for 1/2 in"),
        (BOLTS.replace("1 3/4", "2 3/4"), "No spacer can be bored"),
    ],
)
def test_where_no_spacer_can_be_bolted_the_fan_stays_as_it_is(
    new: str, why: str, without: Verdict
) -> None:
    layout = changed((BOLTS, new))
    gap = Finding("fan gap: fan", "", ("fan",), without, "")
    window = Windowed(layout, Room(((49.0, 58.0),)))
    (answer,) = check_spacers(layout, (gap,), {"fan": window})  # type: ignore[dict-item]
    assert answer.verdict is without
    assert why in answer.note
    assert answer.remedies


@pytest.mark.parametrize(
    ("window", "change", "why"),
    [
        ((12.0, 15.0), (), "too thin for two pilots"),
        ((49.0, 58.0), (("count: 4", "count: 12"),), "the washers of 12 bolts"),
        ((49.0, 53.0), (("length: 9/16", "length: 2"),), "too thin for two pilots"),
    ],
)
def test_what_cannot_be_made_never_fits(
    window: tuple[float, float], change: tuple[tuple[str, str], ...], why: str
) -> None:
    layout = changed(*change)
    gap = Finding("fan gap: fan", "", ("fan",), Verdict.FOULS, "")
    (answer,) = check_spacers(layout, (gap,), {"fan": Windowed(layout, Room((window,)))})  # type: ignore[dict-item]
    assert answer.verdict is Verdict.FOULS
    assert why in answer.note
    assert answer.remedies
    assert not any("fit one spacer" in one for one in answer.remedies)
    gap = replace(gap, details={"spacer_mm": [list(window)]})
    with pytest.raises(NoSpacerError, match=why):
        spacer_plan(layout, gap)


def test_choice_and_drawing_agree_on_the_form(pickup: Layout) -> None:
    """One pilot or two, and whether at all: the answer and the bench say the same."""
    kinds = set()
    lengths = ("1/16", "9/16", "1 1/2", "3")
    layouts = [changed(("length: 9/16", f"length: {length}")) for length in lengths]
    for layout, low in product(layouts, (10.0, 24.0, 37.0, 50.0)):
        window = (low, low + 3.0)
        found = choose(stack(layout), Room((window,)))
        assert found is not None
        gap = Finding(
            *("fan gap: fan", "", ("fan",), Verdict.FOULS, ""),
            details={"spacer_mm": [list(window)]},
        )
        if found.best.form.faults:
            kinds.add("none")
            with pytest.raises(NoSpacerError, match="too thin"):
                spacer_plan(layout, gap)
            continue
        spacer = spacer_plan(layout, gap).spacer
        kinds.add(spacer.form)
        assert spacer == found.best.form.spacer
        assert spacer.is_double == found.best.double_pilot
        assert ("both faces" in " ".join(lines(found))) == spacer.is_double
        assert spacer.faults() == ()
    assert kinds == {"none", "plain", "double pilot"}


def test_a_depth_that_may_be_nothing_is_said_so() -> None:
    """1/64 ± 1/32 in: no thread for sure, and none of less than nothing."""
    one = stack(changed(("depth: 5/8 ± 1/32", "depth: 1/64 ± 1/32")))
    assert one.joint is not None
    assert one.joint.depth.least_mm == 0.0
    found = choose(one, Room(((49.0, 58.0),)))
    assert found is not None
    assert "the hub has nothing for sure" in note(found)
    assert "-1/" not in note(found)


def test_nothing_goes_on_top_of_a_spacer_that_is_on_already() -> None:
    """The fan's face 1 1/2 in ahead of the hub's: that is no pulley's web."""
    layout = changed(
        ("mount 1/8 ± 1/64 ahead", "mount 1 1/2 ± 1/64 ahead"),
        ("  ahead: 2 3/4\n", "  ahead: 1 3/8\n"),
    )
    gap = Finding("fan gap: fan", "", ("fan",), Verdict.FOULS, "")
    room = Room(((20.0, 30.0),))
    assert choose(stack(layout), room) is None
    (answer,) = check_spacers(layout, (gap,), {"fan": Windowed(layout, room)})  # type: ignore[dict-item]
    assert answer.verdict is Verdict.NOT_KNOWN
    assert "never stacked" in answer.note
    assert "take off what is on" in answer.remedies[0]


def test_the_editors_schema_knows_the_shop() -> None:
    schema = json_schema(KINDS)
    shop = {"spacers": [1, "1 1/2"], "bolts": "3", "grade": 5}
    whole = {"format": 1, "units": "in", "shop": shop}
    jsonschema.validate(whole, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(whole | {"shop": {"spacers": [1], "nuts": 3}}, schema)


def test_the_choice_does_not_count_to_the_verdict() -> None:
    gap = Finding("fan gap: fan", "", ("fan",), Verdict.TOO_CLOSE, "")
    for verdict in Verdict:
        choice = Finding("spacer: fan", "", ("fan",), verdict, "")
        assert verdict_of((gap, choice), 3) is Verdict.TOO_CLOSE


# -- the shop's own list -----------------------------------------------------------------------


def test_the_shops_list_is_read_in_the_files_unit() -> None:
    layout = changed(
        ("tape: 1/16", "shop: {spacers: [2 1/8, 1, 52 mm], bolts: 3 1/8, grade: 8}\ntape: 1/16")
    )
    shop = layout.envelope.shop
    assert shop.spacers_mm == pytest.approx((25.4, 52.0, 2.125 * INCH))
    assert shop.bolts_mm == pytest.approx((3.125 * INCH,))
    one = stack(layout)
    assert [each.label for each in one.stock] == ["1", "2 3/64", "2 1/8"]
    assert one.joint is not None
    assert one.joint.grade.grade == "8"
    assert [each.label for each in one.joint.lengths] == ["3 1/8"]


@pytest.mark.parametrize(
    ("grade", "thread", "other", "right"),
    [
        ("8", "M8x1.25", "inch threads (SAE J429)", "8.8 and 10.9"),
        ("5", "M8x1.25", "inch threads (SAE J429)", "8.8 and 10.9"),
        ("8.8", "5/16-24", "metric threads (ISO 898-1)", "2, 5 and 8"),
        ("10.9", "5/16-24", "metric threads (ISO 898-1)", "2, 5 and 8"),
    ],
)
def test_a_grade_for_other_threads_is_not_used(
    grade: str, thread: str, other: str, right: str
) -> None:
    """SAE J429 is for inch bolts, ISO 898-1 for metric ones: a number alone may be either."""
    layout = changed(
        ("tape: 1/16", f"shop: {{grade: {grade}}}\ntape: 1/16"),
        ("thread: 5/16-24", f"thread: {thread}"),
    )
    one = stack(layout)
    assert one.joint is None
    (missing,) = one.missing
    assert f"{grade}, as the file's shop has it, is one for {other}" in missing.what
    assert right in missing.how
    assert "shop: {grade: ...}" in missing.how


def test_the_picture_marks_the_shops_own_spacers() -> None:
    layout = changed(("tape: 1/16", "shop: {spacers: [1, 2 1/8]}\ntape: 1/16"))
    gap = Finding(
        "fan gap: fan", "", ("fan",), Verdict.FOULS, "", details={"spacer_mm": [[49.0, 58.0]]}
    )
    (picture,) = fan_stacks(layout, (gap,))
    assert [one.label for one in picture.stock] == ["1", "2 1/8"]


@pytest.mark.parametrize(
    ("shop", "key", "found"),
    [
        ("shop: {spacers: [1, thick]}", "shop.spacers", "thick"),
        ("shop: {spacers: [1, 20]}", "shop.spacers", '"20"'),
        ("shop: {bolts: [3 ± 1/16]}", "shop.bolts", '"3 ± 1/16"'),
        ("shop: {spacer: 1}", "shop.spacer", "an unknown key"),
        ("shop: {grade: 6}", "shop.grade", "the number 6"),
        ("shop: 2", "shop", "the number 2"),
        ("shop: {spacers: []}", "shop.spacers", "an empty list"),
    ],
)
def test_a_wrong_list_is_a_fault_with_its_line(shop: str, key: str, found: str) -> None:
    text = TEXT.replace("tape: 1/16", f"{shop}\ntape: 1/16")
    line = text.splitlines().index(shop) + 1
    with pytest.raises(EnvelopeError) as caught:
        read_text(text, KINDS)
    fault = next(one for one in caught.value.faults if one.key == key)
    assert fault.line == line
    assert found in fault.found
