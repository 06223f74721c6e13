"""The rows of a table that ships with the program."""

from __future__ import annotations

import csv
from collections.abc import Callable
from importlib import resources
from typing import TypeVar

Row = TypeVar("Row")


def rows_of(name: str) -> list[dict[str, str]]:
    """Rows of a CSV file in this folder, by its headings, in its order."""
    text = resources.files("noseroom.tables").joinpath(name).read_text("utf-8")
    return list(csv.DictReader(text.splitlines()))


def figures_of(
    name: str, column: str, row: Callable[[str, float, str, str], Row]
) -> dict[str, Row]:
    """Rows of a table of figures by their keys, in its order.

    column: the heading of the figure. row: makes a row of key, figure, source and meaning.
    """
    return {
        one["key"]: row(one["key"], float(one[column]), one["source"], one["meaning"])
        for one in rows_of(name)
    }
