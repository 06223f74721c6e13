"""OBJ: its vertices and faces; materials and all other files that it names stay closed."""

from __future__ import annotations

import numpy as np

from noseroom.geometry.scan_edges import Numbers
from noseroom.geometry.scan_ply import demand_numbers, fans
from noseroom.geometry.scan_stl import demand_count, numbers
from noseroom.geometry.scan_types import Limits, Raw, UnreadableError

_AGAIN = "save or copy it again"
_MOST_CORNERS = 10_000
# Shapes given by formulas: to leave them out would make room.
_FORMULAS = frozenset({b"curv", b"surf", b"cstype", b"bzp", b"bsp"})


def read_obj(data: bytes, limits: Limits) -> Raw:
    """Read the vertices and faces of an OBJ file; faces of many corners become triangles.

    Raises:
        UnreadableError: not OBJ, no faces, or surfaces given by formulas.
    """
    places: list[bytes] = []
    faces: dict[int, list[int]] = {}
    lines_of = 0
    count = 0
    text = data.replace(b"\\\r\n", b" ").replace(b"\\\n", b" ").replace(b"\r", b"\n")
    for line in text.split(b"\n"):
        words = line.split()
        if not words:
            continue
        match words[0]:
            case b"v":
                if len(words) < 4:
                    found = f"a vertex with {len(words) - 1} numbers"
                    raise UnreadableError(found, "three", _AGAIN)
                places += words[1:4]
            case b"f":
                if not 4 <= len(words) <= _MOST_CORNERS:
                    found = f"a face of {len(words) - 1} corners"
                    raise UnreadableError(found, "three or more", _AGAIN)
                count += len(words) - 3
                demand_count(count, limits)
                corners = [_number(word, len(places) // 3) for word in words[1:]]
                faces.setdefault(len(corners), []).extend(corners)
            case b"l" | b"p":
                lines_of += 1
            case keyword if keyword in _FORMULAS:
                raise UnreadableError(
                    "surfaces given by formulas", "triangles", "save it as a mesh"
                )
            case _:
                pass
    if not faces:
        raise UnreadableError("no faces", "triangles", "mesh it in the scanning program first")
    vertices = numbers(places).reshape(-1, 3)
    polygons: list[Numbers] = [
        np.array(corners, np.int64).reshape(-1, size) for size, corners in faces.items()
    ]
    remarks = (f"{lines_of:,} lines and points without a surface passed over",) if lines_of else ()
    return Raw(vertices, demand_numbers(fans(polygons), len(vertices)), remarks=remarks)


def _number(word: bytes, so_far: int) -> int:
    """A face's corner as a vertex number from 0; negative ones count back from the last."""
    try:
        number = int(word.split(b"/", 1)[0])
    except ValueError as error:
        shown = word[:30].decode("latin-1")
        raise UnreadableError(f"the corner {shown!r} in a face", "a number", _AGAIN) from error
    if number == 0 or number < -so_far or number > 2**31:
        raise UnreadableError(f"a face with vertex {number}", "vertices that exist", _AGAIN)
    return number - 1 if number > 0 else so_far + number
