"""Invented scans, and damage of every sort in counts that are known: what a reader has to find."""

from __future__ import annotations

import io
import json
import struct
import zipfile
from dataclasses import dataclass

import numpy as np

PANEL_MM = (800.0, 500.0)


def panel(columns: int = 40, rows: int = 30, *, noise_mm: float = 0.0, seed: int = 1):
    """An inner panel, 800 x 500 mm: a rib, a bulge and a flange, open all round.

    Returns vertices (n, 3) mm and triangles (m, 3); 2 * columns * rows triangles.
    """
    u, v = np.meshgrid(np.linspace(0, 1, columns + 1), np.linspace(0, 1, rows + 1))
    y, z = PANEL_MM[0] * (u - 0.5), PANEL_MM[1] * v
    x = 12 * np.exp(-(((u - 0.3) / 0.05) ** 2)) + 8 * np.sin(9 * v) * u
    x += 60 * np.clip(v - 0.9, 0, None) / 0.1
    x += 25 * np.exp(-((u - 0.7) ** 2 + (v - 0.5) ** 2) / 0.02)
    points = np.stack([x, y, z], axis=-1).reshape(-1, 3)
    if noise_mm:
        points = points + np.random.default_rng(seed).uniform(-noise_mm, noise_mm, points.shape)
    return points, grid_triangles(columns, rows)


def grid_triangles(columns: int, rows: int):
    """Triangles over a grid of (rows + 1) x (columns + 1) vertices, two a square.

    Those of square (row, column) are number s = row * columns + column, and columns * rows + s.
    """
    number = np.arange((rows + 1) * (columns + 1)).reshape(rows + 1, columns + 1)
    a, b, c, d = number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]
    return np.concatenate(
        [np.stack([a, b, c], axis=-1).reshape(-1, 3), np.stack([a, c, d], axis=-1).reshape(-1, 3)]
    )


def box(low=(0.0, 0.0, 0.0), high=(100.0, 60.0, 40.0)):
    """A closed box, outward: 8 vertices, 12 triangles."""
    ends = (np.array(low), np.array(high))
    points = np.array([[ends[x][0], ends[y][1], ends[z][2]] for x, y, z in np.ndindex(2, 2, 2)])
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return points, np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))])


def ball(radius: float = 100.0, columns: int = 48, rows: int = 24):
    """A closed, outward ball about the origin, its corners on the sphere."""
    points = [(0.0, 0.0, -radius)]
    for row in range(1, rows):
        lean = np.pi * row / rows - np.pi / 2
        for column in range(columns):
            turn = 2 * np.pi * column / columns
            ring = radius * np.cos(lean)
            points.append((ring * np.cos(turn), ring * np.sin(turn), radius * np.sin(lean)))
    points.append((0.0, 0.0, radius))
    last = len(points) - 1
    triangles = []
    for column in range(columns):
        after = (column + 1) % columns
        triangles.append((0, 1 + after, 1 + column))
        top = 1 + (rows - 2) * columns
        triangles.append((last, top + column, top + after))
        for row in range(rows - 2):
            low, high = 1 + row * columns, 1 + (row + 1) * columns
            triangles.append((low + column, low + after, high + after))
            triangles.append((low + column, high + after, high + column))
    return np.array(points), np.array(triangles)


def tub(wide=200.0, deep=120.0, steps=20):
    """An open tub, five sides of a box without thickness, its mouth up."""
    points, triangles = box((0, 0, 0), (wide, wide, deep))
    top = (points[triangles][:, :, 2] == deep).all(axis=1)
    return finer(points, triangles[~top], steps)


def finer(points, triangles, steps: int):
    """Each triangle in steps x steps equal ones; shared corners stay shared."""
    made = []
    for a, b, c in points[triangles]:
        u, v = (b - a) / steps, (c - a) / steps
        for i in range(steps):
            for j in range(steps - i):
                p = a + i * u + j * v
                made.append((p, p + u, p + v))
                if i + j < steps - 1:
                    made.append((p + u, p + u + v, p + v))
    soup = np.round(np.array(made), 9)
    shared, numbers = np.unique(soup.reshape(-1, 3), axis=0, return_inverse=True)
    return shared, numbers.reshape(-1, 3)


@dataclass(frozen=True)
class Damage:
    """How much of each sort of damage there is.

    holes: square ones, six squares of the grid wide. lost: triangles with a corner that is NaN.
    """

    holes: int = 0
    flips: int = 0
    slivers: int = 0
    flat: int = 0
    twice: int = 0
    lost: int = 0
    islands: int = 0


HOLE_SQUARES = 6


def damaged_panel(columns: int, rows: int, damage: Damage, *, seed: int = 3):
    """The panel with damage, no two of a kind near each other: triangles (m, 3, 3), mm.

    Each square of the grid that is at even rows and columns takes one damage, so that none hides
    another.
    """
    rng = np.random.default_rng(seed)
    points, triangles = panel(columns, rows)
    soup = points[triangles].copy()
    squares = columns * rows
    gone = np.zeros(len(soup), bool)
    blocked = np.zeros((rows, columns), bool)
    for number in range(damage.holes):
        # Along the middle of the panel, well apart.
        column = 4 + number * (columns - 8) // max(damage.holes, 1)
        row = rows // 2
        inside = (slice(row, row + HOLE_SQUARES), slice(column, column + HOLE_SQUARES))
        chosen = np.arange(squares).reshape(rows, columns)[inside].ravel()
        gone[chosen] = gone[squares + chosen] = True
        blocked[row - 2 : row + HOLE_SQUARES + 2, column - 2 : column + HOLE_SQUARES + 2] = True
    free = [(r, c) for r in range(4, rows - 4, 3) for c in range(4, columns - 4, 3)]
    free = [spot for spot in free if not blocked[spot]]
    order = iter(rng.permutation(len(free)).tolist())

    added = []
    for square in _squares(free, order, columns, damage.flips):
        soup[square] = soup[square][::-1]
    for square in _squares(free, order, columns, damage.slivers):
        # The square's two triangles share the side a-c: give one of them a corner in its middle.
        a, b, c = soup[square].copy()
        middle = (a + c) / 2
        soup[square] = (a, b, middle)
        added += [(middle, b, c), (a, middle, c)]
    for square in _squares(free, order, columns, damage.flat):
        a, b, _ = soup[square]
        added.append((a, a, b))
    for square in _squares(free, order, columns, damage.twice):
        a, b, c = soup[square]
        added.append((b, c, a))
    for square in _squares(free, order, columns, damage.lost):
        soup[square, 1, 2] = np.nan
    for number in range(damage.islands):
        tip = np.array([-200.0 - 30 * number, 0.0, 0.0])
        added += [tip + 5 * corner for corner in _TETRAHEDRON]
    parts = [soup[~gone], np.array(added).reshape(-1, 3, 3)]
    whole = np.concatenate(parts)
    return whole[rng.permutation(len(whole))]


_CORNERS = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
_TETRAHEDRON = _CORNERS[[[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]]


def _squares(free, order, columns, count):
    chosen = [free[next(order)] for _ in range(count)]
    return [row * columns + column for row, column in chosen]


def as_soup(points, triangles):
    """Triangles (m, 3, 3) of an indexed mesh."""
    return np.asarray(points)[np.asarray(triangles)]


def stl(soup) -> bytes:
    """Binary STL of triangles (m, 3, 3)."""
    row = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    records = np.zeros(len(soup), row)
    records["corners"] = soup
    return b"a scan".ljust(80) + struct.pack("<I", len(soup)) + records.tobytes()


def stl_text(soup) -> bytes:
    """Text STL of triangles (m, 3, 3)."""
    lines = ["solid scan"]
    for triangle in soup:
        lines += ["  facet normal 0 0 0", "    outer loop"]
        lines += [f"      vertex {x:.9g} {y:.9g} {z:.9g}" for x, y, z in triangle]
        lines += ["    endloop", "  endfacet"]
    return "\n".join([*lines, "endsolid scan", ""]).encode()


def ply(points, faces, form="binary_little_endian") -> bytes:
    """PLY with colours and normals that nobody needs; faces: lists of vertex numbers."""
    header = (
        f"ply\nformat {form} 1.0\ncomment a scan\nelement vertex {len(points)}\n"
        "property float x\nproperty float y\nproperty float z\nproperty uchar red\n"
        f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    ).encode()
    if form == "ascii":
        rows = [f"{x:.9g} {y:.9g} {z:.9g} 200" for x, y, z in points]
        rows += [" ".join(map(str, (len(face), *map(int, face)))) for face in faces]
        return header + "\n".join(rows).encode() + b"\n"
    order = "<" if "little" in form else ">"
    body = b"".join(struct.pack(f"{order}3fB", *point, 200) for point in points)
    body += b"".join(struct.pack(f"{order}B{len(face)}i", len(face), *face) for face in faces)
    return header + body


def obj(points, faces) -> bytes:
    """OBJ that names a material file; faces: lists of vertex numbers from 0."""
    rows = ["# a scan", "mtllib scan.mtl", "o scan", "usemtl grey"]
    rows += [f"v {x:.9g} {y:.9g} {z:.9g}" for x, y, z in points]
    rows += ["f " + " ".join(f"{number + 1}//{number + 1}" for number in face) for face in faces]
    return "\n".join(rows).encode() + b"\n"


def model_3mf(body: str, *, unit: str | None = "millimeter") -> str:
    """The XML of a 3MF model."""
    said = f' unit="{unit}"' if unit else ""
    core = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
    return f'<?xml version="1.0" encoding="UTF-8"?><model{said} xmlns="{core}">{body}</model>'


def object_3mf(number: int, points, triangles) -> str:
    """One object of a 3MF model."""
    vertices = "".join(f'<vertex x="{x:.9g}" y="{y:.9g}" z="{z:.9g}"/>' for x, y, z in points)
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in triangles)
    return (
        f'<object id="{number}" type="model"><mesh><vertices>{vertices}</vertices>'
        f"<triangles>{faces}</triangles></mesh></object>"
    )


def pack_3mf(model: str | bytes, *, extra: dict[str, bytes] | None = None) -> bytes:
    """A 3MF archive round a model."""
    relation = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
    rels = (
        '<?xml version="1.0"?><Relationships '
        'xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        f'<Relationship Target="/3D/3dmodel.model" Id="rel0" Type="{relation}"/></Relationships>'
    )
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("_rels/.rels", rels)
        archive.writestr("3D/3dmodel.model", model)
        for name, data in (extra or {}).items():
            archive.writestr(name, data)
    return stream.getvalue()


def whole_3mf(points, triangles, *, unit: str | None = "millimeter") -> bytes:
    """A 3MF file of one object, once."""
    body = f"<resources>{object_3mf(1, points, triangles)}</resources>"
    return pack_3mf(model_3mf(body + '<build><item objectid="1"/></build>', unit=unit))


def gltf_document(points, triangles) -> tuple[dict, bytes]:
    """The table and the data of a glTF file of one mesh, once; points as they are, in metres."""
    data = np.asarray(points, "<f4").tobytes()
    order = np.asarray(triangles, "<u4").tobytes()
    document = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": len(points), "type": "VEC3"},
            {"bufferView": 1, "componentType": 5125, "count": 3 * len(triangles), "type": "SCALAR"},
        ],
        "bufferViews": [
            {"buffer": 0, "byteLength": len(data)},
            {"buffer": 0, "byteOffset": len(data), "byteLength": len(order)},
        ],
        "buffers": [{"byteLength": len(data) + len(order)}],
    }
    return document, data + order


def pack_glb(document: object, data: bytes) -> bytes:
    """A GLB file."""
    text = json.dumps(document).encode()
    text += b" " * (-len(text) % 4)
    data += b"\0" * (-len(data) % 4)
    head = struct.pack("<4sII", b"glTF", 2, 28 + len(text) + len(data))
    parts = struct.pack("<I4s", len(text), b"JSON") + text
    return head + parts + struct.pack("<I4s", len(data), b"BIN\0") + data
