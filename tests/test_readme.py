"""README and its sisters: what they say can be pasted, and what they name exists."""

from __future__ import annotations

import ast
import csv
import re
import shlex
import tomllib
from importlib import resources
from pathlib import Path

import pytest

import noseroom
from noseroom.cli import _parser
from noseroom.envelope.places import parse_place
from noseroom.envelope.reader import read_text
from noseroom.errors import SentenceError
from noseroom.findings import Verdict, exit_status
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules
from noseroom.tables.sheet import sheet_materials

PROJECT = Path(__file__).parents[1]
README = (PROJECT / "README.md").read_text(encoding="utf-8")
SETTINGS = tomllib.loads((PROJECT / "pyproject.toml").read_text(encoding="utf-8"))
DOCUMENTS = [
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "packaging/scripts/README.md",
    "vehicle_envelopes/README.md",
    "outputs/README.md",
]

FENCED = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
BLOCKS = FENCED.findall(README)


def table(heading: str, after: str = README) -> list[list[str]]:
    """The rows of the Markdown table whose first heading this is, cell by cell."""
    lines = iter(after.splitlines())
    for line in lines:
        if line.startswith(f"| {heading} |"):
            next(lines)
            break
    rows = []
    for line in lines:
        if not line.startswith("|"):
            break
        rows.append([cell.strip() for cell in line.strip("|").split("|")])
    return rows


def test_opens_with_one_paragraph_that_says_the_job() -> None:
    title, paragraph, _ = README.split("\n\n", 2)
    assert title == "# noseroom"
    assert "\n" not in paragraph
    assert not paragraph.startswith(("#", "`", "!", "|", "-"))
    assert all(word in paragraph for word in ("air conditioning", "fit", "spacer", "tape measure"))


@pytest.mark.parametrize("number", [0, 1])
def test_the_first_two_blocks_are_commands_of_one_line(number: int) -> None:
    language, text = BLOCKS[number]
    assert language == "sh"
    assert text.count("\n") == 1
    assert text.startswith("python3 -m venv .venv && .venv/bin/pip install")


def test_the_first_command_ends_with_the_check_of_the_pickup() -> None:
    last = BLOCKS[0][1].strip().split(" && ")[-1]
    assert last == ".venv/bin/noseroom check vehicle_envelopes/farm_pickup.yaml"


def test_the_second_command_installs_the_test_extra_and_runs_the_tests() -> None:
    *_, install, run = BLOCKS[1][1].strip().split(" && ")
    extra = re.search(r"\.\[(\w+)\]", install)
    assert extra
    assert {"pytest-xdist", "pytest"} <= {
        re.split(r"[<>=]", one)[0] for one in SETTINGS["project"]["optional-dependencies"][extra[1]]
    }
    assert run == ".venv/bin/python -m pytest -n 2"


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_command_shown_is_one_that_exists(document: str) -> None:
    text = (PROJECT / document).read_text(encoding="utf-8")
    for block in [body for language, body in FENCED.findall(text) if language == "sh"]:
        for part in re.split(r"&&|\n", block):
            words = shlex.split(part, comments=True)
            if words and words[0].endswith("noseroom"):
                asked = _parser().parse_args(words[1 : words.index(">") if ">" in words else None])
                assert callable(asked.run)


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_file_named_is_there(document: str) -> None:
    here = PROJECT / document
    text = here.read_text(encoding="utf-8")
    prose = FENCED.sub("", text)
    linked = [one for one in re.findall(r"\]\(([^)#]+)\)", prose) if "://" not in one]
    named = re.findall(r"(?:packaging|tests|vehicle_envelopes|\.ci)/[\w/.-]*\w", text)
    for name in linked:
        assert (here.parent / name).exists(), name
    for name in named:
        assert (PROJECT / name).exists(), name


def test_developers_guide_names_modules_that_exist() -> None:
    text = (PROJECT / "DEVELOPERS.md").read_text(encoding="utf-8")
    source = PROJECT / "packaging" / "noseroom"
    for name in re.findall(r"`((?:envelope|survey|parts|checks|tables|report)/\w+\.\w+)`", text):
        assert (source / name).is_file(), name
    dotted = re.findall(r"`((?:envelope|survey|geometry|workshop|checks)\.\w+)`", text)
    assert dotted
    for name in dotted:
        assert (source / f"{name.replace('.', '/')}.py").is_file(), name


def test_the_example_is_a_nose_that_can_be_read() -> None:
    examples = [text for language, text in BLOCKS if language == "yaml"]
    nose = read_text(examples[0], KINDS, rule_keys=clearance_rules())
    assert {"radiator", "condenser", "rail line"} <= nose.parts.keys()
    assert nose.parts["condenser"].place_wanted
    assert not nose.parts["puller"].fitted


def test_the_scan_shown_belongs_in_the_example() -> None:
    whole, scan, *_ = [text for language, text in BLOCKS if language == "yaml"]
    nose = read_text(whole + scan, KINDS, rule_keys=clearance_rules())
    panel = nose.parts["inner panel"]
    assert set(panel.points) == {"lower bolt", "upper bolt", "strut top"}
    assert len(panel.place) == 4
    assert nose.parts["inner panel"].joined == ("core support",)


def test_what_moves_is_read_as_shown() -> None:
    whole, _, moves, *_ = [text for language, text in BLOCKS if language == "yaml"]
    more = "fan:\n  diameter: 17\nhood latch:\n  place: wanted\n"
    nose = read_text(whole + moves + more, KINDS, rule_keys=clearance_rules())
    assert [one.direction for one in nose.parts["engine"].pried] == [None, "aft"]
    assert nose.parts["hood"].sizes["moves.open"].value == 60
    assert nose.parts["drag link"].kind == "steering link"
    assert nose.parts["drag link"].sizes["moves.up"].value == 76.2


def test_spacer_and_belts_are_read_as_shown() -> None:
    whole, _, _, drive, *_ = [text for language, text in BLOCKS if language == "yaml"]
    more = """
engine: {place: wanted}
crank pulley: {diameter: 6 3/4}
water pump pulley: {diameter: 6 1/8}
alternator: {pulley: {diameter: 2 3/4}}
tensioner pulley: {is: idler pulley, carried by: engine, diameter: 3}
"""
    nose = read_text(whole + drive + more, KINDS, rule_keys=clearance_rules())
    belt = nose.parts["fan belt"]
    assert belt.references["back on"] == ("tensioner pulley",)
    assert belt.sizes["adjuster.out"].value == pytest.approx(1.75 * 25.4)
    assert nose.parts["water pump"].choices["hub.material"] == "cast iron"
    assert nose.shop.spacers_mm == pytest.approx((25.4, 38.1, 50.8, 63.5))


def test_air_and_heat_is_read_as_shown() -> None:
    whole, *_, cooling, _ = [text for language, text in BLOCKS if language == "yaml"]
    nose = read_text(whole + cooling, KINDS, rule_keys=clearance_rules())
    assert nose.cooling is not None
    assert nose.cooling.words["refrigerant"] == "R-134a"


def test_the_shop_is_read_as_shown() -> None:
    whole, *_, shop = [text for language, text in BLOCKS if language == "yaml"]
    nose = read_text(whole + shop, KINDS, rule_keys=clearance_rules())
    assert nose.shop.metal in sheet_materials()
    assert nose.shop.bend_k == 0.42
    assert nose.shop.bed_mm == (220.0, 220.0, 250.0)
    assert nose.shop.card_size_mm == (1000.0, 700.0)


def test_a_rule_is_changed_as_shown() -> None:
    shown = re.search(r"`(rules: \{.*?\})`", README)
    assert shown
    text = (
        f"format: 1\nunits: in\n{shown[1]}\ncore support: {{opening: {{width: 27, height: 19}}}}\n"
    )
    nose = read_text(text, KINDS, rule_keys=clearance_rules())
    assert [(one.key, one.value_mm) for one in nose.rules] == [("belt", 12.0)]


def sentences() -> list[str]:
    return [said for _, cell in table("to say") for said in re.findall(r"`([^`]+)`", cell)]


@pytest.mark.parametrize("said", [one for one in sentences() if not one.startswith("centred ")])
def test_every_sentence_shown_is_understood(said: str) -> None:
    parts = {name: name for name in KINDS} | {"water pump pulley": "pulley"}
    understood = []
    for part in parts:
        try:
            understood += parse_place(
                said, 1, part=part, parts=parts, kinds=KINDS, unit="in", tape_mm=1.0, facing=False
            )
        except SentenceError:
            continue
    assert understood


def test_sentences_are_shown() -> None:
    assert len(sentences()) >= 14


def test_rules_and_their_values_are_those_of_the_table() -> None:
    shown = {
        key: float(value.removesuffix(" mm"))
        for keys, value, _ in table("rule")
        for key in re.findall(r"`([^`]+)`", keys)
    }
    source = resources.files("noseroom.tables").joinpath("clearances.csv")
    rows = csv.DictReader(source.read_text(encoding="utf-8").splitlines())
    assert shown == {row["key"]: float(row["value_mm"]) for row in rows}


def test_verdicts_and_exit_statuses_are_those_of_the_program() -> None:
    shown = {verdict: int(status) for verdict, _, status in table("verdict")}
    assert shown == {verdict.value: exit_status(verdict) for verdict in Verdict}


def test_every_library_is_said_to_be_there_for_something() -> None:
    shown = {one for names, *_ in table("library") for one in names.split(", ")}
    needed = {re.split(r"[<>=]", one)[0] for one in SETTINGS["project"]["dependencies"]}
    assert shown == needed


def test_the_python_shown_uses_names_that_exist() -> None:
    code = next(text for language, text in BLOCKS if language == "python")
    tree = ast.parse(code)
    used = {
        node.attr
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute)
        and isinstance(node.value, ast.Name)
        and node.value.id == "noseroom"
    }
    assert used
    assert used <= set(noseroom.__all__)


def test_system_libraries_are_those_that_the_error_names() -> None:
    from noseroom.geometry.kernel import _SYSTEM_LIBRARIES

    for library, package in _SYSTEM_LIBRARIES.items():
        assert library in README
        assert f"`{package}`" in README


def test_demo_noses_are_all_listed() -> None:
    folder = PROJECT / "vehicle_envelopes"
    listed = (folder / "README.md").read_text(encoding="utf-8")
    for demo in folder.glob("*.yaml"):
        assert f"[{demo.name}]({demo.name})" in listed
