"""Files: the same bytes for the same parts, and what other readers find in them."""

import inspect
import json
import re
import shutil
import struct
import subprocess
import sys

import cadquery as cq
import numpy as np
import pytest
import trimesh

from noseroom.errors import GeometryError, OutputError
from noseroom.geometry.exports import (
    PlacedMesh,
    assembly_parts,
    check_glb,
    check_step,
    check_stl,
    read_step_parts,
    write_glb,
    write_step,
    write_stl,
)
from noseroom.geometry.mesh import body_from_shape


def at(x=0.0, y=0.0, z=0.0):
    pose = np.eye(4)
    pose[:3, 3] = x, y, z
    return pose


def nose(*, ball=True, width=20.0):
    slab = cq.Workplane().box(10, width, 30)
    whole, front = cq.Assembly(name="nose"), cq.Assembly(name="front")
    turned = cq.Location((1, 2, 3), (0, 0, 1), 30)
    front.add(slab, name="condenser", loc=turned, color=cq.Color(1, 0, 0))
    front.add(slab, name="screen", loc=cq.Location((100, 0, 0)), color=cq.Color(0, 0, 1))
    whole.add(front, loc=cq.Location((0, 0, 50)))
    if ball:
        whole.add(cq.Workplane().sphere(5), name="drier", loc=cq.Location((0, 300, 0)))
    return whole


@pytest.fixture(scope="module")
def box():
    return body_from_shape("box", cq.Workplane().box(10, 20, 30).val())


@pytest.fixture(scope="module")
def ball():
    return body_from_shape("ball", cq.Workplane().sphere(10).val())


# --- STEP -----------------------------------------------------------------------------------


def test_step_gives_the_same_bytes_in_one_process_and_in_the_next(tmp_path):
    first, second, third = (tmp_path / f"{name}.step" for name in "abc")
    write_step(nose(), first)
    kept = []  # alive, so that every round's shapes have other addresses in memory
    for _ in range(8):
        kept.append(nose())
        write_step(kept[-1], second)
        assert first.read_bytes() == second.read_bytes()
    code = (
        f"import sys; sys.path.insert(0, {str(tmp_path)!r}); import case\n"
        f"from noseroom.geometry.exports import write_step\n"
        f"write_step(case.nose(), {str(third)!r})"
    )
    source = "import cadquery as cq\n" + inspect.getsource(nose)
    (tmp_path / "case.py").write_text(source)
    subprocess.run([sys.executable, "-c", code], check=True)
    assert first.read_bytes() == third.read_bytes()


def test_step_order_does_not_hang_on_memory_when_parts_look_alike(tmp_path):
    """The kernel writes colours by the addresses of the shapes that they paint."""
    colours = [cq.Color(0.2, 0.3, 0.4), cq.Color(1, 0, 0), cq.Color(0.5, 0.5, 0.5, 0.5)]
    kept, found = [], set()
    for _ in range(5):
        whole = cq.Assembly(name="rack", loc=cq.Location((1, 2, 3)))
        for row in range(2):
            group = cq.Assembly(name=f"row {row}")
            for i in range(5):
                cube, where = cq.Workplane().box(9, 9, 9), cq.Location((row * 20, i * 20, 0))
                group.add(cube, name=f"cube {i}", loc=where, color=colours[(i + row) % 3])
            whole.add(group)
        kept.append(whole)
        write_step(whole, tmp_path / "rack.step")
        found.add((tmp_path / "rack.step").read_bytes())
    assert len(found) == 1
    check_step(tmp_path / "rack.step", whole)


def test_step_header_carries_no_clock_and_lengths_are_millimetres(tmp_path):
    write_step(nose(), tmp_path / "nose.step")
    text = (tmp_path / "nose.step").read_text()
    assert "'2000-01-01T00:00:00'" in text
    assert re.search(r"SI_UNIT\(\.MILLI\.,\.METRE\.\)", text)


def test_step_parts_come_back_by_name_in_their_places(tmp_path):
    write_step(nose(), tmp_path / "nose.step")
    parts = read_step_parts(tmp_path / "nose.step")
    assert set(parts) == {"front/condenser", "front/screen", "drier"}
    assert parts["front/condenser"].Center().toTuple() == pytest.approx((1, 2, 53))
    assert parts["front/screen"].Center().toTuple() == pytest.approx((100, 0, 50))
    assert parts["drier"].Volume() == pytest.approx(4 / 3 * np.pi * 125)
    check_step(tmp_path / "nose.step", nose())


def test_step_names_and_colours_reach_cadquerys_own_reader(tmp_path):
    write_step(nose(), tmp_path / "nose.step")
    read = cq.Assembly.importStep(str(tmp_path / "nose.step"))
    found = {}
    for _, name, _, colour in read:
        found[name.split("/")[-1]] = colour.toTuple()[:3] if colour else None
    assert found["condenser"] == pytest.approx((1, 0, 0))
    assert found["screen"] == pytest.approx((0, 0, 1))


def test_step_names_may_be_in_any_script(tmp_path):
    whole = cq.Assembly(name="Bug")
    whole.add(cq.Workplane().box(1, 2, 3), name="Kühler – 冷凝器; #3 'left'")
    write_step(whole, tmp_path / "n.step")
    assert set(read_step_parts(tmp_path / "n.step")) == {"Kühler – 冷凝器; #3 'left'"}
    check_step(tmp_path / "n.step", whole)


def test_step_of_a_single_part_and_of_a_part_with_children(tmp_path):
    alone = cq.Assembly(cq.Workplane().box(1, 2, 3), name="alone", loc=cq.Location((5, 0, 0)))
    write_step(alone, tmp_path / "alone.step")
    check_step(tmp_path / "alone.step", alone)
    host = cq.Assembly(cq.Workplane().box(1, 2, 3), name="host", loc=cq.Location((5, 0, 0)))
    host.add(cq.Workplane().box(1, 1, 1), name="guest", loc=cq.Location((0, 7, 0)))
    write_step(host, tmp_path / "host.step")
    check_step(tmp_path / "host.step", host)
    assert set(assembly_parts(host)) == {"host_part", "guest"}


@pytest.mark.parametrize(
    ("other", "complaint"),
    [
        (lambda: nose(ball=False), "unexpected parts"),
        (lambda: nose(width=20.001), "mm³"),
        (lambda: nose().add(cq.Workplane().box(1, 1, 1), name="extra"), "missing parts"),
    ],
    ids=["extra part", "other volume", "missing part"],
)
def test_step_check_notices_a_file_of_something_else(tmp_path, other, complaint):
    write_step(nose(), tmp_path / "nose.step")
    with pytest.raises(GeometryError, match=complaint):
        check_step(tmp_path / "nose.step", other())


def test_step_check_notices_a_part_in_another_place(tmp_path):
    write_step(nose(), tmp_path / "nose.step")
    shifted = nose()
    shifted.children[1].loc = cq.Location((0, 300.01, 0))
    with pytest.raises(GeometryError, match="place"):
        check_step(tmp_path / "nose.step", shifted)


def test_step_that_is_not_there_or_not_step_is_a_clear_error(tmp_path):
    with pytest.raises(OutputError):
        read_step_parts(tmp_path / "none.step")
    (tmp_path / "bad.step").write_text("this is not a STEP file")
    with pytest.raises(GeometryError, match=r"bad\.step"):
        read_step_parts(tmp_path / "bad.step")


def test_a_folder_that_is_not_there_is_a_clear_error(tmp_path, box):
    for write in (
        lambda path: write_step(nose(), path),
        lambda path: write_stl(box, path),
        lambda path: write_glb([PlacedMesh(("a",), box.mesh)], path),
    ):
        with pytest.raises(OutputError, match="cannot write"):
            write(tmp_path / "no" / "where.x")


def test_an_empty_assembly_is_refused(tmp_path):
    with pytest.raises(GeometryError):
        write_step(cq.Assembly(name="empty"), tmp_path / "e.step")
    assert not (tmp_path / "e.step").exists()


# --- STL ------------------------------------------------------------------------------------


def test_stl_of_a_box_has_684_bytes(tmp_path, box):
    """STL format: 84 + 50 n bytes."""
    write_stl(box, tmp_path / "box.stl")
    data = (tmp_path / "box.stl").read_bytes()
    assert len(data) == 684
    assert struct.unpack("<I", data[80:84]) == (12,)
    assert not data.startswith(b"solid")
    write_stl(box.mesh, tmp_path / "again.stl")
    assert (tmp_path / "again.stl").read_bytes() == data


def test_stl_comes_back_closed_and_full(tmp_path, ball):
    pose = at(800, -300, 50)
    write_stl(ball, tmp_path / "ball.stl", pose)
    check_stl(tmp_path / "ball.stl", ball.shape.Volume(), ball.mesh, pose)
    read = trimesh.load(tmp_path / "ball.stl")
    assert read.is_watertight
    assert read.center_mass == pytest.approx([800, -300, 50], abs=1e-2)


def test_stl_check_notices_another_volume_place_or_damage(tmp_path, box, ball):
    path = tmp_path / "box.stl"
    write_stl(box, path)
    check_stl(path, 6000, box.mesh)
    with pytest.raises(GeometryError, match="mm³"):
        check_stl(path, 6001, box.mesh)
    with pytest.raises(GeometryError, match="place"):
        check_stl(path, 6000, box.mesh, at(1))
    with pytest.raises(GeometryError, match="bytes"):
        check_stl(path, 6000, ball.mesh)
    data = bytearray(path.read_bytes())
    data[96:108] = struct.pack("<3f", 1, 2, 3)
    path.write_bytes(data)
    with pytest.raises(GeometryError, match="watertight"):
        check_stl(path, 6000, box.mesh)


@pytest.mark.skipif(shutil.which("admesh") is None, reason="admesh (Debian package) is not here")
def test_stl_is_clean_for_admesh(tmp_path, ball):
    write_stl(ball, tmp_path / "ball.stl")
    said = subprocess.run(
        ["admesh", str(tmp_path / "ball.stl")], check=True, capture_output=True, text=True
    ).stdout
    volume = float(re.search(r"Volume\s*:\s*(\S+)", said).group(1))
    assert volume == pytest.approx(ball.mesh.volume_mm3, rel=1e-4)
    assert re.search(r"Total disconnected facets\s*:\s*0\s", said)


# --- GLB ------------------------------------------------------------------------------------


def scene(box, ball):
    red = (1.0, 0.0, 0.0, 1.0)
    return [
        PlacedMesh(("nose", "front", "condenser"), box.mesh, at(800, -300, 50), red),
        PlacedMesh(("nose", "front", "screen"), box.mesh, None, red),
        PlacedMesh(("nose", "drier"), ball.mesh, at(0, 100, 0), (0.5, 0.5, 0.5, 0.5)),
    ]


def document_of(path):
    data = path.read_bytes()
    magic, version, total, length, kind = struct.unpack("<IIIII", data[:20])
    assert (magic, version, total, kind) == (0x46546C67, 2, len(data), 0x4E4F534A)
    return json.loads(data[20 : 20 + length])


def test_glb_is_in_metres_with_y_up(tmp_path, box):
    """As glTF 2.0 asks: metres, +Y up. A box 10 x 20 x 30 mm, 1 m up, is seen by another reader."""
    write_glb([PlacedMesh(("box",), box.mesh, at(0, 0, 1000))], tmp_path / "box.glb")
    bounds = trimesh.load(tmp_path / "box.glb").bounds
    low_high = [[-0.005, 0.985, -0.010], [0.005, 1.015, 0.010]]
    assert bounds == pytest.approx(np.array(low_high), abs=1e-7)


def test_glb_keeps_right_hands_right(tmp_path, box):
    """The car's right (+Y) is glTF's -Z when X stays and up becomes Y."""
    write_glb([PlacedMesh(("box",), box.mesh, at(0, 500, 0))], tmp_path / "box.glb")
    read = trimesh.load(tmp_path / "box.glb").to_geometry()
    assert read.centroid == pytest.approx([0, 0, -0.5], abs=1e-7)
    assert read.volume == pytest.approx(6e-6, rel=1e-5)  # a mirrored one would be negative


def test_glb_nests_names_and_shares_meshes(tmp_path, box, ball):
    write_glb(scene(box, ball), tmp_path / "n.glb")
    document = document_of(tmp_path / "n.glb")
    nodes = document["nodes"]
    names = {
        node["name"]: {nodes[child]["name"] for child in node.get("children", [])} for node in nodes
    }
    assert names["nose"] == {"nose/front", "nose/drier"}
    assert names["nose/front"] == {"nose/front/condenser", "nose/front/screen"}
    assert len(document["meshes"]) == len(document["materials"]) == 2
    assert document["materials"][1]["alphaMode"] == "BLEND"
    assert document["materials"][1]["pbrMetallicRoughness"]["baseColorFactor"] == pytest.approx(
        [0.2140, 0.2140, 0.2140, 0.5], abs=1e-4
    )
    assert all(view["byteOffset"] % 4 == 0 for view in document["bufferViews"])
    check_glb(tmp_path / "n.glb", scene(box, ball))


def test_glb_gives_the_same_bytes_again(tmp_path, box, ball):
    write_glb(scene(box, ball), tmp_path / "a.glb")
    write_glb(scene(box, ball), tmp_path / "b.glb")
    assert (tmp_path / "a.glb").read_bytes() == (tmp_path / "b.glb").read_bytes()


def test_glb_check_notices_a_missing_part_or_another_place(tmp_path, box, ball):
    parts = scene(box, ball)
    write_glb(parts, tmp_path / "n.glb")
    with pytest.raises(GeometryError, match="unexpected parts"):
        check_glb(tmp_path / "n.glb", parts[:2])
    with pytest.raises(GeometryError, match="missing parts"):
        check_glb(tmp_path / "n.glb", [*parts, PlacedMesh(("more",), box.mesh)])
    moved = PlacedMesh(parts[1].path, box.mesh, at(0.1), parts[1].colour)
    with pytest.raises(GeometryError, match="place"):
        check_glb(tmp_path / "n.glb", [parts[0], moved, parts[2]])
    (tmp_path / "bad.glb").write_bytes(b"glTF but not really")
    with pytest.raises(GeometryError, match="GLB"):
        check_glb(tmp_path / "bad.glb", parts)


def test_glb_refuses_no_parts_and_two_of_one_path(tmp_path, box):
    with pytest.raises(GeometryError):
        write_glb([], tmp_path / "n.glb")
    with pytest.raises(GeometryError):
        write_glb([PlacedMesh(("a",), box.mesh)] * 2, tmp_path / "n.glb")
