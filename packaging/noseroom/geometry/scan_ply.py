"""PLY, text and binary: the vertices and faces of it, whatever else it carries."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.scan_edges import Numbers
from noseroom.geometry.scan_stl import demand_count, numbers
from noseroom.geometry.scan_types import Floats, Limits, Raw, UnreadableError

_TYPES = {
    "char": "i1", "uchar": "u1", "short": "i2", "ushort": "u2", "int": "i4", "uint": "u4",
    "float": "f4", "double": "f8", "int8": "i1", "uint8": "u1", "int16": "i2", "uint16": "u2",
    "int32": "i4", "uint32": "u4", "float32": "f4", "float64": "f8",
}  # fmt: skip
_FORMATS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
_HEADER_BYTES, _MOST_LINES = 65_536, 1_000
_AGAIN = "save or copy it again"
_SOUND = "a sound PLY header"
_MOST_CORNERS = 10_000
_DIGITS = re.compile("[0-9]{1,11}")


@dataclass(frozen=True, slots=True)
class _Property:
    """name; kind: of the values; counted: kind of the count before them, "" for one value."""

    name: str
    kind: str
    counted: str


@dataclass(frozen=True, slots=True)
class _Element:
    name: str
    count: int
    properties: tuple[_Property, ...]


def read_ply(data: bytes, limits: Limits) -> Raw:
    """Read the vertices and faces of a PLY file; faces of many corners become triangles.

    Raises:
        UnreadableError: cut short, not PLY, or points without faces.
    """
    order, elements, start = _header(data)
    names = [element.name for element in elements]
    if "vertex" not in names or "face" not in names or not elements[names.index("face")].count:
        found = "points without faces" if "vertex" in names else "a file without vertices"
        raise UnreadableError(found, "triangles", "mesh it in the scanning program first")
    faces = elements[names.index("face")].count
    demand_count(faces, limits)
    body = _Text(data[start:]) if order == "" else _Binary(data, start, order)
    vertices: Floats = np.zeros((0, 3))
    corners: list[Numbers] = []
    for element in elements:
        # No value is shorter than a byte: a count that the file cannot hold is not believed.
        if element.count > len(data):
            raise _cut_short(element)
        if element.name == "vertex":
            vertices = _vertices(body, element)
        elif element.name == "face":
            corners = _faces(body, element)
        else:
            body.skip(element)
    triangles = fans(corners)
    demand_count(len(triangles), limits)
    return Raw(vertices, demand_numbers(triangles, len(vertices)))


def demand_numbers(triangles: Numbers, count: int) -> Numbers:
    """Return triangles (m, 3), or raise UnreadableError where one names no vertex of `count`."""
    wrong = (triangles < 0) | (triangles >= count)
    if wrong.any():
        bad = int(triangles[wrong][0])
        raise UnreadableError(f"a face with vertex {bad} of {count}", "vertices that exist", _AGAIN)
    return triangles


def fans(polygons: list[Numbers]) -> Numbers:
    """Faces of k corners, an (n, k) array for each k, as triangles (m, 3).

    A fan from the first corner covers a flat face whatever its outline: more at most, never less.
    """
    made = [np.zeros((0, 3), np.int64)]
    for faces in polygons:
        for k in range(1, faces.shape[1] - 1):
            made.append(faces[:, [0, k, k + 1]])
    return np.concatenate(made).astype(np.int64)


def _header(data: bytes) -> tuple[str, list[_Element], int]:
    """Byte order ("" for text), elements, and where the body starts."""
    end = data[:_HEADER_BYTES].find(b"end_header")
    if end < 0:
        raise UnreadableError("a PLY header without an end", _SOUND, _AGAIN)
    line_end = data.find(b"\n", end)
    if line_end < 0:
        line_end = data.find(b"\r", end)
    if line_end < 0:
        raise UnreadableError("nothing after the PLY header", "vertices and faces", _AGAIN)
    lines = data[:end].decode("latin-1").replace("\r", "\n").split("\n")
    order: str | None = None
    elements: list[_Element] = []
    for line in lines[1:_MOST_LINES]:
        words = line.split()
        match words:
            case ["format", kind, _] if kind in _FORMATS:
                order = _FORMATS[kind]
            case ["element", name, count] if _DIGITS.fullmatch(count):
                elements.append(_Element(name, int(count), ()))
            case ["property", "list", counted, kind, name] if elements and {
                counted,
                kind,
            } <= set(_TYPES):
                _add(elements, _Property(name, _TYPES[kind], _TYPES[counted]))
            case ["property", kind, name] if elements and kind in _TYPES:
                _add(elements, _Property(name, _TYPES[kind], ""))
            case [] | ["comment", *_] | ["obj_info", *_]:
                pass
            case _:
                raise UnreadableError(f"the header line {line[:60]!r}", _SOUND, _AGAIN)
    if order is None:
        raise UnreadableError("a header that does not say text or binary", _SOUND, _AGAIN)
    if len({element.name for element in elements}) != len(elements):
        raise UnreadableError("a header that lists one element twice", _SOUND, _AGAIN)
    return order, elements, line_end + 1


def _add(elements: list[_Element], more: _Property) -> None:
    last = elements[-1]
    elements[-1] = _Element(last.name, last.count, (*last.properties, more))


def _cut_short(element: _Element) -> UnreadableError:
    found = f"fewer than the {element.count} {element.name} entries that it announces"
    return UnreadableError(found, "a whole PLY file", f"it was cut short: {_AGAIN}")


class _Text:
    """The body of a text file, value by value."""

    def __init__(self, data: bytes) -> None:
        self._words = data.split()
        self._at = 0

    def table(self, element: _Element) -> dict[str, NDArray[np.float64]]:
        """All values of an element without lists."""
        width = len(element.properties)
        end = self._at + width * element.count
        if end > len(self._words):
            raise _cut_short(element)
        values = numbers(self._words[self._at : end]).reshape(-1, width)
        self._at = end
        return {one.name: values[:, k] for k, one in enumerate(element.properties)}

    def lists(self, element: _Element, wanted: str) -> list[Numbers]:
        """The lists of one property, those of a length together."""
        found: dict[int, list[list[bytes]]] = {}
        words, at = self._words, self._at
        for _ in range(element.count):
            for one in element.properties:
                count = 1
                if one.counted:
                    count = _whole(words[at], element) if at < len(words) else 0
                    at += 1
                if at + count > len(words):
                    raise _cut_short(element)
                if one.name == wanted:
                    found.setdefault(count, []).append(words[at : at + count])
                at += count
        self._at = at
        return [
            _as_numbers(numbers([word for row in rows for word in row])).reshape(-1, count)
            for count, rows in found.items()
            if count >= 3
        ]

    def skip(self, element: _Element) -> None:
        """Pass an element over."""
        self.lists(element, "")


def _whole(word: bytes, element: _Element) -> int:
    if not word.isdigit() or len(word) > 6 or int(word) > _MOST_CORNERS:
        shown = word[:20].decode("latin-1")
        raise UnreadableError(f"a {element.name} entry with {shown} values", "a count", _AGAIN)
    return int(word)


def _as_numbers(values: NDArray[Any]) -> Numbers:
    """Vertex numbers as integers; those that are none become -1, which no vertex has."""
    if values.dtype.kind == "f":
        whole = np.isfinite(values) & (np.abs(values) < 2**40)
        values = np.where(whole & (values == np.round(values)), values, -1)
    return values.astype(np.int64)


class _Binary:
    """The body of a binary file."""

    def __init__(self, data: bytes, start: int, order: str) -> None:
        self._data, self._at, self._order = data, start, order

    def _dtype(self, one: _Property) -> str:
        return self._order + one.kind

    def table(self, element: _Element) -> NDArray[np.void]:
        """All values of an element without lists."""
        row = np.dtype([(one.name, self._dtype(one)) for one in element.properties])
        return self._rows(row, element)

    def _rows(self, row: np.dtype[np.void], element: _Element) -> NDArray[np.void]:
        size = row.itemsize * element.count
        if self._at + size > len(self._data):
            raise _cut_short(element)
        rows = np.frombuffer(self._data, row, element.count, self._at)
        self._at += size
        return rows

    def lists(self, element: _Element, wanted: str) -> list[Numbers]:
        """The lists of one property, those of a length together."""
        start = self._at
        if quick := self._all_triangles(element, wanted):
            return quick
        self._at = start
        found: dict[int, list[NDArray[np.float64]]] = {}
        for _ in range(element.count):
            for one in element.properties:
                count = 1
                if one.counted:
                    count = int(self._take(self._order + one.counted, 1, element)[0])
                    if not 0 <= count <= _MOST_CORNERS:
                        _whole(str(count).encode(), element)
                values = self._take(self._dtype(one), count, element)
                if one.name == wanted:
                    found.setdefault(count, []).append(values)
        return [_as_numbers(np.stack(rows)) for count, rows in found.items() if count >= 3]

    def _all_triangles(self, element: _Element, wanted: str) -> list[Numbers]:
        """The lists where each has three values, which can be had at once; else nothing."""
        fields: list[tuple[str, str] | tuple[str, str, int]] = []
        for one in element.properties:
            if one.counted:
                fields.append((f"count of {one.name}", self._order + one.counted))
                fields.append((one.name, self._dtype(one), 3))
            else:
                fields.append((one.name, self._dtype(one)))
        row = np.dtype(fields)
        if self._at + row.itemsize * element.count > len(self._data):
            return []
        rows = self._rows(row, element)
        for one in element.properties:
            if one.counted and not (rows[f"count of {one.name}"] == 3).all():
                return []
        return [_as_numbers(rows[wanted])] if wanted in (row.names or ()) else []

    def _take(self, kind: str, count: int, element: _Element) -> NDArray[np.float64]:
        size = np.dtype(kind).itemsize * count
        if self._at + size > len(self._data):
            raise _cut_short(element)
        values = np.frombuffer(self._data, kind, count, self._at)
        self._at += size
        return values

    def skip(self, element: _Element) -> None:
        """Pass an element over."""
        if any(one.counted for one in element.properties):
            self.lists(element, "")
        else:
            self.table(element)


def _vertices(body: _Text | _Binary, element: _Element) -> Floats:
    names = [one.name for one in element.properties]
    if any(one.counted for one in element.properties) or len(set(names)) != len(names):
        raise UnreadableError("vertices with lists or names twice", _SOUND, _AGAIN)
    if not {"x", "y", "z"} <= set(names):
        raise UnreadableError("vertices without x, y and z", _SOUND, _AGAIN)
    table = body.table(element)
    return np.stack([table[axis].astype(np.float64) for axis in "xyz"], axis=1)


def _faces(body: _Text | _Binary, element: _Element) -> list[Numbers]:
    names = [one.name for one in element.properties if one.counted]
    wanted = next((name for name in ("vertex_indices", "vertex_index") if name in names), "")
    if not wanted or len({one.name for one in element.properties}) != len(element.properties):
        raise UnreadableError("faces without vertex_indices", _SOUND, _AGAIN)
    return body.lists(element, wanted)
