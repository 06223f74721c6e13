"""Meshes as files: binary STL (mm) and GLB (metres, Y up), each read back and checked."""

from __future__ import annotations

import json
import os
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.kernel import Pose, moved, rigid
from noseroom.geometry.mesh import Body, Mesh
from noseroom.geometry.write_file import read_whole, write_whole

# Must not begin with "solid": readers take that for the text form. Ends in nothing: some readers
# print it as text up to there.
_STL_HEADER = b"binary STL by noseroom, lengths in mm".ljust(80, b"\0")
_STL_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_SINGLE = 2.0**-23  # relative spacing of 32-bit floats, which both formats store
_GLB_MAGIC, _GLB_JSON, _GLB_BIN = 0x46546C67, 0x4E4F534A, 0x004E4942
_FLOAT, _UINT, _ARRAY_BUFFER, _ELEMENT_BUFFER = 5126, 5125, 34962, 34963
# A quarter turn about X takes (x, y, z) with Z up to (x, z, -y) with Y up, as glTF asks.
_Z_UP_TO_Y_UP = np.array([[1.0, 0, 0], [0, 0, 1], [0, -1, 0]])
_Z_UP_TO_Y_UP_QUATERNION = [-(0.5**0.5), 0.0, 0.0, 0.5**0.5]


@dataclass(frozen=True, eq=False)
class PlacedMesh:
    """One part of a scene.

    path: names from the outermost group to the part. mesh: in its own frame, mm.
    pose: its place in the world. colour: red, green, blue, opacity, 0…1, as a screen
    takes them (sRGB).
    """

    path: tuple[str, ...]
    mesh: Mesh
    pose: Pose | None = None
    colour: tuple[float, float, float, float] = (0.7, 0.7, 0.7, 1.0)

    @property
    def name(self) -> str:
        """The path as one name."""
        return "/".join(self.path)


def write_stl(body: Body | Mesh, path: str | os.PathLike[str], pose: Pose | None = None) -> None:
    """Write a mesh as binary STL, mm; the same mesh gives the same bytes.

    Raises:
        OutputError: the file cannot be written.
    """
    mesh = body.mesh if isinstance(body, Body) else body
    corners = moved(mesh.vertices, rigid(pose))[mesh.triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    records = np.zeros(len(corners), dtype=_STL_RECORD)
    records["normal"] = np.divide(normals, lengths, out=np.zeros_like(normals), where=lengths > 0)
    records["corners"] = corners
    write_whole(path, _STL_HEADER + struct.pack("<I", len(records)) + records.tobytes())


def stl_stays_closed(mesh: Mesh) -> bool:
    """Whether a mesh is still closed once an STL file has rounded it to 32 bits.

    A file knows no neighbours: corners that fall together there are one corner, and an edge where
    two shells touch then has four triangles.
    """
    rounded = mesh.vertices.astype(np.float32)
    _, same = np.unique(rounded, axis=0, return_inverse=True)
    corners = same.reshape(-1)[mesh.triangles]
    edges = np.sort(corners[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    if (edges[:, 0] == edges[:, 1]).any():
        return False
    _, count = np.unique(edges, axis=0, return_counts=True)
    return bool((count == 2).all())


def check_stl(
    path: str | os.PathLike[str], volume_mm3: float, mesh: Mesh, pose: Pose | None = None
) -> None:
    """Read a binary STL back and compare it with what it was written from.

    volume_mm3: of the true solid; the file may differ by what the mesh's chord errors and
    32-bit rounding explain (area × error).

    Raises:
        GeometryError: triangles missing, not watertight, off in volume or in size or place.
    """
    import trimesh

    data = read_whole(path)
    if len(data) != 84 + 50 * len(mesh.triangles):
        raise GeometryError(f"{path}: {len(data)} bytes are not {len(mesh.triangles)} triangles")
    try:
        with open(path, "rb") as stream:
            read = trimesh.load(stream, file_type="stl", force="mesh")
    except ValueError as error:
        raise GeometryError(f"{path}: not an STL file ({error})") from error
    if not read.is_watertight:
        raise GeometryError(f"{path}: not watertight")
    expected = moved(mesh.vertices, rigid(pose))
    _compare(str(path), read.vertices, float(read.volume), mesh, expected, volume_mm3)


def _compare(
    what: str,
    vertices: NDArray[np.float64],
    found_mm3: float,
    mesh: Mesh,
    expected: NDArray[np.float64],
    volume_mm3: float,
    chord_mm: float | None = None,
) -> None:
    rounding = 2 * _SINGLE * max(1.0, float(np.abs(expected).max()))
    span = np.ptp(expected, axis=0) - np.ptp(vertices, axis=0)
    shift = expected.min(axis=0) - vertices.min(axis=0)
    if max(np.abs(span).max(), np.abs(shift).max()) > 2 * rounding:
        raise GeometryError(f"{what}: comes back in another size or place")
    chord = mesh.bound_mm if chord_mm is None else chord_mm
    allowed = 1e-9 * abs(volume_mm3) + mesh.area_mm2 * (chord + rounding)
    if not abs(found_mm3 - volume_mm3) <= allowed:
        raise GeometryError(f"{what}: {found_mm3:.6g} mm³, expected {volume_mm3:.6g} mm³")


def write_glb(parts: Sequence[PlacedMesh], path: str | os.PathLike[str]) -> None:
    """Write a scene as binary glTF 2.0: metres, Y up, one named node a group and a part.

    The same parts give the same bytes; parts that share a mesh and a colour share it in the
    file. Node names are paths, so that they are unique.

    Raises:
        GeometryError: no parts, or two of the same path. OutputError: cannot be written.
    """
    names = [part.name for part in parts]
    if not parts or len(set(names)) != len(names) or not all(names):
        raise GeometryError("a scene needs parts, each with a path of its own")
    document, binary = _Gltf(parts).build()
    text = json.dumps(document, separators=(",", ":"), ensure_ascii=True).encode()
    text += b" " * (-len(text) % 4)
    binary += b"\0" * (-len(binary) % 4)
    total = 12 + 8 + len(text) + 8 + len(binary)
    head = struct.pack("<III", _GLB_MAGIC, 2, total) + struct.pack("<II", len(text), _GLB_JSON)
    write_whole(path, head + text + struct.pack("<II", len(binary), _GLB_BIN) + binary)


class _Gltf:
    """Collects the tables of one glTF document."""

    def __init__(self, parts: Sequence[PlacedMesh]) -> None:
        self._parts = parts
        root = {"name": "Y up", "rotation": _Z_UP_TO_Y_UP_QUATERNION, "children": []}
        self._nodes: list[dict[str, Any]] = [root]
        self._groups: dict[tuple[str, ...], int] = {(): 0}
        self._tables: dict[str, list[Any]] = {
            key: [] for key in ("meshes", "materials", "accessors", "bufferViews")
        }
        self._known: dict[Any, int] = {}
        self._binary = bytearray()

    def build(self) -> tuple[dict[str, Any], bytes]:
        for part in self._parts:
            pose = rigid(part.pose).copy()
            pose[:3, 3] /= 1000.0
            node = {"name": part.name, "mesh": self._mesh(part)}
            if not np.array_equal(pose, np.eye(4)):
                node["matrix"] = pose.T.ravel().tolist()  # glTF stores columns
            self._add_node(part.path, node)
        document = {
            "asset": {"version": "2.0", "generator": "noseroom"},
            "scene": 0,
            "scenes": [{"nodes": [0]}],
            "nodes": self._nodes,
            **self._tables,
            "buffers": [{"byteLength": len(self._binary)}],
        }
        return document, bytes(self._binary)

    def _add_node(self, path: tuple[str, ...], node: dict[str, Any]) -> int:
        parent = path[:-1]
        if parent not in self._groups:
            group = {"name": "/".join(parent), "children": []}
            self._groups[parent] = self._add_node(parent, group)
        self._nodes.append(node)
        index = len(self._nodes) - 1
        self._nodes[self._groups[parent]].setdefault("children", []).append(index)
        return index

    def _mesh(self, part: PlacedMesh) -> int:
        key = ("mesh", id(part.mesh), part.colour)
        if key not in self._known:
            primitive = {
                "attributes": {"POSITION": self._positions(part.mesh)},
                "indices": self._indices(part.mesh),
                "material": self._material(part.colour),
            }
            entry = {"name": part.name, "primitives": [primitive]}
            self._known[key] = self._append("meshes", entry)
        return self._known[key]

    def _positions(self, mesh: Mesh) -> int:
        key = ("positions", id(mesh))
        if key not in self._known:
            metres = (mesh.vertices / 1000.0).astype("<f4")
            entry = self._accessor(metres.tobytes(), _ARRAY_BUFFER, _FLOAT, len(metres), "VEC3")
            entry |= {"min": metres.min(axis=0).tolist(), "max": metres.max(axis=0).tolist()}
            self._known[key] = self._append("accessors", entry)
        return self._known[key]

    def _indices(self, mesh: Mesh) -> int:
        key = ("indices", id(mesh))
        if key not in self._known:
            flat = mesh.triangles.astype("<u4").ravel()
            entry = self._accessor(flat.tobytes(), _ELEMENT_BUFFER, _UINT, len(flat), "SCALAR")
            self._known[key] = self._append("accessors", entry)
        return self._known[key]

    def _accessor(
        self, data: bytes, target: int, component: int, count: int, kind: str
    ) -> dict[str, Any]:
        view = {
            "buffer": 0,
            "byteOffset": len(self._binary),
            "byteLength": len(data),
            "target": target,
        }
        self._binary += data
        index = self._append("bufferViews", view)
        return {"bufferView": index, "componentType": component, "count": count, "type": kind}

    def _material(self, colour: tuple[float, float, float, float]) -> int:
        key = ("material", colour)
        if key not in self._known:
            red, green, blue, opacity = (min(1.0, max(0.0, float(part))) for part in colour)
            factor = [_linear(red), _linear(green), _linear(blue), opacity]
            entry: dict[str, Any] = {
                "pbrMetallicRoughness": {
                    "baseColorFactor": factor,
                    "metallicFactor": 0.1,
                    "roughnessFactor": 0.8,
                },
                "doubleSided": True,
            }
            if opacity < 1:
                entry["alphaMode"] = "BLEND"
            self._known[key] = self._append("materials", entry)
        return self._known[key]

    def _append(self, table: str, entry: Any) -> int:
        self._tables[table].append(entry)
        return len(self._tables[table]) - 1


def _linear(screen: float) -> float:
    """Screen value (sRGB) to linear light, which glTF stores; IEC 61966-2-1, from memory."""
    return screen / 12.92 if screen <= 0.04045 else ((screen + 0.055) / 1.055) ** 2.4


def check_glb(path: str | os.PathLike[str], parts: Sequence[PlacedMesh]) -> None:
    """Read a GLB back with another reader and compare it with the parts it was written from.

    Raises:
        GeometryError: not GLB, a part missing or too many, no longer closed, off in volume,
            size or place.
    """
    import trimesh

    read_whole(path)
    try:
        with open(path, "rb") as stream:
            scene = trimesh.load(stream, file_type="glb", force="scene", process=False)
    except (ValueError, KeyError, IndexError) as error:
        raise GeometryError(f"{path}: not a GLB file ({error})") from error
    found, wanted = set(scene.graph.nodes_geometry), {part.name for part in parts}
    if found != wanted:
        missing, extra = sorted(wanted - found), sorted(found - wanted)
        raise GeometryError(f"{path}: missing parts {missing}, unexpected parts {extra}")
    for part in parts:
        matrix, geometry = scene.graph.get(part.name)
        read = scene.geometry[geometry].copy()
        if part.mesh.closed and not read.is_watertight:
            raise GeometryError(f"{path}: {part.name} is no longer watertight")
        read.apply_transform(matrix)
        vertices = read.vertices @ _Z_UP_TO_Y_UP * 1000.0
        expected = moved(part.mesh.vertices, rigid(part.pose))
        volume = part.mesh.volume_mm3 if part.mesh.closed else 0.0
        read_mm3 = float(read.volume) * 1e9 if part.mesh.closed else 0.0
        what = f"{path}: {part.name}"
        _compare(what, vertices, read_mm3, part.mesh, expected, volume, chord_mm=0.0)
