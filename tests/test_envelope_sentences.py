"""Place sentences: every form, every spelling, and the messages for those that say nothing."""

from __future__ import annotations

import dataclasses

import pytest

from noseroom.envelope.kinds import FeatureName, Kind
from noseroom.envelope.mirror import as_seated
from noseroom.envelope.model import FeatureRef, Sentence
from noseroom.envelope.phrases import FORMS
from noseroom.envelope.places import parse_place
from noseroom.errors import SentenceError

SIDES = ("top", "bottom", "left", "right")


def kind(name: str, *features: FeatureName) -> Kind:
    return Kind(name, name, "body", (), features, ("car",))


LOOKS = {"top": "above", "bottom": "below", "left": "left", "right": "right", "front": "ahead"}


def face(name: str, *spots: str) -> FeatureName:
    return FeatureName(name, "face", spots, LOOKS.get(name.split(".")[-1], "aft"))


# Small kinds of the test's own, so that what is tested is the language and not the parts.
KINDS = {
    "core support": kind(
        "core support",
        face("face", *SIDES),
        FeatureName("opening", "point", SIDES),
        *(face(f"opening.{side}") for side in SIDES),
    ),
    "radiator": kind(
        "radiator",
        FeatureName("core", "point", SIDES),
        *(face(f"core.{side}", *SIDES) for side in ("front", "rear")),
        *(face(f"core.{side}", "front", "rear") for side in SIDES),
        FeatureName("upper neck.end", "circle"),
        face("tanks.left", "top", "bottom"),
    ),
    "compressor": kind(
        "compressor",
        face("nose.front"),
        FeatureName("nose", "cylinder"),
        FeatureName("axis", "axis"),
        FeatureName("rim.edge", "circle"),
        face("brackets"),
        face("hub"),
    ),
    "pulley": kind("pulley", FeatureName("edge", "circle"), face("front", *SIDES)),
    "water pump": kind("water pump", FeatureName("hub.edge", "circle"), face("hub.face")),
    "fan": kind("fan", FeatureName("axis", "axis"), FeatureName("blade.front", "circle")),
    "mark": kind("mark", FeatureName("line", "axis")),
}
PARTS = {
    "core support": "core support",
    "radiator": "radiator",
    "compressor": "compressor",
    "water pump": "water pump",
    "water pump pulley": "pulley",
    "fan": "fan",
    "Left Puller": "fan",
    "rail line": "mark",
    "car side": "mark",
}
TAPE_MM = 1.5875


def parsed(
    text: str, part: str = "radiator", *, unit: str = "in", facing: bool = False
) -> list[Sentence]:
    return parse_place(
        text, 7, part=part, parts=PARTS, kinds=KINDS, unit=unit, tape_mm=TAPE_MM, facing=facing
    )


def one(text: str, part: str = "radiator", *, unit: str = "in", facing: bool = False) -> Sentence:
    (only,) = parsed(text, part, unit=unit, facing=facing)
    return only


def test_an_offset_has_value_half_width_direction_and_both_features_with_their_spots() -> None:
    assert one("core.front at top 5/8 ± 1/8 aft of core support.face at bottom left") == Sentence(
        form="offset",
        subject=FeatureRef("radiator", "core.front", "top"),
        object=FeatureRef("core support", "face", "bottom left"),
        text="core.front at top 5/8 ± 1/8 aft of core support.face at bottom left",
        line=7,
        value=15.875,
        half_width=3.175,
        direction="aft",
    )


@pytest.mark.parametrize(
    ("words", "direction"),
    [
        ("ahead of", "ahead"),
        ("fore of", "ahead"),
        ("forward of", "ahead"),
        ("in front of", "ahead"),
        ("aft of", "aft"),
        ("behind", "aft"),
        ("back of", "aft"),
        ("left of", "left"),
        ("to the left of", "left"),
        ("right of", "right"),
        ("above", "above"),
        ("below", "below"),
        ("under", "below"),
        ("in from", "right"),
        ("out from", "left"),
    ],
)
def test_every_direction_is_read_with_and_without_a_figure(words: str, direction: str) -> None:
    measured = one(f"core 3 {words} core support.opening.left")
    assert (measured.form, measured.value, measured.direction) == ("offset", 76.2, direction)
    side = one(f"core {words} core support.opening.left")
    assert (side.form, side.value, side.half_width, side.direction) == (
        "side",
        None,
        None,
        direction,
    )


@pytest.mark.parametrize(
    ("side", "direction"),
    [("left", "right"), ("right", "left"), ("top", "below"), ("bottom", "above")],
)
def test_in_from_goes_inward_from_the_side_that_a_feature_or_a_spot_names(
    side: str, direction: str
) -> None:
    assert one(f"core 3 in from core support.opening.{side}").direction == direction
    assert one(f"core 3 in from core support.face at {side}").direction == direction


def test_in_from_without_a_side_is_refused() -> None:
    for target in ("core support.face", "rail line", "core support.face at top left"):
        with pytest.raises(SentenceError, match="names no side"):
            parsed(f"core 3 in from {target}")


def test_in_from_is_refused_where_it_may_be_inches() -> None:
    with pytest.raises(SentenceError, match="in from"):
        parsed("core 3 in from core support.opening.left", unit="mm")
    assert one("core 3 mm in from core support.opening.left", unit="mm").value == 3.0


def test_lengths_may_be_bounds_ranges_or_about() -> None:
    least = one("core.front at least 3 mm aft of core support.face")
    assert (least.bound, least.value, least.half_width) == ("at least", 3.0, TAPE_MM)
    assert one("core.front at most 3 mm aft of core support.face").bound == "at most"
    between = one("core.front between 5/8 and 3/4 aft of core support.face")
    assert between.value == pytest.approx(17.4625)
    assert between.half_width == pytest.approx(1.5875)
    about = one("core.front about 3 aft of core support.face")
    assert about.half_width == pytest.approx(4 * TAPE_MM)


def test_the_way_a_tape_is_held_may_be_said_at_the_end() -> None:
    assert one("core.front 1 aft of core support.face").along == ""
    assert one("core.front 1 aft of core support.face, along the car").along == "car"
    assert one("core.front 1 aft of core support.face , square to it").along == "square"


def test_names_may_have_dots_or_spaces_capitals_and_an_article() -> None:
    for text in (
        "core.front 1 aft of water pump pulley.edge",
        "core front 1 aft of water pump pulley edge",
        "The core.front 1 aft of the Water Pump Pulley.Edge.",
        "radiator.core.front 1 aft of water pump pulley.edge",
    ):
        sentence = one(text)
        assert sentence.subject == FeatureRef("radiator", "core.front")
        assert sentence.object == FeatureRef("water pump pulley", "edge")
    assert one("core above left puller").object == FeatureRef("Left Puller")


def test_the_longest_name_wins_unless_only_a_shorter_one_makes_a_sentence() -> None:
    assert one("core left of core support.face").subject == FeatureRef("radiator", "core")
    assert one("core.left 1 left of core support.face").subject == FeatureRef(
        "radiator", "core.left"
    )
    at_top = one("core.front at top left of core support.face")
    assert (at_top.subject.spot, at_top.direction) == ("top", "left")
    assert one("core 1 above water pump.hub.edge").object == FeatureRef("water pump", "hub.edge")


def test_clock_positions_are_for_round_things() -> None:
    sentence = one("blade.front at 12 o'clock 2 5/8 aft of radiator.core.rear", "fan")
    assert (sentence.subject.spot, sentence.value) == ("12 o'clock", 66.675)
    assert one("blade.front at 3 o\u2019clock behind radiator", "fan").subject.spot == "3 o'clock"
    with pytest.raises(SentenceError, match="clock position"):
        parsed("blade.front at 13 o'clock 2 aft of radiator.core.rear", "fan")
    with pytest.raises(SentenceError, match=r"at 12 o'clock.*a spot of"):
        parsed("core.front at 12 o'clock 2 aft of core support.face")


def test_the_centreline_is_there_without_being_named_and_only_left_or_right_of_it() -> None:
    for spelling in ("centreline", "centerline", "the centre line"):
        assert one(f"core 3/8 right of {spelling}").object == FeatureRef("centreline")
    with pytest.raises(SentenceError, match="left of or right of"):
        parsed("core 3/8 above centreline")


def test_flush_and_touching_are_offsets_of_zero() -> None:
    flush = one("core.front flush with core support.face")
    assert (flush.form, flush.value, flush.direction) == ("offset", 0.0, "aft")
    assert flush.half_width == TAPE_MM
    assert one("core.front flush with core support.face ± 2 mm").half_width == 2.0
    assert one("core.front touching core support.face").direction == "aft"
    assert one("core.bottom touching core support.opening.bottom").direction == "below"
    assert one("core.front touching core support.face, ahead").direction == "ahead"
    assert one("core.bottom touching above core support.face").direction == "above"


def test_centred_across_up_and_down_and_both_ways() -> None:
    across = one("core centred in core support.opening ± 20 mm")
    assert (across.form, across.value, across.half_width) == ("centred across", 0.0, 20.0)
    assert one("core centered on centreline").half_width == 2 * TAPE_MM
    assert one("core centred up and down in core support.opening").form == "centred up and down"
    both = parsed("core centered both ways on core support.opening ± 1/2")
    assert [each.form for each in both] == ["centred across", "centred up and down"]
    assert {each.half_width for each in both} == {12.7}


def test_straight_is_from_point_to_point() -> None:
    sentence = one("upper neck.end to rail line 12 1/2 ± 1/4")
    assert (sentence.form, sentence.direction) == ("straight", None)
    assert (sentence.value, sentence.half_width) == (317.5, 6.35)
    at_spot = one("upper neck.end to core support.face at top right 12 1/2")
    assert at_spot.object == FeatureRef("core support", "face", "top right")


@pytest.mark.parametrize(
    ("text", "subject", "target"),
    [
        ("nose edge to water pump pulley edge 1 1/2", "nose", "edge"),
        ("nose to water pump pulley edge 1 1/2", "nose", "edge"),
        ("rim.edge to water pump.hub.edge 1 1/2", "rim.edge", "hub.edge"),
        ("rim edge to water pump edge 1 1/2", "rim.edge", "hub.edge"),
        ("nose edge to fan.blade.front edge 1 1/2", "nose", "blade.front"),
        ("nose nearest to fan.blade.front 1 1/2", "nose", "blade.front"),
        ("nose nearest point to fan.blade.front nearest point 1 1/2", "nose", "blade.front"),
    ],
)
def test_edge_to_edge_is_between_nearest_points(text: str, subject: str, target: str) -> None:
    sentence = one(text, "compressor")
    assert sentence.form == "edge to edge"
    assert sentence.value == 38.1
    assert sentence.subject.feature == subject
    assert sentence.object is not None
    assert sentence.object.feature == target


def test_a_number_that_may_belong_to_a_name_or_to_the_length_is_refused() -> None:
    parts = {"radiator": "radiator", "fan": "fan", "fan 2": "fan"}
    with pytest.raises(SentenceError, match="may mean"):
        parse_place(
            "core to fan 2 3/8",
            1,
            part="radiator",
            parts=parts,
            kinds=KINDS,
            unit="in",
            tape_mm=1.0,
            facing=False,
        )


@pytest.mark.parametrize(
    ("text", "turn", "value"),
    [
        ("plumb", "pitch", 0.0),
        ("level", "roll", 0.0),
        ("square across", "yaw", 0.0),
        ("3 1/2 deg nose up", "pitch", 3.5),
        ("3 1/2 deg nose down", "pitch", -3.5),
        ("8° leaning back", "pitch", 8.0),
        ("8 degrees leaning forward", "pitch", -8.0),
        ("2 deg turned right", "yaw", 2.0),
        ("2 deg turned left", "yaw", -2.0),
        ("2 deg left side up", "roll", 2.0),
        ("2 deg right side up", "roll", -2.0),
    ],
)
def test_turns_have_their_axis_and_sign(text: str, turn: str, value: float) -> None:
    for spelt, width in ((text, 0.5), (f"{text} ± 1 deg", 1.0), (f"core.front {text}", 0.5)):
        sentence = one(spelt)
        assert (sentence.form, sentence.turn, sentence.object) == ("turn", turn, None)
        assert (sentence.value, sentence.half_width) == (value, width)
    assert one(f"core.front {text}").subject == FeatureRef("radiator", "core.front")


def test_a_bound_of_a_turn_follows_its_sign() -> None:
    assert one("at least 2 deg nose up").bound == "at least"
    down = one("at least 2 deg nose down")
    assert (down.value, down.bound) == (-2.0, "at most")


def test_parallel_and_square_to_a_face_say_several_things() -> None:
    parallel = parsed("parallel to core support.face ± 1 deg")
    assert [each.turn for each in parallel] == ["pitch", "yaw", "roll"]
    assert {each.object for each in parallel} == {FeatureRef("core support", "face")}
    assert {each.half_width for each in parallel} == {1.0}
    assert [each.turn for each in parsed("core square to core support.face")] == ["pitch", "yaw"]
    assert {each.object for each in parsed("parallel to the car")} == {None}
    assert one("core.front plumb").object is None


def test_a_mark_whose_name_starts_with_car_is_not_the_car() -> None:
    assert {each.object for each in parsed("parallel to car side")} == {FeatureRef("car side")}


def test_a_mark_may_be_the_subject_in_a_part_and_in_its_own_place() -> None:
    in_part = one("rail line 3 below radiator.core.bottom")
    assert in_part.subject == FeatureRef("rail line")
    assert in_part.object == FeatureRef("radiator", "core.bottom")
    for text in (
        "rail line 3 above core support.opening.bottom",
        "3 above core support.opening.bottom",
    ):
        assert one(text, "rail line").subject == FeatureRef("rail line")
    assert one("line 3 above radiator.core", "rail line").subject == FeatureRef("rail line", "line")


def test_left_and_right_of_one_who_faces_the_grille_become_the_cars_own() -> None:
    tank = one("tanks.right at top 3 left of core support.opening.right", facing=True)
    assert tank.subject == FeatureRef("radiator", "tanks.left", "top")
    mirrored = one("core.front at bottom left 3 left of core support.opening.right", facing=True)
    assert mirrored.subject == FeatureRef("radiator", "core.front", "bottom right")
    assert mirrored.object == FeatureRef("core support", "opening.left")
    assert (mirrored.direction, mirrored.value) == ("right", 76.2)
    inward = one("core 3 in from core support.opening.left", facing=True)
    assert inward.object == FeatureRef("core support", "opening.right")
    assert inward.direction == "left"
    turned = one("at least 2 deg turned left", facing=True)
    assert (turned.turn, turned.value, turned.bound) == ("yaw", 2.0, "at least")
    assert one("3 deg nose up", facing=True).value == 3.0
    clock = one("blade.front at 3 o'clock aft of radiator", "fan", facing=True)
    assert clock.subject.spot == "3 o'clock"


def test_mirroring_twice_gives_the_sentence_back() -> None:
    for text in (
        "core.left at front 3 left of core support.opening.right",
        "at most 2 deg turned right",
        "at least 2 deg left side up",
        "core centred in core support.opening",
    ):
        for sentence in parsed(text):
            assert as_seated(as_seated(sentence)) == sentence


@pytest.mark.parametrize(
    ("text", "found", "hint"),
    [
        ("", "an empty text", ""),
        ("?", "question mark", "leave the sentence out"),
        ("core.frnt 1 aft of core support.face", "core frnt", 'did you mean "core.front"'),
        ("cre 1 aft of core support.face", '"cre"', 'did you mean "core"'),
        ("core 1 aft of core support.fase", "fase", "core support.face"),
        ("core 1 aft of radiater", "radiater", 'did you mean "radiator"'),
        ("core 1 aft of face", '"face" without its part', 'write "core support.face"'),
        ("core 1 aft of radiator.core.rear", "against itself", ""),
        ("core 1 aft of", "the end of the sentence", ""),
        ("core 1", "the end of the sentence", ""),
        ("core", "the end of the sentence", "as in"),
        ("core 1 rihgt of centreline", "rihgt of", 'did you mean "right of"'),
        ("core -1 aft of core support.face", "below zero", "other direction"),
        ("core 1 ± 0 aft of core support.face", "± of zero", ""),
        ("core 27,5 mm aft of core support.face", "decimal comma", "27.5 mm"),
        ("core > 1/2 aft of core support.face", "comparison sign", "at least"),
        ("core 99999 aft of core support.face", "99999", ""),
        ("core.front at tpo 1 aft of core support.face", "at tpo", 'did you mean "top"'),
        ("core 1 aft of core support.face at tpo", "at tpo", 'did you mean "top"'),
        ("core 1 aft of core support.face along car", "along car", ", along the car"),
        ("along the car", '"along the car"', "comma"),
        ("3 deg", "no way", ""),
        ("3 deg nose upp", "nose upp", 'did you mean "nose up"'),
        ("120 deg nose up", "120", ""),
        ("core.front at top plumb", "at top", ""),
        ("plumb today", "today", ""),
        ("core centred core support", "core support", ""),
        ("core to core support.face", "the end of the sentence", ""),
        ("hub 1 aft of core support.face", "hub", ""),
        ("core support.face 1 ahead of radiator.core", "core support", "belongs under"),
        ("core flush with centreline", "centreline", ""),
        ("core 1 aft of core support.face and level", "and level", ""),
        ("x" * 600, "600 characters", ""),
    ],
)
def test_what_says_nothing_is_refused_with_what_was_found_and_what_would_do(
    text: str, found: str, hint: str
) -> None:
    with pytest.raises(SentenceError) as caught:
        parsed(text)
    assert found in str(caught.value)
    assert hint in caught.value.hint
    assert "expected" in str(caught.value)


def test_every_form_that_messages_and_manual_show_is_one() -> None:
    texts = [text for text in FORMS if not text.startswith("plumb")]
    kinds = dict(KINDS)
    kinds["radiator"] = dataclasses.replace(
        kinds["radiator"],
        features=(*kinds["radiator"].features, *kinds["compressor"].features),
    )
    parts = PARTS | {"left pump": "water pump", "second radiator": "radiator"}
    for text in texts:
        made = parse_place(
            text.replace("radiator.", "second radiator."),
            1,
            part="radiator",
            parts=parts,
            kinds=kinds,
            unit="in",
            tape_mm=1.0,
            facing=False,
        )
        assert made
