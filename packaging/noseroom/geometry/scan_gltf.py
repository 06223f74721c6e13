"""GLB and glTF: metres, every node placed; nothing outside the file is ever opened."""

from __future__ import annotations

import base64
import binascii
import json
import struct
from typing import Any, NoReturn

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.scan_edges import Numbers
from noseroom.geometry.scan_ply import demand_numbers
from noseroom.geometry.scan_stl import demand_count
from noseroom.geometry.scan_types import Floats, Limits, Raw, UnreadableError

_METRE_MM = 1000.0
_AGAIN = "save or copy it again"
_SOUND = "a sound glTF file"
_KINDS = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
_WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}
_TRIANGLES, _STRIP, _FAN = 4, 5, 6
_PLACED_OTHERWISE = ("EXT_mesh_gpu_instancing",)
"""Extensions of a node that put a mesh at other places than the node's own (from memory)."""
_DEEPEST, _MOST_NODES = 200, 100_000
# These change how a surface looks, or how its numbers are stored in a way that is read here.
_HARMLESS = (
    "KHR_materials_",
    "KHR_texture_",
    "KHR_lights_",
    "EXT_texture_",
    "KHR_mesh_quantization",
)


def read_glb(data: bytes, limits: Limits) -> Raw:
    """Read a binary glTF 2.0 file. Raises UnreadableError."""
    if len(data) < 20:
        _refuse("a GLB file cut short", "a whole one")
    _, version, total = struct.unpack_from("<4sII", data)
    if version != 2:
        _refuse(f"glTF version {version}", "version 2")
    if total != len(data):
        _refuse(f"{len(data)} bytes where it says {total}", "a whole GLB file")
    chunks: list[tuple[bytes, bytes]] = []
    at = 12
    while at < len(data):
        if at + 8 > len(data):
            _refuse("a part cut short", "a whole GLB file")
        size, kind = struct.unpack_from("<I4s", data, at)
        at += 8
        if at + size > len(data):
            _refuse("a part longer than the file", "a whole GLB file")
        chunks.append((kind, data[at : at + size]))
        at += size
    if not chunks or chunks[0][0] != b"JSON":
        _refuse("a GLB file without its table", _SOUND)
    binary = next((part for kind, part in chunks[1:] if kind == b"BIN\0"), None)
    return _Document(chunks[0][1], binary, limits).read()


def read_gltf(data: bytes, limits: Limits) -> Raw:
    """Read a text glTF 2.0 file whose data is in the file itself. Raises UnreadableError."""
    return _Document(data, None, limits).read()


def _refuse(found: str, expected: str, advice: str = _AGAIN) -> NoReturn:
    raise UnreadableError(found, expected, advice)


class _Document:
    """One glTF document; every number in it is doubted."""

    def __init__(self, text: bytes, binary: bytes | None, limits: Limits) -> None:
        try:
            document = json.loads(text.decode("utf-8-sig"))
        except (ValueError, RecursionError):
            _refuse("a table that is not JSON", _SOUND)
        if not isinstance(document, dict):
            _refuse("a table that is no table", _SOUND)
        self._document: dict[str, Any] = document
        self._binary = binary
        self._limits = limits
        self._buffers: dict[int, bytes] = {}
        self._passed_over = 0
        self._not_shown = 0

    def read(self) -> Raw:
        """All triangles of the scene, placed."""
        needed = self._document.get("extensionsRequired", [])
        odd = [one for one in needed if not str(one).startswith(_HARMLESS)]
        if odd:
            _refuse(f"a file that needs {odd[0]}", "plain glTF", "save it without compression")
        parts: list[tuple[Floats, Numbers]] = []
        count = 0
        meshes: dict[int, list[tuple[Floats, Numbers]]] = {}
        for number, pose in self._placed():
            self._entry("meshes", number)
            if number not in meshes:
                meshes[number] = self._mesh(number)
            for vertices, triangles in meshes[number]:
                count += len(triangles)
                demand_count(count, self._limits)
                parts.append((vertices @ pose[:3, :3].T + pose[:3, 3], triangles))
        if not parts:
            _refuse("no triangles", "a surface", "mesh it before it is saved")
        starts = np.cumsum([0] + [len(vertices) for vertices, _ in parts])
        remarks = (
            f"{self._passed_over:,} sets of lines or points passed over" * (self._passed_over > 0),
            f"{self._not_shown:,} shapes that its scene does not show passed over: are they wanted?"
            * (self._not_shown > 0),
        )
        return Raw(
            np.concatenate([vertices for vertices, _ in parts]),
            np.concatenate([tri + start for (_, tri), start in zip(parts, starts, strict=False)]),
            _METRE_MM,
            remarks=tuple(one for one in remarks if one),
        )

    def _entry(self, table: str, number: object) -> dict[str, Any]:
        rows = self._document.get(table, [])
        if (
            not isinstance(rows, list)
            or not isinstance(number, int)
            or isinstance(number, bool)
            or not 0 <= number < len(rows)
            or not isinstance(rows[number], dict)
        ):
            _refuse(f"{table} entry {str(number)[:20]}, which is not there", _SOUND)
        entry: dict[str, Any] = rows[number]
        return entry

    def _placed(self) -> list[tuple[int, Floats]]:
        """Every mesh that the scene shows, and its place, (4, 4) in metres."""
        nodes = self._document.get("nodes", [])
        if "scenes" in self._document:
            roots = self._entry("scenes", self._document.get("scene", 0)).get("nodes", [])
        else:
            children = {child for one in nodes for child in _list(_dict(one).get("children", []))}
            roots = [number for number in range(len(_list(nodes))) if number not in children]
        found: list[tuple[int, Floats]] = []
        waiting = [(number, np.eye(4), 0) for number in reversed(_list(roots))]
        visits = 0
        shown: set[int] = set()
        while waiting:
            number, above, depth = waiting.pop()
            visits += 1
            if depth > _DEEPEST or visits > _MOST_NODES:
                _refuse("parts nested without end", "a scene of parts")
            node = self._entry("nodes", number)
            shown.add(number)
            odd = [one for one in _dict(node.get("extensions", {})) if one in _PLACED_OTHERWISE]
            if odd:
                _refuse(f"copies placed by {odd[0]}", "each copy as a part", "save without it")
            if "skin" in node:
                _refuse("a figure that is bent by bones", "rigid parts", "save it as a plain mesh")
            pose = above @ _pose(node)
            if "mesh" in node:
                found.append((node["mesh"], pose))
            waiting += [(child, pose, depth + 1) for child in _list(node.get("children", []))]
        self._not_shown = self._hidden(shown, {str(number) for number, _ in found})
        return found

    def _hidden(self, shown: set[int], meshes: set[str]) -> int:
        """How many shapes there are beside the scene: placed outside it, or nowhere."""
        nodes = [_dict(one) for one in _list(self._document.get("nodes", []))]
        outside = [one for k, one in enumerate(nodes) if "mesh" in one and k not in shown]
        placed = {str(one["mesh"]) for one in outside} | meshes
        count = len(_list(self._document.get("meshes", [])))
        return len(outside) + sum(str(number) not in placed for number in range(count))

    def _mesh(self, number: object) -> list[tuple[Floats, Numbers]]:
        made: list[tuple[Floats, Numbers]] = []
        for primitive in map(_dict, _list(self._entry("meshes", number).get("primitives", []))):
            mode = primitive.get("mode", _TRIANGLES)
            if mode not in (_TRIANGLES, _STRIP, _FAN):
                self._passed_over += 1
                continue
            if primitive.get("targets"):
                _refuse("a shape that is blended of others", "rigid parts", "save a plain mesh")
            place = _dict(primitive.get("attributes", {})).get("POSITION")
            vertices = self._accessor(place, "VEC3").astype(np.float64)
            if "indices" in primitive:
                order = self._accessor(primitive["indices"], "SCALAR").astype(np.int64).ravel()
            else:
                order = np.arange(len(vertices), dtype=np.int64)
            made.append((vertices, demand_numbers(_in_threes(order, mode), len(vertices))))
        return made

    def _accessor(self, number: object, shape: str) -> NDArray[Any]:
        entry = self._entry("accessors", number)
        if "sparse" in entry:
            _refuse("sparse data", "plain glTF", "save it with another setting")
        kind, count = entry.get("componentType"), entry.get("count")
        if kind not in _KINDS or entry.get("type") != shape or not isinstance(count, int):
            _refuse("data of a kind that it should not be", _SOUND)
        if "bufferView" not in entry:
            _refuse("data that is nowhere", _SOUND)
        view = self._entry("bufferViews", entry["bufferView"])
        data = self._buffer(view.get("buffer"))
        dtype, width = np.dtype(_KINDS[kind]), _WIDTHS[shape]
        tight = dtype.itemsize * width
        start, within = _size(view, "byteOffset"), _size(entry, "byteOffset")
        length, step = _size(view, "byteLength"), _size(view, "byteStride") or tight
        last = within + step * (count - 1) + tight
        if count < 1 or step < tight or last > length or start + length > len(data):
            _refuse("data that reaches past its end", _SOUND)
        raw = np.ndarray((count, width), dtype, data, start + within, (step, dtype.itemsize))
        if entry.get("normalized") and dtype.kind in "iu":
            return np.maximum(raw.astype(np.float64) / np.iinfo(dtype).max, -1.0)
        return raw.copy()

    def _buffer(self, number: object) -> bytes:
        entry = self._entry("buffers", number)
        assert isinstance(number, int)
        if number not in self._buffers:
            self._buffers[number] = self._loaded(entry, number)
        return self._buffers[number]

    def _loaded(self, entry: dict[str, Any], number: int) -> bytes:
        address = entry.get("uri")
        if address is None:
            if self._binary is None or number:
                _refuse("data that is not in the file", "all of it in one file", "save it as GLB")
            return self._binary
        text = str(address)
        if not text.startswith("data:") or ";base64," not in text[:200]:
            shown = text[:40]
            _refuse(
                f"data in another file ({shown!r}), which is not opened",
                "all of it in one file",
                "save it as GLB",
            )
        try:
            return base64.b64decode(text.split(",", 1)[1], validate=True)
        except (binascii.Error, ValueError):
            _refuse("data that is damaged", _SOUND)


def _list(value: object) -> list[Any]:
    if not isinstance(value, list):
        _refuse("something else where a list stands", _SOUND)
    return value


def _dict(value: object) -> dict[str, Any]:
    if not isinstance(value, dict):
        _refuse("something else where a table stands", _SOUND)
    return value


def _size(entry: dict[str, Any], key: str) -> int:
    value = entry.get(key, 0)
    if not isinstance(value, int) or not 0 <= value < 2**40:
        _refuse(f"{key} {str(value)[:20]}", _SOUND)
    return value


def _in_threes(order: Numbers, mode: int) -> Numbers:
    """Triangles (m, 3) of a list, a strip or a fan of corners."""
    if mode == _TRIANGLES:
        if len(order) % 3:
            _refuse(f"{len(order)} corners of triangles", "a multiple of three")
        return order.reshape(-1, 3)
    if len(order) < 3:
        _refuse(f"{len(order)} corners in a row of triangles", "three or more")
    if mode == _FAN:
        return np.stack([np.full(len(order) - 2, order[0]), order[1:-1], order[2:]], axis=1)
    strip = np.stack([order[:-2], order[1:-1], order[2:]], axis=1)
    strip[1::2] = strip[1::2, ::-1]
    return strip


def _pose(node: dict[str, Any]) -> Floats:
    """A node's place against the one above it, (4, 4)."""
    if "matrix" in node:
        return _numbers(node["matrix"], 16).reshape(4, 4).T
    pose = np.eye(4)
    x, y, z, w = _numbers(node.get("rotation", [0, 0, 0, 1]), 4)
    length = float(np.sqrt(x * x + y * y + z * z + w * w))
    if not length > 0:
        _refuse("a turn that is none", _SOUND)
    x, y, z, w = x / length, y / length, z / length, w / length
    turn = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )
    pose[:3, :3] = turn * _numbers(node.get("scale", [1, 1, 1]), 3)
    pose[:3, 3] = _numbers(node.get("translation", [0, 0, 0]), 3)
    return pose


def _numbers(value: object, count: int) -> Floats:
    row = _list(value)
    if len(row) != count or not all(isinstance(one, int | float) for one in row):
        _refuse(f"{len(row)} numbers or other things", f"{count} numbers")
    try:
        made = np.array([float(one) for one in row])
    except OverflowError:
        _refuse("a number beyond all measure", "a place")
    if not np.isfinite(made).all():
        _refuse("a place that is no number", "a place")
    return made
