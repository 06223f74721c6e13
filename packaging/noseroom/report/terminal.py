"""The terminal: the verdict first, then remedies, then the table, then what is assumed."""

from __future__ import annotations

from typing import IO

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from noseroom.findings import Finding, Verdict
from noseroom.report.result import Result
from noseroom.units import format_length

_STYLE = {
    Verdict.FITS: "green",
    Verdict.FOULS: "bold red",
    Verdict.TOO_CLOSE: "yellow",
    Verdict.NOT_KNOWN: "magenta",
}
_SENTENCE = {
    Verdict.FITS: "Everything fits.",
    Verdict.FOULS: "Something fouls.",
    Verdict.TOO_CLOSE: "Nothing fouls, but something is too close to call.",
    Verdict.NOT_KNOWN: "Nothing fouls, but something is not known.",
}


def show(
    result: Result, where: str, stream: IO[str] | None = None, width: int | None = None
) -> None:
    """Print a result. where: the folder its files are in, as the user may type it ("" for none)."""
    console = Console(file=stream, width=width, highlight=False)
    style = _STYLE[result.verdict]
    console.print(f"[bold]{escape(result.title)}[/]")
    console.print(f"[{style}]{_SENTENCE[result.verdict]}[/]  {_counts(result)}")
    _headlines(console, result)
    _remedies(console, result)
    _table(console, result)
    _assumptions(console, result)
    for caution in result.cautions:
        console.print(f"[dim]! {escape(caution)}[/]")
    if where:
        console.print(f"Files: {escape(where)}", soft_wrap=True)


def _counts(result: Result) -> str:
    parts = []
    for verdict in Verdict:
        count = len(result.of(verdict)) + (result.far_pairs if verdict is Verdict.FITS else 0)
        if count:
            parts.append(f"{count} {verdict.value}")
    return ", ".join(parts)


def _open(result: Result) -> list[Finding]:
    return [one for one in result.findings if one.verdict is not Verdict.FITS]


def _headlines(console: Console, result: Result) -> None:
    spacers = [one for one in result.findings if one.id.startswith("fan gap")]
    for finding in [*spacers, *[one for one in _open(result) if one not in spacers]][:12]:
        style = _STYLE[finding.verdict]
        console.print(f"  [{style}]{finding.verdict.value:>17}[/]  {escape(finding.note)}")


def _remedies(console: Console, result: Result) -> None:
    said: list[str] = []
    for finding in _open(result):
        for remedy in finding.remedies:
            if remedy not in said:
                said.append(remedy)
    if said:
        console.print("\n[bold]What to do[/]")
        for number, remedy in enumerate(said[:12], start=1):
            console.print(f"  {number}. {escape(remedy)}")
        if len(said) > 12:
            console.print(f"  … and {len(said) - 12} more in findings.json")


def _table(console: Console, result: Result) -> None:
    rows = [one for one in result.findings if one.rule is not None and one.measured_mm is not None]
    if not rows:
        return
    console.print()
    table = Table(title="Clearances", title_justify="left", title_style="bold")
    for heading in ("", "parts", "apart", "sure", "asked", "rule"):
        table.add_column(heading, justify="left" if heading in ("", "parts", "rule") else "right")
    for one in rows:
        assert one.rule is not None
        assert one.measured_mm is not None
        table.add_row(
            f"[{_STYLE[one.verdict]}]{one.verdict.value}[/]",
            escape(" / ".join(one.parts)),
            _length(one.measured_mm, result.unit, one.relation),
            _length(one.sure_mm, result.unit, ""),
            format_length(one.rule.value_mm, result.unit),
            escape(one.rule.key),
        )
    console.print(table)
    if result.far_pairs:
        console.print(f"  {result.far_pairs} further pairs are far apart and surely fit.")


def _length(mm: float | None, unit: str, relation: str) -> str:
    if mm is None:
        return "not known"
    if mm < 0:
        return relation or "none"
    return format_length(mm, unit, rounding="down")


def _assumptions(console: Console, result: Result) -> None:
    used = [one for one in result.assumptions if one.state == "used"]
    gone = [one for one in result.assumptions if one.state == "refuted by readings"]
    if used:
        console.print("\n[bold]Assumed, because nobody measured it[/]")
        for one in used:
            console.print(f"  line {one.line:>3}: {escape(one.text)}")
    for one in gone:
        console.print(f"  [yellow]not so, by the readings:[/] {escape(one.text)}")
    for name in result.left_out:
        console.print(f"  left out, not fitted: {escape(name)}")
    for note in result.notes:
        console.print(f"  {escape(note)}")
    console.print()
