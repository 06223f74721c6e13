"""STL, text and binary: triangles without neighbours, in a unit that the file does not say."""

from __future__ import annotations

import numpy as np

from noseroom.geometry.scan_source import stl_is_text
from noseroom.geometry.scan_types import Floats, Limits, Raw, UnreadableError

_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_HEAD, _LAST_LINE = 84, 500
_EXPECTED = "a whole STL file"
_AGAIN = "save or copy it again"


def read_stl(data: bytes, limits: Limits) -> Raw:
    """Read an STL file; the triangles' own normals are not used, as many programs get them wrong.

    Raises:
        UnreadableError: cut short, or not STL.
    """
    corners = _text(data, limits) if stl_is_text(data[:4096], len(data)) else _binary(data, limits)
    if not len(corners):
        raise UnreadableError("no triangles", _EXPECTED, _AGAIN)
    count = len(corners)
    return Raw(corners.reshape(-1, 3), np.arange(3 * count, dtype=np.int64).reshape(-1, 3))


def demand_count(count: int, limits: Limits) -> None:
    """Raise UnreadableError where a file has more triangles than may be read."""
    if count > limits.triangles:
        raise UnreadableError(
            f"{count} triangles",
            f"at most {limits.triangles}",
            "thin it out or cut it down to the nose in the scanning program",
        )


def _binary(data: bytes, limits: Limits) -> Floats:
    count = int.from_bytes(data[80:84], "little")
    if len(data) != _HEAD + _RECORD.itemsize * count:
        raise UnreadableError(f"{len(data)} bytes for {count} triangles", _EXPECTED, _AGAIN)
    demand_count(count, limits)
    records = np.frombuffer(data, dtype=_RECORD, offset=_HEAD, count=count)
    return records["corners"].astype(np.float64)


def _text(data: bytes, limits: Limits) -> Floats:
    """Corners (m, 3, 3) of the text form, in any case, a facet or a corner a line."""
    lines = data.lower().replace(b"\r", b"\n").split(b"\n")
    rows = [line for line in (one.strip() for one in lines) if line.startswith(b"vertex")]
    facets = sum(line.lstrip().startswith(b"facet") for line in lines)
    ended = sum(line.lstrip().startswith(b"endfacet") for line in lines)
    del lines
    demand_count(facets, limits)
    if facets != ended or len(rows) != 3 * facets:
        raise UnreadableError(
            f"{facets} facets begun, {ended} ended and {len(rows)} corners",
            "three corners in each facet",
            f"it is damaged or cut short: {_AGAIN}",
        )
    if not data.rstrip()[-_LAST_LINE:].splitlines()[-1].strip().lower().startswith(b"endsolid"):
        raise UnreadableError("no endsolid at its end", _EXPECTED, f"it was cut short: {_AGAIN}")
    words = [row.split() for row in rows]
    if any(len(row) != 4 for row in words):
        row = next(row for row in words if len(row) != 4)
        raise UnreadableError(f"a corner with {len(row) - 1} numbers", "three numbers", _AGAIN)
    return numbers([word for row in words for word in row[1:]]).reshape(-1, 3, 3)


def numbers(words: list[bytes]) -> Floats:
    """Words as floats (n,); nan and inf are numbers here, to be sorted out later.

    Raises:
        UnreadableError: a word that is no number.
    """
    try:
        return np.fromiter(map(float, words), dtype=np.float64, count=len(words))
    except (ValueError, OverflowError) as error:
        bad = next((word for word in words if not _is_number(word)), b"?")
        shown = bad[:30].decode("ascii", "replace")
        raise UnreadableError(f"{shown!r} where a number stands", "a number", _AGAIN) from error


def _is_number(word: bytes) -> bool:
    try:
        float(word)
    except ValueError:
        return False
    return True
