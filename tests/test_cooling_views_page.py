"""Air and heat on the page and in the terminal: in words first, cautions once, every way ranked."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from io import StringIO
from pathlib import Path

import pytest

from cooling_noses import FAN, KNOWN, nose
from noseroom.checks.cooling import cooling_of_nose
from noseroom.checks.cooling_findings import cooling_findings
from noseroom.checks.cooling_records import Cooling, StateView
from noseroom.findings import COOLING, Finding, Verdict
from noseroom.geometry.mesh import Body
from noseroom.layout import Layout
from noseroom.report import changes
from noseroom.report.cooling_text import band, ways
from noseroom.report.page_cooling import air_and_heat
from noseroom.report.page_file import check_page, page
from noseroom.report.page_html import tag
from noseroom.report.result import Result, verdict_of
from noseroom.report.summary import summed_up
from noseroom.report.terminal import show
from noseroom.workshop.nose_files import air_sheets
from test_page import EVIL, Outline, pair, result_for, small_nose

READ = f"{KNOWN}  readings: {{outside: 30 C, coolant: 90 C, grille air: 9 m/s}}\n"


@cache
def answer(known: str = KNOWN) -> Cooling:
    found = cooling_of_nose(nose(FAN, known), draws=8)
    assert found is not None
    return found


@pytest.fixture(scope="module")
def small(
    tmp_path_factory: pytest.TempPathFactory,
) -> tuple[Layout, dict[tuple[str, str], Body]]:
    return small_nose(tmp_path_factory.mktemp("small"))


def result(layout: Layout, found: Cooling) -> Result:
    return replace(
        result_for(layout, pair(Verdict.TOO_CLOSE, 4.0)), cooling=tuple(cooling_findings(found))
    )


def section_of(text: str) -> str:
    (found,) = re.findall(r'<section id="air".*?</section>', text, re.DOTALL)
    return str(found)


def test_the_page_holds_to_its_own_checks_and_has_every_picture(
    small: tuple[Layout, dict[tuple[str, str], Body]],
) -> None:
    layout, bodies = small
    made = result(layout, answer())
    sheets = air_sheets(answer(), made.title)
    text = page(made, layout, bodies, sheets, answer())
    check_page(text, made)
    assert 'href="#air"' in text
    for name in sheets:
        assert f'id="drawing-{name}"' in section_of(text)


def test_words_come_first_and_cautions_once_before_any_figure(
    small: tuple[Layout, dict[tuple[str, str], Body]],
) -> None:
    layout, _ = small
    found = answer()
    text = str(air_and_heat(result(layout, found), found, {}))
    assert text.index(str(tag("p", found.words, class_="lead"))) < text.index("Take care")
    assert text.index("Take care") < text.index("<table")
    for caution in found.cautions:
        assert text.count(str(tag("p", caution)).removeprefix("<p>").removesuffix("</p>")) == 1


def test_every_way_is_ranked_with_its_bands(
    small: tuple[Layout, dict[tuple[str, str], Body]],
) -> None:
    layout, _ = small
    found = answer()
    text = str(air_and_heat(result(layout, found), found, {}))
    bodies = re.findall(r"<tbody>.*?</tbody>", text, re.DOTALL)
    assert len(bodies) == len(ways(found))
    for body, way in zip(bodies, ways(found), strict=True):
        assert str(tag("p", way.view.name))[3:-4].lower() in body.lower()
        rows = re.findall(r"<tr>(?:<td.*?)</tr>", body, re.DOTALL)
        for row, state in zip(rows, way.view.states, strict=True):
            for said in figures(state):
                assert said in row


def figures(state: StateView) -> list[str]:
    """Of air, coolant, head pressure and current, as the record has them."""
    found = [band(state.air, "%", 0, 100.0), band(state.into_c, "°C"), band(state.amps, "A")]
    found += [band(state.coolant_c, "°C", beyond="boils over"), band(state.amps_there, "A")]
    return found if state.head_bar is None else [*found, band(state.head_bar, "bar", 0)]


def test_the_reading_to_take_next_stands_first_with_how_to_take_it(
    small: tuple[Layout, dict[tuple[str, str], Body]],
) -> None:
    layout, _ = small
    found = answer()
    following = found.next_reading
    assert following is not None
    text = str(air_and_heat(result(layout, found), found, {}))
    listed = text[text.index("What to read next") :]
    first = listed[listed.index("<li>") : listed.index("</li>")]
    assert following.key.capitalize() in first
    assert "worth reading next" in first
    assert str(tag("p", following.how))[3:-4] in first


def test_readings_that_were_taken_are_told_and_odd_ones_are_to_be_read_again(
    small: tuple[Layout, dict[tuple[str, str], Body]],
) -> None:
    layout, _ = small
    found = answer(READ)
    odd = [one for one in found.readings if not one.agrees]
    text = str(air_and_heat(result(layout, found), found, {}))
    assert any("9 m/s" in one.taken for one in odd)
    for one in odd:
        assert f"was read as {one.taken}, but such a car would show" in text
    assert "worth reading next" not in text


def test_what_lies_outside_a_range_is_told_by_name(
    small: tuple[Layout, dict[tuple[str, str], Body]],
) -> None:
    layout, _ = small
    found = answer()
    assert found.remarks
    text = str(air_and_heat(result(layout, found), found, {}))
    for remark in found.remarks:
        assert str(tag("p", remark[1:]))[3:-4] in text


def test_other_answers_on_air_and_heat_have_a_row_with_what_to_do(
    small: tuple[Layout, dict[tuple[str, str], Body]],
) -> None:
    layout, _ = small
    extra = Finding(
        f"{COOLING}hoses", "which", (), Verdict.FITS, "Right: #8.", remedies=("take #8",)
    )
    made = result(layout, answer())
    made = replace(made, cooling=(*made.cooling, extra))
    text = str(air_and_heat(made, answer(), {}))
    assert "Hoses" in text
    assert "<li>Take #8</li>" in text


def test_a_nose_that_asks_for_nothing_has_no_such_section(
    small: tuple[Layout, dict[tuple[str, str], Body]],
) -> None:
    layout, bodies = small
    made = result_for(layout, pair(Verdict.TOO_CLOSE, 4.0))
    assert air_and_heat(made, None, {}) is None
    assert 'id="air"' not in page(made, layout, bodies, {})
    alone = replace(
        made, cooling=(Finding(f"{COOLING}summary", "", (), Verdict.NOT_KNOWN, "Gone."),)
    )
    assert "Gone." in page(alone, layout, bodies, {})


def test_hostile_names_stay_words(small: tuple[Layout, dict[tuple[str, str], Body]]) -> None:
    layout, bodies = small
    found = answer()
    named = replace(
        found, options=tuple(replace(one, name=EVIL, text=EVIL) for one in found.options)
    )
    texts = []
    for one in (named, found):
        made = result(layout, one)
        texts.append(page(made, layout, bodies, air_sheets(one, EVIL), one))
        check_page(texts[-1], made)
    evil, calm = (sorted({name for name, _ in Outline(text).elements}) for text in texts)
    assert evil == calm
    assert "<img" not in texts[0]


# -- the result and the terminal --------------------------------------------------------------


def shown(made: Result, width: int = 80) -> str:
    text = StringIO()
    show(made, "", stream=text, width=width)
    return text.getvalue()


def test_answers_on_air_and_heat_stand_apart_from_the_verdict(
    small: tuple[Layout, dict[tuple[str, str], Body]],
) -> None:
    layout, _ = small
    ours = tuple(cooling_findings(answer()))
    well = replace(pair(Verdict.FITS, 40.0), measured_mm=40.0)
    made = summed_up(layout, "0" * 64, (well, *ours), 0, {})
    assert made.findings == (well,)
    assert made.cooling == ours
    assert made.verdict is Verdict.FITS is verdict_of((well, *ours), 0)
    assert Result.from_json(made.to_json()).cooling[0].note == ours[0].note


def test_the_terminal_has_the_paragraph_the_cautions_and_the_best_changes(
    small: tuple[Layout, dict[tuple[str, str], Body]],
) -> None:
    layout, _ = small
    found = answer()
    made = result(layout, found)
    text = " ".join(shown(made).split())
    assert found.words in text
    for caution in found.cautions:
        assert text.count(caution) == 1
    better = [one for one in found.options if one.better > 0.5][:3]
    assert better
    for number, one in enumerate(better, start=1):
        assert f" {number}. {one.name}" in text
    assert max(map(len, shown(made, 60).splitlines())) <= 60
    assert "Air and heat" not in shown(replace(made, cooling=()))


def test_a_changed_answer_is_told(small: tuple[Layout, dict[tuple[str, str], Body]]) -> None:
    layout, _ = small
    before = result(layout, answer())
    first = replace(before.cooling[1], note="The coolant stays cold.")
    now = replace(before, cooling=(before.cooling[0], first, *before.cooling[2:]))
    assert any("stays cold" in line for line in changes.changes(before, now))


def test_section_and_pictures_say_nothing_of_where_they_were_made(
    small: tuple[Layout, dict[tuple[str, str], Body]], tmp_path: Path
) -> None:
    layout, _ = small
    text = str(air_and_heat(result(layout, answer()), answer(), air_sheets(answer(), "t")))
    assert str(tmp_path.parent) not in text
    assert "http" not in text.replace("http://www.w3.org/2000/svg", "")
