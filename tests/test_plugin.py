"""The CadQuery plugin: what it attaches, when, and what its creators make."""

from __future__ import annotations

import importlib
import inspect
import subprocess
import sys
from collections.abc import Iterator
from typing import Any

import cadquery as cq
import pytest

from noseroom import plugin
from noseroom._plugin_creators import WITHOUT_SOLID, method_name
from noseroom.errors import GeometryError
from noseroom.geometry.kernel import is_valid
from noseroom.parts.base import Part
from noseroom.parts.registry import PARTS
from noseroom.plugin import CREATORS, register

RUNS = {
    "belt": ((0.0, 0.0, 60.0), (150.0, 80.0, 30.0), (0.0, -200.0, 70.0)),
    "hose": ((0.0, 0.0, 0.0), (100.0, 0.0, 0.0), (100.0, 100.0, 50.0)),
}
ON_ASSEMBLIES = ("clearances", "clearancesAlong", "clearancesWhileMoving", "sweptSpace")
KINDS = {method_name(kind): part for kind, part in PARTS.items() if kind not in WITHOUT_SOLID}


def needed(name: str) -> dict[str, Any]:
    """The least that a creator asks for, in the middle of each range."""
    part = KINDS[name]
    sizes = {
        key: round((size.low + size.high) / 2)
        for key, size in part.sizes().items()
        if size.usual is None
    }
    return {**sizes, "run": RUNS[name]} if name in RUNS else sizes


@pytest.fixture(autouse=True)
def _attached() -> Iterator[None]:
    yield
    assert register() == ()


# -- attaching -----------------------------------------------------------------------------------


def fresh(code: str) -> list[str]:
    """What a fresh interpreter prints, line by line."""
    done = subprocess.run(
        [sys.executable, "-W", "error::UserWarning", "-c", code],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


def test_importing_the_package_attaches_nothing_and_importing_the_plugin_does() -> None:
    seen = fresh(
        "import cadquery as cq\n"
        "before = set(dir(cq.Workplane)) | set(dir(cq.Assembly))\n"
        "import noseroom\n"
        "noseroom.Result, noseroom.check\n"
        "print((set(dir(cq.Workplane)) | set(dir(cq.Assembly))) == before)\n"
        "own = {n: vars(cq.Workplane)[n] for n in vars(cq.Workplane)}\n"
        "other = {n: vars(cq.Assembly)[n] for n in vars(cq.Assembly)}\n"
        "import noseroom.plugin\n"
        "print(all(vars(cq.Workplane)[n] is own[n] for n in own))\n"
        "print(all(vars(cq.Assembly)[n] is other[n] for n in other))\n"
        "print(*sorted(set(vars(cq.Workplane)) - set(own)))\n"
        "print(*sorted(set(vars(cq.Assembly)) - set(other)))\n"
    )
    assert seen[:3] == ["True", "True", "True"]
    assert seen[3:] == [*sorted([*CREATORS, "clearanceTo"]), *sorted(ON_ASSEMBLIES)]


def test_cadquery_loaded_anew_gets_everything_back_by_registering() -> None:
    """As CQ-editor reloads it: the same modules again, with new classes in them."""
    assert fresh(
        "import cadquery as cq, importlib\n"
        "import noseroom.plugin\n"
        "first = cq.Workplane\n"
        "importlib.reload(cq.cq); importlib.reload(cq.assembly); importlib.reload(cq)\n"
        "print(cq.Workplane is first, hasattr(cq.Workplane, 'fan'))\n"
        "import noseroom.plugin\n"
        "noseroom.plugin.register()\n"
        "ring = cq.Workplane().waterPump()\n"
        "print(ring.clearanceTo(cq.Workplane(origin=(500, 0, 0)).waterPump()).relation)\n"
        "print(len(cq.Assembly().add(ring).clearances()))\n"
    ) == ["False", "False", "apart", "0"]


def test_the_plugin_purged_and_imported_again_answers_with_its_new_errors() -> None:
    """A host may drop all of a user's modules from memory before it runs his file again."""
    assert fresh(
        "import sys, cadquery as cq\n"
        "import noseroom.plugin\n"
        "names = set(dir(cq.Workplane))\n"
        "for name in [one for one in sys.modules if one.split('.')[0] == 'noseroom']:\n"
        "    del sys.modules[name]\n"
        "import noseroom.plugin\n"
        "from noseroom.errors import GeometryError\n"
        "print(set(dir(cq.Workplane)) == names)\n"
        "try:\n"
        "    cq.Workplane().fan(diameter_mm=1)\n"
        "except GeometryError:\n"
        "    print('told')\n"
    ) == ["True", "told"]


def test_registering_and_reloading_change_nothing() -> None:
    before = dict(vars(cq.Workplane)), dict(vars(cq.Assembly))
    assert register() == register() == ()
    assert (dict(vars(cq.Workplane)), dict(vars(cq.Assembly))) == before
    importlib.reload(plugin)
    assert [vars(one).keys() for one in (cq.Workplane, cq.Assembly)] == [b.keys() for b in before]
    ours = {*CREATORS, "clearanceTo"}
    for name, value in before[0].items():
        assert name in ours or vars(cq.Workplane)[name] is value
    one, other = (inspect.signature(w["radiator"]) for w in (before[0], vars(cq.Workplane)))
    assert one == other


def test_what_somebody_else_attached_stays_and_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    def somebodys_fan(self: cq.Workplane) -> cq.Workplane:
        return self

    monkeypatch.setattr(cq.Workplane, "fan", somebodys_fan)
    with pytest.warns(plugin.PluginWarning, match=r"Workplane\.fan"):
        assert plugin.register() == ("Workplane.fan",)
    assert cq.Workplane.fan is somebodys_fan
    monkeypatch.undo()


@pytest.mark.parametrize("name", ["box", "cylinder", "sphere", "add", "close"])
def test_no_creator_has_the_name_of_one_of_cadquerys(name: str) -> None:
    assert hasattr(cq.Workplane, name)
    assert name not in CREATORS


def test_a_child_called_as_the_query_is_still_found() -> None:
    assembly = cq.Assembly(cq.Workplane().box(1, 1, 1), name="a").add(
        cq.Workplane().box(1, 1, 1), name="clearances", loc=cq.Location(3, 0, 0)
    )
    assert assembly["clearances"].name == "clearances"
    assert assembly.clearances()[0].distance_mm == pytest.approx(2.0)


# -- creators ------------------------------------------------------------------------------------


def test_every_kind_with_a_solid_has_a_creator_and_no_other() -> None:
    assert list(CREATORS) == list(KINDS)
    for kind in WITHOUT_SOLID:
        sizes = {key: size.low for key, size in PARTS[kind].sizes().items() if size.usual is None}
        assert PARTS[kind](**sizes).solids() == {}
    assert method_name("water pump") == "waterPump"
    assert method_name("bumper bar") == "bumperBar"


def metal(part: Part) -> float:
    swept = part.sweeps()
    return sum(
        s.Volume()
        for name, solid in part.solids().items()
        if name not in swept
        for s in solid.Solids()
    )


@pytest.mark.parametrize("name", CREATORS)
def test_a_creator_makes_the_part_at_every_point(name: str) -> None:
    given = needed(name)
    shown = {"shown": "yes"} if name == "engine" else {}
    part = KINDS[name](**given, **shown)
    points = cq.Workplane("XZ", origin=(0, 0, 100)).pushPoints([(0, 0), (4000, 0)])
    each = getattr(points, name)(**given, combine=False)
    assert each.size() == 2
    for made in each.vals():
        assert is_valid(made)
        assert sum(one.Volume() for one in made.Solids()) == pytest.approx(metal(part), rel=1e-6)
    first, second = (one.Center() for one in each.vals())
    assert (second - first).toTuple() == pytest.approx((4000, 0, 0), abs=1e-6)
    joined = getattr(cq.Workplane(), name)(**given)
    assert joined.size() == 1
    assert is_valid(joined.val())
    assert joined.val().Volume() <= metal(part) * (1 + 1e-6)
    # Components that touch are one solid; blades and round headers touch along lines only.
    assert joined.solids().size() == {"fan": 7, "condenser": 3}.get(name, 1)
    invoked = cq.Workplane().invoke(lambda plane: CREATORS[name](plane, **given))
    assert invoked.val().Volume() == pytest.approx(joined.val().Volume(), rel=1e-9)


@pytest.mark.parametrize("name", [one for one in CREATORS if not needed(one)])
def test_what_has_usual_sizes_goes_into_invoke_as_it_is(name: str) -> None:
    assert is_valid(cq.Workplane().invoke(CREATORS[name]).val())


def test_a_part_lies_along_the_workplanes_axes() -> None:
    """By hand: a bracket 3 thick along x, 30 wide along y, 80 + 2 x 15 high along z."""
    flat = cq.Workplane().bracket().val().BoundingBox()
    assert (flat.xlen, flat.ylen, flat.zlen) == pytest.approx((3, 30, 110), abs=1e-3)
    on_xz = cq.Workplane("XZ").bracket().val().BoundingBox()
    assert (on_xz.xlen, on_xz.zlen, on_xz.ylen) == pytest.approx((3, 30, 110), abs=1e-3)


def test_combining_joins_cuts_or_leaves_alone_as_cadquerys_own_creators_do() -> None:
    """By hand: a bracket with holes of 8 in a block of 40 x 40 x 40."""
    block = cq.Workplane().box(40, 40, 40, centered=(False, True, True))
    piece = 3 * 30 * (20 + 15) - 3 * 3.14159265 * 16
    joined = block.bracket().val().Volume()
    assert joined == pytest.approx(40**3 + 3 * 30 * (80 + 15 - 20) - 3 * 3.14159265 * 16, rel=1e-5)
    assert block.bracket(combine="cut").val().Volume() == pytest.approx(40**3 - piece, rel=1e-6)
    assert block.bracket(combine=False).val().Volume() == pytest.approx(
        3 * 30 * 110 - 2 * 3 * 3.14159265 * 16, rel=1e-6
    )


def test_what_a_fan_sweeps_can_be_had_instead_of_its_metal() -> None:
    """By hand: between two planes and two cylinders."""
    space = cq.Workplane().fan(diameter_mm=400, spider_diameter_mm=100, width_mm=50, swept=True)
    assert space.val().Volume() == pytest.approx(3.14159265 * (200**2 - 50**2) * 50, rel=1e-6)
    with pytest.raises(GeometryError, match="no 'swept'"):
        cq.Workplane().bracket(swept=True)


def test_a_creator_shows_its_sizes_to_an_editor() -> None:
    signature = inspect.signature(cq.Workplane.radiator)
    assert signature.parameters["flow"].default == "down"
    assert signature.parameters["core_width_mm"].default is inspect.Parameter.empty
    assert signature.parameters["combine"].default is True
    assert set(signature.parameters) >= set(PARTS["radiator"].sizes())
    said = inspect.getdoc(cq.Workplane.radiator)
    assert said
    for name in signature.parameters:
        assert name == "self" or f":param {name}: " in said
    assert "200 to 1000 mm" in said
    assert "Datum" in said


@pytest.mark.parametrize(
    ("name", "given", "told"),
    [
        ("fan", {}, "fan needs diameter_mm"),
        ("fan", {"diameter_mm": 20}, "diameter_mm is 20; expected a number from 250 to 700 mm"),
        ("fan", {"diameter_mm": float("nan")}, "diameter_mm is nan"),
        ("fan", {"diameter_mm": "400"}, "diameter_mm is '400'; expected a number"),
        ("fan", {"diameter_mm": True}, "diameter_mm is True; expected a number"),
        ("fan", {"diameter_mm": 400, "blades": 5.5}, "blades is 5.5; expected a whole number"),
        ("fan", {"diametre_mm": 400}, 'did you mean "diameter_mm"'),
        ("fan", {"diameter_mm": 400, "drive": "cluch"}, 'did you mean "clutch"'),
        ("engine", {"shown": "no"}, "has no solid with shown='no'"),
        ("belt", {"run": ((0, 0, 60),)}, "each pulley in the belt's plane, 2 or more"),
        ("belt", {"run": 5}, "run is 5; expected"),
        ("hose", {"run": ((0, 0, 0), (1, 2))}, "each point of its centre line, 2 or more"),
        ("hose", {"run": ((0, 0, 0), (1, 2, "3"))}, "each point of its centre line"),
        ("hose", {"run": ((0, 0, 0), (0, 0, 0))}, "no solid can be made"),
    ],
)
def test_what_a_part_cannot_be_is_said(name: str, given: dict[str, Any], told: str) -> None:
    with pytest.raises(GeometryError) as raised:
        getattr(cq.Workplane(), name)(**given)
    assert told in str(raised.value)


def test_every_creator_has_the_colour_that_it_is_drawn_in() -> None:
    assert {name: plugin.colour(name) for name in CREATORS} == {
        name: part.about.colour for name, part in KINDS.items()
    }
    with pytest.raises(GeometryError, match="no creator 'gearbox'"):
        plugin.colour("gearbox")
