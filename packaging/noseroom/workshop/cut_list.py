"""What has to be cut and bought, as a table: a CSV file (RFC 4180, UTF-8) and rows for the page."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from noseroom.errors import GeometryError, OutputError
from noseroom.units import MM_PER_INCH

NAME = "cut-list.csv"
IN_ALL = "in all"
"""The item of the rows that add up what is bought."""
WASTE = 0.15
"""What cutting wastes of a sheet, as a part of the blanks: common practice."""
_MM2_PER_CM2 = 100.0
COLUMNS = (
    "item",
    "what",
    "hand",
    "count",
    "size",
    "material",
    "thickness_mm",
    "thickness_in",
    "length_mm",
    "length_in",
    "width_mm",
    "width_in",
    "note",
)
HEADINGS = ("For", "What", "Hand", "Count", "Size", "Material", "Thickness", "Blank", "Note")


@dataclass(frozen=True)
class CutRow:
    """One line: a blank to cut, or a bolt, nut or washer to buy.

    item: what it is for, such as "condenser bracket, upper left". what: "bracket", "bolt", ...
    hand: "left", "right" or "". size: as it is sold, such as "M8 × 25", "" for a blank.
    thickness_mm, blank_mm (length and width): of a blank, 0 where it is none.
    """

    item: str
    what: str
    count: int = 1
    hand: str = ""
    size: str = ""
    material: str = ""
    thickness_mm: float = 0.0
    blank_mm: tuple[float, float] = (0.0, 0.0)
    note: str = ""

    def __post_init__(self) -> None:
        if self.count < 1:
            raise GeometryError(f"{self.item}, {self.what}: found a count of {self.count}")

    @property
    def is_bought(self) -> bool:
        """Whether it comes from a shelf, by its size."""
        return bool(self.size)


def with_totals(rows: Iterable[CutRow]) -> tuple[CutRow, ...]:
    """The rows as they are, and after them what is bought for all items.

    Of each size how many; of each sheet metal the area of the blanks, with what cutting wastes.
    """
    given = tuple(rows)
    sums: dict[tuple[str, str, str], CutRow] = {}
    for row in given:
        if row.is_bought:
            key = row.what, row.size, row.material
            before = sums.get(key)
            count = row.count + (before.count if before else 0)
            sums[key] = replace(row, item=IN_ALL, hand="", note="", count=count)
    return (*given, *_sheets(given), *(sums[key] for key in sorted(sums)))


def _sheets(rows: Sequence[CutRow]) -> Iterator[CutRow]:
    """How much of each sheet the blanks take."""
    areas: dict[tuple[str, float], list[float]] = {}
    for row in rows:
        if row.blank_mm[0] > 0.0 and not row.is_bought:
            key = row.material, row.thickness_mm
            areas.setdefault(key, []).append(row.count * row.blank_mm[0] * row.blank_mm[1])
    for material, thickness in sorted(areas):
        mm2 = (1.0 + WASTE) * math.fsum(areas[material, thickness])
        area = f"{mm2 / _MM2_PER_CM2:.0f} cm² [{mm2 / MM_PER_INCH**2:.1f} sq in]"
        note = f"{WASTE:.0%} for cutting counted"
        yield CutRow(
            IN_ALL, "sheet", size=area, material=material, thickness_mm=thickness, note=note
        )


def cut_list_csv(rows: Sequence[CutRow]) -> bytes:
    """The table as CSV with one line of names; the same rows give the same bytes."""
    stream = io.StringIO()
    writer = csv.writer(stream)  # lines end in CR LF, as RFC 4180 has them
    writer.writerow(COLUMNS)
    writer.writerows(_fields(row) for row in rows)
    return stream.getvalue().encode("utf-8")


def write_cut_list(folder: Path, rows: Sequence[CutRow]) -> str:
    """Write it into a folder, read it back and compare; returns the file's name.

    Raises OutputError when it cannot be written, GeometryError when it does not come back.
    """
    path = folder / NAME
    try:
        path.write_bytes(cut_list_csv(rows))
        with path.open(encoding="utf-8", newline="") as file:
            found = list(csv.reader(file, strict=True))
    except OSError as error:
        raise OutputError(f"{path}: cannot be written ({error.strerror or error})") from error
    if found != [list(COLUMNS), *(_fields(row) for row in rows)]:
        raise GeometryError(f"{NAME}: does not come back as it was written")
    return NAME


def table_rows(rows: Iterable[CutRow]) -> list[tuple[str, ...]]:
    """The same for a person, a tuple a row as `HEADINGS` has it, sizes in both units."""
    return [
        (
            row.item,
            row.what,
            _hand(row),
            f"{row.count}",
            row.size,
            row.material,
            _both(row.thickness_mm, 2),
            " × ".join(_both(one, 1) for one in row.blank_mm if one),
            row.note,
        )
        for row in rows
    ]


def _fields(row: CutRow) -> list[str]:
    sizes = (row.thickness_mm, *row.blank_mm)
    written = [
        text
        for mm in sizes
        for text in ((f"{mm:.2f}", f"{mm / MM_PER_INCH:.3f}") if mm else ("", ""))
    ]
    return [
        *(row.item, row.what, _hand(row), f"{row.count}", row.size, row.material),
        *written,
        row.note,
    ]


def _hand(row: CutRow) -> str:
    """Whose left or right it is, whatever the file's own sides are."""
    return f"car's {row.hand}" if row.hand else ""


def _both(mm: float, digits: int) -> str:
    return f"{mm:.{digits}f} mm [{mm / MM_PER_INCH:.3f} in]" if mm else ""
