"""A nose's STEP and GLB in other programs: names, colours, nesting, places and sizes survive.

FreeCAD (Debian's `freecad-python3`) reads the STEP and writes it again; a small reader below takes
the same file apart as text, by ISO 10303-21, without any kernel. GLB goes through trimesh and VTK.
"""

from __future__ import annotations

import os
import re
import subprocess
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import cadquery as cq
import numpy as np
import pytest
import trimesh
from vtkmodules.vtkIOGeometry import vtkGLTFReader

import noseroom
from noseroom.geometry.step_files import write_step
from noseroom.parts.registry import PARTS

NOSE = """\
format: 1
title: A small nose
units: mm
sides: as seated
tape: 1
core support:
  opening: {width: 700, height: 480}
radiator:
  flow: cross
  core: {width: 560, height: 430, thickness: 32}
  place:
    - core.front 40 aft of core support.face
    - core.bottom 20 above core support.opening.bottom
    - core centred in core support.opening
    - parallel to core support
condenser:
  core: {width: 520, height: 380, thickness: 18}
  place:
    - core.rear 15 ahead of radiator.core.front
    - core centred both ways on radiator.core
    - parallel to radiator
"""

FREECAD = """\
import sys
sys.path.append("/usr/lib/freecad-python3/lib")
import FreeCAD, FreeCADGui
FreeCADGui.showMainWindow()  # colours are its window's business; offscreen will do
import ImportGui
read = FreeCAD.newDocument("read")
ImportGui.insert(sys.argv[1], "read", merge=False, useLinkGroup=False)
kept = [one for one in read.Objects if one.TypeId in ("App::Part", "Part::Feature")]
ImportGui.export([one for one in kept if not one.InList], sys.argv[2])
"""
"""Its default of merging compounds takes FreeCAD 0.20 down, with anybody's nested STEP."""


@pytest.fixture(scope="module")
def nose(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a small nose's files."""
    home = tmp_path_factory.mktemp("nose")
    (home / "small.yaml").write_text(NOSE, encoding="utf-8")
    noseroom.check(home / "small.yaml", outputs=home / "outputs")
    return home / "outputs" / "small"


def parts_of(path: Path) -> dict[str, list[tuple[cq.Shape, Any]]]:
    """Solids with their colours by path of names, through CadQuery's own reader.

    FreeCAD makes a group of a part that has several solids and numbers them: the same name three
    times. Numbers go, and a name below its like is the same part.
    """
    found: dict[str, list[tuple[cq.Shape, Any]]] = {}
    for shape, name, place, colour in cq.Assembly.importStep(str(path)):
        names = [re.sub(r"\d{3}$", "", one) for one in name.split("/")]
        kept = [one for k, one in enumerate(names) if k == 0 or one != names[k - 1]]
        solids = [(solid.moved(place), colour) for solid in shape.Solids()]
        found.setdefault("/".join(kept), []).extend(solids)
    return found


def size_of(solids: list[tuple[cq.Shape, Any]]) -> tuple[float, np.ndarray[Any, Any]]:
    """Volume, mm³, and box (2, 3), mm, of a part."""
    boxes = [solid.BoundingBox() for solid, _ in solids]
    low = np.min([(b.xmin, b.ymin, b.zmin) for b in boxes], axis=0)
    high = np.max([(b.xmax, b.ymax, b.zmax) for b in boxes], axis=0)
    return sum(solid.Volume() for solid, _ in solids), np.array([low, high])


def rgb(colour: str) -> tuple[int, ...]:
    return tuple(int(colour[i : i + 2], 16) for i in (1, 3, 5))


def test_names_colours_nesting_and_places_survive_freecad(nose: Path, tmp_path: Path) -> None:
    script, back = tmp_path / "again.py", tmp_path / "again.step"
    script.write_text(FREECAD, encoding="utf-8")
    python = Path("/usr/bin/python3")
    if not Path("/usr/lib/freecad-python3/lib/FreeCAD.so").exists() or not python.exists():
        pytest.skip("FreeCAD is not here (Debian: apt-get install freecad-python3)")
    done = subprocess.run(
        [python, script, nose / "nose.step", back],
        # It keeps settings in the user's home, and asks for a screen unless it is told not to.
        env={"HOME": str(tmp_path), "QT_QPA_PLATFORM": "offscreen", "PATH": os.defpath},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert back.exists(), done.stderr
    ours, theirs = parts_of(nose / "nose.step"), parts_of(back)
    assert set(ours) == set(theirs)
    assert {"nose/body/radiator/radiator: core", "nose/body/condenser/condenser: ports"} <= set(
        ours
    )
    for name, solids in ours.items():
        (volume, box), (again, box_again) = size_of(solids), size_of(theirs[name])
        assert again == pytest.approx(volume, rel=1e-6)
        np.testing.assert_allclose(box_again, box, atol=1e-3)
        # CadQuery's reader misses the colour of a part with several solids; FreeCAD does not.
        wanted = rgb(PARTS[name.split("/")[2]].about.colour)
        for _, colour in theirs[name]:
            assert tuple(round(255 * x) for x in colour.toTuple()[:3]) == wanted


# -- by the text alone ---------------------------------------------------------------------------


class Exchange:
    """The entities of an ISO 10303-21 file, by number, as text."""

    def __init__(self, path: Path) -> None:
        text = path.read_text(encoding="utf-8").replace("\n", "")
        self.body = dict(re.findall(r"#(\d+)\s*=\s*(.*?);(?=#|ENDSEC)", text))

    def of(self, kind: str) -> Iterator[tuple[str, str]]:
        return ((n, body) for n, body in self.body.items() if body.startswith(f"{kind}("))

    def refers(self, number: str) -> list[str]:
        return re.findall(r"#(\d+)", re.sub(r"'[^']*'", "", self.body[number]))

    def reaches(self, number: str, kind: str) -> list[str]:
        """Numbers of a kind at or below an entity, in order."""
        if self.body[number].startswith(f"{kind}("):
            return [number]
        return [hit for one in self.refers(number) for hit in self.reaches(one, kind)]

    def names(self) -> dict[str, str]:
        """Product names by the number of their definition."""
        found = {}
        for number, _ in self.of("PRODUCT_DEFINITION"):
            (product,) = self.reaches(number, "PRODUCT")
            found[number] = re.findall(r"'([^']*)'", self.body[product])[0]
        return found

    def nested(self) -> set[tuple[str, str]]:
        """(group, member) names: who is used in whom."""
        names = self.names()
        uses = [self.refers(n)[:2] for n, _ in self.of("NEXT_ASSEMBLY_USAGE_OCCURRENCE")]
        return {(names[above], names[below]) for above, below in uses}

    def colours(self) -> dict[str, tuple[float, ...]]:
        """Colours by product name, from the styles of their solids."""
        names, owner = self.names(), {}
        for number, _ in self.of("SHAPE_DEFINITION_REPRESENTATION"):
            shape, representation = self.refers(number)
            (definition,) = self.reaches(shape, "PRODUCT_DEFINITION")
            for solid in self.refers(representation):
                owner[solid] = names[definition]
        found = {}
        for number, _ in self.of("STYLED_ITEM"):
            *_, item = self.refers(number)
            plain = self.reaches(number, "COLOUR_RGB")
            named = self.reaches(number, "DRAUGHTING_PRE_DEFINED_COLOUR")
            if plain:
                figures = self.body[plain[0]].split(",")[1:]
                found[owner[item]] = tuple(float(one.strip(" )")) for one in figures)
            else:
                word = re.findall(r"'(\w+)'", self.body[named[0]])[0]
                found[owner[item]] = {"red": (1, 0, 0), "blue": (0, 0, 1)}[word]
        return found


def test_the_files_text_has_names_nesting_and_colours(tmp_path: Path) -> None:
    """By hand: two parts in a group in a group, one beside it, three colours."""
    inner = cq.Assembly(name="pump", loc=cq.Location((1, 2, 3), (0, 1, 0), 30))
    inner.add(cq.Workplane().box(9, 9, 9), name="pump: case", color=cq.Color("#3366cc"))
    inner.add(cq.Workplane().box(2, 2, 30), name="pump: shaft", color=cq.Color("#ff0000"))
    middle = cq.Assembly(name="engine", loc=cq.Location(5, 0, 0)).add(inner)
    whole = cq.Assembly(name="nose").add(middle)
    whole.add(cq.Workplane().sphere(3), name="ball", color=cq.Color("#0000ff"))
    write_step(whole, tmp_path / "hand.step")
    read = Exchange(tmp_path / "hand.step")
    assert sorted(read.names().values()) == [
        "ball",
        "engine",
        "nose",
        "pump",
        "pump: case",
        "pump: shaft",
    ]
    assert read.nested() == {
        ("nose", "engine"),
        ("nose", "ball"),
        ("engine", "pump"),
        ("pump", "pump: case"),
        ("pump", "pump: shaft"),
    }
    expected: Mapping[str, tuple[float, ...]] = {
        "ball": (0, 0, 1),
        "pump: case": (0.2, 0.4, 0.8),
        "pump: shaft": (1, 0, 0),
    }
    colours = read.colours()
    assert colours.keys() == expected.keys()
    for name, colour in expected.items():
        assert colours[name] == pytest.approx(colour, abs=0.002)


def test_the_text_of_a_nose_says_millimetres_and_its_nesting(nose: Path) -> None:
    read = Exchange(nose / "nose.step")
    assert {("nose", "body"), ("body", "radiator"), ("body", "condenser")} <= read.nested()
    assert ("radiator", "radiator: core") in read.nested()
    lengths = [body for body in read.body.values() if "LENGTH_UNIT()" in body]
    assert lengths
    assert all("SI_UNIT(.MILLI.,.METRE.)" in one for one in lengths)


# -- GLB -----------------------------------------------------------------------------------------


def expected_bounds_m(nose: Path) -> np.ndarray[Any, Any]:
    """Lowest and highest corner of the whole nose in metres, Y up, from its STEP file."""
    boxes = np.array([size_of(solids)[1] for solids in parts_of(nose / "nose.step").values()])
    low, high = boxes[:, 0].min(axis=0) / 1000, boxes[:, 1].max(axis=0) / 1000
    # Aft stays x, up becomes y, and the car's left (-y) becomes z.
    return np.array([[low[0], low[2], -high[1]], [high[0], high[2], -low[1]]])


def test_glb_has_the_noses_size_in_metres(nose: Path) -> None:
    """Chords of round parts stay within the millimetre allowed."""
    scene = trimesh.load(nose / "nose.glb", force="scene")
    np.testing.assert_allclose(scene.bounds, expected_bounds_m(nose), atol=1e-3)
    assert 0.6 < scene.extents[2] < 1.0  # a nose 600 to 1000 mm wide, not 600 m


def test_glb_has_the_same_size_for_a_second_reader(nose: Path) -> None:
    reader = vtkGLTFReader()
    reader.SetFileName(str(nose / "nose.glb"))
    reader.Update()
    bounds = np.zeros(6)
    reader.GetOutput().GetBounds(bounds)
    np.testing.assert_allclose(bounds.reshape(3, 2).T, expected_bounds_m(nose), atol=1e-3)
