"""Damaged and hostile scan files: each ends in one clear line, within its memory and time."""

from __future__ import annotations

import json
import os
import re
import socket
import struct
import sys
import time
import zipfile
from dataclasses import dataclass, replace
from io import BytesIO

import numpy as np
import pytest

import scan_makers as make
from noseroom.errors import GeometryError, NoseroomError
from noseroom.geometry import scan_process
from noseroom.geometry.scans import Limits, ScanError, read_scan

TIGHT = Limits(
    file_bytes=60_000_000,
    unpacked_bytes=50_000_000,
    triangles=200_000,
    memory_bytes=2_000_000_000,
    processor_s=30,
    wall_s=60.0,
    pieces=50,
)
BOX = make.box()
SOUP = make.as_soup(*BOX)
STL, STL_TEXT = make.stl(SOUP), make.stl_text(SOUP)
FACES = BOX[1].tolist()
PLY, PLY_TEXT = make.ply(*BOX[:1], FACES), make.ply(*BOX[:1], FACES, "ascii")
OBJ = make.obj(BOX[0], FACES)
MF = make.whole_3mf(*BOX)
DOCUMENT, DATA = make.gltf_document(*BOX)
GLB = make.pack_glb(DOCUMENT, DATA)
STEP_HEAD = b"ISO-10303-21;\nHEADER;\nENDSEC;\nDATA;\n"
STEP_TAIL = b"ENDSEC;\nEND-ISO-10303-21;\n"


@dataclass(frozen=True)
class Case:
    """name: of the file; content; words: what the message has to say, as a pattern."""

    name: str
    content: bytes
    words: str
    unit: str | None = None


def _stl(content: bytes, words: str) -> Case:
    return Case("a.stl", content, words, "mm")


def _with(soup, value: float):
    changed = np.array(soup, dtype=np.float64)
    changed[0, 0, 0] = value
    return changed


def _changed(keys: tuple, value: object) -> bytes:
    """The GLB with one entry of its table changed."""
    document = json.loads(json.dumps(DOCUMENT))
    inner = document
    for key in keys[:-1]:
        inner = inner[key]
    inner[keys[-1]] = value
    return make.pack_glb(document, DATA)


def _glb(keys: tuple, value: object, words: str) -> Case:
    return Case("a.glb", _changed(keys, value), words)


def _mf(body: str, words: str, **more) -> Case:
    return Case("a.3mf", make.pack_3mf(make.model_3mf(body, **more)), words)


def _zip(**members: bytes) -> bytes:
    stream = BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name.replace("__", "/").replace("_DOT_", "."), data)
    return stream.getvalue()


def _lying_zip() -> bytes:
    """An archive whose list says that a large member is small."""
    packed = bytearray(make.pack_3mf(b"<model>" + b" " * 60_000_000 + b"</model>"))
    for at in [found.start() for found in re.finditer(b"PK\x01\x02", packed)]:
        if packed[at + 46 :].startswith(b"3D/"):
            packed[at + 24 : at + 28] = struct.pack("<I", 1000)
    return bytes(packed)


def _nested(depth: int, wide: int) -> str:
    """Objects made of objects made of objects: few bytes, wide ** depth parts."""
    made = [make.object_3mf(1, *BOX)]
    for number in range(2, depth + 2):
        parts = f'<component objectid="{number - 1}"/>' * wide
        made.append(f'<object id="{number}"><components>{parts}</components></object>')
    return f'<resources>{"".join(made)}</resources><build><item objectid="{depth + 1}"/></build>'


def _islands(count: int, size: float, apart: float) -> bytes:
    side = round(count ** (1 / 3)) + 1
    at = np.stack(np.unravel_index(np.arange(count), (side, side, side)), axis=1) * apart
    return make.stl(at[:, None] + size * np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]]))


ENTITIES = (
    b'<?xml version="1.0"?><!DOCTYPE lolz [<!ENTITY a "ha">'
    + b"".join(b'<!ENTITY %c "%s">' % (98 + k, b"&%c;" % (97 + k) * 10) for k in range(9))
    + b"]><model>&j;</model>"
)
_ITEM = '<build><item objectid="1"/></build>'
_OBJECT = make.object_3mf(1, *BOX)
_PRIMITIVE = ("meshes", 0, "primitives", 0)

CASES: dict[str, Case] = {
    # What is not a scan at all, whatever its ending says.
    "no ending": Case("scan", STL, "no ending", "mm"),
    "an odd ending": Case("scan.dwg", STL, "ending .dwg", "mm"),
    "an unknown unit": Case("a.stl", STL, "unit 'furlong'", "furlong"),
    "no unit": Case("a.stl", STL, "box of 100 x 60 x 40.*mm would make it 100 mm"),
    "no unit, a huge box": Case("a.stl", make.stl(SOUP * 1e4), "none of them"),
    "empty": _stl(b"", "an empty file"),
    "one byte": _stl(b"s", "text of another kind|text that"),
    "zeros": _stl(bytes(5000), "zeros|5000 bytes for 0"),
    "a picture": _stl(b"\x89PNG\r\n\x1a\n" + bytes(200), "a picture"),
    "a PDF": _stl(b"%PDF-1.7\n" + b"x" * 200, "a PDF"),
    "a program": Case("a.ply", b"\x7fELF" + bytes(200), "a program", "mm"),
    "a zip as STL": _stl(MF, "a zip archive"),
    "a STEP as STL": _stl(STEP_HEAD + STEP_TAIL, "a STEP file"),
    "a web page as STL": _stl(b"<!DOCTYPE html><html>" + b" " * 100 + b"</html>", "not begin"),
    "a pointer file": _stl(b"version https://git-lfs.github.com/spec/v1\noid x\n", "never fetched"),
    "UTF-16": _stl(STL_TEXT.decode().encode("utf-16"), "UTF-16"),
    "STL as PLY": Case("a.ply", STL, "begins with ply", "mm"),
    "STL as OBJ": Case("a.obj", STL, "an OBJ file, which is text", "mm"),
    "PLY as OBJ": Case("a.obj", PLY_TEXT, "a PLY file", "mm"),
    "STL as 3MF": Case("a.3mf", STL, "which is a zip archive"),
    "STL as GLB": Case("a.glb", STL, "begins with glTF"),
    "GLB as glTF": Case("a.gltf", GLB, "a GLB file"),
    "STL as STEP": Case("a.step", STL, "begins with ISO-10303-21"),
    "gzip as STEP": Case("a.stp", b"\x1f\x8b" + bytes(200), "a gzip archive"),
    # STL
    "cut short": _stl(STL[:-30], "cut short"),
    "a byte too many": _stl(STL + b"x", "damaged"),
    "count far too high": _stl(STL[:80] + b"\xff\xff\xff\xff" + STL[84:], "cut short"),
    "count zero": _stl(STL[:80] + bytes(4), "no triangles"),
    "all NaN": _stl(make.stl(SOUP * np.nan), "not numbers"),
    "all infinite": _stl(make.stl(np.full_like(SOUP, np.inf)), "not numbers"),
    "1e30": _stl(make.stl(_with(SOUP, 1e30)), "1e.27 m away"),
    "beyond 100 m": _stl(make.stl(SOUP + 2e5), "200 m away"),
    "all in one point": _stl(make.stl(SOUP * 0), "without any area"),
    "all in one line": _stl(make.stl(SOUP * [1, 0, 0]), "without any area"),
    "denormal": _stl(make.stl(SOUP * 1e-42), "without any area"),
    "half a million triangles": _stl(make.stl(np.repeat(SOUP, 30_000, axis=0)), "at most 200000"),
    "many large pieces": _stl(_islands(300, 50.0, 100.0), "separate pieces"),
    "text, cut in a facet": _stl(STL_TEXT[: len(STL_TEXT) // 2], "cut short"),
    "text, no end": _stl(STL_TEXT.replace(b"endsolid scan", b""), "no endsolid"),
    "text, a word for a number": _stl(STL_TEXT.replace(b"100", b"ten", 1), "'ten'"),
    "text, a missing number": _stl(re.sub(rb"vertex \S+", b"vertex", STL_TEXT, count=1), "2 numb"),
    "text, a missing corner": _stl(re.sub(rb" +vertex.*\n", b"", STL_TEXT, count=1), "three cor"),
    "text, only a head": _stl(b"solid nothing here\nendsolid\n", "no triangles"),
    "text, huge numbers": _stl(STL_TEXT.replace(b"100", b"1e308"), "away"),
    "text, beyond float": _stl(re.sub(rb"vertex .*", b"vertex 1e999 0 0", STL_TEXT), "not numbers"),
    "text and zeros": _stl(STL_TEXT[:300] + bytes(300) + STL_TEXT[300:], "bytes for|damaged"),
    # PLY
    "PLY, no end of header": Case(
        "a.ply", b"ply\nformat ascii 1.0\n" + b"x" * 50, "PLY head", "mm"
    ),
    "PLY, header alone": Case("a.ply", PLY[: PLY.index(b"end_header") + 10], "nothing after", "mm"),
    "PLY, no form": Case("a.ply", PLY.replace(b"format", b"comment"), "text or binary", "mm"),
    "PLY, odd form": Case("a.ply", PLY.replace(b"binary_l", b"ternary_l"), "header line", "mm"),
    "PLY, odd type": Case("a.ply", PLY.replace(b"float x", b"quad x"), "header line", "mm"),
    "PLY, points alone": Case("a.ply", make.ply(BOX[0], []), "points without faces", "mm"),
    "PLY, no vertices": Case(
        "a.ply", PLY.replace(b"element vertex", b"element ve"), "without", "mm"
    ),
    "PLY, element twice": Case("a.ply", PLY.replace(b"t face", b"t vertex"), "points|twice", "mm"),
    "PLY, no x": Case("a.ply", PLY.replace(b"float x", b"float q"), "without x, y and z", "mm"),
    "PLY, x twice": Case("a.ply", PLY.replace(b"float y", b"float x"), "twice", "mm"),
    "PLY, no indices": Case(
        "a.ply", PLY.replace(b"vertex_indices", b"vertex_numbers"), "faces", "mm"
    ),
    "PLY, cut short": Case("a.ply", PLY[:-20], "fewer than the 12 face", "mm"),
    "PLY, a vertex count of 10^11": Case(
        "a.ply", PLY.replace(b"vertex 8", b"vertex 99999999999"), "fewer than", "mm"
    ),
    "PLY, a face count of 10^9": Case(
        "a.ply", PLY.replace(b"face 12", b"face 1000000000"), "at most 200000", "mm"
    ),
    "PLY, a negative count": Case("a.ply", PLY.replace(b"face 12", b"face -2"), "header", "mm"),
    "PLY, a vertex that is not there": Case(
        "a.ply", make.ply(BOX[0], [[0, 1, 8]]), "vertex 8 of 8", "mm"
    ),
    "PLY, a negative vertex": Case("a.ply", make.ply(BOX[0], [[0, 1, -5]]), "vertex -5", "mm"),
    "PLY, faces of two corners": Case("a.ply", make.ply(BOX[0], [[0, 1]]), "no triangles", "mm"),
    "PLY text, cut short": Case("a.ply", PLY_TEXT[:-25], "fewer than", "mm"),
    "PLY text, a word": Case("a.ply", PLY_TEXT.replace(b" 60 ", b" six "), "'six'", "mm"),
    "PLY text, a long face": Case(
        "a.ply", PLY_TEXT.replace(b"3 0", b"99999999 0", 1), "face", "mm"
    ),
    "PLY text, NaN alone": Case(
        "a.ply", make.ply(BOX[0] * np.nan, FACES, "ascii"), "not numbers", "mm"
    ),
    # OBJ
    "OBJ, points alone": Case("a.obj", make.obj(BOX[0], []), "no faces", "mm"),
    "OBJ, prose": Case("a.obj", b"Dear friend,\nhere is the scan.\n" * 20, "no faces", "mm"),
    "OBJ, vertex 0": Case("a.obj", OBJ + b"f 0 1 2\n", "vertex 0", "mm"),
    "OBJ, vertex 9 of 8": Case("a.obj", OBJ + b"f 1 2 9\n", "vertex 8 of 8", "mm"),
    "OBJ, too far back": Case("a.obj", OBJ + b"f -1 -2 -99\n", "vertex -99", "mm"),
    "OBJ, a vertex of 30 digits": Case("a.obj", OBJ + b"f 1 2 " + b"9" * 30, "vertex 999", "mm"),
    "OBJ, a word in a face": Case("a.obj", OBJ + b"f 1 2 x\n", "corner 'x'", "mm"),
    "OBJ, a flat vertex": Case("a.obj", b"v 1 2\n" + OBJ, "2 numbers", "mm"),
    "OBJ, a face of two": Case("a.obj", OBJ + b"f 1 2\n", "2 corners", "mm"),
    "OBJ, free-form": Case("a.obj", OBJ + b"cstype bspline\n", "formulas", "mm"),
    "OBJ, 1e30": Case("a.obj", OBJ.replace(b"v 100", b"v 1e30", 1), "away", "mm"),
    # 3MF
    "3MF, cut short": Case("a.3mf", MF[:-40], "cut short"),
    "3MF, damaged": Case("a.3mf", MF[:500] + bytes(60) + MF[560:], "damaged|cut short"),
    "3MF, no model": Case("a.3mf", _zip(readme=b"nothing"), "without a 3D model"),
    "3MF, a bomb": Case(
        "a.3mf", make.pack_3mf(b"<model>" + b" " * 45_000_000 + b"</model>"), "unpacks to far more"
    ),
    "3MF, a bigger bomb": Case(
        "a.3mf", make.pack_3mf(b"<model>" + b" " * 70_000_000 + b"</model>"), "unpacks to far more"
    ),
    "3MF, a bomb that lies": Case("a.3mf", _lying_zip(), "unpacks to far more|damaged"),
    "3MF, thousands of files": Case(
        "a.3mf", make.pack_3mf("<model/>", extra={str(k): b"" for k in range(2500)}), "files packed"
    ),
    "3MF, entities": Case("a.3mf", make.pack_3mf(ENTITIES), "document type"),
    "3MF, XML cut short": Case("a.3mf", make.pack_3mf("<model><resources>"), "XML that is dam"),
    "3MF, an odd unit": _mf(f"<resources>{_OBJECT}</resources>{_ITEM}", "parsec", unit="parsec"),
    "3MF, an empty build list": _mf(f"<resources>{_OBJECT}</resources><build/>", "no triangles"),
    "3MF, an object that is not there": _mf(_ITEM, "object '1', which is not there"),
    "3MF, an object twice": _mf(f"<resources>{_OBJECT}{_OBJECT}</resources>{_ITEM}", "twice"),
    "3MF, parts in parts": _mf(_nested(12, 10), "nested|triangles"),
    "3MF, a part in itself": _mf(
        '<resources><object id="1"><components><component objectid="1"/></components></object>'
        f"</resources>{_ITEM}",
        "nested without end",
    ),
    "3MF, a part elsewhere": _mf(
        '<resources><object id="1"><components><component objectid="1" '
        'p:path="/../../etc/other.model" xmlns:p="http://schemas.microsoft.com/3dmanufacturing/'
        f'production/2015/06"/></components></object></resources>{_ITEM}',
        "not in the file",
    ),
    "3MF, a corner without y": _mf(
        f"<resources>{_OBJECT}</resources>{_ITEM}".replace(' y="', ' q="', 1), "without y"
    ),
    "3MF, a corner of words": _mf(
        f"<resources>{_OBJECT}</resources>{_ITEM}".replace('x="0"', 'x="left"', 1), "number"
    ),
    "3MF, a vertex that is not there": _mf(
        f"<resources>{_OBJECT}</resources>{_ITEM}".replace('v1="0"', 'v1="80"', 1), "vertex 80"
    ),
    "3MF, a place of three numbers": _mf(
        f"<resources>{_OBJECT}</resources>" + _ITEM.replace("/>", ' transform="1 0 0"/>'),
        "twelve numbers",
    ),
    "3MF, a place of NaN": _mf(
        f'<resources>{_OBJECT}</resources><build><item objectid="1" '
        f'transform="{" ".join(["nan"] * 12)}"/></build>',
        "twelve numbers",
    ),
    "3MF, a lattice": _mf(
        f"<resources>{_OBJECT.replace('</mesh>', '<beamlattice/></mesh>')}</resources>{_ITEM}",
        "beamlattice",
    ),
    "3MF, the other unit": replace(Case("a.3mf", MF, "says it is in mm"), unit="in"),
    # glTF
    "GLB, cut short": Case("a.glb", GLB[:-8], "where it says"),
    "GLB, a head alone": Case("a.glb", GLB[:12], "cut short"),
    "GLB, version 1": Case("a.glb", GLB[:4] + struct.pack("<I", 1) + GLB[8:], "version 1"),
    "GLB, a long part": Case("a.glb", GLB[:12] + b"\xff\xff\xff\x7f" + GLB[16:], "longer than"),
    "GLB, not JSON": Case("a.glb", GLB[:20] + b"[" + GLB[21:], "not JSON"),
    "GLB, a list": Case("a.glb", make.pack_glb([1, 2], b""), "no table"),
    "GLB, nested JSON": Case(
        "a.gltf", b'{"a":' + b"[" * 200_000 + b"]" * 200_000 + b"}", "not JSON|nested"
    ),
    "GLB, no scene": _glb(("scene",), 7, "scenes entry 7"),
    "GLB, a node in itself": _glb(("nodes", 0, "children"), [0], "nested without end"),
    "GLB, nodes like rabbits": _glb(
        ("nodes",),
        [{"children": [k + 1] * 10} for k in range(12)] + [{"mesh": 0}],
        "nested without end|at most",
    ),
    "GLB, a node that is not there": _glb(("scenes", 0, "nodes"), [5], "nodes entry 5"),
    "GLB, a mesh that is a list": _glb(("nodes", 0, "mesh"), [0], "meshes entry"),
    "GLB, a scale of text": _glb(("nodes", 0, "scale"), ["a", "b", "c"], "numbers"),
    "GLB, a place of NaN": _glb(("nodes", 0, "translation"), [float("nan"), 0, 0], "no number"),
    "GLB, a place of 10^400": _glb(("nodes", 0, "translation"), [10**400, 0, 0], "beyond|number"),
    "GLB, a turn of nothing": _glb(("nodes", 0, "rotation"), [0, 0, 0, 0], "a turn"),
    "GLB, bones": _glb(("nodes", 0, "skin"), 0, "bones"),
    "GLB, blended": _glb((*_PRIMITIVE, "targets"), [{"POSITION": 0}], "blended"),
    "GLB, lines alone": _glb((*_PRIMITIVE, "mode"), 1, "no triangles"),
    "GLB, packed": _glb(("extensionsRequired",), ["KHR_draco_mesh_compression"], "draco"),
    "GLB, sparse": _glb(("accessors", 0, "sparse"), {"count": 1}, "sparse"),
    "GLB, an odd kind": _glb(("accessors", 0, "componentType"), 99, "of a kind"),
    "GLB, an odd shape": _glb(("accessors", 0, "type"), "MAT4", "of a kind"),
    "GLB, past the end": _glb(("accessors", 0, "count"), 10**9, "past its end"),
    "GLB, a negative count": _glb(("accessors", 0, "count"), -4, "past its end"),
    "GLB, a negative start": _glb(("bufferViews", 0, "byteOffset"), -40, "byteOffset -40"),
    "GLB, a tiny step": _glb(("bufferViews", 0, "byteStride"), 1, "past its end"),
    "GLB, a view too long": _glb(("bufferViews", 0, "byteLength"), 10**9, "past its end"),
    "GLB, a vertex that is not there": Case(
        "a.glb", make.pack_glb(*make.gltf_document(BOX[0], [[0, 1, 80]])), "vertex 80"
    ),
    "GLB, another file": _glb(("buffers", 0, "uri"), "../../secret.bin", "which is not opened"),
    "GLB, an address": _glb(("buffers", 0, "uri"), "http://example.org/a.bin", "not opened"),
    "GLB, damaged data": _glb(
        ("buffers", 0, "uri"), "data:application/octet-stream;base64,!!!!", "damaged"
    ),
    "GLB, millimetres for metres": Case(
        "a.glb", make.pack_glb(*make.gltf_document(BOX[0] * 10, BOX[1])), "1e.03 m away"
    ),
    # STEP
    "STEP, cut short": Case("a.step", STEP_HEAD, "without its last line"),
    "STEP, nothing in it": Case("a.step", STEP_HEAD + STEP_TAIL, "without shapes|cannot read"),
    "STEP, prose": Case(
        "a.step", STEP_HEAD + b"#1=LOREM('ipsum',#1);\n" * 50 + STEP_TAIL, "shapes|cannot read"
    ),
}


def _message(path, unit=None, limits=TIGHT) -> str:
    with pytest.raises(ScanError) as caught:
        read_scan(path, unit=unit, limits=limits)
    return str(caught.value)


def test_there_are_a_hundred_of_them():
    assert len(CASES) >= 100


@pytest.mark.parametrize("name", CASES)
def test_a_damaged_file_ends_in_one_clear_line(name, tmp_path):
    """It names the file, what was found and what was expected, and no folder."""
    case = CASES[name]
    path = tmp_path / case.name
    path.write_bytes(case.content)
    message = _message(path, case.unit)
    assert message.startswith(f"{case.name}: found ")
    assert "; expected " in message
    assert re.search(case.words, message), message
    assert len(message.splitlines()) == 1
    assert len(message) < 700
    assert str(tmp_path) not in message
    assert "trips its reader up" not in message
    assert path.read_bytes() == case.content


def test_its_errors_belong_to_the_family():
    assert issubclass(ScanError, GeometryError)
    assert issubclass(ScanError, NoseroomError)
    assert issubclass(ScanError, ValueError)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes in folders")
def test_a_pipe_is_refused_without_waiting_for_it(tmp_path):
    os.mkfifo(tmp_path / "a.stl")
    assert "a pipe" in _message(tmp_path / "a.stl", "mm")


@pytest.mark.skipif(not os.path.exists("/dev/zero"), reason="this system has no such device")
def test_a_device_is_refused(tmp_path):
    os.symlink("/dev/zero", tmp_path / "a.stl")
    assert "a device" in _message(tmp_path / "a.stl", "mm")


@pytest.mark.skipif(not hasattr(socket, "AF_UNIX"), reason="this system has no such sockets")
def test_a_socket_is_refused(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)  # its address may not be long
    with socket.socket(socket.AF_UNIX) as end:
        end.bind("a.stl")
        assert "a socket" in _message(tmp_path / "a.stl", "mm")


def test_a_folder_a_missing_file_and_a_circle_of_links_are_refused(tmp_path):
    (tmp_path / "folder.stl").mkdir()
    assert "a folder" in _message(tmp_path / "folder.stl", "mm")
    assert "no such file" in _message(tmp_path / "missing.stl", "mm")
    os.symlink("round.stl", tmp_path / "round.stl")
    assert "leads round to itself" in _message(tmp_path / "round.stl", "mm")
    assert "name that no file can have" in _message(tmp_path / "null\0.stl", "mm")


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may read everything"
)
def test_a_file_that_may_not_be_read_is_refused(tmp_path):
    path = tmp_path / "a.stl"
    path.write_bytes(STL)
    path.chmod(0)
    assert "may not read" in _message(path, "mm")


def test_a_name_cannot_write_to_the_terminal(tmp_path):
    message = _message(tmp_path / "a\n\x1b[2J.stl", "mm")
    assert message.isprintable()


def test_a_file_that_is_too_large_is_not_even_begun(tmp_path):
    path = tmp_path / "a.stl"
    with path.open("wb") as stream:
        stream.truncate(10**12)  # a sparse file: no room on the disk
    assert "at most 60 MB" in _message(path, "mm")


def test_a_file_that_needs_too_much_memory_is_given_up(tmp_path):
    path = tmp_path / "a.obj"
    path.write_bytes(make.obj(BOX[0], FACES) + b"v 0 0 0\n" * 5_000_000)
    message = _message(path, "mm", replace(TIGHT, memory_bytes=500_000_000))
    assert "more memory than is allowed" in message


def _instead(monkeypatch, code: str) -> None:
    """Let the reading process do something else once its limits are set."""
    head = scan_process._BOOT.split("sys.path[:]")[0]
    monkeypatch.setattr(scan_process, "_BOOT", head + code)


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("import os; os.abort()", "breaks the program"),
        ("sys.exit(3)", "breaks the program"),
        ("while True: pass", "2 s of computing"),
        ("pass", "no answer"),
        ("open(order['answer'], 'wb').write(b'x' * 20)", "no answer"),
        ("open(order['answer'], 'wb').write((9).to_bytes(8, 'little') + b'{\"rows\": ')", "no ans"),
    ],
)
def test_whatever_becomes_of_the_reader_is_one_clear_line(tmp_path, monkeypatch, code, words):
    path = tmp_path / "a.stl"
    path.write_bytes(STL)
    _instead(monkeypatch, code)
    if "computing" in words and sys.platform == "win32":
        pytest.skip("this system cannot limit computing")
    assert words in _message(path, "mm", replace(TIGHT, processor_s=2))


def test_a_reader_that_does_not_end_is_ended_with_all_that_it_started(tmp_path, monkeypatch):
    path = tmp_path / "a.stl"
    path.write_bytes(STL)
    mark = tmp_path / "grandchild"
    _instead(
        monkeypatch,
        "import subprocess, time\n"
        f"held = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(600)'])\n"
        f"open({str(mark)!r}, 'w').write(str(held.pid))\n"
        "time.sleep(600)",
    )
    assert "not read after 3 s" in _message(path, "mm", replace(TIGHT, wall_s=3.0))
    held = int(mark.read_text())
    for _ in range(100):  # a process that was killed takes a moment to be gone on a busy machine
        if not _runs(held):
            break
        time.sleep(0.1)
    assert not _runs(held)


def _runs(process: int) -> bool:
    try:
        with open(f"/proc/{process}/stat") as stream:
            return stream.read().rsplit(")", 1)[1].split()[0] not in "ZX"
    except FileNotFoundError:
        return False
