"""Makes the pictures of the plugin's page: `python packaging/scripts/pictures/draw.py`.

No screen is needed. The assemblies of gripper.py and lamp.py, with the closest points and the
figures that the plugin gave for them.
"""

from __future__ import annotations

import math
import runpy
from pathlib import Path
from typing import Any

import cadquery as cq
import numpy as np
from cadquery.occ_impl.assembly import toVTKAssy
from vtkmodules.vtkCommonCore import vtkPoints
from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData
from vtkmodules.vtkFiltersSources import vtkLineSource, vtkSphereSource
from vtkmodules.vtkImagingCore import vtkImageResize
from vtkmodules.vtkIOImage import vtkPNGWriter
from vtkmodules.vtkRenderingCore import (
    vtkActor,
    vtkActor2D,
    vtkCoordinate,
    vtkLight,
    vtkPolyDataMapper,
    vtkPolyDataMapper2D,
    vtkRenderer,
    vtkRenderWindow,
    vtkTextActor,
    vtkWindowToImageFilter,
)

SCRIPTS = Path(__file__).parents[1]
WIDE, HIGH, FINER = 1080, 700, 2
INK, RED, GREEN, AMBER = (0.1, 0.1, 0.12), (0.72, 0.1, 0.08), (0.05, 0.42, 0.2), (0.62, 0.4, 0.0)

# Pair, and where its label stands: beside the left or the right edge, at a share of the height.
GRIPPER = [
    (("camera", "bottle"), "left", 0.64),
    (("left/link", "bottle"), "left", 0.46),
    (("left/lower/pad", "bottle"), "left", 0.28),
    (("palm", "bottle"), "right", 0.64),
    (("right/lower/pad", "bottle"), "right", 0.34),
    (("right/lower/tip", "right/lower/pad"), "right", 0.12),
]
MARGIN = 18


def solid(renderer: vtkRenderer, source: Any, colour: Any, width: float = 1.0) -> None:
    """What a source makes, in one colour without shades."""
    mapper = vtkPolyDataMapper()
    mapper.SetInputConnection(source.GetOutputPort())
    actor = vtkActor()
    actor.SetMapper(mapper)
    actor.GetProperty().SetColor(*colour)
    actor.GetProperty().SetLineWidth(width)
    actor.GetProperty().LightingOff()
    renderer.AddActor(actor)


def mark(renderer: vtkRenderer, points: np.ndarray, colour: Any, dot_mm: float) -> None:
    """The gap as a line with a dot at either end."""
    line = vtkLineSource()
    line.SetPoint1(*points[0])
    line.SetPoint2(*points[1])
    solid(renderer, line, colour, 4.0 * FINER)
    for point in points:
        dot = vtkSphereSource()
        dot.SetCenter(*point)
        dot.SetRadius(dot_mm)
        solid(renderer, dot, colour)


def leader(renderer: vtkRenderer, start: Any, end: Any, colour: Any) -> None:
    """A thin line on the paper between two places in pixels."""
    points, lines = vtkPoints(), vtkCellArray()
    for x, y in (start, end):
        points.InsertNextPoint(x, y, 0)
    lines.InsertNextCell(2)
    lines.InsertCellPoint(0)
    lines.InsertCellPoint(1)
    data = vtkPolyData()
    data.SetPoints(points)
    data.SetLines(lines)
    mapper = vtkPolyDataMapper2D()
    mapper.SetInputData(data)
    actor = vtkActor2D()
    actor.SetMapper(mapper)
    actor.GetProperty().SetColor(*colour)
    actor.GetProperty().SetLineWidth(1.5 * FINER)
    renderer.AddViewProp(actor)


def label(renderer: vtkRenderer, side: str, share: float, lines: list[str], colour: Any) -> Any:
    """Two lines of text; returns where its leader begins, in pixels."""
    x, y = (MARGIN if side == "left" else WIDE - MARGIN) * FINER, share * HIGH * FINER
    size = [0.0, 0.0]
    for row, (text, points) in enumerate(zip(lines, (21, 15), strict=True)):
        actor = vtkTextActor()
        actor.SetInput(text)
        actor.SetPosition(x, y - row * 23 * FINER)
        style = actor.GetTextProperty()
        style.SetFontFamilyToArial()
        style.SetFontSize(points * FINER)
        style.SetBold(row == 0)
        style.SetColor(*(colour if row == 0 else INK))
        if side == "right":
            style.SetJustificationToRight()
        renderer.AddViewProp(actor)
        if row == 0:
            actor.GetSize(renderer, size)
    along = size[0] + 8 * FINER
    return (x + along if side == "left" else x - along), y + 8 * FINER


def on_paper(renderer: vtkRenderer, point: Any) -> tuple[float, float]:
    """Where a point of the world is in the picture, in pixels."""
    place = vtkCoordinate()
    place.SetCoordinateSystemToWorld()
    place.SetValue(*(float(x) for x in point))
    x, y = place.GetComputedDoubleDisplayValue(renderer)
    return x, y


def said(answer: Any) -> tuple[str, Any]:
    """The answer in a line, a gap rounded down, and its colour."""
    if answer.relation == "overlapping":
        free_mm = math.ceil(100 * answer.pull_apart.distance_mm) / 100
        return f"overlap, free by {free_mm:.2f} mm", RED
    if answer.relation == "touching":
        return "touching", AMBER
    gap_mm = math.floor(100 * answer.distance_mm + 1e-6) / 100
    return f"{gap_mm:.2f} mm apart", GREEN


def open_window(things: list[cq.Assembly], aim: Any, away: Any, scale: float) -> tuple[Any, Any]:
    """A renderer and its window, with everything in them but the labels."""
    renderer, window = vtkRenderer(), vtkRenderWindow()
    window.SetOffScreenRendering(1)
    window.SetSize(WIDE * FINER, HIGH * FINER)
    window.SetMultiSamples(0)
    window.SetAlphaBitPlanes(1)
    window.AddRenderer(renderer)
    renderer.SetBackground(1, 1, 1)
    renderer.SetUseDepthPeeling(1)
    renderer.SetMaximumNumberOfPeels(20)
    for thing in things:
        for actor in toVTKAssy(thing, tolerance=0.05, angularTolerance=0.1):
            renderer.AddActor(actor)
    for place, strength in (((-300, -500, 900), 0.75), ((200, -900, 100), 0.55)):
        light = vtkLight()
        light.SetPosition(*place)
        light.SetIntensity(strength)
        renderer.AddLight(light)
    camera = renderer.GetActiveCamera()
    camera.SetFocalPoint(*aim)
    camera.SetPosition(*(a + b for a, b in zip(aim, away, strict=True)))
    camera.SetViewUp(0, 0, 1)
    camera.SetParallelProjection(1)
    camera.SetParallelScale(scale)
    renderer.ResetCameraClippingRange()
    window.Render()
    return renderer, window


def annotate(
    renderer: Any, answer: Any, points: Any, side: str, share: float, below: str, dot_mm: float
) -> None:
    """One answer: its points, its label, and a thin line from one to the other."""
    line, colour = said(answer)
    mark(renderer, points, colour, dot_mm)
    foot = label(renderer, side, share, [line, below], colour)
    leader(renderer, foot, on_paper(renderer, points.mean(axis=0)), colour)


def common_middle(a: cq.Shape, b: cq.Shape) -> np.ndarray:
    """The middle of what two shapes share, as both points (2, 3) of a mark."""
    return np.array([a.intersect(b).Center().toTuple()] * 2)


def save(window: Any, path: Path) -> None:
    """The window as a PNG, drawn finer than it is kept."""
    window.Render()
    grab = vtkWindowToImageFilter()
    grab.SetInput(window)
    grab.ReadFrontBufferOff()
    smaller = vtkImageResize()
    smaller.SetInputConnection(grab.GetOutputPort())
    smaller.SetOutputDimensions(WIDE, HIGH, 1)
    writer = vtkPNGWriter()
    writer.SetInputConnection(smaller.GetOutputPort())
    writer.SetCompressionLevel(9)
    writer.SetFileName(str(path))
    writer.Write()


def placed(assembly: cq.Assembly, names: Any) -> dict[str, cq.Shape]:
    """Every shape of an assembly where it stands, by full name."""
    both = zip(names, assembly, strict=True)
    return {name: shape.moved(where) for name, (shape, _, where, _) in both}


def draw_gripper(path: Path) -> None:
    """The gripper over its bottle, with a few of its clearances."""
    made = runpy.run_path(str(SCRIPTS / "gripper.py"))
    cell, clearances = made["cell"], made["clearances"]
    shapes = placed(cell, clearances.names)
    renderer, window = open_window([cell], (2, 0, -44), (-92, -420, 104), 98)
    for pair, side, share in GRIPPER:
        a, b = (f"cell/{one}" if one == "bottle" else f"cell/gripper/{one}" for one in pair)
        answer = clearances.between(a, b)
        points = answer.points
        if points is None:
            points = common_middle(shapes[answer.a], shapes[answer.b])
        short = [one.split("gripper/")[-1].removeprefix("cell/") for one in (answer.a, answer.b)]
        annotate(renderer, answer, points, side, share, " / ".join(short), 1.4)
    save(window, path)


def posed(node: cq.Assembly, amounts: Any, above: str = "") -> cq.Assembly:
    """A copy of an assembly whose joints are turned about their own y axes, in degrees."""
    name = f"{above}/{node.name}".lstrip("/")
    turn = cq.Location((0, 0, 0), (0, 1, 0), amounts.get(name, (0.0,))[0])
    made = cq.Assembly(node.obj, loc=node.loc * turn, name=node.name, color=node.color)
    for child in node.children:
        made.add(posed(child, amounts, name))
    return made


def faint(node: cq.Assembly, alpha: float) -> cq.Assembly:
    """The same, all of it to be seen through."""
    red, green, blue, _ = (node.color or cq.Color(0.7, 0.7, 0.7)).toTuple()
    color = cq.Color(red, green, blue, alpha)
    made = cq.Assembly(node.obj, loc=node.loc, name=node.name, color=color)
    for child in node.children:
        made.add(faint(child, alpha))
    return made


def only(node: cq.Assembly, name: str) -> cq.Assembly:
    """The child of that name."""
    return next(one for one in node.children if one.name == name)


def veil(renderer: Any, space: cq.Shape, colour: Any, alpha: float) -> None:
    """A shape of many flat faces, without their edges."""
    points, triangles = space.tessellate(1.0)
    data, places, cells = vtkPolyData(), vtkPoints(), vtkCellArray()
    for point in points:
        places.InsertNextPoint(*point.toTuple())
    for triangle in triangles:
        cells.InsertNextCell(3)
        for corner in triangle:
            cells.InsertCellPoint(corner)
    data.SetPoints(places)
    data.SetPolys(cells)
    mapper = vtkPolyDataMapper()
    mapper.SetInputData(data)
    actor = vtkActor()
    actor.SetMapper(mapper)
    actor.GetProperty().SetColor(*colour)
    actor.GetProperty().SetOpacity(alpha)
    actor.GetProperty().SetInterpolationToFlat()
    renderer.AddActor(actor)


def draw_lamp(path: Path) -> None:
    """The lamp at its worst below the shelf and, faintly, above the desk; what its arm sweeps."""
    made = runpy.run_path(str(SCRIPTS / "lamp.py"))
    room, found = made["room"], made["clearances"]
    shade = "room/lamp/lower/upper/head/shade"
    high, low = found.between(shade, "room/shelf"), found.between(shade, "room/desk")
    up, down = posed(room, high.amounts), posed(room, low.amounts)
    bar = "room/lamp/lower/upper/bar"
    both = dict(list(made["joints"].items())[:2])
    ghost = faint(only(down, "lamp"), 0.3)
    renderer, window = open_window([up, ghost], (160, 0, 262), (-190, -900, 200), 380)
    veil(renderer, room.sweptSpace(bar, both, 4.0), (0.35, 0.55, 0.9), 0.16)
    for answer, where, side, share in ((high, up, "left", 0.93), (low, down, "right", 0.055)):
        points = answer.points
        if points is None:
            shapes = placed(where, found.names)
            points = common_middle(shapes[answer.a], shapes[answer.b])
        at = ", ".join(
            f"{n.split('/')[-1]} {a[0]:.0f}\N{DEGREE SIGN}" for n, a in answer.amounts.items()
        )
        below = f"shade / {answer.b.split('/')[-1]}: {at}"
        annotate(renderer, answer, points, side, share, below, 5.0)
    save(window, path)


if __name__ == "__main__":
    draw_gripper(SCRIPTS / "gripper.png")
    draw_lamp(SCRIPTS / "lamp.png")
