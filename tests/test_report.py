"""What a builder reads: the terminal's words and order, findings.json and its schema."""

from __future__ import annotations

import dataclasses
import io
import json
import re
from pathlib import Path

import jsonschema
import pytest

import noseroom
from noseroom.checks import words
from noseroom.findings import Finding, Rule, Support, Verdict
from noseroom.report import digest
from noseroom.report.result import (
    CAUTIONS,
    GUARANTEE,
    SCHEMA_VERSION,
    Assumption,
    PlacedSummary,
    Result,
    result_schema,
    verdict_of,
)
from noseroom.report.terminal import show
from noseroom.units import MM_PER_INCH

DEMOS = Path(__file__).parent.parent / "vehicle_envelopes"
RULE = Rule("fan rear", 9.525, "common practice")
FAR = Rule("belt", 10.0, "common practice")
INCH = MM_PER_INCH


def part(name: str, kind: str = "", *, known: bool = True) -> PlacedSummary:
    unit = tuple(tuple(float(i == j) for j in range(4)) for i in range(4))
    return PlacedSummary(name, kind or name, "body", known, unit, {})


def pair(
    a: str,
    b: str,
    verdict: Verdict,
    *,
    measured: float | None = 5.0,
    spread: float = 1.0,
    remedies: tuple[str, ...] = (),
    rests_on: tuple[Support, ...] = (),
    components: str = "body / body",
    rule: Rule = RULE,
    state: str = "at rest",
) -> Finding:
    return Finding(
        id=f"{'moving' if state == 'moving' else 'fit'}: {a} / {b}",
        question="do they keep clear",
        parts=(a, b),
        verdict=verdict,
        note=f"{a} and {b}: a note.",
        state=state,
        measured_mm=measured,
        bound_mm=measured,
        spread_mm=None if measured is None else spread,
        rule=rule,
        remedies=remedies,
        rests_on=rests_on,
        details={"components": components},
    )


def fan_gap(
    *, window: list[list[float]] | None = None, verdict: Verdict = Verdict.FOULS
) -> Finding:
    gaps: dict[str, float | str | list[list[float]]] = {
        "gap_12_mm": 4.25 * INCH,
        "gap_3_mm": 3.875 * INCH,
        "gap_6_mm": 3.5 * INCH,
        "gap_9_mm": 3.875 * INCH,
        "gap_12_spread_mm": 1.0,
        "gap_3_spread_mm": 12.0,
        "gap_6_spread_mm": 1.5,
        "gap_9_spread_mm": 12.0,
    }
    return Finding(
        id="fan gap: fan",
        question="does the fan need a spacer",
        parts=("fan",),
        verdict=verdict,
        note="The fan does not keep its room where it stands; a spacer would.",
        remedies=("put one spacer of 2 in to 2 1/4 in between hub and fan",),
        details={"spacer_mm": [[50.8, 57.15]] if window is None else window, **gaps},
    )


def result(*findings: Finding, **changes: object) -> Result:
    names = dict.fromkeys(name for one in findings for name in one.parts)
    made = Result(
        schema=SCHEMA_VERSION,
        title="Test nose",
        unit="in",
        verdict=verdict_of(findings, 3),
        findings=findings,
        far_pairs=3,
        assumptions=(),
        left_out=(),
        notes=(),
        parts=tuple(part(name) for name in names),
        degrees_of_freedom=0,
        input_sha256="0" * 64,
        made_with={},
    )
    return dataclasses.replace(made, **changes)


def printed(one: Result, width: int = 80, where: str = "") -> str:
    text = io.StringIO()
    show(one, where, stream=text, width=width)
    return text.getvalue()


MANY = result(
    fan_gap(),
    pair(
        "fan",
        "compressor",
        Verdict.FOULS,
        measured=-33.0,
        remedies=("move the compressor 1 15/16 in aft",),
        components="sweep / nose",
    ),
    pair(
        "fan",
        "bracket",
        Verdict.FOULS,
        measured=-14.0,
        remedies=("move the bracket 1 in aft",),
        components="sweep / plate",
    ),
    pair(
        "front crank pulley",
        "compressor belt",
        Verdict.TOO_CLOSE,
        rests_on=(
            Support("engine: level ± 1 deg", 53, 1.0, 0.6, True),
            Support("engine: axis 0 ± 1/4 right of centreline", 58, 1.0, 0.4),
        ),
        remedies=words.retake((Support("engine: level ± 1 deg", 53, 1.0, 0.6, True),)),
    ),
    *(
        pair(f"bolt {n}", f"plate {n}", Verdict.FITS, measured=30.0 + n, rule=FAR)
        for n in range(14)
    ),
    assumptions=(
        Assumption("level ± 1 deg", 53, 1.0, "", "common practice", "used", "engine"),
        *(
            Assumption(
                "parallel to engine ± 1/2 deg", 60, 0.5, "", "common practice", "used", "pump"
            )
            for _ in range(3)
        ),
        Assumption(
            "radiator brackets.width: about 25 ± 10 mm",
            15,
            10.0,
            "mm",
            "common practice",
            "used",
            "radiator",
        ),
        Assumption(
            "middle 45 mm ± 40 mm ahead of engine.front",
            99,
            40.0,
            "",
            "common practice",
            "refuted by readings",
            "alternator",
        ),
    ),
    left_out=("left puller",),
)


def test_the_verdict_comes_first_then_remedies_then_the_table_then_assumptions() -> None:
    text = printed(MANY, where="outputs/nose/")
    marks = ["it does not fit", "What to do", "Clearances", "Assumed", "Files: outputs/nose/"]
    assert [text.index(mark) for mark in marks] == sorted(text.index(mark) for mark in marks)
    assert "it does not fit" in text.splitlines()[0]


@pytest.mark.parametrize("width", [60, 80, 120])
def test_no_line_is_wider_than_the_terminal_and_no_word_or_figure_is_broken(width: int) -> None:
    text = printed(MANY, width)
    assert all(len(line.rstrip()) <= width for line in text.splitlines())
    words_of = set(re.findall(r"[a-z]+", printed(MANY, 500)))
    assert set(re.findall(r"[a-z]+", text)) <= words_of | {"rule"}
    assert not re.search(r"\d$\n +\d+/\d", text, re.MULTILINE)
    assert not re.search(r"(±|\d)$\n +(in|mm|deg)\b", text, re.MULTILINE)


def test_every_verdict_reads_without_colour_by_word_and_sign() -> None:
    text = printed(MANY)
    for sign, word in (("✗", "fouls"), ("≈", "too close"), ("✓", "fits")):
        assert re.search(rf"^{sign} {word}", text, re.MULTILINE)
    assert "\x1b" not in text


def test_a_terminal_without_unicode_still_gets_the_answer() -> None:
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding="ascii")
    show(MANY, "", stream=stream, width=80)
    stream.flush()
    assert b"x fouls" in raw.getvalue()
    assert b"it does not fit" in raw.getvalue()


def test_no_colour_wins_over_a_terminal_that_could_show_it(monkeypatch: pytest.MonkeyPatch) -> None:
    class Screen(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    coloured, bare = Screen(), Screen()
    show(MANY, "", stream=coloured, width=80)
    monkeypatch.setenv("NO_COLOR", "1")
    show(MANY, "", stream=bare, width=80)
    assert "\x1b[1;31m" in coloured.getvalue()
    assert "\x1b[1;31m" not in bare.getvalue()
    assert not re.search(r"\x1b\[[0-9;]*3[0-7]m", bare.getvalue())


def test_the_fan_comes_first_with_its_four_gaps_and_the_spacer_to_aim_for() -> None:
    first = digest.headlines(MANY)[0]
    assert first.text == MANY.findings[0].note
    gaps, spacer = first.more
    # 1.5 mm is 0.059 in: rounded up to 1/16. What was not taped is looser than what was.
    assert gaps == (
        "blade front to radiator core at 12, 3, 6 and 9 o'clock: "
        "4 1/4 in ± 1/16 in, 3 7/8 in ± 1/2 in, 3 1/2 in ± 1/16 in, 3 7/8 in ± 1/2 in"
    )
    assert spacer == "spacer to aim for: 2 1/8 in ± 1/8 in"  # 2 to 2 1/4 in


@pytest.mark.parametrize("low", [10.0, 12.3, 25.4, 31.9, 50.12])
@pytest.mark.parametrize("width", [2.0, 4.4, 7.57, 20.0])
@pytest.mark.parametrize("unit", ["in", "mm"])
def test_the_spacer_aimed_for_stays_inside_its_window(low: float, width: float, unit: str) -> None:
    made = result(fan_gap(window=[[low, low + width]]), unit=unit)
    spacer = digest.headlines(made)[0].more[-1]
    middle, half = spacer.removeprefix("spacer to aim for: ").split(" ± ")
    m, h = (noseroom.units.read_length(one, unit).value for one in (middle, half))
    assert low - 1e-6 <= m - h <= m + h <= low + width + 1e-6


def test_what_shares_a_cause_is_said_in_one_line() -> None:
    fouls = [one.text for one in digest.headlines(MANY) if one.verdict is Verdict.FOULS]
    assert fouls[1:] == [
        "fan (sweep) fouls compressor (nose) by 1 5/16 in and bracket (plate) by 9/16 in."
    ]


def test_a_part_without_a_place_is_one_cause_whatever_of_it_is_near() -> None:
    made = result(
        pair("condenser", "fan", Verdict.NOT_KNOWN, measured=None, components="core / sweep"),
        pair("horn", "condenser", Verdict.NOT_KNOWN, measured=None, components="body / ports"),
        parts=(part("condenser", known=False), part("fan"), part("horn")),
    )
    texts = [one.text for one in digest.headlines(made)]
    assert texts == [
        "Nothing fixes where the condenser stands: how near it comes to fan and horn is not known."
    ]


def test_an_engines_movement_is_never_one_cause_with_what_is_amiss_at_rest() -> None:
    made = result(
        pair("post", "belt", Verdict.TOO_CLOSE),
        pair("post", "pump", Verdict.TOO_CLOSE, state="moving"),
        pair("post", "fan", Verdict.TOO_CLOSE),
        pair("post", "pulley", Verdict.TOO_CLOSE, state="moving"),
    )
    assert [one.text for one in digest.headlines(made)] == [
        "post (body) may be too close to belt (body) and fan (body).",
        "When the engine moves, post (body) may be too close to pump (body) and pulley (body).",
    ]


@pytest.mark.parametrize(
    ("verdict", "measured", "said"),
    [
        (
            Verdict.FOULS,
            -14.0,
            "When the engine moves, post (body) fouls pump (body) by 9/16 in "
            "and pulley (body) by 9/16 in.",
        ),
        (
            Verdict.NOT_KNOWN,
            None,
            "When the engine moves, it is not known whether post keeps clear of pump and pulley.",
        ),
    ],
)
def test_every_verdict_on_a_moving_engine_says_that_it_moves(
    verdict: Verdict, measured: float | None, said: str
) -> None:
    made = result(
        pair("post", "pump", verdict, measured=measured, state="moving"),
        pair("post", "pulley", verdict, measured=measured, state="moving"),
    )
    assert [one.text for one in digest.headlines(made)] == [said]


def test_a_row_of_the_table_says_when_the_engine_is_moving() -> None:
    at_rest = pair("pump", "post", Verdict.FITS, measured=30.0)
    moved = pair("pump", "post", Verdict.FOULS, measured=-2.0, state="moving")
    rows = [one for one in printed(result(moved, at_rest)).splitlines() if "pump / post" in one]
    assert [", engine moving" in row for row in rows] == [True, False]
    alone = dataclasses.replace(moved, parts=("engine",))
    assert digest.between(alone) == "engine, moving"


def test_one_pair_fits_and_two_fit() -> None:
    empty = result(far_pairs=1)
    assert "  1 pair surely fits.\n" in printed(empty)
    assert "  2 pairs surely fit.\n" in printed(dataclasses.replace(empty, far_pairs=2))
    shown = result(pair("a", "b", Verdict.FITS, measured=30.0), far_pairs=1)
    assert "  1 further pair surely fits.\n" in printed(shown)


def test_moves_that_stand_in_for_a_spacer_are_one_remedy_after_it() -> None:
    shown = digest.remedies(MANY).shown
    assert shown[0].startswith("put one spacer")
    assert shown[1] == (
        "or, without a spacer, move the compressor 1 15/16 in aft and the bracket 1 in aft"
    )


def test_nothing_is_named_instead_of_a_spacer_that_would_not_free_the_fan() -> None:
    made = result(
        fan_gap(),
        pair("fan", "pump", Verdict.FOULS, measured=-3.0, remedies=("move the fan 1 in forward",)),
        pair("fan", "horn", Verdict.FOULS, measured=-3.0, remedies=("move the horn 1 in aft",)),
    )
    assert digest.remedies(made).shown == fan_gap().remedies


def test_a_part_is_moved_once_by_the_largest_of_its_moves() -> None:
    made = result(
        pair("drier", "a", Verdict.FOULS, remedies=("move the drier 15/16 in up",)),
        pair("drier", "b", Verdict.FOULS, remedies=("move the drier 1 1/4 in up",)),
        pair("drier", "c", Verdict.FOULS, remedies=("move the drier 1/2 in aft",)),
    )
    assert digest.remedies(made).shown == (
        "move the drier 1 1/4 in up",
        "move the drier 1/2 in aft",
    )


def test_readings_are_ranked_by_what_they_settle_and_said_once() -> None:
    level = Support("engine: level ± 1 deg", 53, 1.0, 0.3, True)
    axis = Support("pump: axis 3 up", 60, 1.0, 0.5)
    made = result(
        pair("a", "b", Verdict.TOO_CLOSE, rests_on=(axis, level), remedies=words.retake((axis,))),
        pair("a", "c", Verdict.TOO_CLOSE, rests_on=(level,), remedies=words.retake((level,))),
        pair("a", "d", Verdict.TOO_CLOSE, rests_on=(level,), remedies=words.retake((level,))),
    )
    assert digest.remedies(made).shown == (
        "measure what is only assumed: engine: level ± 1 deg (bears on 3 open answers)",
        "read line 60 again, finer: pump: axis 3 up (bears on 1 open answer)",
    )


def test_at_most_eight_remedies_are_shown_and_the_rest_counted() -> None:
    made = result(
        *(
            pair(f"a{n}", f"b{n}", Verdict.FOULS, remedies=(f"move the a{n} 1 in up",))
            for n in range(11)
        )
    )
    ranked = digest.remedies(made)
    assert (len(ranked.shown), ranked.more) == (8, 3)
    assert "and 3 more" in printed(made)


def test_the_tightest_ten_that_fit_are_listed_and_the_rest_counted() -> None:
    text = printed(MANY)
    assert len(re.findall(r"^✓ fits", text, re.MULTILINE)) == 10
    assert "bolt 0 / plate 0" in text
    assert "bolt 13 / plate 13" not in text
    assert "7 further pairs surely fit" in text  # 14 - 10, and 3 far apart


def test_a_gap_below_the_rules_finest_mark_does_not_read_like_contact() -> None:
    assert words.length(0.9, "in") == "under 1/16 in"
    assert words.length(0.05, "mm") == "under 0.1 mm"
    assert words.length(0.0, "in") == "0 in"
    assert words.length(1.6, "in") == "1/16 in"
    row = next(
        line
        for line in printed(
            result(pair("a", "b", Verdict.TOO_CLOSE, measured=1.2, spread=0.3))
        ).splitlines()
        if "a / b" in line
    )
    assert re.search(r"<1/16 +<1/16 +3/8$", row.rstrip())


def test_figures_round_against_the_builder() -> None:
    # 10 mm is 0.394 in: between 6/16 and 7/16.
    assert words.length(10.0, "in") == "3/8 in"
    assert words.at_least(10.0, "in") == "7/16 in"
    assert words.at_least(9.525, "in") == "3/8 in"


def test_a_pair_that_fits_never_shows_less_than_is_asked() -> None:
    made = result(pair("a", "b", Verdict.FITS, measured=12.0, spread=1.9, rule=FAR))
    row = next(line for line in printed(made).splitlines() if "a / b" in line)
    assert row.split()[-2:] == ["just", "7/16"]


def test_an_assumption_is_told_in_the_files_unit_once_and_with_its_part() -> None:
    assert words.in_unit("core centred ± 20 mm", "in") == "core centred ± 13/16 in"
    assert words.in_unit("about 25 ± 10 mm", "in") == "about 1 in ± 3/8 in"
    # 0.4 mm would be nothing in sixteenths.
    assert words.in_unit("about 1.2 ± 0.4 mm", "in") == "about 3/64 in ± 1/64 in"
    assert words.in_unit("level ± 1 deg", "in") == "level ± 1 deg"
    assert words.in_unit("about 25 ± 10 mm", "mm") == "about 25 ± 10 mm"
    rows = digest.assumed(MANY)
    assert rows[0] == digest.Assumed("engine", 53, ("level ± 1 deg",), True)
    assert digest.Assumed("pump", 60, ("parallel to engine ± 1/2 deg",), False) in rows
    assert digest.Assumed("radiator", 15, ("brackets.width about 1 in ± 3/8 in",), False) in rows


def test_refuted_assumptions_and_parts_left_out_are_told() -> None:
    text = " ".join(printed(MANY).split())
    assert "not so, by the readings: alternator: middle 1 3/4 in ± 1 9/16 in ahead of" in text
    assert "left out, not fitted: left puller" in text


def test_many_assumptions_that_nothing_open_rests_on_are_counted_by_part() -> None:
    many = tuple(
        Assumption(f"drier size{n}: about 9 ± 3 mm", 44, 3.0, "mm", "", "used", "drier")
        for n in range(30)
    )
    text = printed(result(pair("a", "b", Verdict.FITS), assumptions=many))
    assert "drier 30; all in the result" in text


def test_cautions_stand_where_they_concern_and_the_guarantee_always() -> None:
    plain = result(pair("box a", "box b", Verdict.FITS, measured=30.0))
    assert GUARANTEE in " ".join(printed(plain).split())
    assert "Refrigerant" not in printed(plain)
    cooled = dataclasses.replace(plain, parts=(part("condenser"), part("fan"), part("radiator")))
    text = " ".join(printed(cooled).split())
    assert all(caution in text for caution in CAUTIONS)


def test_markup_in_a_name_is_printed_and_not_obeyed() -> None:
    made = result(pair("[bold]a", "b[/]", Verdict.FITS), title="[red]nose")
    assert "[red]nose" in printed(made)
    assert "[bold]a / b[/]" in printed(made)


def test_the_result_reads_as_the_plain_terminal_text() -> None:
    assert str(MANY) == printed(MANY)


def test_findings_read_back_equal() -> None:
    assert Result.from_json(MANY.to_json()) == Result.from_json(
        Result.from_json(MANY.to_json()).to_json()
    )
    assert Result.from_json(MANY.to_json()).findings[3] == MANY.findings[3]


@pytest.mark.parametrize("text", ["", "{}", "[]", "null", '{"schema": 1}', "\x00"])
def test_what_is_not_findings_is_a_value_error(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        Result.from_json(text)


def test_findings_hold_no_negative_zero_and_no_time() -> None:
    made = result(pair("a", "b", Verdict.FITS, measured=-0.00001, spread=0.0))
    text = made.to_json()
    assert "-0.0" not in text
    assert not re.search(r"\d\d:\d\d:\d\d|\d{4}-\d\d-\d\d", text)


def test_the_published_schema_is_current() -> None:
    from importlib.resources import files

    text = (files("noseroom.report") / "findings.schema.json").read_text(encoding="utf-8")
    assert json.loads(text) == result_schema()


def test_the_schema_accepts_findings_and_refuses_what_is_not() -> None:
    schema = result_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    check = jsonschema.Draft202012Validator(schema)
    plain = json.loads(MANY.to_json())
    check.validate(plain)
    plain["verdict"] = "perhaps"
    assert not check.is_valid(plain)
    del plain["verdict"]
    assert not check.is_valid(plain)


def test_findings_of_a_real_nose_hold_to_the_schema_and_read_back_equal(tmp_path: Path) -> None:
    demo = DEMOS / "half_measured_coupe.yaml"
    made = noseroom.check(demo, outputs=tmp_path)
    text = (tmp_path / demo.stem / "findings.json").read_text(encoding="utf-8")
    jsonschema.Draft202012Validator(result_schema()).validate(json.loads(text))
    assert Result.from_json(text).to_json() == text == made.to_json()
    assert str(made).splitlines()[0].startswith("? ")
    assert str(tmp_path) not in text


def test_the_chosen_spacer_stands_below_its_fan_and_is_what_to_do() -> None:
    chosen = Finding(
        id="spacer: fan",
        question="which spacer, and which bolts",
        parts=("fan",),
        verdict=Verdict.FITS,
        note="For the fan, a spacer of 2 in as sold is the best choice.",
        remedies=("fit one spacer of 2 in, with 4 bolts; never stack spacers",),
        details={"in_full": "Grip up to 2 1/4 in.\nTighten each to 9 lbf·ft."},
    )
    one = result(chosen, fan_gap(), pair("fan", "compressor", Verdict.FOULS))
    first, second, *_ = digest.headlines(one)
    assert first.text.startswith("The fan does not keep its room")
    assert second == digest.Headline(
        Verdict.FITS, chosen.note, ("Grip up to 2 1/4 in.", "Tighten each to 9 lbf·ft.")
    )
    assert digest.remedies(one).shown[0] == chosen.remedies[0]
    assert "put one spacer of 2 in to 2 1/4 in" not in " ".join(digest.remedies(one).shown)
    # What is not known of a spacer makes no nose worse than its fan does.
    open_ = dataclasses.replace(chosen, verdict=Verdict.NOT_KNOWN)
    assert verdict_of((open_, fan_gap(verdict=Verdict.TOO_CLOSE)), 0) is Verdict.TOO_CLOSE
    assert digest.remedies(result(open_, fan_gap())).shown[0] == fan_gap().remedies[0]
