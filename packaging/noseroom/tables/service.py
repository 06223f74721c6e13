"""What hands, wrenches and belts need: figures for the room that servicing takes."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from noseroom.tables.rows import figures_of, rows_of

_THREAD = re.compile(r"\s*(?P<size>M\s?\d+|\d+/\d+)(?![\d/.])", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Need:
    """One row: key, value (mm, degrees, or a share, as its meaning says), source, meaning."""

    key: str
    value: float
    source: str
    meaning: str


@dataclass(frozen=True, slots=True)
class BoltHead:
    """One hexagon head: thread, width across flats and height in mm, and its source."""

    thread: str
    across_flats_mm: float
    head_mm: float
    source: str


@cache
def needs() -> dict[str, Need]:
    """All figures by key, in the table's order."""
    return figures_of("service.csv", "value", Need)


@cache
def bolt_heads() -> dict[str, BoltHead]:
    """Hexagon heads by thread size, metric ones first, each from small to large."""
    return {
        row["thread"]: BoltHead(
            row["thread"], float(row["across_flats_mm"]), float(row["head_mm"]), row["source"]
        )
        for row in rows_of("bolt_heads.csv")
    }


def head_of(thread: str) -> BoltHead | None:
    """The head of a thread as it is marked, such as "5/16-24" or "M8 x 1.25"; None: not known."""
    found = _THREAD.match(thread)
    if found is None:
        return None
    return bolt_heads().get(found["size"].upper().replace(" ", ""))
