"""How the reading process hands a scan back: a head of JSON and plain arrays behind it.

The reader may have been taken over by the file that it read, so the answer is believed in nothing:
every length, kind and number is checked, and nothing in it is run.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.scan_types import Hole, Scan, ScanError, printable

_HEAD_LIMIT, _ARRAYS_LIMIT, _WORDS_LIMIT = 1_000_000, 2_000_000_000, 100
_FLOATS, _INTS = "<f8", "<i4"
_ARRAYS = (
    ("vertices", _FLOATS, 3),
    ("triangles", _INTS, 3),
    ("loops", _FLOATS, 3),
    ("caps", _FLOATS, 3),
    ("cap_triangles", _INTS, 3),
    ("sizes", _FLOATS, 2),
    ("counts", _INTS, 4),
    ("lost", _FLOATS, 3),
    ("lost_counts", _INTS, 1),
)


def pack_error(path: Path, found: str, expected: str, advice: str = "") -> None:
    """Write what was wrong instead of a scan."""
    error = [printable(one) for one in (found, expected, advice)]
    head = json.dumps({"error": error}).encode()
    path.write_bytes(len(head).to_bytes(8, "little") + head)


def pack(path: Path, scan: Scan) -> None:
    """Write a scan for `unpacked`."""
    holes = (*scan.holes, *scan.border)
    empty = np.zeros((0, 3))
    arrays: dict[str, NDArray[Any]] = {
        "vertices": scan.vertices,
        "triangles": scan.triangles,
        "loops": np.concatenate([empty, *(one.loop for one in holes)]),
        "caps": np.concatenate([empty, *(one.cap[0] for one in holes)]),
        "cap_triangles": np.concatenate([empty.astype(int), *(one.cap[1] for one in holes)]),
        "sizes": np.array([(one.width_mm, one.length_mm) for one in holes]).reshape(-1, 2),
        "counts": np.array(
            [
                (len(one.loop), len(one.cap[0]), len(one.cap[1]), number < len(scan.holes))
                for number, one in enumerate(holes)
            ]
        ).reshape(-1, 4),
        "lost": np.concatenate([empty, *scan.lost]),
        "lost_counts": np.array([len(one) for one in scan.lost]).reshape(-1, 1),
    }
    head = json.dumps(
        {
            "rows": [len(arrays[name]) for name, _, _ in _ARRAYS],
            "closed": scan.closed,
            "deflection_mm": scan.deflection_mm,
            "unit_mm": scan.unit_mm,
            "remarks": list(scan.remarks),
            "sha256": scan.sha256,
        }
    ).encode()
    with path.open("wb") as stream:
        stream.write(len(head).to_bytes(8, "little") + head)
        for name, kind, _ in _ARRAYS:
            stream.write(np.ascontiguousarray(arrays[name], dtype=kind).tobytes())


def unpacked(name: str, path: Path) -> Scan:
    """The scan that the reading process wrote.

    Raises:
        ScanError: what that process found wrong, or that its answer is not one.
    """
    try:
        with path.open("rb") as stream:
            length = int.from_bytes(stream.read(8), "little")
            if not 0 < length <= _HEAD_LIMIT:
                raise ValueError("head")
            head = json.loads(stream.read(length))
            if "error" not in head:
                return _scan(head, stream.read(_ARRAYS_LIMIT))
            found, expected, advice = (str(one) for one in head["error"])
    except (OSError, ValueError, KeyError, TypeError, IndexError) as error:
        raise ScanError(name, "a file that its reader gives no answer to", "a scan") from error
    raise ScanError(name, found, expected, advice)


def _scan(head: dict[str, Any], data: bytes) -> Scan:
    arrays: dict[str, NDArray[Any]] = {}
    at = 0
    for (name, kind, width), rows in zip(_ARRAYS, head["rows"], strict=True):
        size = int(rows) * width * np.dtype(kind).itemsize
        part = data[at : at + size]
        if int(rows) < 0 or len(part) != size:
            raise ValueError(name)
        arrays[name] = np.frombuffer(part, dtype=kind).reshape(-1, width).copy()
        if not np.isfinite(arrays[name]).all():
            raise ValueError(name)
        at += size
    deflection, unit = float(head["deflection_mm"]), float(head["unit_mm"])
    triangles = arrays["triangles"]
    if not (math.isfinite(deflection) and deflection >= 0 and math.isfinite(unit) and unit > 0):
        raise ValueError("numbers")
    if at != len(data) or not len(triangles):
        raise ValueError("length")
    _demand_numbers(triangles, len(arrays["vertices"]))
    holes, border = _holes(arrays)
    return Scan(
        vertices=arrays["vertices"],
        triangles=triangles,
        closed=bool(head["closed"]),
        deflection_mm=deflection,
        unit_mm=unit,
        holes=holes,
        border=border,
        remarks=tuple(printable(str(one)) for one in head["remarks"][:_WORDS_LIMIT]),
        sha256=printable(str(head["sha256"]), 64),
        lost=_lost(arrays["lost"], arrays["lost_counts"].ravel()),
    )


def _demand_numbers(triangles: NDArray[Any], count: int) -> None:
    if len(triangles) and not (triangles.min() >= 0 and triangles.max() < count):
        raise ValueError("vertex numbers")


def _lost(points: NDArray[Any], counts: NDArray[Any]) -> tuple[NDArray[Any], ...]:
    if (len(counts) and counts.min() < 1) or int(counts.sum()) != len(points):
        raise ValueError("lost")
    return tuple(np.split(points, np.cumsum(counts)[:-1])) if len(counts) else ()


def _holes(arrays: dict[str, NDArray[Any]]) -> tuple[tuple[Hole, ...], tuple[Hole, ...]]:
    counts, sizes = arrays["counts"], arrays["sizes"]
    if len(counts) != len(sizes) or (len(counts) and counts.min() < 0):
        raise ValueError("holes")
    inside: list[Hole] = []
    border: list[Hole] = []
    parts = [
        np.split(arrays[name], np.cumsum(counts[:, column])[:-1]) if len(counts) else []
        for column, name in enumerate(("loops", "caps", "cap_triangles"))
    ]
    ends: Sequence[int] = counts.sum(axis=0).tolist()
    if ends[:3] != [len(arrays[name]) for name in ("loops", "caps", "cap_triangles")]:
        raise ValueError("holes")
    for row, (loop, cap, triangles) in enumerate(zip(*parts, strict=True)):
        _demand_numbers(triangles, len(cap))
        hole = Hole(loop, float(sizes[row, 0]), float(sizes[row, 1]), (cap, triangles))
        (inside if counts[row, 3] else border).append(hole)
    return tuple(inside), tuple(border)
