"""The file writers of the geometry layer, each with the check that reads its file back."""

from noseroom.geometry.mesh_files import (
    PlacedMesh,
    check_glb,
    check_stl,
    stl_stays_closed,
    write_glb,
    write_stl,
)
from noseroom.geometry.step_files import (
    assembly_parts,
    check_step,
    read_step_parts,
    write_step,
)

__all__ = [
    "PlacedMesh",
    "assembly_parts",
    "check_glb",
    "check_step",
    "check_stl",
    "read_step_parts",
    "stl_stays_closed",
    "write_glb",
    "write_step",
    "write_stl",
]
