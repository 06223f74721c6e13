"""The page's lower half: what is assumed, sizes, readings, and how it was made."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from noseroom.checks import words
from noseroom.envelope.model import SizeReading
from noseroom.errors import GeometryError
from noseroom.layout import Layout
from noseroom.report import digest
from noseroom.report.page_findings import LINE, not_known
from noseroom.report.page_html import Html, tag
from noseroom.report.page_library import NOTICE
from noseroom.report.result import GUARANTEE, Assumption, Result
from noseroom.units import format_length


def section(ident: str, title: str, *body: Html | Sequence[Html] | None) -> Html:
    """A part of the page with a heading of its own, which a link may lead to."""
    return tag(
        "section",
        tag("h2", title, id=f"{ident}-title"),
        *body,
        id=ident,
        aria_labelledby=f"{ident}-title",
    )


def with_section(page: str, ident: str, filled: Html) -> str:
    """A finished page with one of its sections filled in anew, otherwise left as it is.

    Raises GeometryError for a page without one such section.
    """
    pattern = re.compile(rf'<section id="{re.escape(ident)}".*?</section>', re.DOTALL)
    changed, count = pattern.subn(lambda _: filled, page)
    if count != 1:
        raise GeometryError(f"page.html: has no place for what belongs under {ident!r}")
    return changed


def folded(title: str, *body: Html | Sequence[Html] | None, ident: str | None = None) -> Html:
    """What is only shown when somebody opens it."""
    return tag("details", tag("summary", title), *body, id=ident)


def _items(rows: Sequence[Html], none: str) -> Html:
    return tag("ul", rows, class_="plain") if rows else tag("p", none)


def assumed(result: Result) -> Html:
    """What nobody measured, what is not known, and what was left out."""
    rows = digest.assumed(result)
    bearing = [row for row in rows if row.bears]
    others = [row for row in rows if not row.bears]
    replaced = [one for one in result.assumptions if one.state == "replaced by readings"]
    refuted = digest.refuted(result)
    unknown = not_known(result)
    return section(
        "assumed",
        "Assumed, and not known",
        tag("h3", "Assumed, and open answers rest on it"),
        _items([_assumed(row) for row in bearing], "No open answer rests on an assumption."),
        tag("h3", "Not so, by the readings"),
        _items(
            [tag("li", text) for text in refuted], "No assumption is contradicted by the readings."
        ),
        tag("h3", "Not known"),
        _items(unknown, "Every part's place is known."),
        tag("h3", "Left out, and notes"),
        _items(list(_left_out(result)), "Nothing was left out, and the file has no notes."),
        folded(
            f"Also assumed: {sum(len(row.texts) for row in others)}",
            _items([_assumed(row) for row in others], "Nothing else."),
        ),
        folded(
            f"Assumed at first, then replaced by readings: {len(replaced)}",
            _items([_replaced(one, result.unit) for one in replaced], "Nothing."),
        ),
    )


def _assumed(row: digest.Assumed) -> Html:
    where = "" if row.part.startswith("line ") else f" (line {row.line})"
    return tag("li", tag("strong", row.part), f": {', '.join(row.texts)}{where}")


def _replaced(one: Assumption, unit: str) -> Html:
    said = words.described(words.in_unit(one.text, unit), one.part)
    return tag("li", f"{said} (line {one.line}; {one.source})")


def _left_out(result: Result) -> Iterator[Html]:
    if result.left_out:
        yield tag("li", tag("strong", "Left out, not fitted"), f": {words.listed(result.left_out)}")
    for one in result.scans:
        for remark in one.remarks:
            yield tag("li", tag("strong", f"Scan of {one.name}"), f" (line {one.line}): {remark}")
    for note in result.notes:
        yield tag("li", tag("strong", "Note"), f": {note}")


def reading_lines(layout: Layout) -> frozenset[int]:
    """Lines of the file that have a row among the readings."""
    return frozenset(line for line, _, _ in _readings(layout))


def _readings(layout: Layout) -> list[tuple[int, str, str]]:
    """Every reading and every size that the file gives: line, part, as written; by line."""
    found: dict[tuple[int, str, str], None] = {}
    for part in layout.envelope.parts.values():
        for sentence in part.place:
            found[sentence.line, part.name, sentence.text] = None
        for size in part.sizes.values():
            if size.knowledge != "assumed":
                found[size.line, part.name, _size(size)] = None
    return sorted(found)


def _size(size: SizeReading) -> str:
    said = size.text.strip()
    return said if said.startswith(size.key) else f"{size.key} {said}"


def readings(layout: Layout) -> Html:
    """All readings of the file, each with its line."""
    rows = _readings(layout)
    named: set[int] = set()
    made = []
    for line, part, text in rows:
        # Two sizes may share a line; what links to it finds the first.
        ident = None if line in named else LINE.format(line)
        named.add(line)
        made.append(tag("tr", tag("td", str(line)), tag("td", part), tag("td", text), id=ident))
    return section(
        "readings",
        "All readings",
        folded(
            f"{len(rows)} readings and sizes from the file",
            tag(
                "p",
                "As written; left and right are the car's own, as seated."
                " A reading without its own ± is off by the tape at most: ± "
                f"{format_length(layout.envelope.tape_mm, layout.envelope.unit, denominator=64)}.",
                class_="quiet",
            ),
            table(("Line", "Part", "Reading"), made, "Readings by line"),
            ident="all-readings",
        ),
    )


def sizes(result: Result, layout: Layout) -> Html:
    """The adjusted sizes of every part."""
    rows = []
    for part in result.parts:
        measures = {one.key: one.measure for one in layout.parts[part.name].part.sizes().values()}
        for key, value in part.sizes.items():
            said = _value(value, measures.get(key, ""), result.unit)
            rows.append(tag("tr", tag("td", part.name), tag("td", key), tag("td", said)))
    return section(
        "sizes",
        "Sizes of the parts",
        folded(
            f"{len(rows)} sizes of {len(result.parts)} parts",
            tag("p", "As all readings together have them.", class_="quiet"),
            table(("Part", "Size", "Value"), rows, "Sizes by part"),
        ),
    )


def _value(value: float, measure: str, unit: str) -> str:
    if measure == "length":
        said = format_length(value, unit, denominator=64)
        return said if unit == "mm" else f"{said} ({value:.1f} mm)"
    return f"{value:.2f}°" if measure == "angle" else f"{value:g}"


def table(heads: Sequence[str], rows: Sequence[Html], caption: str) -> Html:
    """A table that scrolls sideways on a small screen. rows: elements "tr"."""
    return tag(
        "div",
        tag(
            "table",
            tag("caption", caption, class_="heard"),
            tag("thead", tag("tr", [tag("th", head, scope="col") for head in heads])),
            tag("tbody", rows),
        ),
        class_="sideways",
        tabindex="0",
        role="region",
        aria_label=caption,
    )


def made(result: Result, has_view: bool) -> Html:
    """What the page was made from and with, and what it guarantees."""
    rows = [
        ("digest of the file", result.input_sha256),
        *result.made_with.items(),
        ("degrees of freedom", str(result.degrees_of_freedom)),
    ]
    return section(
        "made",
        "How this was made",
        tag("p", GUARANTEE),
        tag(
            "p",
            "It does not replace local codes, the component maker's sheet or a licensed person's "
            "judgement. “Sure” is the gap less two standard deviations of the readings and the "
            "full range of what is assumed. A clearance is rounded down, never up.",
        ),
        folded(
            "Versions and digest",
            table(
                ("What", "Which"),
                [tag("tr", tag("td", name), tag("td", said)) for name, said in rows],
                "Versions",
            ),
        ),
        folded("Licence of the 3-D library", tag("p", NOTICE)) if has_view else None,
    )
