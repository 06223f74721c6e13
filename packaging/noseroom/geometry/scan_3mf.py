"""3MF: the parts of a packed file, every instance placed, in the unit that it states."""

from __future__ import annotations

import io
import posixpath
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NoReturn
from xml.parsers import expat

import numpy as np

from noseroom.geometry.scan_edges import Numbers
from noseroom.geometry.scan_ply import demand_numbers
from noseroom.geometry.scan_stl import demand_count
from noseroom.geometry.scan_types import MM_PER_UNIT_3MF, Floats, Limits, Raw, UnreadableError

_AGAIN = "save or copy it again"
_SOUND = "a sound 3MF file"
_MOST_MEMBERS = 2_000
_MOST_RATIO = 200
"""XML of meshes packs to a tenth or so; a thousandth is no mesh."""
_BLOCK = 1 << 20
_DEEPEST, _MOST_PLACED = 100, 100_000
_MODEL_TYPE = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
_IDENTITY = np.eye(4)

Key = tuple[str, str]
Begin = Callable[[str, dict[str, str]], None]


@dataclass(eq=False)
class _Object:
    """One object: its own triangles, or others and their places."""

    points: list[str] = field(default_factory=list)
    corners: list[str] = field(default_factory=list)
    components: list[tuple[Key, Floats]] = field(default_factory=list)


def read_3mf(data: bytes, limits: Limits) -> Raw:
    """Read all objects that the file's build list names. Raises UnreadableError."""
    members = _members(data, limits)
    start = _start(members)
    model = _Model(limits)
    model.read(start, members.pop(start))
    waiting = model.other_files()
    while waiting:
        for name in waiting:
            if name not in members:
                _refuse(f"parts in {name!r}, which is not in the file", _SOUND)
            model.read(name, members.pop(name))
        waiting = model.other_files()
    vertices, triangles = model.placed()
    return Raw(vertices, triangles, MM_PER_UNIT_3MF[model.unit])


def _refuse(found: str, expected: str, advice: str = _AGAIN) -> NoReturn:
    raise UnreadableError(found, expected, advice)


def _members(data: bytes, limits: Limits) -> dict[str, bytes]:
    """The models and relations of the archive, unpacked no further than allowed."""
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError):
        _refuse("a zip archive that is damaged or cut short", "a whole 3MF file")
    listed = archive.infolist()
    if len(listed) > _MOST_MEMBERS:
        _refuse(f"{len(listed)} files packed in it", f"at most {_MOST_MEMBERS}", "save it again")
    if sum(one.file_size for one in listed) > limits.unpacked_bytes:
        _bomb(limits)
    found: dict[str, bytes] = {}
    room = limits.unpacked_bytes
    for one in listed:
        name = one.filename.lstrip("/")
        if not name.lower().endswith((".model", ".rels")):
            continue
        if one.flag_bits & 1:
            _refuse("a file locked with a password", "an open one", "save it without")
        if name in found:
            _refuse(f"{name!r} packed twice", _SOUND)
        if one.file_size > _BLOCK and one.file_size > _MOST_RATIO * max(one.compress_size, 1):
            _bomb(limits)
        found[name] = _unpacked(archive, one, min(room, one.file_size), limits)
        room -= len(found[name])
    return found


def _unpacked(archive: zipfile.ZipFile, one: zipfile.ZipInfo, room: int, limits: Limits) -> bytes:
    """One member; its stated size is not believed."""
    blocks: list[bytes] = []
    size = 0
    try:
        with archive.open(one) as stream:
            while block := stream.read(_BLOCK):
                size += len(block)
                if size > room:
                    _bomb(limits)
                blocks.append(block)
    except (zipfile.BadZipFile, EOFError, NotImplementedError, OSError, ValueError):
        _refuse("packed data that is damaged", "a whole 3MF file")
    except Exception as error:
        if type(error).__module__ not in ("zlib", "lzma", "_lzma", "bz2"):
            raise
        _refuse("packed data that is damaged", "a whole 3MF file")
    return b"".join(blocks)


def _bomb(limits: Limits) -> NoReturn:
    _refuse(
        "an archive that unpacks to far more than it is",
        f"at most {limits.unpacked_bytes / 1e6:.0f} MB, packed to no less than 1 in {_MOST_RATIO}",
        "open it in the program that made it and save it again",
    )


def _start(members: dict[str, bytes]) -> str:
    """The name of the model that the archive says is the first."""
    names: list[str] = []

    def begin(tag: str, attributes: dict[str, str]) -> None:
        if _local(tag) == "Relationship" and attributes.get("Type") == _MODEL_TYPE:
            names.append(attributes.get("Target", "").lstrip("/"))

    if "_rels/.rels" in members:
        _parse(members["_rels/.rels"], begin)
    for name in (*names, "3D/3dmodel.model"):
        if name in members:
            return name
    _refuse("a zip archive without a 3D model", "a 3MF file", "is its ending right?")


def _parse(data: bytes, begin: Begin) -> None:
    """Run through XML; entities are refused, since a few can stand for gigabytes."""

    def no_types(*_: object) -> NoReturn:
        _refuse("XML with a document type of its own", _SOUND)

    parser = expat.ParserCreate(namespace_separator="|")
    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = no_types
    parser.EntityDeclHandler = no_types
    parser.StartElementHandler = begin
    try:
        parser.Parse(data, True)
    except KeyError:  # an attribute that is not there: told by who asked for it
        raise
    except (expat.ExpatError, LookupError, ValueError) as error:
        _refuse(f"XML that is damaged ({error})", _SOUND)


def _local(tag: str) -> str:
    return tag.rsplit("|", 1)[-1]


class _Model:
    """What the models of one file say."""

    def __init__(self, limits: Limits) -> None:
        self.unit = "millimeter"
        self._limits = limits
        self._objects: dict[Key, _Object] = {}
        self._items: list[tuple[Key, Floats]] = []
        self._read: set[str] = set()
        self._triangles = 0

    def read(self, name: str, data: bytes) -> None:
        """Take in one model; the first one's build list and unit are the file's."""
        first = not self._read
        self._read.add(name)
        current = _Object()

        def key(attributes: dict[str, str], number: str) -> Key:
            path = next((v for k, v in attributes.items() if _local(k) == "path"), "")
            return (posixpath.normpath(path).lstrip("/") if path else name, attributes[number])

        def begin(tag: str, attributes: dict[str, str]) -> None:
            nonlocal current
            match _local(tag):
                case "vertex":
                    current.points += (attributes["x"], attributes["y"], attributes["z"])
                case "triangle":
                    self._triangles += 1
                    demand_count(self._triangles, self._limits)
                    current.corners += (attributes["v1"], attributes["v2"], attributes["v3"])
                case "object":
                    current = _Object()
                    if (name, attributes["id"]) in self._objects:
                        _refuse(f"object {attributes['id']!r} twice", _SOUND)
                    self._objects[name, attributes["id"]] = current
                case "component":
                    where = _transform(attributes.get("transform"))
                    current.components.append((key(attributes, "objectid"), where))
                case "item" if first:
                    where = _transform(attributes.get("transform"))
                    self._items.append((key(attributes, "objectid"), where))
                case "model":
                    self._begin_model(attributes, first)
                case "beamlattice" | "displacementmesh" | "volumetricstack" | "slicestack":
                    _refuse(f"a shape given as {_local(tag)}", "triangles", "save it as a mesh")
                case _:
                    pass

        try:
            _parse(data, begin)
        except KeyError as error:
            _refuse(f"an entry without {error.args[0]}", _SOUND)

    def _begin_model(self, attributes: dict[str, str], first: bool) -> None:
        unit = attributes.get("unit", "millimeter")
        if unit not in MM_PER_UNIT_3MF:
            _refuse(f"the unit {unit[:30]!r}", f"one of {', '.join(MM_PER_UNIT_3MF)}")
        if first:
            self.unit = unit
        elif unit != self.unit:
            _refuse(f"parts in {unit} and in {self.unit}", "one unit")

    def other_files(self) -> set[str]:
        """Models that are named and not yet read."""
        named = {where for one in self._objects.values() for (where, _), _ in one.components}
        return (named | {where for (where, _), _ in self._items}) - self._read

    def placed(self) -> tuple[Floats, Numbers]:
        """Vertices and triangles of everything on the build list."""
        points: list[Floats] = []
        corners: list[Numbers] = []
        meshes: dict[Key, tuple[Floats, Numbers]] = {}
        waiting = [(key, pose, 0) for key, pose in reversed(self._items)]
        start = count = visits = 0
        while waiting:
            key, pose, depth = waiting.pop()
            visits += 1
            if depth > _DEEPEST or visits > _MOST_PLACED:
                _refuse("parts nested without end", "a build list of parts")
            if key not in self._objects:
                _refuse(f"object {key[1][:30]!r}, which is not there", _SOUND)
            one = self._objects[key]
            waiting += [(part, pose @ where, depth + 1) for part, where in one.components]
            if not one.corners:
                continue
            if key not in meshes:
                meshes[key] = _mesh(one)
            vertices, triangles = meshes[key]
            count += len(triangles)
            demand_count(count, self._limits)
            points.append(vertices @ pose[:3, :3].T + pose[:3, 3])
            corners.append(triangles + start)
            start += len(vertices)
        if not corners:
            _refuse("no triangles on the build list", "a surface", "mesh it before it is saved")
        return np.concatenate(points), np.concatenate(corners)


def _mesh(one: _Object) -> tuple[Floats, Numbers]:
    try:
        vertices = np.array(one.points, dtype=np.float64).reshape(-1, 3)
        triangles = np.array(one.corners, dtype=np.int64).reshape(-1, 3)
    except (ValueError, OverflowError):
        _refuse("text where a number stands", "a number")
    return vertices, demand_numbers(triangles, len(vertices))


def _transform(text: str | None) -> Floats:
    """A place as 3MF writes it: twelve numbers, the columns of a 4x4 matrix's upper part."""
    if text is None:
        return _IDENTITY
    try:
        values = [float(word) for word in text.split()]
    except ValueError:
        values = []
    if len(values) != 12 or not np.isfinite(values).all():
        _refuse(f"the place {text[:40]!r}", "twelve numbers")
    pose = np.eye(4)
    pose[:3] = np.array(values).reshape(4, 3).T
    return pose
