"""STEP: an assembly written with names, colours and nesting, read back and checked.

The header is fixed (no time stamp of today), so that the same assembly gives the same bytes.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from noseroom.errors import GeometryError, OutputError
from noseroom.geometry.kernel import is_valid, load_cadquery, volume_mm3
from noseroom.geometry.step_order import in_fixed_order
from noseroom.geometry.write_file import read_whole, write_whole
from noseroom.tolerances import DEFAULT, Tolerances

if TYPE_CHECKING:
    import cadquery as cq

FIXED_TIME = "2000-01-01T00:00:00"
_SIZE_MM = 1e-3


def write_step(assembly: cq.Assembly, path: str | os.PathLike[str]) -> None:
    """Write an assembly (mm) as STEP AP214; the same assembly gives the same bytes.

    Raises:
        GeometryError: the kernel cannot translate the assembly.
        OutputError: the file cannot be written; what stood there is untouched.
    """
    from cadquery.occ_impl.assembly import toCAF
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPCAFControl import STEPCAFControl_Writer
    from OCP.STEPControl import STEPControl_StepModelType
    from OCP.XSControl import XSControl_WorkSession

    try:
        _, document = toCAF(assembly, True)
    except ValueError as error:
        raise GeometryError(f"{assembly.name}: nothing to write as STEP ({error})") from error
    _mend_names(document, str(assembly.name))
    # Settings are the process's, so they are made for every file.
    _state_millimetres()
    writer = STEPCAFControl_Writer(XSControl_WorkSession(), False)
    writer.SetColorMode(True)
    writer.SetNameMode(True)
    if not writer.Transfer(document, STEPControl_StepModelType.STEPControl_AsIs):
        raise GeometryError(f"{assembly.name}: the kernel cannot write it as STEP")
    model = writer.ChangeWriter().Model()
    _fix_header(model, str(assembly.name))
    _number_occurrences(model)
    with tempfile.TemporaryDirectory() as folder:
        draft = str(Path(folder, "draft.step"))
        if writer.Write(draft) != IFSelect_ReturnStatus.IFSelect_RetDone:
            raise OutputError(f"cannot write {path}: the kernel gave up on the STEP file")
        text = Path(draft).read_text(encoding="utf-8")
    write_whole(path, in_fixed_order(text).encode())


def _state_millimetres() -> None:
    from OCP.Interface import Interface_Static
    from OCP.STEPControl import STEPControl_Controller

    STEPControl_Controller.Init_s()
    Interface_Static.SetCVal_s("xstep.cascade.unit", "MM")
    Interface_Static.SetCVal_s("write.step.unit", "MM")
    Interface_Static.SetIVal_s("write.surfacecurve.mode", 1)
    Interface_Static.SetIVal_s("write.precision.mode", 0)
    Interface_Static.SetIVal_s("write.stepcaf.subshapes.name", 0)


def _mend_names(document: Any, root: str) -> None:
    """Set right what the translation leaves: names beyond ASCII, and groups without one."""
    from OCP.TDF import TDF_Label, TDF_LabelSequence
    from OCP.XCAFDoc import XCAFDoc_DocumentTool, XCAFDoc_ShapeTool

    shapes = TDF_LabelSequence()
    XCAFDoc_DocumentTool.ShapeTool_s(document.Main()).GetShapes(shapes)
    for label in _each(shapes):
        # Without a name the kernel makes one up, with a number that counts on.
        _set_name(label, _unmangled(_name_of(label)) or root)
    for label in _each(shapes):
        components = TDF_LabelSequence()
        XCAFDoc_ShapeTool.GetComponents_s(label, components, False)
        for component in _each(components):
            referred = TDF_Label()
            XCAFDoc_ShapeTool.GetReferredShape_s(component, referred)
            # Readers would show an instance of a group by its number.
            group = XCAFDoc_ShapeTool.IsAssembly_s(referred)
            name = _name_of(referred) if group else _unmangled(_name_of(component))
            _set_name(component, name)


def _unmangled(name: str) -> str:
    """Undo UTF-8 bytes having been taken for characters one by one."""
    try:
        return name.encode("latin-1").decode("utf-8")
    except UnicodeError:
        return name


def _set_name(label: Any, name: str) -> None:
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDataStd import TDataStd_Name

    TDataStd_Name.Set_s(label, TCollection_ExtendedString(name, True))


def _each(labels: Any) -> list[Any]:
    return [labels.Value(index) for index in range(1, labels.Length() + 1)]


def _number_occurrences(model: Any) -> None:
    """Number the instances from 1: the kernel counts on from one file to the next."""
    from OCP.StepRepr import StepRepr_NextAssemblyUsageOccurrence
    from OCP.TCollection import TCollection_HAsciiString

    entities = (model.Value(index) for index in range(1, model.NbEntities() + 1))
    occurrences = [e for e in entities if isinstance(e, StepRepr_NextAssemblyUsageOccurrence)]
    for number, occurrence in enumerate(occurrences, start=1):
        occurrence.SetId(TCollection_HAsciiString(str(number)))


def _fix_header(model: Any, name: str) -> None:
    from OCP.APIHeaderSection import APIHeaderSection_MakeHeader
    from OCP.TCollection import TCollection_HAsciiString

    header = APIHeaderSection_MakeHeader(model)
    header.SetName(TCollection_HAsciiString(name))
    header.SetTimeStamp(TCollection_HAsciiString(FIXED_TIME))
    header.SetAuthorValue(1, TCollection_HAsciiString("noseroom"))
    header.SetOrganizationValue(1, TCollection_HAsciiString(""))
    header.SetOriginatingSystem(TCollection_HAsciiString("noseroom"))
    header.SetPreprocessorVersion(TCollection_HAsciiString("Open CASCADE"))
    header.Apply(model)


def assembly_parts(assembly: cq.Assembly) -> dict[str, cq.Shape]:
    """Return every part of an assembly in its place in the world, by its path of names.

    Paths leave out the root, as CadQuery's own `objects` do: "front/condenser". A part that
    has children of its own is written as their sibling, with "_part" after its name.
    """
    return dict(_walk_assembly(assembly, load_cadquery().Location(), ()))


def _walk_assembly(
    node: cq.Assembly, above: cq.Location, path: tuple[str, ...]
) -> Iterator[tuple[str, cq.Shape]]:
    compound = load_cadquery().Compound
    here = above * node.loc
    if node.obj is not None:
        leaf = node.name.split("/")[-1]
        own = (*path, f"{leaf}_part") if node.children else (path or (leaf,))
        yield "/".join(own), compound.makeCompound(node.shapes).moved(here)
    for child in node.children:
        yield from _walk_assembly(child, here, (*path, child.name.split("/")[-1]))


def read_step_parts(path: str | os.PathLike[str]) -> dict[str, cq.Shape]:
    """Return the parts of a STEP file in their places in the world (mm), by path of names.

    The paths are those of `assembly_parts`.

    Raises:
        OutputError: the file cannot be read. GeometryError: it is not STEP, or two parts
            have the same path. MissingLibraryError: the kernel is not there.
    """
    load_cadquery()
    read_whole(path)
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPCAFControl import STEPCAFControl_Reader
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDF import TDF_LabelSequence
    from OCP.TDocStd import TDocStd_Document
    from OCP.TopLoc import TopLoc_Location
    from OCP.XCAFDoc import XCAFDoc_DocumentTool

    _state_millimetres()
    document = TDocStd_Document(TCollection_ExtendedString("XmlXCAF"))
    reader = STEPCAFControl_Reader()
    reader.SetNameMode(True)
    status = reader.ReadFile(os.fspath(path))
    if status != IFSelect_ReturnStatus.IFSelect_RetDone or not reader.Transfer(document):
        raise GeometryError(f"{path}: not a STEP file that the kernel can read")
    roots = TDF_LabelSequence()
    XCAFDoc_DocumentTool.ShapeTool_s(document.Main()).GetFreeShapes(roots)
    parts: dict[str, cq.Shape] = {}
    for root in _each(roots):
        for names, shape in _walk_labels(root, TopLoc_Location(), ()):
            # A root that is not at the origin is written as the one member of a second root.
            own = names[1:] if len(names) > 1 and names[0] == _name_of(root) else names
            key = "/".join(own) or _name_of(root)
            if key in parts:
                raise GeometryError(f"{path}: two parts are called {key}")
            parts[key] = shape
    return parts


def _walk_labels(
    label: Any, above: Any, path: tuple[str, ...]
) -> Iterator[tuple[tuple[str, ...], cq.Shape]]:
    from OCP.TDF import TDF_Label, TDF_LabelSequence
    from OCP.XCAFDoc import XCAFDoc_ShapeTool

    if XCAFDoc_ShapeTool.IsAssembly_s(label):
        components = TDF_LabelSequence()
        XCAFDoc_ShapeTool.GetComponents_s(label, components, False)
        for component in _each(components):
            referred = TDF_Label()
            XCAFDoc_ShapeTool.GetReferredShape_s(component, referred)
            here = above.Multiplied(XCAFDoc_ShapeTool.GetLocation_s(component))
            name = _name_of(component) or _name_of(referred)
            yield from _walk_labels(referred, here, (*path, name))
    else:
        shape = XCAFDoc_ShapeTool.GetShape_s(label).Moved(above)
        yield path, load_cadquery().Shape.cast(shape)


def _name_of(label: Any) -> str:
    from OCP.TDataStd import TDataStd_Name

    # Asking for an attribute that is not there takes the process down.
    if not label.IsAttribute(TDataStd_Name.GetID_s()):
        return ""
    name = TDataStd_Name()
    label.FindAttribute(TDataStd_Name.GetID_s(), name)
    return str(name.Get().ToExtString())


def check_step(
    path: str | os.PathLike[str],
    assembly: cq.Assembly,
    *,
    tolerances: Tolerances = DEFAULT,
) -> None:
    """Read a STEP file back and compare it with the assembly that it was written from.

    Raises:
        GeometryError: a part is missing or too many, invalid, off in volume (relative
            `tolerances.volume`), or off in size or place (0.001 mm on its box).
    """
    wanted, found = assembly_parts(assembly), read_step_parts(path)
    if wanted.keys() != found.keys():
        missing, extra = sorted(wanted.keys() - found), sorted(found.keys() - wanted)
        raise GeometryError(f"{path}: missing parts {missing}, unexpected parts {extra}")
    for name, part in wanted.items():
        read = found[name]
        if not is_valid(read):
            raise GeometryError(f"{path}: {name} comes back as an invalid solid")
        was, now = volume_mm3(part), volume_mm3(read)
        if abs(now - was) > tolerances.volume * abs(was):
            raise GeometryError(f"{path}: {name} has {now:.6g} mm³, expected {was:.6g} mm³")
        if np.abs(_box(read) - _box(part)).max() > _SIZE_MM:
            raise GeometryError(f"{path}: {name} comes back in another size or place")


def _box(shape: cq.Shape) -> np.ndarray[Any, np.dtype[np.float64]]:
    box = shape.BoundingBox()
    return np.array([[box.xmin, box.ymin, box.zmin], [box.xmax, box.ymax, box.zmax]])
