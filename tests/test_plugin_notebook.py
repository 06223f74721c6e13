"""What a notebook shows of a result."""

from __future__ import annotations

import dataclasses
from html.parser import HTMLParser

import pytest

from noseroom.findings import Finding, Rule, Verdict
from noseroom.report.notebook import table_html
from noseroom.report.result import CAUTIONS, GUARANTEE, SCHEMA_VERSION, Assumption, Result

EVIL = '<img src=x onerror="alert(1)"> & "Sons"'
ALLOWED = {
    *("div", "p", "strong", "ul", "ol", "li"),
    *("table", "thead", "tbody", "tr", "th", "td"),
}


class Page(HTMLParser):
    """Tags, their attributes and the text between them; every tag is closed in its turn."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: set[str] = set()
        self.said: list[str] = []
        self._open: list[str] = []
        self.feed(text)
        assert not self._open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes |= {name for name, _ in attrs}
        self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.said.append(data)


def finding(verdict: Verdict, **more: object) -> Finding:
    base = Finding("gap a b", "fit", ("radiator", EVIL), verdict, f"It is so. {EVIL}")
    return dataclasses.replace(base, **more)  # type: ignore[arg-type]


def result(*findings: Finding, **more: object) -> Result:
    made = Result(
        schema=SCHEMA_VERSION,
        title=EVIL,
        unit="mm",
        verdict=min((one.verdict for one in findings), key=lambda v: v.rank),
        findings=findings,
        far_pairs=7,
        assumptions=(Assumption(f"{EVIL} 5 mm", 3, 2.0, "mm", EVIL, part=EVIL),),
        left_out=(EVIL,),
        notes=(EVIL,),
        parts=(),
        degrees_of_freedom=0,
        input_sha256="",
        made_with={},
    )
    return dataclasses.replace(made, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("verdict", "sentence"),
    [
        (Verdict.FITS, "everything fits"),
        (Verdict.FOULS, "it does not fit"),
        (Verdict.TOO_CLOSE, "too close to call; nothing surely fouls"),
        (Verdict.NOT_KNOWN, "not known; nothing surely fouls"),
    ],
)
def test_the_verdict_comes_first_in_words(verdict: Verdict, sentence: str) -> None:
    page = Page(result(finding(verdict))._repr_html_())
    assert page.said[0].endswith(f": {sentence}")


def test_every_finding_has_a_row_with_figures_rounded_against_us() -> None:
    """By hand: 12.38 less 2.29 is 10.09 sure; 19.01 is asked."""
    one = finding(
        Verdict.FOULS,
        measured_mm=12.38,
        bound_mm=12.38,
        spread_mm=2.29,
        rule=Rule("fan front", 19.01, "common practice"),
    )
    other = finding(Verdict.TOO_CLOSE, measured_mm=3.0, bound_mm=3.0, spread_mm=4.0)
    page = Page(result(one, other)._repr_html_())
    assert page.tags.count("tr") == 3
    for said in ("12.3 mm", "10 mm", "19.1 mm", "none", "7 more pairs surely fit, far apart"):
        assert said in page.said
    assert "(1 foul, 1 too close to call, 7 fit)" in "".join(page.said)


def test_a_row_says_when_the_engine_is_moving() -> None:
    at_rest = finding(Verdict.FOULS, parts=("pump", "post"))
    moved = dataclasses.replace(at_rest, id="moving: pump / post", state="moving")
    said = Page(result(at_rest, moved, far_pairs=1)._repr_html_()).said
    assert [one for one in said if "pump / post" in one] == [
        "pump / post",
        "pump / post, engine moving",
    ]
    assert "1 more pair surely fits, far apart" in said


def test_text_from_the_file_is_text_in_the_notebook() -> None:
    remedies = (f"move the {EVIL} away",)
    page = Page(result(finding(Verdict.FOULS, remedies=remedies))._repr_html_())
    assert set(page.tags) <= ALLOWED
    assert page.attributes <= {"style", "class", "scope"}
    assert "".join(page.said).count(EVIL) >= 6


def test_what_is_assumed_left_out_and_dangerous_is_said() -> None:
    said = "".join(Page(result(finding(Verdict.FITS))._repr_html_()).said)
    assert "Assumed, because nobody measured it" in said
    assert f"left out, not fitted: {EVIL}" in said
    assert GUARANTEE in CAUTIONS
    assert GUARANTEE in said


def test_a_table_without_rows_is_a_sentence() -> None:
    page = Page(table_html(("a", "b"), [], caption="nothing <b>here</b>"))
    assert page.tags == ["p"]
    assert page.said == ["nothing <b>here</b>"]
