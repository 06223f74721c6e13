"""What was made or chosen goes into the page that a check has written."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

from noseroom.errors import OutputError
from noseroom.report import page_make
from noseroom.report.page_file import check_page
from noseroom.report.page_html import Html
from noseroom.report.page_sections import with_section
from noseroom.report.result import Result, WrittenFile
from noseroom.workshop.bench import Bench
from noseroom.workshop.cut_list import HEADINGS, IN_ALL, table_rows
from noseroom.workshop.nose_files import FINDINGS, PAGE, sha256


def list_on_page(result: Result, bench: Bench, folder: Path) -> Result:
    """Fill the page's section on what to make, as `put_on_page`."""
    sums = [row for row in bench.rows if row.item == IN_ALL]
    made = page_make.ToMake(
        HEADINGS,
        table_rows(row for row in bench.rows if row.item != IN_ALL),
        # All of these are for everything: whose they are needs no column.
        [("", *row[1:]) for row in table_rows(sums)],
        (*bench.refused, *bench.doubts),
        bench.remarks,
        bench.names,
        bench.pictures,
        bench.answers,
    )
    return put_on_page(result, page_make.IDENT, page_make.to_make(made), folder)


def put_on_page(result: Result, ident: str, section: Html, folder: Path) -> Result:
    """Put a section in the place of the page's own, and return the result with its new digest.

    Page and findings are each replaced in one move. Stopped between the two, the next check finds
    that the page is not the one that it wrote, and writes everything anew.

    Raises OutputError when they cannot be written, GeometryError when the page does not come back.
    """
    try:
        text = with_section((folder / PAGE).read_text(encoding="utf-8"), ident, section)
        check_page(text, result)
        _replace(folder / PAGE, text)
        files = tuple(
            WrittenFile(one.name, sha256(folder / PAGE)) if one.name == PAGE else one
            for one in result.files
        )
        whole = replace(result, files=files)
        _replace(folder / FINDINGS, whole.to_json())
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written ({error.strerror or error})") from error
    return whole


def _replace(path: Path, text: str) -> None:
    fresh = path.with_name(f".{path.name}-new")
    try:
        fresh.write_text(text, encoding="utf-8", newline="\n")
        os.replace(fresh, path)
    finally:
        fresh.unlink(missing_ok=True)
