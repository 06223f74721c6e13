"""Makes the picture of packaging/scripts/README.md: `python tests/plugin_picture.py`.

The assembly of gripper.py, drawn without a screen, with its closest points and the figures that
`Assembly.clearances` gave.
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

SCRIPTS = Path(__file__).parents[1] / "packaging" / "scripts"
PICTURE = SCRIPTS / "gripper.png"
WIDE, HIGH, FINER = 1080, 700, 2
INK, RED, GREEN, AMBER = (0.1, 0.1, 0.12), (0.72, 0.1, 0.08), (0.05, 0.42, 0.2), (0.62, 0.4, 0.0)

# Pair, and where its label stands: beside the left or the right edge, at a share of the height.
LABELS = [
    (("camera", "bottle"), "left", 0.64),
    (("left/link", "bottle"), "left", 0.46),
    (("left/lower/pad", "bottle"), "left", 0.28),
    (("palm", "bottle"), "right", 0.64),
    (("right/lower/pad", "bottle"), "right", 0.34),
    (("right/lower/tip", "right/lower/pad"), "right", 0.12),
]
MARGIN = 18


def full(cell: cq.Assembly, name: str) -> str:
    return f"cell/{name}" if name == "bottle" else f"cell/gripper/{name}"


def solid(renderer: vtkRenderer, source: Any, colour: Any, width: float = 1.0) -> None:
    mapper = vtkPolyDataMapper()
    mapper.SetInputConnection(source.GetOutputPort())
    actor = vtkActor()
    actor.SetMapper(mapper)
    actor.GetProperty().SetColor(*colour)
    actor.GetProperty().SetLineWidth(width)
    actor.GetProperty().LightingOff()
    renderer.AddActor(actor)


def mark(renderer: vtkRenderer, points: np.ndarray, colour: Any) -> None:
    """The gap as a line with a dot at either end."""
    line = vtkLineSource()
    line.SetPoint1(*points[0])
    line.SetPoint2(*points[1])
    solid(renderer, line, colour, 4.0 * FINER)
    for point in points:
        dot = vtkSphereSource()
        dot.SetCenter(*point)
        dot.SetRadius(1.4)
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
    place = vtkCoordinate()
    place.SetCoordinateSystemToWorld()
    place.SetValue(*(float(x) for x in point))
    x, y = place.GetComputedDoubleDisplayValue(renderer)
    return x, y


def what(answer: Any) -> tuple[list[str], Any]:
    """The answer in two lines, a gap rounded down, and its colour."""
    names = f"{answer.a.removeprefix('cell/gripper/')} / {answer.b.split('gripper/')[-1]}"
    names = names.replace("cell/", "")
    if answer.relation == "overlapping":
        free_mm = math.ceil(100 * answer.pull_apart.distance_mm) / 100
        return [f"overlap, free by {free_mm:.2f} mm", names], RED
    if answer.relation == "touching":
        return ["touching", names], AMBER
    gap_mm = math.floor(100 * answer.distance_mm + 1e-6) / 100
    return [f"{gap_mm:.2f} mm apart", names], GREEN


def draw(path: Path = PICTURE) -> None:
    made = runpy.run_path(str(SCRIPTS / "gripper.py"))
    cell, clearances = made["cell"], made["clearances"]
    placed = {
        name: shape.moved(where)
        for name, (shape, _, where, _) in zip(clearances.names, cell, strict=True)
    }
    renderer, window = vtkRenderer(), vtkRenderWindow()
    window.SetOffScreenRendering(1)
    window.SetSize(WIDE * FINER, HIGH * FINER)
    window.SetMultiSamples(0)
    window.SetAlphaBitPlanes(1)
    window.AddRenderer(renderer)
    renderer.SetBackground(1, 1, 1)
    renderer.SetUseDepthPeeling(1)
    renderer.SetMaximumNumberOfPeels(20)
    for actor in toVTKAssy(cell, tolerance=0.05, angularTolerance=0.1):
        renderer.AddActor(actor)
    for place, strength in (((-300, -500, 900), 0.75), ((200, -900, 100), 0.55)):
        light = vtkLight()
        light.SetPosition(*place)
        light.SetIntensity(strength)
        renderer.AddLight(light)
    camera = renderer.GetActiveCamera()
    camera.SetFocalPoint(2, 0, -44)
    camera.SetPosition(-90, -420, 60)
    camera.SetViewUp(0, 0, 1)
    camera.SetParallelProjection(1)
    camera.SetParallelScale(98)
    renderer.ResetCameraClippingRange()
    window.Render()
    for (a, b), side, share in LABELS:
        answer = clearances.between(full(cell, a), full(cell, b))
        lines, colour = what(answer)
        if answer.points is None:
            common = placed[answer.a].intersect(placed[answer.b])
            points = np.array([common.Center().toTuple()] * 2)
        else:
            points = answer.points
        mark(renderer, points, colour)
        foot = label(renderer, side, share, lines, colour)
        leader(renderer, foot, on_paper(renderer, points.mean(axis=0)), colour)
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


if __name__ == "__main__":
    draw()
