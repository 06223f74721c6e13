"""The rows of a table that ships with the program."""

from __future__ import annotations

import csv
from importlib import resources


def rows_of(name: str) -> list[dict[str, str]]:
    """Rows of a CSV file in this folder, by its headings, in its order."""
    text = resources.files("noseroom.tables").joinpath(name).read_text("utf-8")
    return list(csv.DictReader(text.splitlines()))
