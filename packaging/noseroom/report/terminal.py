"""The terminal: the verdict first, then remedies, then the table, then what is assumed.

It reads the same without colour: every verdict has a word and a sign. Lines are wrapped here, not
by the console, so that a figure is never parted from its fraction or its unit.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from typing import IO

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from noseroom.checks import words
from noseroom.findings import COOLING, Finding, Rule, Verdict
from noseroom.report import digest, service_room
from noseroom.report.result import GUARANTEE, Result

_STYLE = {
    Verdict.FITS: "green",
    Verdict.FOULS: "bold red",
    Verdict.TOO_CLOSE: "yellow",
    Verdict.NOT_KNOWN: "magenta",
}
_SIGN = {
    Verdict.FITS: "✓",
    Verdict.FOULS: "✗",
    Verdict.TOO_CLOSE: "≈",
    Verdict.NOT_KNOWN: "?",
}
_PLAIN_SIGN = {
    Verdict.FITS: "+",
    Verdict.FOULS: "x",
    Verdict.TOO_CLOSE: "~",
    Verdict.NOT_KNOWN: "?",
}
_WORD = {
    Verdict.FITS: "fits",
    Verdict.FOULS: "fouls",
    Verdict.TOO_CLOSE: "too close",
    Verdict.NOT_KNOWN: "not known",
}
_LEAST_WIDTH = 40
_WIDE = 104
"""From this width on the table names each row's rule."""
_MOST_FITS = 10
_MOST_WAYS = 3
"""So many changes of air and heat are told."""
_LABEL = 12
_FINEST_MM = 1.6
"""No figure is rounded by more."""
_KEEP_TOGETHER = re.compile(r"(?<=\d) (?=\d+/\d|(?:in|mm|cm|ft|m|deg|%)\b)|(?<=±) ")


def show(
    result: Result, where: str, stream: IO[str] | None = None, width: int | None = None
) -> None:
    """Print a result. where: the folder its files are in, as the user may type it ("" for none).

    width: columns; the terminal's own, or 80 in a pipe, where it is not given.
    """
    _Page(Console(file=stream, width=width, highlight=False, markup=False)).show(result, where)


class _Page:
    """One result on one console."""

    def __init__(self, console: Console) -> None:
        self.console = console
        self.encoding = console.encoding
        self.signs = _SIGN if self.encoding.lower().startswith("utf") else _PLAIN_SIGN
        self.width = max(console.width, _LEAST_WIDTH)

    def show(self, result: Result, where: str) -> None:
        self.verdict(result)
        self.headlines(result)
        self.remedies(result)
        self.table(result)
        self.service(result)
        self.air_and_heat(result)
        self.assumptions(result)
        if where:
            self.console.print(self.safe(f"Files: {where}"), soft_wrap=True)

    def safe(self, text: str) -> str:
        """The text with what this terminal cannot show as question marks."""
        return text.encode(self.encoding, "replace").decode(self.encoding)

    def say(self, text: str, *, head: str = "", style: str = "", indent: int = 0) -> None:
        """A paragraph; `head` is styled and what follows its first line hangs below the text.

        indent: where the text begins; 0 for right after the head.
        """
        hang = indent or len(head) + bool(head)
        first = head.ljust(hang)
        glued = _KEEP_TOGETHER.sub("\u00a0", text)
        lines = textwrap.wrap(
            glued,
            self.width - hang,
            break_long_words=False,
            break_on_hyphens=False,
        )
        for row, line in enumerate(lines or [""]):
            said = Text(self.safe(first) if row == 0 else " " * hang, style=style)
            said.append(self.safe(line.replace("\u00a0", " ")), style="" if head else style)
            self.console.print(said, soft_wrap=True)

    def heading(self, text: str) -> None:
        self.console.print()
        self.say(text, style="bold")

    def verdict(self, result: Result) -> None:
        sign = self.signs[result.verdict]
        self.say(
            f"{sign} {result.title}: {digest.SENTENCE[result.verdict]} ({digest.counts(result)}).",
            style=_STYLE[result.verdict],
        )
        if GUARANTEE in result.cautions:
            self.say(f"  {GUARANTEE}", style="dim")

    def headlines(self, result: Result) -> None:
        found = digest.headlines(result)
        if found:
            self.console.print()
        for one in found[: digest.MOST_HEADLINES]:
            self.say(
                one.text,
                head=f"{self.signs[one.verdict]} {_WORD[one.verdict]}",
                style=_STYLE[one.verdict],
                indent=_LABEL,
            )
            for line in one.more:
                self.say(line, head=" ", indent=_LABEL)
        hidden = found[digest.MOST_HEADLINES :]
        if hidden:
            self.say(f"and {len(hidden)} more: see the table", head=" ", indent=_LABEL)

    def remedies(self, result: Result) -> None:
        ranked = digest.remedies(result)
        if ranked.shown:
            self.heading("What to do")
            for number, remedy in enumerate(ranked.shown, start=1):
                self.say(remedy, head=f"{number:>3}.")
            if ranked.more:
                self.say(f"and {ranked.more} more in {_all_of(result)}", head="    ")
        for caution in digest.cautions(result):
            if caution != GUARANTEE:
                self.say(caution, head="  !", style="dim")

    def table(self, result: Result) -> None:
        rows = [
            one for one in result.findings if one.rule is not None and one.measured_mm is not None
        ]
        fits = [one for one in rows if one.verdict is Verdict.FITS]
        shown = [one for one in rows if one.verdict is not Verdict.FITS]
        shown += sorted(fits, key=_margin)[:_MOST_FITS]
        rest = len(fits) - min(len(fits), _MOST_FITS) + result.far_pairs
        if shown:
            unit = "in" if result.unit in ("in", "ft") else result.unit
            self.heading(f"Clearances in {'inches' if unit == 'in' else unit}")
            self.console.print(self.rows(shown, unit))
            if any((one.measured_mm or 0) < 0 for one in shown):
                self.say("below zero: how far they have to be pulled apart", head=" ")
            if any(_sure(one, unit) == "just" for one in shown):
                self.say("just: what is asked is sure, and hardly more", head=" ")
        if rest:
            self.say(f"{digest.surely_fit(rest, 'further' if shown else '')}.", head=" ")
        for line in _rules_said([one.rule for one in shown if one.rule], result.unit):
            self.say(line, head=" ")

    def service(self, result: Result) -> None:
        rows = service_room.rows(result)
        if rows:
            self.heading(f"{service_room.TITLE}. {service_room.APART}")
        for one in rows:
            self.say(
                one.text,
                head=f"{self.signs[one.verdict]} {service_room.WORD[one.verdict]}",
                style=_STYLE[one.verdict],
                indent=_LABEL,
            )
            for line in one.more[:1]:
                self.say(line, head=" ", indent=_LABEL)

    def air_and_heat(self, result: Result) -> None:
        found = {one.id: one for one in result.cooling}
        first = found.pop(f"{COOLING}summary", None)
        if first is None:
            return
        self.heading("Air and heat. It does not decide whether the nose fits.")
        self.say(first.note)
        for number, remedy in enumerate(first.remedies[:_MOST_WAYS], start=1):
            self.say(remedy, head=f"{number:>3}.")
        rest = len(found) + max(len(first.remedies) - _MOST_WAYS, 0)
        if rest:
            self.say(f"and {rest} more on air and heat in {_all_of(result)}", head="    ")

    def rows(self, shown: Sequence[Finding], unit: str) -> Table:
        table = Table(box=SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0), show_edge=False)
        table.add_column("", no_wrap=True)
        table.add_column("between", overflow="fold")
        for heading in ("apart", "sure", "asked"):
            table.add_column(heading, justify="right", no_wrap=True)
        if self.width >= _WIDE:
            table.add_column("rule", no_wrap=True)
        for one in shown:
            assert one.rule is not None
            cells = [
                Text(f"{self.signs[one.verdict]} {_WORD[one.verdict]}", _STYLE[one.verdict]),
                Text(self.safe(digest.between(one))),
                Text(_apart(one, unit)),
                Text(_sure(one, unit)),
                Text(_asked(one.rule, unit)),
            ]
            if self.width >= _WIDE:
                cells.append(Text(self.safe(one.rule.key)))
            table.add_row(*cells)
        return table

    def assumptions(self, result: Result) -> None:
        rows = digest.assumed(result)
        bearing = [row for row in rows if row.bears]
        others = [row for row in rows if not row.bears]
        if bearing:
            self.heading("Assumed, because nobody measured it; open answers rest on it")
            self.parts(bearing)
        if others and digest.too_many(rows):
            self.heading("Also assumed" if bearing else "Assumed, because nobody measured it")
            counts = ", ".join(f"{row.part} {len(row.texts)}" for row in others)
            self.say(f"{counts}; all in {_all_of(result)}", head=" ")
        elif others:
            self.heading("Also assumed" if bearing else "Assumed, because nobody measured it")
            self.parts(others)
        said = [("not so, by the readings:", text) for text in digest.refuted(result)]
        said += [("left out, not fitted:", words.listed(result.left_out))] * bool(result.left_out)
        said += [
            (f"scan of {one.name} (line {one.line}):", remark)
            for one in result.scans
            for remark in one.remarks
        ]
        said += [("note:", note) for note in result.notes]
        if said:
            self.console.print()
        for head, text in said:
            self.say(text, head=f"  {head}", style="dim")
        self.console.print()

    def parts(self, rows: Sequence[digest.Assumed]) -> None:
        for row in rows:
            where = "" if row.part.startswith("line ") else f" (line {row.line})"
            self.say(f"{row.part}: {', '.join(row.texts)}{where}", head="  ", indent=4)


def _all_of(result: Result) -> str:
    return "findings.json" if result.files else "the result"


def _margin(finding: Finding) -> float:
    assert finding.rule is not None
    return (finding.sure_mm or 0.0) - finding.rule.value_mm


def _apart(finding: Finding, unit: str) -> str:
    measured = finding.measured_mm
    if measured is None:
        return "?"
    return _bare(words.length(measured, unit), unit)


def _sure(finding: Finding, unit: str) -> str:
    sure = finding.sure_mm
    if sure is None or finding.rule is None:
        return "?"
    if sure < 0 or sure == 0 < finding.rule.value_mm:
        return "none"
    said = _bare(words.length(sure, unit), unit)
    if finding.verdict is Verdict.FITS and sure - finding.rule.value_mm < _FINEST_MM:
        # What is asked is rounded up and what is sure is rounded down: they may seem to cross.
        return said if said == _asked(finding.rule, unit) else "just"
    return said


def _asked(rule: Rule, unit: str) -> str:
    return _bare(words.at_least(rule.value_mm, unit), unit)


def _bare(said: str, unit: str) -> str:
    """A figure without its unit, for a column whose heading has it."""
    return said.removesuffix(f" {unit}").replace("under ", "<")


def _rules_said(rules: Sequence[Rule], unit: str) -> list[str]:
    """What was asked and who asks it: a line for each source."""
    sources: dict[tuple[str, int], dict[str, None]] = {}
    for rule in rules:
        named = f"{rule.key} {words.at_least(rule.value_mm, unit)}"
        sources.setdefault((rule.source.split(":")[0], rule.line), {})[named] = None
    return [
        f"asked: {', '.join(named)} ({source}{f', line {line}' if line else ''})"
        for (source, line), named in sources.items()
    ]
