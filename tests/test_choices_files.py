"""What to buy, beside the page and on it: every size once, figures as they were found, whole."""

from __future__ import annotations

import csv
import io
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import shapely

from cooling_noses import FAN, KNOWN, STACK, nose
from noseroom import cli, making
from noseroom.checks import condenser_choice, fan_choice
from noseroom.checks.condenser_choice_all import Choices, check_choices
from noseroom.checks.cooling_records import Span
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Verdict
from noseroom.making import Advice
from noseroom.pipeline import earlier
from noseroom.report.choices_sheets import MOST_ROWS, condensers_svg, fans_svg, moved
from noseroom.report.choices_table import COLUMNS, choices_csv
from noseroom.report.drawing_svg import SVG_NAMESPACE
from noseroom.report.drawing_text import Box
from noseroom.report.result import Result
from noseroom.tables.system_sizes import condenser_sizes, fan_sizes
from test_cooling_views import boxes_of, groups, lines_of, words_of

NS = f"{{{SVG_NAMESPACE}}}"
Made = tuple[Path, Path, Advice, str]


@pytest.fixture(scope="module", autouse=True)
def few_sizes() -> Iterator[None]:
    """Of all that are sold some do here."""
    with pytest.MonkeyPatch.context() as patch:
        some = condenser_sizes()[::8], fan_sizes()[::4]
        patch.setattr(condenser_choice, "condenser_sizes", lambda: some[0])
        patch.setattr(fan_choice, "fan_sizes", lambda: some[1])
        yield


@pytest.fixture(scope="module")
def found(few_sizes: None) -> Choices:
    """One size after the other in a nose of 24 by 16 in, in four cars."""
    layout = nose(FAN, KNOWN)
    made, _ = check_choices(Pairs(layout), Rules(layout.envelope), draws=4)
    assert made is not None
    assert made.condenser is not None
    assert made.fan is not None
    return made


def odd(made: Choices) -> Choices:
    """With figures that are none, a size that fouls, and more that is too close to call."""
    assert made.condenser is not None
    first, second, *others = made.condenser.trials
    rest = [replace(one, width_in=one.width_in + k / 8) for k in range(8) for one in others]
    assert first.tried is not None
    nothing = Span(math.nan, math.nan, math.nan)
    states = tuple(
        replace(one, coolant_c=nothing, head_bar=Span(25.0, math.inf, math.inf), boils=math.nan)
        for one in first.tried.states
    )
    trials = (
        replace(first, tried=replace(first.tried, states=states, sound=math.nan)),
        replace(second, verdict=Verdict.FOULS, by="a latch with a long name", tried=None),
        *(replace(one, verdict=Verdict.TOO_CLOSE, by="core support") for one in rest),
    )
    return replace(made, condenser=replace(made.condenser, trials=trials))


def sheets(made: Choices) -> list[str]:
    assert made.condenser is not None
    assert made.fan is not None
    return [
        condensers_svg(made.condenser, "a nose", "in", "said"),
        fans_svg(made.fan, "a nose", "in", "said"),
    ]


# -- pictures -----------------------------------------------------------------------------------


@pytest.mark.parametrize("make", [lambda made: made, odd])
def test_no_text_meets_another_or_a_line_or_leaves_the_sheet(found: Choices, make: object) -> None:
    for text in sheets(make(found)):  # type: ignore[operator]
        root = ET.fromstring(text)
        _, _, wide, high = (float(one) for one in root.get("viewBox", "").split())
        tree = shapely.STRtree(list(lines_of(root)))
        boxes = boxes_of(text)
        assert len(boxes) > 40
        for k, (said, box) in enumerate(boxes):
            assert box.inside(Box(3.0, 3.0, wide - 3.0, high - 3.0)), said
            for other, there in boxes[:k]:
                assert not box.overlaps(there), (said, other)
            slim = shapely.box(box.x0, box.y0 + 0.25 * (box.y1 - box.y0), box.x1, box.y1)
            assert not len(tree.query(slim, predicate="intersects")), said


def test_the_best_stand_in_their_order_with_the_figures_that_were_found(found: Choices) -> None:
    assert found.condenser is not None
    text = sheets(found)[0]
    shown = [one for one in found.condenser.trials if one.tried is not None][:MOST_ROWS]
    names = [group.findtext(f"{NS}title", "") for group in groups(text, "way")]
    assert names[0] == "as the file has it"
    assert [one.lstrip("0123456789 ")[:3] for one in names[1:]] == [
        one.name.lstrip("0123456789 ")[:3] for one in shown
    ]
    assert all(name.endswith(one.name) for name, one in zip(names[1:], shown, strict=True))
    bands = [group.findtext(f"{NS}title", "") for group in groups(text, "band")]
    coolant = [one for one in bands if one.startswith("Coolant, hot idle")]
    for said, one in zip(coolant[1:], shown, strict=True):
        assert one.tried is not None
        low = one.tried.states[0].coolant_c.low
        assert re.search(r"hot idle: (\d+)", said)
        assert int(re.findall(r"(\d+)", said)[0]) == pytest.approx(low, abs=0.5)


def test_what_fouls_is_named_and_what_has_no_row_is_counted(found: Choices) -> None:
    made = odd(found)
    assert made.condenser is not None
    said = words_of(sheets(made)[0])
    assert f"Foul: {made.condenser.trials[1].name} (a latch with a long name)." in said
    assert "too close to call: core support" in said
    open_ = sum(1 for one in made.condenser.trials if one.tried is not None)
    assert open_ > MOST_ROWS
    assert f"{open_ - MOST_ROWS} more that rank below these are in choices.csv." in said


def test_where_its_middle_stands_is_said_by_the_cars_own_sides(found: Choices) -> None:
    """Y runs to the car's right, Z up."""
    assert found.condenser is not None
    one = replace(found.condenser.trials[0], across_mm=-12.7, up_mm=25.4)
    assert moved(one, "in") == "1 in higher and 1/2 in to the car's left"
    assert moved(replace(one, across_mm=0.4, up_mm=0.0), "in") == ""


# -- the table ----------------------------------------------------------------------------------


def test_the_table_is_read_back_as_it_was_found(found: Choices) -> None:
    text = choices_csv(found)
    assert text.count("\r\n") == text.count("\n") == len(text.splitlines())
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert tuple(rows[0]) == COLUMNS
    assert found.condenser is not None
    for one in found.condenser.trials:
        own = [row for row in rows if (row["what"], row["size"]) == ("condenser", one.name)]
        assert {row["verdict"] for row in own} == {one.verdict.value}
        if one.tried is None:
            assert [row["state"] for row in own] == [""]
            continue
        assert [row["state"] for row in own] == [each.state for each in one.tried.states]
        for row, state in zip(own, one.tried.states, strict=True):
            assert float(row["coolant_c_low"]) == pytest.approx(state.coolant_c.low, abs=0.051)
            assert float(row["head_bar_gauge_middle"]) == pytest.approx(
                state.head_bar.middle, abs=0.051
            )
            assert float(row["radiator_air_percent_high"]) == pytest.approx(
                100 * state.air.high, abs=0.051
            )
            assert float(row["covers_percent"]) == pytest.approx(100 * one.tried.covered, abs=0.51)
    ranks = [int(row["rank"]) for row in rows if row["what"] == "fan" and row["rank"]]
    assert ranks == sorted(ranks)
    assert ranks[0] == 1


def test_what_is_not_known_is_empty_in_the_table_and_what_boils_over_is_inf(
    found: Choices,
) -> None:
    rows = list(csv.DictReader(io.StringIO(choices_csv(odd(found)), newline="")))
    own = [row for row in rows if row["what"] == "condenser"]
    assert own[2]["coolant_c_low"] == own[2]["boils_percent"] == ""
    assert own[2]["head_bar_gauge_high"] == "inf"
    fouls = [row for row in own if row["verdict"] == Verdict.FOULS.value]
    assert [row["decided_by"] for row in fouls] == ["a latch with a long name"]
    assert fouls[0]["coolant_c_low"] == ""


# -- as the command writes it -------------------------------------------------------------------


@pytest.fixture(scope="module")
def made(few_sizes: None, tmp_path_factory: pytest.TempPathFactory) -> Made:
    home = tmp_path_factory.mktemp("buy")
    file = home / "nose.yaml"
    file.write_text(STACK + FAN + KNOWN, encoding="utf-8")
    advice = making.choices(file, outputs=home / "outputs")
    folder = home / "outputs" / "nose"
    return file, folder, advice, (folder / "page.html").read_text(encoding="utf-8")


def section_of(page: str) -> str:
    (one,) = re.findall(r'<section id="buy".*?</section>', page, re.DOTALL)
    return str(one)


def test_files_and_page_hold_all_of_it(made: Made) -> None:
    _, folder, advice, page = made
    assert advice.names == (
        "choices/condensers.svg",
        "choices/fans.svg",
        "choices/choices.csv",
    )
    assert all((folder / one).stat().st_size > 1000 for one in advice.names)
    own = section_of(page)
    assert own.count("<svg") >= 2
    assert own.count("Disconnect the battery") == 1
    assert own.count("Never open a hot cap".lower()) >= 1
    for one in advice.findings:
        assert one.note[:40].replace("&", "&amp;") in own
    assert 'href="#buy"' in page
    assert "No sizes have been tried" not in page


def test_a_second_run_replaces_its_own_section_and_makes_the_same_bytes(made: Made) -> None:
    file, folder, _, page = made
    before = {one: one.read_bytes() for one in folder.rglob("*") if one.is_file()}
    making.choices(file, outputs=folder.parent)
    after = {one: one.read_bytes() for one in folder.rglob("*") if one.is_file()}
    assert after == before
    assert section_of(page)


def test_a_check_of_the_same_file_leaves_it_there(made: Made) -> None:
    """The page that was written is the one that the findings name, so that nothing is made anew."""
    _, folder, _, _ = made
    known = Result.from_json((folder / "findings.json").read_bytes())
    assert earlier(folder, known.input_sha256) is not None


def test_a_file_that_does_not_ask_gets_nothing_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "nose.yaml"
    file.write_text(STACK + FAN, encoding="utf-8")
    assert cli.main(["choices", str(file), "--outputs", str(tmp_path / "out")]) == 1
    assert "write cooling: into the file" in capsys.readouterr().out
    assert not (tmp_path / "out").exists()


def test_a_folder_that_cannot_be_written_is_said_before_the_work(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "nose.yaml"
    file.write_text(STACK + FAN + KNOWN, encoding="utf-8")
    (tmp_path / "out").write_text("in the way")
    assert cli.main(["choices", str(file), "--outputs", str(tmp_path / "out")]) == cli.UNREADABLE
    told = capsys.readouterr()
    assert "cannot be written" in told.err
    assert "Traceback" not in told.err
