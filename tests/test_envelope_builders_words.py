"""A builder's own words: each is answered with what to write, in the file's unit, by name."""

from __future__ import annotations

import pytest

from noseroom.envelope.reader import read_text
from noseroom.errors import EnvelopeError, Fault
from noseroom.parts.registry import KINDS

RADIATOR = "radiator: {core: {width: 560 mm, height: 420 mm, thickness: 50 mm}}\n"
SUPPORT = "core support: {opening: {width: 700 mm, height: 480 mm}}\n"
BOX = "tray:\n  is: box\n  depth: 60 mm\n  width: 100 mm\n  height: 80 mm\n"


def faults(text: str, unit: str = "mm") -> tuple[Fault, ...]:
    with pytest.raises(EnvelopeError) as caught:
        read_text(f"format: 1\nunits: {unit}\n{text}", KINDS)
    return caught.value.faults


def fault(text: str, unit: str = "mm") -> Fault:
    (only,) = faults(text, unit)
    return only


def about(sentence: str, unit: str = "mm") -> Fault:
    return fault(f'{SUPPORT}{RADIATOR}{BOX}  place: "{sentence}"\n', unit)


@pytest.mark.parametrize(
    ("sentence", "hint"),
    [
        ("front in line with radiator.core.front", '"front flush with radiator.core.front"'),
        ("bottom level with core support.opening.bottom", '"bottom 0 above core support.opening'),
        ("front 22 from radiator.core.rear", "say which way: ahead of"),
        ("front 30 inside core support.opening.left", "say which way: ahead of"),
        ("front 60 clear of radiator.core.rear", "say which way: ahead of"),
        ("left 20 outboard of radiator.core.left", "left of or right of, or in from"),
        ("outboard of radiator.core.left", "say left of or right of"),
        ("bolted to core support", '"joined to: core support"'),
        ("on core support", '"joined to: core support"'),
        ("bottom 20 over core support.opening.bottom", "say above"),
    ],
)
def test_a_builders_words_for_a_place_are_answered_with_the_files(sentence: str, hint: str) -> None:
    assert hint in about(sentence).suggestion


@pytest.mark.parametrize(
    ("sentence", "hint"),
    [
        ("22 behind radiator", 'such as "radiator.core.rear"'),
        ("22 ahead of radiator", 'such as "radiator.core.front"'),
        ("front flush with radiator", 'such as "radiator.'),
        ("touching above core support", 'such as "core support.opening.bottom"'),
        ("front to radiator 80", 'such as "radiator.core'),
    ],
)
def test_a_gap_from_a_part_as_a_whole_is_refused_with_what_a_tape_can_touch(
    sentence: str, hint: str
) -> None:
    found = about(sentence)
    assert "as a whole" in found.found
    assert "core.front" in found.expected or "opening" in found.expected
    assert hint in found.suggestion


@pytest.mark.parametrize(
    "sentence",
    [
        "middle centred on radiator",
        "parallel to radiator",
        "front behind radiator",
        "front 22 ahead of line",
    ],
)
def test_forms_that_need_no_spot_take_a_part_as_a_whole_and_a_mark(sentence: str) -> None:
    text = f'marks: {{line: {{is: string}}}}\n{RADIATOR}{BOX}  place: "{sentence}"\n'
    assert read_text(f"format: 1\nunits: mm\n{text}", KINDS).parts["tray"].place


def test_the_one_thing_on_a_scan_is_meant_without_naming_it() -> None:
    scan = "panel: {is: scan, file: panel.stl, unit: mm, landmarks: {bolt: [0, 0, 0]}}\n"
    text = f'format: 1\nunits: mm\n{scan}{BOX}  place: "22 ahead of panel"\n'
    (sentence,) = read_text(text, KINDS).parts["tray"].place
    assert str(sentence.object) == "panel.bolt"


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("fan: {diameter: 400, drive: viscous}\n", 'did you mean "clutch"?'),
        ("pulley: {diameter: 150, section: 6pk}\n", 'did you mean "ribbed"?'),
        ("pulley: {diameter: 150, section: 6-rib}\n", 'did you mean "ribbed"?'),
        ("battery: {depth: 60, width: 100, height: 80}\n", "add is: box"),
        ("left horn: {depth: 60, width: 100, height: 80}\n", "add is: box"),
        ("steering box: {turns: 4}\n", "box"),
        ("fender: {depth: 60}\n", "add is: box"),
        ("tensioner: {diameter: 60}\n", "add is: idler pulley"),
        ("x: {is: fender}\n", "write is: box"),
    ],
)
def test_a_builders_words_for_kinds_and_choices_are_answered_with_the_files(
    text: str, hint: str
) -> None:
    assert any(hint in one.suggestion + one.expected for one in faults(text))


@pytest.mark.parametrize(("word", "unit"), [("inches", "in"), ("inch", "in"), ("metric", "mm")])
def test_a_unit_in_other_words_is_recognised(word: str, unit: str) -> None:
    with pytest.raises(EnvelopeError) as caught:
        read_text(f"format: 1\nunits: {word}\n{RADIATOR}", KINDS)
    assert f'did you mean "{unit}"?' in str(caught.value)


def test_examples_are_in_the_files_own_unit() -> None:
    for sentence in ("front", "front whatever radiator.core.rear"):
        metric, inches = about(sentence), about(sentence, "in")
        assert "16 mm" in str(metric)
        assert "5/8" not in str(metric)
        assert "5/8" in str(inches)
    assert "318 mm" in about("front to radiator.core.rear").expected
    bound = fault("radiator: {core: {width: at least 500, height: 420, thickness: 50}}\n")
    assert "mm and" in bound.suggestion


def test_a_size_that_is_missing_names_its_part_and_an_example() -> None:
    missing = fault("front puller: {is: fan, carried by: pump}\npump: {is: water pump}\n")
    assert missing.key == "front puller.diameter"
    assert "diameter of the front puller (fan)" in missing.expected
    assert "such as diameter: 430 mm" in missing.expected or " mm" in missing.expected
    core = fault("radiator: {core: {width: 22, thickness: 2}}\n", "in")
    assert "such as core: {height: " in core.expected
    assert " in}" in core.expected


@pytest.mark.parametrize(
    ("sentence", "hint"),
    [
        ("front 22 behind radaitor.core.rear", 'did you mean "radiator.core.rear"?'),
        ("front 22 behind radaitor", 'did you mean "radiator'),
        ("front 22 behind core suport.face", 'did you mean "core support.face"?'),
        ("front 22 behind radaitor.qqqq", 'did you mean "radiator"?'),
    ],
)
def test_a_misspelt_part_is_answered_with_the_part(sentence: str, hint: str) -> None:
    assert hint in about(sentence).suggestion


@pytest.mark.parametrize(
    ("end", "hint"),
    [("radiator.uper neck", 'did you mean "upper neck"?'), ("radiator.water outlet", "")],
)
def test_a_port_that_is_not_there_is_a_fault_of_the_file_with_the_ports_that_are(
    end: str, hint: str
) -> None:
    found = fault(f"{RADIATOR}hose: {{from: radiator.lower neck, to: {end}}}\n")
    assert (found.key, found.suggestion) == ("hose.to", hint)
    assert found.expected == "a port of radiator (upper neck, lower neck)"


def test_sizes_of_brackets_and_cap_are_for_radiators_that_have_them() -> None:
    core = "core: {width: 560, height: 420, thickness: 50}"
    bare = read_text(
        f"format: 1\nunits: mm\nradiator: {{{core}, brackets: {{form: none}}, "
        "cap: {fitted: no}}\n",
        KINDS,
    ).parts["radiator"]
    assert not [key for key in bare.sizes if key.startswith(("brackets.", "cap."))]
    wrong = fault(f"radiator: {{{core}, brackets: {{form: none, width: 20}}}}\n")
    assert wrong.expected == "brackets.width only where brackets.form is plates"
