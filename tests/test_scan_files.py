"""The same surface out of every kind of file: in mm, in its place, and nothing else opened."""

from __future__ import annotations

import base64
import hashlib
import json
import os
import struct
import subprocess
import sys

import cadquery as cq
import numpy as np
import pytest

import scan_makers as make
from noseroom.geometry.scan_types import DEFAULT_LIMITS, UNITS_MM, UnreadableError
from noseroom.geometry.scan_worker import scan_from
from noseroom.geometry.scans import ScanError, read_scan

POINTS, TRIANGLES = make.panel(12, 9)
FACES = TRIANGLES.tolist()
SINGLE = 1e-4  # mm; a 32-bit float tells 6e-5 apart at 800


def _read(data: bytes, ending: str, unit_mm: float | None = None):
    return scan_from(data, ending, unit_mm, 60_000, DEFAULT_LIMITS)


def _sorted(points):
    points = np.round(np.asarray(points) / 0.01) * 0.01
    return points[np.lexsort(points.T)]


def _demand_panel(scan, *, scale=1.0):
    assert len(scan.triangles) == len(TRIANGLES)
    assert not scan.closed
    assert np.abs(_sorted(scan.vertices) - _sorted(POINTS * scale)).max() < 0.0101 + SINGLE
    area = _area(POINTS * scale, TRIANGLES)
    assert _area(scan.vertices, scan.triangles) == pytest.approx(area, rel=1e-5)


def _area(points, triangles):
    a, b, c = (np.asarray(points)[triangles[:, k]] for k in range(3))
    return np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2


UNITLESS = {
    "stl": make.stl(make.as_soup(POINTS, TRIANGLES)),
    "stl text": make.stl_text(make.as_soup(POINTS, TRIANGLES)),
    "stl named solid": b"solid" + make.stl(make.as_soup(POINTS, TRIANGLES))[5:],
    "stl in capitals": make.stl_text(make.as_soup(POINTS, TRIANGLES)).upper(),
    "stl with old line ends": make.stl_text(make.as_soup(POINTS, TRIANGLES)).replace(b"\n", b"\r"),
    "ply": make.ply(POINTS, FACES),
    "ply text": make.ply(POINTS, FACES, "ascii"),
    "ply big-endian": make.ply(POINTS, FACES, "binary_big_endian"),
    "obj": make.obj(POINTS, FACES),
}


@pytest.mark.parametrize("kind", UNITLESS)
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_a_file_without_a_unit_is_scaled_by_the_one_that_is_said(kind, unit):
    scan = _read(UNITLESS[kind], kind.split()[0], UNITS_MM[unit])
    _demand_panel(scan, scale=UNITS_MM[unit])
    assert scan.unit_mm == UNITS_MM[unit]


def test_units_are_what_their_definitions_say():
    """The international inch is 25.4 mm and a foot twelve of them (common practice)."""
    told = {"mm": 1, "cm": 10, "m": 1000, "in": 25.4, "ft": pytest.approx(304.8)}
    assert told == UNITS_MM


@pytest.mark.parametrize(
    ("scale", "said"), [(1.0, "mm would make it 800"), (0.001, "m would make"), (1 / 25.4, "in w")]
)
def test_without_a_unit_the_box_tells_which_is_likely(scale, said):
    with pytest.raises(UnreadableError) as caught:
        _read(make.stl(make.as_soup(POINTS * scale, TRIANGLES)), "stl")
    assert said in caught.value.advice
    assert f"{800 * scale:.4g} x {500 * scale:.4g}" in caught.value.found


@pytest.mark.parametrize("form", ["ascii", "binary_little_endian", "binary_big_endian"])
def test_ply_faces_of_many_corners_become_triangles(form):
    points, _ = make.box()
    quads = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4]]
    scan = _read(make.ply(points, [*quads, [1, 5, 7], [1, 7, 3]], form), "ply", 1.0)
    assert scan.closed
    assert len(scan.triangles) == 12
    assert _volume(scan) == pytest.approx(100 * 60 * 40)


def test_obj_faces_may_count_back_and_have_many_corners():
    text = b"v 0 0 0\nv 30 0 0\nv 30 30 0\nv 0 30 0\nf -4 -3 -2 -1\nv 0 0 9\nl 1 5\n"
    scan = _read(text, "obj", 1.0)
    assert _area(scan.vertices, scan.triangles) == pytest.approx(900)
    assert any("1 lines and points" in remark for remark in scan.remarks)


def _volume(scan):
    return np.linalg.det(scan.vertices[scan.triangles]).sum() / 6


@pytest.mark.parametrize(
    ("unit", "mm"),
    [(None, 1.0), ("micron", 0.001), ("centimeter", 10), ("inch", 25.4), ("meter", 1000)],
)
def test_3mf_states_its_unit(unit, mm):
    """Without one it is the millimetre (3MF core specification, from memory)."""
    points, triangles = make.box(high=np.array([100.0, 60, 40]) / mm)
    scan = _read(make.whole_3mf(points, triangles, unit=unit), "3mf")
    assert scan.unit_mm == mm
    assert np.ptp(scan.box_mm, axis=0) == pytest.approx([100, 60, 40])


def test_3mf_parts_of_parts_stand_where_both_places_put_them():
    """A place is applied to a row: point times matrix (3MF core specification, from memory)."""
    quarter = "0 1 0 -1 0 0 0 0 1 500 0 0"  # about Z: x becomes y
    body = (
        f"<resources>{make.object_3mf(1, *make.box())}"
        f'<object id="2"><components><component objectid="1" transform="{quarter}"/>'
        '<component objectid="1"/></components></object></resources>'
        '<build><item objectid="2" transform="1 0 0 0 1 0 0 0 1 0 0 1000"/></build>'
    )
    scan = _read(make.pack_3mf(make.model_3mf(body)), "3mf")
    assert len(scan.triangles) == 24
    assert scan.box_mm[0] == pytest.approx([0, 0, 1000])
    assert scan.box_mm[1] == pytest.approx([500, 100, 1040])


def test_3mf_parts_may_stand_in_another_model_of_the_archive():
    production = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
    other = make.model_3mf(f"<resources>{make.object_3mf(1, *make.box())}</resources><build/>")
    body = (
        f'<resources><object id="7"><components><component xmlns:p="{production}" '
        'p:path="/3D/Objects/one.model" objectid="1"/></components></object></resources>'
        '<build><item objectid="7"/></build>'
    )
    data = make.pack_3mf(make.model_3mf(body), extra={"3D/Objects/one.model": other.encode()})
    assert _read(data, "3mf").closed


def test_glb_is_in_metres_and_keeps_its_own_axes():
    scan = _read(make.pack_glb(*make.gltf_document(POINTS / 1000, TRIANGLES)), "glb")
    _demand_panel(scan)
    assert scan.unit_mm == 1000


def test_glb_nodes_place_a_mesh_as_often_as_they_name_it():
    """Translation * rotation * scale, the parent's first (glTF 2.0 specification, from memory)."""
    points, triangles = make.box(high=(0.1, 0.06, 0.04))
    document, data = make.gltf_document(points, triangles)
    half = 0.5**0.5
    document["nodes"] = [
        {"children": [1, 2], "translation": [1, 0, 0]},
        {"mesh": 0, "rotation": [0, 0, half, half], "scale": [2, 1, 1]},
        {"mesh": 0, "matrix": [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 3, 1]},
    ]
    scan = _read(make.pack_glb(document, data), "glb")
    assert len(scan.triangles) == 24
    assert scan.box_mm[0] == pytest.approx([940, 0, 0], abs=1e-3)
    assert scan.box_mm[1] == pytest.approx([1100, 200, 3040], abs=1e-3)


def test_glb_strips_and_fans_are_triangles_too():
    square = np.array([[0, 0, 0], [0.1, 0, 0], [0, 0.1, 0], [0.1, 0.1, 0]])
    for mode, order in ((5, [0, 1, 2, 3]), (6, [0, 1, 3, 2])):
        document, _ = make.gltf_document(square, [[0, 0, 0]])
        document["meshes"][0]["primitives"][0]["mode"] = mode
        document["accessors"][1] |= {"count": 4}
        document["bufferViews"][1]["byteLength"] = 16
        data = square.astype("<f4").tobytes() + np.array(order, "<u4").tobytes()
        scan = _read(make.pack_glb(document, data), "glb")
        assert _area(scan.vertices, scan.triangles) == pytest.approx(10_000, rel=1e-5)


def test_glb_small_whole_numbers_are_read_as_its_quantization_says():
    """A normalised short is a share of 32767 (glTF 2.0 specification, from memory)."""
    document, _ = make.gltf_document(np.zeros((3, 3)), [[0, 1, 2]])
    corners = np.array([[0, 0, 0, 0], [32767, 0, 0, 0], [0, 32767, 0, 0]], "<i2")
    order = np.array([0, 1, 2], "<u4").tobytes()
    document["accessors"][0] |= {"componentType": 5122, "normalized": True}
    document["bufferViews"] = [
        {"buffer": 0, "byteLength": 24, "byteStride": 8},
        {"buffer": 0, "byteOffset": 24, "byteLength": 12},
    ]
    document["extensionsRequired"] = ["KHR_mesh_quantization"]
    scan = _read(make.pack_glb(document, corners.tobytes() + order), "glb")
    assert scan.box_mm[1] == pytest.approx([1000, 1000, 0])


def test_gltf_with_its_data_inside_is_read():
    document, data = make.gltf_document(POINTS / 1000, TRIANGLES)
    inside = base64.b64encode(data).decode()
    document["buffers"][0]["uri"] = f"data:application/octet-stream;base64,{inside}"
    _demand_panel(_read(json.dumps(document).encode(), "gltf"))


def test_nothing_that_a_file_names_is_opened(tmp_path):
    """The material file is a pipe here: to open it would be to wait for ever."""
    if not hasattr(os, "mkfifo"):
        pytest.skip("this system has no pipes in folders")
    os.mkfifo(tmp_path / "scan.mtl")
    os.mkfifo(tmp_path / "picture.png")
    (tmp_path / "scan.obj").write_bytes(UNITLESS["obj"])
    _demand_panel(read_scan(tmp_path / "scan.obj", unit="mm"))
    document, data = make.gltf_document(POINTS / 1000, TRIANGLES)
    document["images"] = [{"uri": "picture.png"}]
    (tmp_path / "scan.glb").write_bytes(make.pack_glb(document, data))
    _demand_panel(read_scan(tmp_path / "scan.glb"))


@pytest.fixture(scope="module")
def step(tmp_path_factory):
    path = tmp_path_factory.mktemp("step") / "part.step"
    body = cq.Workplane().cylinder(60, 30).faces(">Z").hole(20)
    cq.exporters.export(body, str(path))
    return path, body.val()


def test_step_is_meshed_with_an_error_that_is_told(step):
    path, body = step
    scan = read_scan(path)
    assert scan.closed
    assert scan.unit_mm == 1.0
    assert 0 < scan.deflection_mm < 0.3
    error = abs(_volume(scan) - body.Volume())
    assert error <= _area(scan.vertices, scan.triangles) * scan.deflection_mm
    radius = np.hypot(*scan.vertices[:, :2].T)
    middles = scan.vertices[scan.triangles].mean(axis=1)
    # Between its corners an outer face is inside the round that it stands for.
    outer = np.hypot(*middles[np.hypot(*middles[:, :2].T) > 20][:, :2].T)
    assert radius.max() == pytest.approx(30)
    assert outer[outer > 25].min() >= 30 - scan.deflection_mm


def test_step_in_inches_is_as_large_as_it_says(step, tmp_path):
    """The same file with its unit's definition changed from the millimetre to the inch."""
    text = step[0].read_text()
    inch = (
        "#90001=(CONVERSION_BASED_UNIT('INCH',#90002)LENGTH_UNIT()NAMED_UNIT(#90003));\n"
        "#90002=LENGTH_MEASURE_WITH_UNIT(LENGTH_MEASURE(25.4),#90004);\n"
        "#90003=DIMENSIONAL_EXPONENTS(1.,0.,0.,0.,0.,0.,0.);\n"
        "#90004=(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.));\n"
    )
    start = text.index("( LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT(.MILLI.,.METRE.) )")
    number = text[:start].rsplit("#", 1)[1].split("=")[0].strip()
    text = text.replace(f"(#{number},", "(#90001,").replace(f"#{number})", "#90001)")
    text = text.replace("DATA;\n", "DATA;\n" + inch, 1)
    path = tmp_path / "inch.stp"
    path.write_text(text)
    with pytest.raises(ScanError, match=r"says it is in in; expected .* mm"):
        read_scan(path, unit="mm")
    scan = read_scan(path, unit="in")
    assert scan.unit_mm == 25.4
    assert np.ptp(scan.box_mm, axis=0) == pytest.approx(
        np.array([60, 60, 60]) * 25.4, abs=2 * scan.deflection_mm
    )


def test_a_whole_reading_keeps_what_the_process_found(tmp_path):
    """What comes back from the other process is what the same code finds in this one."""
    soup = make.damaged_panel(40, 30, make.Damage(holes=1, flips=3, lost=2))
    data = make.stl(soup)
    (tmp_path / "panel.stl").write_bytes(data)
    far, near = read_scan(tmp_path / "panel.stl", unit="mm"), _read(data, "stl", 1.0)
    assert far.sha256 == hashlib.sha256(data).hexdigest()
    assert np.array_equal(far.vertices, near.vertices)
    assert np.array_equal(far.triangles, near.triangles)
    assert far.triangles.dtype == np.int32
    assert far.remarks == near.remarks
    assert far.deflection_mm == near.deflection_mm
    assert len(far.holes) == len(near.holes) == 3
    assert len(far.border) == len(near.border) == 1
    for one, other in zip((*far.holes, *far.border), (*near.holes, *near.border), strict=True):
        assert np.array_equal(one.loop, other.loop)
        assert one.width_mm == other.width_mm
        assert np.array_equal(one.cap[1], other.cap[1])


def test_200_000_damaged_triangles_go_through_and_every_count_is_right(tmp_path):
    """And what they become is within half a millimetre of what they were."""
    damage = make.Damage(holes=5, flips=400, slivers=300, flat=50, twice=120, lost=20, islands=6)
    (tmp_path / "panel.stl").write_bytes(make.stl(make.damaged_panel(400, 250, damage)))
    scan = read_scan(tmp_path / "panel.stl", unit="mm")
    told = " | ".join(scan.remarks)
    for words in (
        "20 triangles had corners that are not numbers",
        "120 triangles were there twice",
        "350 slivers (less than 0.01 mm high); closed up",
        "400 triangles faced the wrong way; turned",
        "7 separate pieces",
        "25 holes, the widest",
        "1 open edge",
        "triangles thinned out to 60,000",
    ):
        assert words in told, told
    assert len(scan.holes) == 25
    assert len(scan.triangles) <= 61_200
    assert scan.deflection_mm < 0.5


def test_stl_normals_are_not_believed():
    soup = make.as_soup(*make.box())
    data = bytearray(make.stl(soup))
    for start in range(84, len(data), 50):
        data[start : start + 12] = struct.pack("<3f", float("nan"), 1e30, 0)
    assert _volume(_read(bytes(data), "stl", 1.0)) == pytest.approx(100 * 60 * 40)


def test_the_facade_loads_neither_kernel_nor_mesh_library():
    code = (
        "import sys, noseroom.geometry.scans;"
        "heavy = ('cadquery', 'OCP', 'trimesh', 'coal', 'manifold3d', 'scipy');"
        "print([m for m in heavy if m in sys.modules])"
    )
    told = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert told.stdout.strip() == "[]"
