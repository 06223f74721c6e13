"""Rows of a table as records, each column by the type of the field that has its name."""

from __future__ import annotations

from dataclasses import fields
from typing import Any, TypeVar, get_type_hints

from noseroom.tables.rows import rows_of

Row = TypeVar("Row")

_READ: dict[Any, Any] = {
    str: str,
    float: float,
    int: int,
    float | None: lambda text: float(text) if text else None,
}


def typed_rows(name: str, kind: type[Row]) -> tuple[Row, ...]:
    """Rows of a CSV file in this folder, in its order.

    kind: a dataclass with a field of str, int, float or float | None for every column; a column
    that is left empty is None. Raises KeyError for a column that is not there.
    """
    hints = get_type_hints(kind)
    names = [one.name for one in fields(kind)]  # type: ignore[arg-type]
    return tuple(
        kind(**{column: _READ[hints[column]](row[column]) for column in names})
        for row in rows_of(name)
    )
