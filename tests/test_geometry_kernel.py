"""The wall round the CAD kernel."""

import importlib
import subprocess
import sys

import cadquery as cq
import numpy as np
import pytest

from noseroom.errors import GeometryError, MissingLibraryError
from noseroom.geometry import kernel


def test_the_layer_loads_no_heavy_library_until_it_is_used():
    code = (
        "import sys, noseroom.geometry.clearance, noseroom.geometry.exports\n"
        "heavy = {'cadquery', 'OCP', 'trimesh', 'coal', 'manifold3d'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


@pytest.mark.parametrize("library", ["libGL.so.1", "libX11.so.6"])
def test_a_missing_system_library_is_named_by_its_debian_package(monkeypatch, library):
    def refuse(name):
        raise ImportError(f"{library}: cannot open shared object file: No such file or directory")

    monkeypatch.setattr(importlib, "import_module", refuse)
    with pytest.raises(MissingLibraryError, match="libgl1 libx11-6"):
        kernel.load_cadquery()


def test_a_missing_cadquery_is_named(monkeypatch):
    def refuse(name):
        raise ModuleNotFoundError(f"No module named '{name}'")

    monkeypatch.setattr(importlib, "import_module", refuse)
    with pytest.raises(MissingLibraryError, match="pip install cadquery"):
        kernel.load_cadquery()


@pytest.mark.parametrize(
    "bad",
    [
        np.eye(3),
        np.diag([2.0, 1, 1, 1]),
        np.diag([-1.0, 1, 1, 1]),
        np.full((4, 4), np.nan),
        np.array([[1.0, 0.1, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]]),
        np.array([[1.0, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 1, 1]]),
    ],
    ids=["3x3", "scaled", "mirrored", "nan", "sheared", "projective"],
)
def test_a_pose_that_is_not_rigid_is_refused(bad):
    with pytest.raises(GeometryError):
        kernel.rigid(bad)


def test_a_pose_moves_a_shape_as_it_moves_its_points():
    turn = np.radians(30)
    pose = np.eye(4)
    pose[:2, :2] = [[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]
    pose[:3, 3] = 100, -20, 7
    box = cq.Workplane().box(10, 20, 30, centered=False).val()
    centre = kernel.transformed(box, pose).Center().toTuple()
    assert centre == pytest.approx(kernel.moved(np.array([[5.0, 10, 15]]), pose)[0].tolist())


def test_volumes_of_a_box_and_a_torus():
    """Analytic: 10·20·30 and 2π²·50·10² mm³."""
    assert kernel.volume_mm3(cq.Workplane().box(10, 20, 30).val()) == pytest.approx(6000, rel=1e-9)
    torus = cq.Solid.makeTorus(50, 10)
    assert kernel.volume_mm3(torus) == pytest.approx(98696.0440, rel=1e-9)


def test_a_compound_is_split_and_a_bare_face_has_no_solids():
    two = cq.Workplane().box(1, 1, 1).union(cq.Workplane().box(1, 1, 1).translate((5, 0, 0))).val()
    assert len(kernel.solids_of(two)) == 2
    face = cq.Face.makePlane(2, 3)
    assert kernel.solids_of(face) == []
    assert kernel.volume_mm3(face) == 0


def test_validity_is_the_kernels_own_verdict():
    assert kernel.is_valid(cq.Workplane().box(1, 1, 1).val())
    broken = cq.Workplane().box(100, 60, 20).edges().fillet(5).faces(">Z").shell(-2).val()
    assert not kernel.is_valid(broken)
