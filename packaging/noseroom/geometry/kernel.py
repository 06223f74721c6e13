"""The wall round the CAD kernel: loading it, and the few things asked of a bare shape.

Nothing here imports CadQuery before it is called; shapes handed in are CadQuery shapes
(`cq.Shape`, lengths in mm).
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError, MissingLibraryError

if TYPE_CHECKING:
    import cadquery as cq

Pose = NDArray[np.float64]
"""A rigid placement, (4, 4) float, lengths in mm: world = pose @ (x, y, z, 1)."""

_RIGID_SLACK = 1e-9
_SYSTEM_LIBRARIES = {"libGL": "libgl1", "libX11": "libx11-6"}


def load_cadquery() -> Any:
    """Return the `cadquery` module, loaded on first use.

    Raises:
        MissingLibraryError: CadQuery, or a system library that its kernel needs, is missing;
            the text names the package to install.
    """
    try:
        return importlib.import_module("cadquery")
    except ImportError as error:
        if isinstance(error.__cause__, KeyboardInterrupt):
            # Somebody stopped it while the kernel was loading.
            raise KeyboardInterrupt from error
        raise MissingLibraryError(_what_to_install(str(error))) from error


def _what_to_install(reason: str) -> str:
    if any(library in reason for library in _SYSTEM_LIBRARIES):
        packages = " ".join(_SYSTEM_LIBRARIES.values())
        return (
            "the CAD kernel needs the system's libGL and libX11, and one is missing "
            f"({reason}). On Debian: apt-get install {packages}"
        )
    return f"CadQuery cannot be loaded ({reason}). Install it with: pip install cadquery"


def rigid(pose: Pose | None) -> Pose:
    """Return the pose as (4, 4) float64, the identity for None.

    Raises:
        GeometryError: not a finite rigid placement (wrong size, scaled, sheared or mirrored).
    """
    if pose is None:
        return np.eye(4)
    matrix = np.asarray(pose, dtype=np.float64)
    if matrix.shape != (4, 4) or not np.isfinite(matrix).all():
        raise GeometryError("a pose is a finite 4x4 matrix")
    turn = matrix[:3, :3]
    square = np.abs(turn @ turn.T - np.eye(3)).max() <= _RIGID_SLACK
    if not square or np.linalg.det(turn) < 0 or not np.array_equal(matrix[3], [0, 0, 0, 1]):
        raise GeometryError("a pose only turns and moves: this one scales, shears or mirrors")
    return matrix


def rigid_all(poses: NDArray[np.float64], whose: str = "") -> NDArray[np.float64]:
    """Return poses (n, ..., 4, 4) if all are rigid placements; whose: words for the message.

    Raises:
        GeometryError: one is not a finite rigid placement; says which of the n.
    """
    turns = poses[..., :3, :3]
    off = np.abs(turns @ np.swapaxes(turns, -1, -2) - np.eye(3)).max(axis=(-2, -1))
    good = np.isfinite(poses).all(axis=(-2, -1)) & (off <= _RIGID_SLACK)
    good &= (poses[..., 3, :] == np.eye(4)[3]).all(axis=-1) & (np.linalg.det(turns) > 0)
    if not good.all():
        raise GeometryError(
            f"{whose}a pose only turns and moves: number {int(np.argwhere(~good)[0, 0])} (from 0) "
            "scales, shears or mirrors, or is not finite"
        )
    return poses


def moved(points: NDArray[np.float64], pose: Pose) -> NDArray[np.float64]:
    """Return points (n, 3) carried by the pose."""
    carried: NDArray[np.float64] = points @ pose[:3, :3].T + pose[:3, 3]
    return carried


def top_loc(pose: Pose | None) -> Any:
    """Return the pose as the kernel's own `TopLoc_Location`."""
    from OCP.gp import gp_Trsf
    from OCP.TopLoc import TopLoc_Location

    matrix = rigid(pose)
    if np.array_equal(matrix, np.eye(4)):
        return TopLoc_Location()
    trsf = gp_Trsf()
    trsf.SetValues(*(float(value) for value in matrix[:3].ravel()))
    return TopLoc_Location(trsf)


def location(pose: Pose | None) -> cq.Location:
    """Return the pose as a `cq.Location`."""
    return load_cadquery().Location(top_loc(pose))


def transformed(shape: cq.Shape, pose: Pose | None) -> cq.Shape:
    """Return the shape carried by the pose; its geometry is shared, not copied."""
    return shape.moved(location(pose))


def solids_of(shape: cq.Shape) -> list[cq.Shape]:
    """Return the solids of a shape, compounds split; empty for a bare face or shell.

    `cut` and `union` hand back Compounds, and several questions (containment above all)
    are answered wrongly when a Compound is taken for one solid.
    """
    return list(shape.Solids())


def is_valid(shape: cq.Shape) -> bool:
    """Whether the kernel's own checker finds nothing wrong, and there is something to check."""
    return not shape.wrapped.IsNull() and bool(shape.isValid())


def volume_mm3(shape: cq.Shape) -> float:
    """Volume of the shape's solids together, mm³, each counted on its own (0 without solids)."""
    return float(sum(solid.Volume() for solid in solids_of(shape)))


def clean_copy(shape: cq.Shape) -> Any:
    """Return a deep copy (`TopoDS_Shape`) that carries no triangulation.

    A mesh left on a shape by earlier work changes what the mesher returns later and slows
    the exact distance; a copy also keeps our mesh off the caller's shape.
    """
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Copy

    return BRepBuilderAPI_Copy(shape.wrapped, True, False).Shape()


def sub_shapes(shape: Any, kind: str) -> list[Any]:
    """Return the `TopoDS_…` parts of one kind ("SOLID", "FACE" …), each once, in fixed order."""
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp
    from OCP.TopoDS import TopoDS
    from OCP.TopTools import TopTools_IndexedMapOfShape

    found = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape, getattr(TopAbs_ShapeEnum, f"TopAbs_{kind}"), found)
    narrow = getattr(TopoDS, f"{kind.capitalize()}_s")
    return [narrow(found.FindKey(index)) for index in range(1, found.Extent() + 1)]


def from_kernel(error: Exception) -> bool:
    """Whether an exception was thrown by the CAD kernel itself.

    Its exceptions share no base class in Python, and catching everything would hide
    mistakes of ours.
    """
    return type(error).__module__.startswith("OCP")
