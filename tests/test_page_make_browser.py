"""The list of what to make in a browser, wide and narrow: read as a table, or a card a row."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

from browser import opened
from noseroom.report.page_make import ToMake, to_make
from noseroom.workshop.cut_list import HEADINGS, CutRow, table_rows

ITEM = "Bracket for the condenser upper left tab"
ROWS = (
    CutRow(ITEM, "joggled strap", 1, "left", "", "mild steel, 12 ga", 2.66, (77.7, 27.9), "bends"),
    CutRow(ITEM, "bolt", 1, "left", "1/4-20 × 1 1/4 in", "grade 5", note="at the tab; a long note"),
    CutRow(ITEM, "locking nut", 1, "left", "1/4-20", "grade 5"),
)
CELLS = """() => [...document.querySelectorAll('#make td')].map((one) => {
  const box = one.getBoundingClientRect();
  return {text: one.textContent, head: getComputedStyle(one, '::before').content,
          shown: one.checkVisibility(), left: box.left, right: box.right, top: box.top};
})"""


@pytest.mark.parametrize("width", [1280, 390])
def test_each_cell_can_be_read_at_any_width(chromium: Any, tmp_path: Path, width: int) -> None:
    """Narrow: every cell as wide as the screen, under the other, with its heading beside it."""
    style = files("noseroom.report").joinpath("page", "page.css").read_text(encoding="utf-8")
    rows = table_rows(ROWS)
    section = to_make(ToMake(HEADINGS, rows, [], [], [], [], {}, {}))
    page_file = tmp_path / "page.html"
    page_file.write_text(
        f'<!doctype html><meta charset="utf-8"><style>{style}</style><body>{section}',
        encoding="utf-8",
    )
    with opened(chromium, page_file, width=width) as (page, wrong):
        page.evaluate(
            "() => document.querySelectorAll('details').forEach((d) => { d.open = true })"
        )
        cells = page.evaluate(CELLS)
        assert not wrong
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width
    shown = [one for one in cells if one["shown"]]
    assert sorted(one["text"] for one in shown if one["text"]) == sorted(
        text for row in rows for text in row if text
    )
    if width > 700:
        assert len({round(one["top"]) for one in shown}) == len(ROWS)
        return
    assert all(one["text"] for one in shown)
    assert min(one["right"] - one["left"] for one in shown) > 0.8 * width
    assert len({round(one["top"]) for one in shown}) == len(shown)
    heads = [one["head"].strip('"') for one in shown]
    wanted = [head for row in rows for head, text in zip(HEADINGS, row, strict=True) if text]
    assert heads == wanted
