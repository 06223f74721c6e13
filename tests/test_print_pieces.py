"""Printed stand-ins of the pickup: true to size, closed, together the whole, ready for a slicer."""

from __future__ import annotations

import csv
import itertools
import math
from pathlib import Path

import fcl
import manifold3d
import numpy as np
import pytest
import trimesh

from noseroom.geometry.mesh import body_from_shape
from noseroom.parts import shapes
from noseroom.parts.shapes import joined
from noseroom.tables.printing import figure, print_figures, print_materials
from noseroom.tolerances import Tolerances
from noseroom.workshop import print_pieces
from noseroom.workshop.mock_up_outline import MockUpError, StandIn
from noseroom.workshop.print_files import write_printed
from print_makers import (
    NAMES,
    assert_nothing_to_mend,
    assert_slices,
    in_place,
    made,
    outlines,
    shells,
)

_STEEP = math.cos(math.radians(45.0)) + 0.02


def surface_points(name: str, count: int) -> np.ndarray:
    """Points on a stand-in's outside as the kernel has it, meshed five times as finely."""
    shape = joined(list(outlines()[name].solids.values()))
    mesh = body_from_shape(name, shape, Tolerances(0.01, 0.1)).mesh
    fine = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
    points, _ = trimesh.sample.sample_surface(fine, count, seed=3)
    return np.asarray(points)


def distances(points: np.ndarray, solids: list) -> np.ndarray:
    """From points to the nearest surface of several meshes, by another library."""
    models = []
    for solid in solids:
        mesh = solid.to_mesh64()
        model = fcl.BVHModel()
        triangles = np.asarray(mesh.tri_verts).astype(np.int64)
        model.beginModel(len(mesh.vert_properties), len(triangles))
        model.addSubModel(np.asarray(mesh.vert_properties)[:, :3].copy(), triangles)
        model.endModel()
        models.append(fcl.CollisionObject(model))
    dot = fcl.Sphere(1e-6)
    found = []
    for point in points:
        spot = fcl.CollisionObject(dot, fcl.Transform(point))
        found.append(
            min(
                fcl.distance(spot, one, fcl.DistanceRequest(), fcl.DistanceResult())
                for one in models
            )
        )
    return np.maximum(found, 0.0)


@pytest.mark.parametrize("name", NAMES)
def test_the_stand_in_is_as_large_as_the_part(name) -> None:
    """Within 0.5 mm all over: by its box, and by points all over its outside."""
    pieces = [in_place(one) for one in made(name).pieces]
    boxes = np.array([one.bounding_box() for one in pieces])
    box = joined(list(outlines()[name].solids.values())).BoundingBox()
    low, high = boxes[:, :3].min(axis=0), boxes[:, 3:].max(axis=0)
    assert np.abs(low - (box.xmin, box.ymin, box.zmin)).max() < 0.1
    assert np.abs(high - (box.xmax, box.ymax, box.zmax)).max() < 0.1
    off = distances(surface_points(name, 400), pieces)
    # Where a number is cut into an outside, that is its depth.
    assert (off < 0.1).mean() > 0.97
    assert off.max() < figure("number depth") + 0.1


@pytest.mark.parametrize("name", NAMES)
def test_pieces_together_are_the_whole_and_no_two_overlap(name) -> None:
    part = made(name)
    whole = part.whole.volume()
    assert sum(one.volume() for one in part.outsides) == pytest.approx(whole, rel=1e-5)
    together = manifold3d.Manifold.batch_boolean(list(part.outsides), manifold3d.OpType.Add)
    assert (part.whole - together).volume() < 1e-5 * whole
    assert (together - part.whole).volume() < 1e-5 * whole
    pieces = [in_place(one) for one in part.pieces]
    for a, b in itertools.combinations(pieces, 2):
        assert (a ^ b).volume() < 1e-9
    # No piece is outside of its own outline, but for what 32 bits round.
    for piece, outline in zip(pieces, part.outsides, strict=True):
        assert (piece - outline).volume() < 1e-4 * outline.volume()


@pytest.mark.parametrize("name", NAMES)
def test_pegs_go_into_both_pieces_and_are_held(name) -> None:
    part = made(name)
    pieces = [in_place(one) for one in part.pieces]
    pegs = [(joint, *one) for joint in part.joints for one in joint.pegs]
    assert len(pegs) == sum(one.count for one in part.pegs)
    half = np.eye(3)
    for joint, side, point in pegs:
        axis = joint.axis
        long = 2 * figure("peg depth")
        bar = manifold3d.Manifold.cube((long, side, side), center=True).rotate((45.0, 0.0, 0.0))
        turn = np.column_stack([np.roll(half, -axis, axis=1), point])
        peg, thicker = bar.transform(turn), bar.scale((1.0, 1.1, 1.1)).transform(turn)
        for own in (pieces[k] for k in joint.pieces):
            assert (peg ^ own).volume() < 1e-6
            assert (thicker ^ own).volume() > 1.0
        others = [one for k, one in enumerate(pieces) if k not in joint.pieces]
        assert all((peg ^ one).volume() < 1e-6 for one in others)


@pytest.mark.parametrize("name", NAMES[:-1])
def test_pieces_are_hollow_with_steep_roofs_and_whole_walls(name) -> None:
    part = made(name)
    assert sum(one.volume_mm3 for one in part.pieces) < 0.35 * part.whole.volume()
    for piece in part.pieces:
        outside, inside = shells(piece.mesh)
        assert len(outside) == 1
        room = manifold3d.Manifold.cube(tuple(np.array(piece.size_mm) + 20.0)).translate(
            (-10.0, -10.0, -10.0)
        )
        shell = room - solid_of(outside[0])
        for hollow in inside:
            down = -hollow.face_normals[:, 2]
            # What looks down in the file is a ceiling.
            assert not (down[hollow.area_faces > 1e-3] > _STEEP).any()
            turned_out = hollow.copy()
            turned_out.invert()
            gap = solid_of(turned_out).min_gap(shell, 5.0)
            assert gap > min(figure("wall"), 1.0) - 0.05


def solid_of(mesh: trimesh.Trimesh):
    """A shell as a solid."""
    made_of = manifold3d.Mesh64(
        np.asarray(mesh.vertices, dtype=float), np.asarray(mesh.faces).astype(np.uint64)
    )
    return manifold3d.Manifold(made_of)


@pytest.mark.parametrize("name", NAMES)
def test_what_is_said_of_support_is_so(name) -> None:
    """Undersides flatter than 45 degrees, by another library; holes and number left out."""
    for piece in (*made(name).pieces, *made(name).pegs):
        outside, _ = shells(piece.mesh)
        mesh = max(outside, key=lambda one: one.volume)
        under = -mesh.face_normals[:, 2] > _STEEP
        above = mesh.triangles[:, :, 2].max(axis=1) > figure("number depth") + 0.05
        area = float(mesh.area_faces[under & above].sum())
        holes = sum(
            port.bore_mm * math.pi / 4 * 30.0
            for port in outlines()[name].holes.values()
            if port.bore_mm <= figure("lying hole")
        )
        assert piece.needs_support == (piece.support_mm2 > 0)
        if not piece.needs_support:
            assert area <= figure("let off") + holes


@pytest.mark.parametrize("name", NAMES)
def test_a_reader_of_stl_mends_nothing(name, tmp_path) -> None:
    for piece in (*made(name).pieces, *made(name).pegs):
        assert_nothing_to_mend(piece.mesh, tmp_path / f"{piece.name}.stl")


@pytest.mark.parametrize("name", NAMES)
def test_a_slicer_makes_g_code_of_every_piece(name, tmp_path) -> None:
    for piece in (*made(name).pieces, *made(name).pegs):
        assert_slices(piece.mesh, tmp_path / f"{piece.name}.stl")


def test_a_slicer_refuses_what_is_larger_than_the_bed(tmp_path) -> None:
    """Else the test above could not fail."""
    import subprocess

    from noseroom.geometry.split_solids import box_solid, mesh_to_write

    bar = mesh_to_write("bar", box_solid(np.zeros(3), np.array([230.0, 20.0, 20.0])))
    with pytest.raises(subprocess.CalledProcessError):
        assert_slices(bar, tmp_path / "bar.stl")


@pytest.mark.parametrize("name", NAMES)
def test_every_piece_goes_onto_the_bed_and_lies_on_it(name) -> None:
    for piece in made(name).pieces:
        low, high = piece.mesh.box_mm
        assert np.abs(low).max() < 1e-3
        assert (high <= np.array(print_pieces.USUAL_BED)).all()
        assert np.allclose(high, piece.size_mm, atol=1e-3)


def test_numbers_are_cut_into_the_pieces() -> None:
    """Two pieces that are alike in all else differ by their numbers."""
    for name in NAMES:
        numbers = [one.number for one in made(name).pieces]
        assert numbers == list(range(1, len(numbers) + 1))
        assert all(one.number_mm >= 4.0 for one in made(name).pieces)
    fan = made("fan").pieces
    assert len({round(one.volume_mm3, 2) for one in fan}) == len(fan)


def test_a_smaller_bed_makes_more_pieces() -> None:
    drier = outlines()["drier"]
    small = print_pieces.printed(drier, (100.0, 100.0, 100.0))
    assert len(small.pieces) > len(made("drier").pieces)
    assert all(max(one.size_mm) <= 100.0 for one in small.pieces)
    assert sum(one.volume() for one in small.outsides) == pytest.approx(
        small.whole.volume(), rel=1e-4
    )


def test_a_bed_that_is_too_small_is_refused_with_by_how_much() -> None:
    with pytest.raises(
        MockUpError, match=r"depth of 60 mm by 20 mm short of the 80 mm .* would do"
    ):
        print_pieces.printed(outlines()["drier"], (220.0, 60.0, 250.0))
    door = StandIn("door", "drier", {"door": shapes.box((0, 0, 0), (900, 900, 40))}, ())
    with pytest.raises(MockUpError, match=r"door: .* more than 60 pieces on a bed of 76 x 76 x 80"):
        print_pieces.printed(door, (80.0, 80.0, 80.0))


def test_files_are_whole_the_same_each_time_and_listed(tmp_path: Path) -> None:
    parts = [made("drier"), made("spacer")]
    names = write_printed(parts, tmp_path / "once")
    again = write_printed([print_pieces.printed(outlines()["drier"]), parts[1]], tmp_path / "twice")
    assert names == again
    for one in names:
        assert (tmp_path / "once" / one).read_bytes() == (tmp_path / "twice" / one).read_bytes()
    listed = list(csv.DictReader((tmp_path / "once/drier/pieces.csv").open(encoding="utf-8")))
    there = sorted(one.name for one in (tmp_path / "once/drier").glob("*.stl"))
    assert sorted(row["file"] for row in listed) == there
    for row in listed:
        assert float(row["size x in"]) == pytest.approx(float(row["size x mm"]) / 25.4, abs=0.01)
    notes = (tmp_path / "once/drier/notes.txt").read_text("utf-8")
    for word in ("battery", "Guaranteed for the model as measured", "never scaled", "gloves"):
        assert word in notes


def test_every_figure_says_where_it_is_from() -> None:
    assert all(one.source and one.meaning for one in print_figures().values())
    plastics = print_materials()
    assert all(one.source and one.meaning for one in plastics.values())
    # Glass transitions by differential scanning calorimetry, from data sheets of filaments.
    assert plastics["PLA"].softens_c == pytest.approx(59.1, abs=0.2)
    assert plastics["PETG"].softens_c == pytest.approx(77.4, abs=0.5)
    assert plastics["PLA"].beside_heat == plastics["PETG"].beside_heat == "no"
    assert not any(one.beside_heat not in ("no", "short") for one in plastics.values())
