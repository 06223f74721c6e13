"""What a notebook shows of a result: the verdict, what to do, and a table of all findings.

Plain HTML with its styles in the tags: a notebook may drop anything else, and no script is needed.
Every text that came from a file is escaped.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from typing import TYPE_CHECKING

from noseroom.checks import words
from noseroom.findings import Finding, Verdict
from noseroom.report import digest

if TYPE_CHECKING:
    from noseroom.report.result import Result

_COLOUR = {
    Verdict.FITS: "#1b6e3a",
    Verdict.FOULS: "#a8201a",
    Verdict.TOO_CLOSE: "#7a5200",
    Verdict.NOT_KNOWN: "#6a2f8a",
}
_HEAD = ("verdict", "between", "apart", "sure", "asked", "what was found")
_CELL = "text-align:left;vertical-align:top;padding:2px 10px 2px 0"
_MOST_ROWS = 60


def result_html(result: Result) -> str:
    """A result as a piece of HTML: sentence, causes, remedies, findings worst first, cautions."""
    parts = [
        f'<p style="font-size:115%;border-left:8px solid {_COLOUR[result.verdict]};'
        f'padding-left:8px"><strong>{escape(result.title)}: '
        f"{digest.SENTENCE[result.verdict]}</strong> ({escape(digest.counts(result))})</p>"
    ]
    causes = [f"{one.verdict}: {one.text}" for one in digest.headlines(result)]
    parts += _list("", causes[: digest.MOST_HEADLINES], "ul")
    parts += _list("What to do", digest.remedies(result).shown, "ol")
    rows = [_row(one, result.unit) for one in result.findings[:_MOST_ROWS]]
    hidden = len(result.findings) - len(rows)
    rest = f"and {hidden} more {'finding' if hidden == 1 else 'findings'}" if hidden else ""
    far = f"{digest.surely_fit(result.far_pairs, 'more')}, far apart" if result.far_pairs else ""
    parts.append(table_html(_HEAD, rows, caption="; ".join(filter(None, (rest, far)))))
    assumed = [f"{one.part}: {', '.join(one.texts)}" for one in digest.assumed(result)]
    parts += _list("Assumed, because nobody measured it", assumed, "ul")
    parts += _list("", _also(result), "ul")
    return f'<div class="noseroom">{"".join(parts)}</div>'


def table_html(
    head: Sequence[str], rows: Iterable[Sequence[str]], *, caption: str = "", empty: str = ""
) -> str:
    """A table of plain texts, each escaped. Without rows, only `empty` and the caption.

    head: the columns' names; the first cell of each row heads it.
    """
    lines = [_tr(row) for row in rows]
    said = " ".join(filter(None, ("" if lines else empty, caption)))
    below = f'<p style="margin:4px 0">{escape(said)}</p>' if said else ""
    if not lines:
        return below or "<p></p>"
    cells = "".join(f'<th scope="col" style="{_CELL}">{escape(one)}</th>' for one in head)
    return (
        f'<table style="border-collapse:collapse"><thead><tr>{cells}</tr></thead>'
        f"<tbody>{''.join(lines)}</tbody></table>{below}"
    )


def _tr(row: Sequence[str]) -> str:
    first, *others = row
    cells = "".join(f'<td style="{_CELL}">{escape(one)}</td>' for one in others)
    return f'<tr><th scope="row" style="{_CELL}">{escape(first)}</th>{cells}</tr>'


def _list(heading: str, items: Sequence[str], tag: str) -> list[str]:
    if not items:
        return []
    lines = "".join(f"<li>{escape(one)}</li>" for one in items)
    above = f"<p><strong>{escape(heading)}</strong></p>" if heading else ""
    return [f"{above}<{tag}>{lines}</{tag}>"]


def _also(result: Result) -> list[str]:
    """What was left out, what is wrong with scans, notes; then the cautions."""
    said = [f"not so, by the readings: {one}" for one in digest.refuted(result)]
    if result.left_out:
        said.append(f"left out, not fitted: {words.listed(result.left_out)}")
    said += [f"scan of {one.name}: {remark}" for one in result.scans for remark in one.remarks]
    return [*said, *(f"note: {one}" for one in result.notes), *digest.cautions(result)]


def _row(one: Finding, unit: str) -> tuple[str, ...]:
    sure = one.sure_mm
    return (
        str(one.verdict),
        digest.between(one),
        "" if one.measured_mm is None else words.length(one.measured_mm, unit),
        "" if sure is None else "none" if sure < 0 else words.length(sure, unit),
        "" if one.rule is None else words.at_least(one.rule.value_mm, unit),
        one.note,
    )
