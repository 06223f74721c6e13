"""Reading whole files: the design's own example, sizes, sides, carriers, traps, the schema."""

from __future__ import annotations

import hashlib
import random
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from ruamel.yaml import YAML

from damage import SOUND
from noseroom.envelope.kinds import Choice, Kind, Size
from noseroom.envelope.model import Envelope, FeatureRef, RuleChange
from noseroom.envelope.reader import json_schema, read, read_text
from noseroom.envelope.records import assumed
from noseroom.errors import EnvelopeError, Fault
from noseroom.parts.registry import KINDS
from strategies import random_envelope_text

EXAMPLE = """\
format: 1
title: Half-ton farm pickup, inline six        # invented
units: in              # for numbers without a unit
sides: as seated       # or: as facing the grille
tape: 1/16             # half-width of a reading; any reading may carry its own ±

marks:                 # helpers the builder makes, and may measure from
  rail line: {is: straightedge across the frame rails}

core support:
  opening: {width: 27 1/4, height: 19}
radiator:
  flow: down
  core: {width: 22 1/2, height: 17, thickness: 2}
  tanks: {top: {height: 2 1/4, depth: 3}, bottom: {height: 2, depth: 2 3/4}}
  place:
    - core.front at top 5/8 aft of core support.face
    - core.front at bottom 3/8 aft of core support.face
    - core.bottom 1 above core support.opening.bottom
    - core centred in core support.opening
engine: {tilt: 3 1/2 deg nose up}
water pump:
  pilot: {diameter: 5/8, length: 9/16}
  bolts: {count: 4, circle: 1 3/4, thread: 5/16-24}
  place:
    - hub.face 5 3/4 ± 1/8 aft of radiator.core.rear
    - axis 7 1/2 above radiator.core.bottom
    - axis 3/8 right of centreline
fan:
  carried by: water pump
  diameter: 17
  blades: 6
  place:
    - blade.front at 12 o'clock 2 5/8 aft of radiator.core.rear
    - blade.front at 6 o'clock 2 1/4 aft of radiator.core.rear
compressor:
  bought: no           # sizes from a data sheet
  body: {diameter: 4 5/8, length: 7 1/4}
  place:
    - nose.front 7/8 ahead of water pump.hub.face
    - nose edge to water pump hub edge 1 1/2
left puller: {is: electric fan, fitted: no, diameter: 10, frame: {depth: 2}, motor: {depth: 3}}
"""

HEAD = "format: 1\nunits: in\n"
RADIATOR = "radiator: {core: {width: 22, height: 17, thickness: 2}}\n"


def got(text: str, kinds: Any = KINDS, **options: Any) -> Envelope:
    return read_text(text, kinds, **options)


def faults(text: str, kinds: Any = KINDS, **options: Any) -> tuple[Fault, ...]:
    with pytest.raises(EnvelopeError) as caught:
        read_text(text, kinds, **options)
    return caught.value.faults


def fault(text: str, kinds: Any = KINDS, **options: Any) -> Fault:
    (only,) = faults(text, kinds, **options)
    return only


# -- a whole file --------------------------------------------------------------------------


def test_the_example_file_is_read_whole(tmp_path: Path) -> None:
    path = tmp_path / "farm pickup.yaml"
    path.write_text(EXAMPLE, encoding="utf-8")
    envelope = read(path, KINDS)
    assert envelope.stem == "farm pickup"
    assert envelope.title == "Half-ton farm pickup, inline six"
    assert (envelope.unit, envelope.tape_mm, envelope.datum) == ("in", 1.5875, "core support")
    assert envelope.digest == hashlib.sha256(path.read_bytes()).hexdigest()
    assert list(envelope.parts) == [
        "core support", "radiator", "engine", "water pump", "fan", "compressor", "left puller",
        "rail line",
    ]  # fmt: skip
    carriers = {name: part.carrier for name, part in envelope.parts.items()}
    assert carriers == {
        "core support": "car", "radiator": "core support", "engine": "car", "water pump": "engine",
        "fan": "water pump", "compressor": "engine", "left puller": "radiator", "rail line": "car",
    }  # fmt: skip
    assert envelope.parts["rail line"].kind == "mark"
    assert envelope.parts["rail line"].texts == {"is": "straightedge across the frame rails"}
    assert not envelope.parts["left puller"].fitted
    assert envelope.parts["water pump"].texts == {"bolts.thread": "5/16-24"}


def test_every_size_is_there_with_its_value_half_width_knowledge_and_line() -> None:
    parts = got(EXAMPLE).parts
    width = parts["radiator"].sizes["core.width"]
    assert (width.value, width.half_width, width.knowledge) == (571.5, 1.5875, "measured")
    assert (width.text, width.line) == ("22 1/2", 14)
    assert EXAMPLE.splitlines()[width.line - 1].strip().startswith("core:")
    neck = parts["radiator"].sizes["necks.diameter"]
    usual = next(one for one in KINDS["radiator"].sizes if one.key == "necks.diameter")
    assert (neck.value, neck.half_width, neck.knowledge) == (usual.usual, usual.reach, "assumed")
    assert (neck.text, neck.source, neck.line) == ("usual", usual.source, 12)
    assert parts["water pump"].sizes["bolts.count"].half_width == 0.0
    body = parts["compressor"].sizes["body.diameter"]
    assert (body.knowledge, body.half_width) == ("from a sheet", 1.0)
    every = {one.key for one in KINDS["water pump"].sizes if one.when is None}
    assert every <= set(parts["water pump"].sizes)


def test_sizes_of_the_other_word_of_a_choice_are_not_there() -> None:
    sizes = got(EXAMPLE).parts["radiator"].sizes
    assert "tanks.top.height" in sizes
    assert "tanks.left.width" not in sizes


def test_half_widths_are_the_tapes_unless_said_and_wider_for_about() -> None:
    text = (
        HEAD + "tape: 2 mm\nradiator: {core: {width: about 22, height: 17 ± 1/4, thickness: 2}}\n"
    )
    sizes = got(text).parts["radiator"].sizes
    assert sizes["core.width"].half_width == 8.0
    assert sizes["core.height"].half_width == 6.35
    assert sizes["core.thickness"].half_width == 2.0


def test_sentences_of_a_part_carry_their_lines_and_tilt_and_lean_come_first() -> None:
    envelope = got(EXAMPLE)
    assert [one.line for one in envelope.parts["radiator"].place] == [17, 18, 19, 20]
    (tilt,) = envelope.parts["engine"].place
    assert (tilt.turn, tilt.value, tilt.half_width, tilt.line) == ("pitch", 3.5, 0.5, 21)
    (lean,) = (
        got(HEAD + RADIATOR.replace("core:", "lean: 8 deg leaning back, core:", 1))
        .parts["radiator"]
        .place
    )
    assert (lean.turn, lean.value) == ("pitch", 8.0)


def test_a_fan_edge_to_edge_with_the_pump_is_read() -> None:
    sentence = got(EXAMPLE).parts["compressor"].place[1]
    assert sentence.form == "edge to edge"
    assert sentence.subject == FeatureRef("compressor", "nose.edge")
    assert sentence.object == FeatureRef("water pump", "hub.edge")


def test_assumed_sentences_hold_for_the_carrier_that_there_is() -> None:
    with_support = got(EXAMPLE).parts["radiator"].assumed
    assert {one.knowledge for one in with_support} == {"assumed"}
    bottom = FeatureRef("core support", "opening.bottom")
    assert any(one.object == bottom for one in with_support)
    without = got(HEAD + RADIATOR).parts["radiator"].assumed
    assert {one.form for one in without} == {"turn"}


@pytest.mark.parametrize("name", sorted(KINDS))
def test_every_assumed_sentence_of_every_kind_holds_for_one_carrier_at_least(name: str) -> None:
    kind = KINDS[name]
    held: set[str] = set()
    for carrier in kind.carried_by:
        parts = {"it": name} | ({} if carrier == "car" else {"other": carrier})
        found = assumed("it", 1, kind, "car" if carrier == "car" else "other", parts, KINDS)
        held |= {one.text for one in found}
    for text in kind.assumed:
        assert {text.replace("{carrier}", carrier) for carrier in ("car", "other")} & held, text


# -- sides ---------------------------------------------------------------------------------


def test_a_file_written_as_facing_the_grille_gives_the_cars_own_left_and_right() -> None:
    text = (
        HEAD
        + "sides: as facing the grille\ncore support: {opening: {width: 27, height: 19}}\n"
        + "radiator:\n  flow: cross\n  core: {width: 22, height: 17, thickness: 2}\n"
        + "  tanks: {left: {width: 2}}\n  necks: {upper: {side: left}}\n"
        + "  place:\n    - left tank.left at top 1 right of core support.opening.left\n"
        + "hose: {from: core support.upper left bolt}\n"
    )
    envelope = got(text)
    part = envelope.parts["radiator"]
    assert part.sizes["tanks.right.width"].knowledge == "measured"
    assert part.sizes["tanks.left.width"].knowledge == "assumed"
    assert part.choices["necks.upper.side"] == "right"
    (sentence,) = part.place
    assert sentence.subject == FeatureRef("radiator", "right tank.right", "top")
    assert sentence.object == FeatureRef("core support", "opening.right")
    assert sentence.direction == "left"
    assert envelope.parts["hose"].references == {"from": ("core support.upper right bolt",)}


def test_the_same_nose_written_from_either_side_is_the_same_nose() -> None:
    seated = EXAMPLE.replace("3/8 right of", "3/8 left of")
    facing = EXAMPLE.replace("sides: as seated", "sides: as facing the grille")
    one, other = got(seated).parts["water pump"].place, got(facing).parts["water pump"].place
    assert [(s.direction, s.value) for s in one] == [(s.direction, s.value) for s in other]


# -- kinds, carriers, references -----------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("water pump pulley", "pulley"),
        ("left electric fan", "electric fan"),
        ("Old Fan", "fan"),
        ("upper radiator hose", "hose"),
        ("radiator support", "core support"),
        ("generator", "alternator"),
    ],
)
def test_a_parts_kind_is_the_longest_kind_that_its_name_ends_in(name: str, kind: str) -> None:
    sizes = {"core support": "opening: {width: 27, height: 19}", "fan": "diameter: 16",
             "electric fan": "diameter: 10, frame: {depth: 2}, motor: {depth: 3}",
             "pulley": "diameter: 5"}  # fmt: skip
    assert got(f"{HEAD}{name}: {{{sizes.get(kind, '')}}}\n").parts[name].kind == kind


def test_a_parts_own_name_says_what_carries_it_before_the_order_of_kinds_does() -> None:
    text = HEAD + "water pump: {}\ncompressor: {}\ncompressor pulley: {diameter: 5}\n"
    text += "water pump pulley: {diameter: 6}\nspare pulley: {diameter: 6}\n"
    carriers = {name: part.carrier for name, part in got(text).parts.items()}
    assert carriers["compressor pulley"] == "compressor"
    assert carriers["water pump pulley"] == "water pump"
    assert carriers["spare pulley"] == "water pump"


def test_an_engine_that_nobody_measured_is_there_and_all_assumed() -> None:
    envelope = got(HEAD + RADIATOR + "water pump: {}\ncompressor: {}\n")
    engine = envelope.parts["engine"]
    assert (engine.kind, engine.line, engine.carrier) == ("engine", 4, "car")
    assert all(one.knowledge == "assumed" for one in engine.sizes.values())
    assert engine.assumed
    assert envelope.parts["compressor"].carrier == "engine"
    assert "engine" not in got(HEAD + RADIATOR).parts


def test_carriers_that_carry_one_another_are_refused_with_their_lines() -> None:
    text = HEAD + "water pump: {carried by: fan}\nfan: {diameter: 16, carried by: water pump}\n"
    only = fault(text)
    assert only.line == 3
    assert "water pump (line 3)" in only.found
    assert "fan (line 4)" in only.found


def test_references_name_parts_of_the_right_kind_and_ports() -> None:
    pulleys = "left pulley: {diameter: 5}\nright pulley: {diameter: 6}\n"
    belt = got(HEAD + pulleys + "belt: {over: [Left Pulley, right pulley]}\n").parts["belt"]
    assert belt.references == {"over": ("left pulley", "right pulley")}
    hose = got(HEAD + RADIATOR + "hose: {from: Radiator.upper neck}\n").parts["hose"]
    assert hose.references == {"from": ("radiator.upper neck",)}
    assert "radiator" in fault(HEAD + RADIATOR + "hose: {from: radiater.upper neck}\n").suggestion
    refused = faults(HEAD + pulleys + RADIATOR + "belt: {over: [left pulley, radiator]}\n")
    assert refused[0].found == '"radiator", a radiator'


def test_place_wanted_is_kept_and_stands_alone() -> None:
    assert (
        got(HEAD + "drier: {diameter: 3, height: 8, place: wanted}\n").parts["drier"].place_wanted
    )
    text = HEAD + "drier: {diameter: 3, height: 8, place: [wanted, plumb]}\n"
    assert "alone" in fault(text).expected


# -- the file's own keys -------------------------------------------------------------------


def test_rules_are_lengths_under_keys_that_exist() -> None:
    keys = ("fan to radiator", "fan to shroud")
    text = HEAD + RADIATOR + "rules:\n  fan to radiator: 1/2\n"
    assert got(text, rule_keys=keys).rules == (RuleChange("fan to radiator", 12.7, 5),)
    misspelt = fault(text.replace("to rad", "too rad"), rule_keys=keys)
    assert (misspelt.line, misspelt.suggestion) == (5, 'did you mean "fan to radiator"?')
    assert fault(text.replace("1/2", "-1/2"), rule_keys=keys).key == "rules.fan to radiator"
    assert fault(text.replace("1/2", "about 1"), rule_keys=keys).expected == "one exact length"


def test_notes_of_the_file_and_of_its_parts_are_kept() -> None:
    text = HEAD + "notes: [hood off]\nradiator:\n  notes: bent fins\n"
    text += "  core: {width: 22, height: 17, thickness: 2}\n"
    assert got(text).notes == ("hood off", "radiator: bent fins")


def test_the_unit_has_to_be_said_and_no_size_is_out_of_range_before_it_is() -> None:
    only = fault("format: 1\n" + RADIATOR)
    assert (only.key, only.found) == ("units", "nothing")
    assert fault(HEAD.replace("in", "inn") + RADIATOR).suggestion == 'did you mean "in"?'


def test_the_datum_may_be_named() -> None:
    assert got(HEAD + "datum: radiator\n" + RADIATOR).datum == "radiator"
    assert got(HEAD + RADIATOR).datum == "car"
    assert fault(HEAD + "datum: radiater\n" + RADIATOR).suggestion == 'did you mean "radiator"?'


def test_bytes_with_a_byte_order_mark_and_windows_line_ends_are_read() -> None:
    data = b"\xef\xbb\xbf" + EXAMPLE.replace("\n", "\r\n").encode()
    envelope = read_text(data, KINDS)
    assert envelope.parts["radiator"].line == 12
    assert envelope.title.endswith("six")


def test_aliases_that_stay_small_are_read() -> None:
    text = HEAD + "radiator: {core: &c {width: 22, height: 17, thickness: 1}}\n"
    text += "condenser: {core: *c}\n"
    assert got(text).parts["condenser"].sizes["core.width"].value == pytest.approx(558.8)


# -- faults --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "found", "suggestion"),
    [
        ("width: 27 1/4", "width: ?", "? as a value", "leave the key out"),
        ("width: 27 1/4", "width: > 1/2", "comparison sign", "at least 1/2"),
        ("width: 27 1/4", "width: ~", "~, which YAML reads as nothing", "needs it"),
        ("width: 27 1/4", "width:", "nothing", "needs it"),
        ("width: 27 1/4", "width: 27,5 mm", "decimal comma", "27.5 mm"),
        ("width: 27 1/4", "width: 2024-05-06", "the date 2024-05-06", ""),
        ("width: 27 1/4", "width: [27]", "a list of 1", ""),
        ("width: 27 1/4", "width: at least 27", "a bound", "between"),
        ("width: 27 1/4", 'width: "27" wide', "words after a quoted text", "whole value"),
        ("width: 27 1/4", "width: 272", '"272"', ""),
        ("thread: 5/16-24", "thread: #10-24", "takes #10-24 for a comment", '"#10-24"'),
        ("thread: 5/16-24", "thread: ~", "~", "leave the key out"),
        ("fitted: no", "fitted: maybe", '"maybe"', ""),
        ("fitted: no", "fitted: 5", "the number 5", ""),
        ("flow: down", "flow: donw", '"donw"', 'did you mean "down"'),
        ("  flow: down", "\tflow: down", "a tab", "spaces only"),
        ("blades: 6", "blades: 6.5", '"6.5"', ""),
        ("is: electric fan", "is: electric fna", "electric fna", 'did you mean "electric fan"'),
        ("height: 17", "hieght: 17", '"hieght"', 'did you mean "height"'),
    ],
)
def test_traps_and_slips_have_their_line_and_their_own_words(
    old: str, new: str, found: str, suggestion: str
) -> None:
    assert old in SOUND
    every = faults(SOUND.replace(old, new, 1))
    # A misspelt required key is missed as well, on the line of its part.
    first = next(one for one in every if found in one.found)
    assert first.line == SOUND.count("\n", 0, SOUND.index(old)) + 1
    assert suggestion in first.suggestion


def test_a_decimal_comma_in_braces_and_a_comma_in_a_sentence_say_so() -> None:
    comma = fault(HEAD + "drier: {diameter: 60,5 mm, height: 8}\n")
    assert (comma.key, comma.suggestion) == ("drier.diameter", "write 60.5 mm")
    text = HEAD + RADIATOR + "engine: {place: [front 3 aft of radiator.core.rear, along the car]}\n"
    assert "quote the sentence" in fault(text).suggestion


def test_out_of_range_names_both_limits_in_the_files_unit() -> None:
    only = fault(HEAD + RADIATOR.replace("22", "222"))
    assert "7 7/8 in and 39 3/8 in (200 to 1000 mm)" in only.expected
    metric = faults(HEAD.replace("in", "mm") + RADIATOR)
    assert metric[-1].key == "radiator.core.width"
    assert metric[-1].expected.endswith("between 200 and 1000 mm")


def test_a_size_that_goes_with_another_choice_says_which() -> None:
    text = HEAD + "radiator:\n  core: {width: 22, height: 17, thickness: 2}\n"
    only = fault(text + "  tanks: {left: {width: 2}}\n")
    assert (only.line, only.key) == (5, "radiator.tanks.left.width")
    assert "where flow is down, as it is unless the file says otherwise" in only.found
    assert "only where flow is cross" in only.expected


def test_a_choice_may_make_a_size_necessary() -> None:
    size = Size("depth", "length", "front to rear", 1, 99, when=("form", "box"))
    box = Kind("box", "a box", "body", (size,), (), ("car",),
               choices=(Choice("form", ("sheet", "box"), "what it is"),))  # fmt: skip
    kinds = {"box": box}
    assert got("format: 1\nunits: mm\nbox: {}\n", kinds).parts["box"].sizes == {}
    only = fault("format: 1\nunits: mm\nbox: {form: box}\n", kinds)
    assert only.key == "box.depth"
    assert "because form is box" in only.expected


def test_keys_given_twice_name_both_lines() -> None:
    only = fault(HEAD + RADIATOR + RADIATOR)
    assert (only.line, only.found) == (4, '"radiator" again, first given on line 3')
    nested = fault(HEAD + RADIATOR.replace("width: 22,", "width: 22, width: 23,"))
    assert nested.key == "radiator.core.width"


def test_dotted_keys_are_shown_nested() -> None:
    text = HEAD + "compressor: {body.diameter: 5}\n"
    assert fault(text).suggestion == "write body: {diameter: ...}"


# -- the schema ----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def validator() -> jsonschema.Draft202012Validator:
    schema = json_schema(KINDS, ("fan to radiator",))
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def loaded(text: str) -> Any:
    return YAML(typ="safe", pure=True).load(text)


def test_the_schema_takes_what_the_reader_takes(validator: jsonschema.Draft202012Validator) -> None:
    validator.validate(loaded(EXAMPLE))
    validator.validate(loaded(SOUND))
    for seed in range(25):
        validator.validate(loaded(random_envelope_text(random.Random(seed), KINDS)))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("radiator:", "radiatr:"),
        ("    width: 22 1/2", "    widht: 22 1/2"),
        ("tape:", "tpae:"),
        ("flow: down", "flow: sideways"),
        ("units: in", "units: yards"),
        ("format: 1", "format: 2"),
        ("is: electric fan", "is: electric fna"),
        ("    height: 17\n", ""),
        ("fitted: no", "fitted: maybe"),
        ("  diameter: 10", "  diametre: 10"),
    ],
)
def test_the_schema_refuses_misspelt_keys_and_words(
    validator: jsonschema.Draft202012Validator, old: str, new: str
) -> None:
    assert old in SOUND
    assert not validator.is_valid(loaded(SOUND.replace(old, new, 1)))


def test_the_schema_says_what_an_editor_shows() -> None:
    schema = json_schema(KINDS)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    core = schema["$defs"]["a_radiator"]["properties"]["core"]
    name = core.get("$ref", core.get("allOf", [{}])[0].get("$ref", "")).rsplit("/", 1)[-1]
    width = schema["$defs"][name]["properties"]["width"]
    assert width["title"] == "width"
    assert "200 and 1000 mm" in width["description"]
    assert width["examples"]


def test_the_reader_loads_no_cad_kernel_and_no_mesh_library() -> None:
    code = (
        "import sys, noseroom.envelope.reader\n"
        "heavy = {'cadquery', 'OCP', 'trimesh', 'coal', 'manifold3d'} & set(sys.modules)\n"
        "print(sorted(heavy))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip() == "[]"
