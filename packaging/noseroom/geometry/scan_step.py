"""STEP: the CAD kernel's own reader, and its mesher with the error that it really made."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from noseroom.errors import GeometryError
from noseroom.geometry.scan_stl import demand_count
from noseroom.geometry.scan_types import UNITS_MM, Limits, Raw, UnreadableError

_NAMES = {
    "mm": ("millimetre", "millimeter", "mm"),
    "cm": ("centimetre", "centimeter", "cm"),
    "m": ("metre", "meter", "m"),
    "in": ("inch", "in"),
    "ft": ("foot", "feet", "ft"),
}
_DRAFT = "part.step"
_AGAIN = "save it again as STEP AP203, AP214 or AP242"


def read_step(data: bytes, limits: Limits) -> Raw:
    """Read a STEP file and mesh it, every part in its place; mm.

    Raises:
        UnreadableError: the kernel cannot read it, or there is no surface in it.
    """
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPControl import STEPControl_Reader
    from OCP.TColStd import TColStd_SequenceOfAsciiString

    from noseroom.geometry.kernel import load_cadquery
    from noseroom.geometry.tessellate import tessellate
    from noseroom.tolerances import DEFAULT

    if b"END-ISO-10303-21" not in data[-4096:]:
        found = "a STEP file without its last line"
        raise UnreadableError(found, "a whole one", "it was cut short: save or copy it again")
    cq = load_cadquery()
    draft = Path(_DRAFT)
    draft.write_bytes(data)
    reader = STEPControl_Reader()
    if reader.ReadFile(str(draft)) != IFSelect_ReturnStatus.IFSelect_RetDone:
        raise UnreadableError("a STEP file that the CAD kernel cannot read", "a sound one", _AGAIN)
    lengths, angles, solid = (TColStd_SequenceOfAsciiString() for _ in range(3))
    reader.FileUnits(lengths, angles, solid)
    units = {lengths.Value(k).ToCString().lower() for k in range(1, lengths.Length() + 1)}
    # The kernel hands everything over in mm, whatever the file's unit.
    if not reader.TransferRoots() or reader.OneShape().IsNull():
        raise UnreadableError("a STEP file without shapes", "surfaces", _AGAIN)
    try:
        mesh = tessellate(cq.Shape.cast(reader.OneShape()), DEFAULT)
    except GeometryError as error:
        raise UnreadableError(str(error), "surfaces that can be meshed", _AGAIN) from error
    demand_count(len(mesh.triangles), limits)
    unit = _unit_mm(units)
    named = " and ".join(sorted(units)) or "nothing"
    odd = f"it says {named} for its unit; the CAD kernel's reading of that is taken"
    return Raw(
        mesh.vertices,
        mesh.triangles.astype(np.int64),
        unit,
        in_mm=True,
        deflection_mm=float(mesh.deflection_mm.max()),
        remarks=() if unit else (odd,),
    )


def _unit_mm(units: set[str]) -> float | None:
    """The file's unit in mm; None where it has several or one that is not known here."""
    found = {unit for unit, names in _NAMES.items() if units & set(names)}
    return UNITS_MM[found.pop()] if len(found) == 1 and len(units) == 1 else None
