"""The cut list: what is cut and bought, in both units, for other programs to read."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from noseroom.errors import GeometryError, OutputError
from noseroom.workshop.cut_list import (
    COLUMNS,
    HEADINGS,
    IN_ALL,
    CutRow,
    cut_list_csv,
    table_rows,
    with_totals,
    write_cut_list,
)

LEFT, RIGHT = "condenser bracket, upper left", 'condenser bracket, "upper" right'
ROWS = (
    CutRow(LEFT, "bracket", 1, "left", "", "mild steel", 3.175, (122.25, 30.0), "2 bends"),
    CutRow(LEFT, "bolt", 2, "left", "M8 × 25", "8.8"),
    CutRow(RIGHT, "bracket", 1, "right", "", "mild steel", 3.175, (122.25, 30.0)),
    CutRow(RIGHT, "bolt", 2, "right", "M8 × 25", "8.8"),
    CutRow(RIGHT, "washer", 4, "right", "8", "steel"),
)


def read(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode("utf-8"), newline=""), strict=True))


def test_sizes_are_in_both_units_by_hand() -> None:
    """3.175 mm is 1/8 in, 122.25 mm 4.813 in, 30 mm 1.181 in."""
    first = read(cut_list_csv(ROWS))[0]
    assert (first["thickness_mm"], first["thickness_in"]) in {("3.17", "0.125"), ("3.18", "0.125")}
    assert (first["length_mm"], first["length_in"]) == ("122.25", "4.813")
    assert (first["width_mm"], first["width_in"]) == ("30.00", "1.181")
    assert first["hand"] == "car's left"
    bolt = read(cut_list_csv(ROWS))[1]
    assert (bolt["count"], bolt["size"], bolt["length_mm"]) == ("2", "M8 × 25", "")


def test_it_is_csv_as_rfc_4180_has_it() -> None:
    """Lines end in CR LF; a field with a comma or quote is quoted, its quotes doubled."""
    data = cut_list_csv(ROWS)
    lines = data.split(b"\r\n")
    assert lines[0].decode() == ",".join(COLUMNS)
    assert lines[-1] == b""
    assert len(lines) == len(ROWS) + 2
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert b'"condenser bracket, ""upper"" right"' in data
    assert [one["item"] for one in read(data)] == [row.item for row in ROWS]


def test_what_is_bought_is_added_up_once_by_size() -> None:
    added = with_totals(ROWS)
    assert added[: len(ROWS)] == ROWS
    totals = [(one.what, one.size, one.count) for one in added[len(ROWS) :]]
    assert totals[1:] == [("bolt", "M8 × 25", 4), ("washer", "8", 4)]
    assert all(one.item == IN_ALL and not one.hand for one in added[len(ROWS) :])
    assert with_totals(reversed(ROWS))[len(ROWS) :] == added[len(ROWS) :]


def test_sheet_is_added_up_by_area_with_what_cutting_wastes() -> None:
    """Two blanks of 122.25 × 30 mm are 7335 mm²; with 15 % 84.35 cm², 13.07 sq in."""
    (sheet,) = (one for one in with_totals(ROWS) if one.what == "sheet")
    assert (sheet.item, sheet.material, sheet.thickness_mm) == (IN_ALL, "mild steel", 3.175)
    assert sheet.size == "84 cm² [13.1 sq in]"
    assert "15%" in sheet.note
    twice = with_totals([*ROWS, *ROWS])
    assert "169 cm² [26.1 sq in]" in [one.size for one in twice]


def test_a_person_reads_both_units_and_no_empty_sizes() -> None:
    blank, bolt = table_rows(ROWS[:2])
    assert len(blank) == len(bolt) == len(HEADINGS)
    assert blank[HEADINGS.index("Blank")] == "122.2 mm [4.813 in] × 30.0 mm [1.181 in]"
    assert blank[HEADINGS.index("Thickness")].endswith("mm [0.125 in]")
    assert bolt[HEADINGS.index("Blank")] == bolt[HEADINGS.index("Thickness")] == ""


def test_it_is_written_read_back_and_the_same_each_time(tmp_path: Path) -> None:
    assert write_cut_list(tmp_path, ROWS) == "cut-list.csv"
    first = (tmp_path / "cut-list.csv").read_bytes()
    write_cut_list(tmp_path, ROWS)
    assert (tmp_path / "cut-list.csv").read_bytes() == first == cut_list_csv(ROWS)


def test_faults_are_said(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        write_cut_list(tmp_path / "none", ROWS)
    with pytest.raises(GeometryError, match="count of 0"):
        CutRow(LEFT, "bolt", 0)
