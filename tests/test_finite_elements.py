"""Finite elements: first themselves against theory, then the brackets' formula against them."""

from __future__ import annotations

import sys

import numpy as np
import pytest
from numpy.typing import NDArray

from noseroom.checks.bracket_strength import Carried, Strength, strength_of
from noseroom.checks.strength_elements import elements_check
from noseroom.checks.strength_frame import Tab
from noseroom.errors import GeometryError, MissingLibraryError
from noseroom.geometry.sheet import folded_places
from noseroom.geometry.strip_mesh import StripMesh, strip_mesh
from noseroom.physics.beams import cantilever_hz, rectangle
from noseroom.physics.solids import Held, SolidBlock
from noseroom.tables.sheet import SheetMaterial
from strips import BentStrip, bent_strip

Floats = NDArray[np.float64]
STEEL = SheetMaterial("steel", 250.0, 400.0, 200.0, 200_000.0, 7850.0, 0.3, "for a test", "")
STRAP = bent_strip((120,))
ELL = bent_strip((80, 80), (90,))
ZED = bent_strip((70, 70, 70), (90, -90))
HAT = bent_strip((40, 30, 60, 30, 40), (-90, 90, 90, -90), bolts=(0, 2, 4))
SKEWED = bent_strip((70, 60, 70), (80, -65), skews=(10, -12))
_TAB = Tab(20.0, 2.5, 15.0)
BRACKETS = {"strap": STRAP, "L": ELL, "Z": ZED, "hat": HAT, "skewed": SKEWED}


def bricks(
    size: tuple[float, float, float], count: tuple[int, int, int], poisson: float = 0.3
) -> SolidBlock:
    """A straight bar along x, its lower edge in its middle at the origin."""
    x, y, z = (np.linspace(0.0, s, 2 * n + 1) for s, n in zip(size, count, strict=True))
    nodes = np.stack(np.meshgrid(x, y - size[1] / 2, z, indexing="ij"), axis=-1)
    return SolidBlock(nodes, 200_000.0, poisson, 7850.0)


def held_by_its_end(block: SolidBlock) -> Held:
    shape = block.nodes.shape[:3]
    clamped, gripped = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
    clamped[0], gripped[-1] = True, True
    return Held(clamped, gripped, block.nodes[-1].mean(axis=(0, 1)))


# -- the elements themselves ------------------------------------------------------------------


def test_patch_of_crooked_bricks_keeps_a_uniform_strain() -> None:
    """The patch test (Irons): no force on an inner node when all move in one linear field."""
    block = bricks((30.0, 24.0, 18.0), (2, 2, 2))
    random = np.random.default_rng(3)
    nodes = block.nodes.copy()
    # Inner corners are shifted, and the nodes between corners follow, so that edges stay straight.
    corners = nodes[::2, ::2, ::2]
    corners[1, 1, 1] += random.uniform(-2.0, 2.0, 3)
    for axis in range(3):
        first = np.moveaxis(nodes, axis, 0)
        first[1::2] = (first[:-1:2] + first[2::2]) / 2.0
    crooked = SolidBlock(nodes, 200_000.0, 0.3, 7850.0)
    field = random.uniform(-1e-3, 1e-3, (3, 3))
    moved = nodes @ field.T
    numbered = np.empty((nodes[..., 0].size, 3))
    numbered[crooked.numbers] = moved
    force = (crooked.stiffness @ numbered.ravel()).reshape(-1, 3)[crooked.numbers]
    assert np.abs(force[1:-1, 1:-1, 1:-1]).max() < 1e-9 * np.abs(force).max()
    strain = (field + field.T) / 2.0
    stress = 200_000.0 / 1.3 * (strain + 0.3 / 0.4 * np.trace(strain) * np.eye(3))
    off = stress - np.trace(stress) / 3.0 * np.eye(3)
    only = np.zeros((3, *nodes.shape))
    only[0] = moved
    mises = float(np.sqrt(1.5 * (off**2).sum()))
    assert crooked.surface(only).mpa == pytest.approx(np.full((2, 2, 2), mises), rel=1e-9)


def test_stiffness_knows_no_force_for_moving_or_turning_as_one() -> None:
    block = bricks((20.0, 10.0, 4.0), (2, 1, 1))
    where = np.empty((block.nodes[..., 0].size, 3))
    where[block.numbers] = block.nodes
    for turn in np.eye(3):
        moved = np.cross(turn, where) + turn
        force = block.stiffness @ moved.ravel()
        assert np.abs(force).max() < 1e-7 * abs(block.stiffness).max()


def test_mass_is_that_of_the_metal() -> None:
    block = bricks((20.0, 10.0, 4.0), (2, 1, 1))
    along = np.tile([1.0, 0.0, 0.0], block.nodes[..., 0].size)
    assert along @ block.mass @ along == pytest.approx(20 * 10 * 4 * 7850e-12, rel=1e-9)


def test_cantilever_gives_way_as_a_beam() -> None:
    """P L³ / 3EI + P L / κGA (Timoshenko), ν = 0 so that the clamped end may narrow freely."""
    long, wide, thick = 120.0, 12.0, 8.0
    block = bricks((long, wide, thick), (12, 2, 1), poisson=0.0)
    _, compliance = block.stand(held_by_its_end(block)).unit_loads()
    s = rectangle(wide, thick)
    shear = long / (100_000.0 * s.shear_mm2)
    for axis, second in ((1, s.edge_mm4), (2, s.flat_mm4)):
        beam = long**3 / (3.0 * 200_000.0 * second) + shear
        assert compliance[axis, axis] == pytest.approx(beam, rel=1e-3)
    assert compliance[0, 0] == pytest.approx(long / (200_000.0 * s.area_mm2), rel=1e-6)


def test_cantilever_rings_as_a_beam() -> None:
    """The root of the frequency equation, for a slender bar with and without a tip mass."""
    long, wide, thick = 200.0, 10.0, 4.0
    block = bricks((long, wide, thick), (20, 1, 1), poisson=0.0)
    for tip in (0.0, 0.1, 1.0):
        beam = cantilever_hz(long, rectangle(wide, thick), 200_000.0, 7850.0, tip)
        assert block.stand(held_by_its_end(block)).lowest_hz(tip) == pytest.approx(beam, rel=3e-3)


def test_bar_in_tension_is_stressed_evenly() -> None:
    """P / A."""
    block = bricks((60.0, 10.0, 4.0), (6, 2, 1), poisson=0.0)
    moved, _ = block.stand(held_by_its_end(block)).unit_loads()
    moved[1:] = 0.0
    assert block.surface(moved).mpa == pytest.approx(np.full((6, 2, 2), 1.0 / 40.0), rel=1e-6)


def test_inside_out_bricks_and_odd_grids_are_refused() -> None:
    good = bricks((20.0, 10.0, 4.0), (2, 1, 1))
    with pytest.raises(ValueError, match="inside out"):
        SolidBlock(good.nodes[::-1], 200_000.0, 0.3, 7850.0)
    with pytest.raises(ValueError, match="odd number"):
        SolidBlock(good.nodes[:-1], 200_000.0, 0.3, 7850.0)


# -- bricks that are folded -------------------------------------------------------------------


def middle_line(blank_strip: BentStrip, mesh: StripMesh) -> Floats:
    return np.asarray(mesh.nodes[:, mesh.nodes.shape[1] // 2].mean(axis=1))


@pytest.mark.parametrize("name", list(BRACKETS))
def test_bricks_follow_the_fold(name: str) -> None:
    """A row in a flat is where the fold carries the flat; as thick as the sheet all along."""
    made = BRACKETS[name]
    mesh = strip_mesh(made.blank, made.spots, 6.0)
    places = folded_places(made.blank)
    for row, flange in enumerate(mesh.flanges):
        low, high = mesh.nodes[row, :, 0], mesh.nodes[row, :, -1]
        thick = np.linalg.norm(high - low, axis=1)
        assert thick == pytest.approx(np.full(len(thick), 3.0), rel=1e-9)
        if flange >= 0:
            flat = np.column_stack([mesh.flat[row], np.zeros(len(low)), np.ones(len(low))])
            assert low == pytest.approx((flat @ places[flange].T)[:, :3], abs=1e-9)


def test_bricks_of_a_bend_lie_on_its_two_radii() -> None:
    """Inside radius 3 and outside 6 mm, to the last node, about one axis."""
    mesh = strip_mesh(ELL.blank, ELL.spots, 6.0)
    rows = np.flatnonzero(mesh.flanges < 0)
    bend = ELL.blank.bends[0]
    axis = np.array([bend.start[0], 0.0, 3.0 + bend.inside_mm])
    for layer, radius in ((0, 6.0), (-1, 3.0)):
        off = mesh.nodes[rows][:, :, layer] - axis
        off[..., 1] = 0.0
        assert np.linalg.norm(off, axis=-1) == pytest.approx(np.full(off.shape[:2], radius))


def test_bolts_that_are_on_no_strip_are_refused() -> None:
    with pytest.raises(GeometryError, match="fewer than two"):
        strip_mesh(ELL.blank, ELL.spots[:1], 6.0)
    with pytest.raises(GeometryError, match="along one strip"):
        strip_mesh(ELL.blank, (*ELL.spots, ELL.spots[0]), 6.0)


# -- the formula against the elements ---------------------------------------------------------


def strength(made: BentStrip, tab: Tab | None = None) -> Strength:
    fixed = made.spots[:1] + made.spots[2:]
    load = Carried(1.5, 1, "weighed", tab=tab)
    return strength_of(made.blank, made.spots[1], fixed, load, STEEL, with_remedies=False)


@pytest.mark.parametrize("name", list(BRACKETS))
def test_the_formula_is_never_the_hopeful_one(name: str) -> None:
    """Frequency by formula below, stress by formula above; neither by more than is said."""
    found = elements_check(strength(BRACKETS[name]))
    assert found.formula_is_safe
    # Held at two ends a bracket is stiffer than its sharp-cornered frame by more.
    least = 0.65 if name == "hat" else 0.85
    assert least <= found.formula_hz / found.hz <= 1.0
    assert found.nominal_mpa is not None
    assert 1.0 <= found.formula_mpa / found.nominal_mpa <= (2.5 if name == "hat" else 2.1)
    assert found.bolt_mpa <= found.formula_mpa


@pytest.mark.parametrize("name", ["strap", "skewed"])
def test_nor_is_it_where_a_tab_holds_the_end(name: str) -> None:
    """The tab's spring is the same for both; without it both are softer."""
    free, held = (elements_check(strength(BRACKETS[name], tab)) for tab in (None, _TAB))
    assert held.formula_is_safe
    assert 0.65 <= held.formula_hz / held.hz <= 1.0
    assert held.hz > 1.2 * free.hz
    assert held.formula_hz > 1.2 * free.formula_hz


@pytest.mark.parametrize("name", ["strap", "L", "Z"])
def test_stress_between_bolts_is_the_lever_over_the_section_modulus(name: str) -> None:
    """M / Z, M the distance from the load: in the middle of the width, away from bolts and bends.

    Von Mises' stress is a little less: a wide sheet cannot narrow freely where it bends. Where it
    cannot at all, plane strain leaves √(1 - ν + ν²) of it, 0.889.
    """
    made = BRACKETS[name]
    mesh = strip_mesh(made.blank, made.spots, 5.0)
    block = SolidBlock(mesh.nodes, STEEL.e_mpa, STEEL.poisson, STEEL.density_kg_m3)
    first, last = (np.repeat(mesh.below(one)[:, :, None], 3, axis=2) for one in made.spots)
    at = mesh.nodes[last].mean(axis=0)
    moved, _ = block.stand(Held(first, last, at)).unit_loads()
    mpa = block.surface(moved).mpa.mean(axis=2)
    middle = mpa.shape[1] // 2
    line = middle_line(made, mesh)[1::2]
    edges = mesh.flat[list(mesh.edges)].mean(axis=1)
    seen = 0
    for row, point in enumerate(line):
        flat = mesh.flat[2 * row + 1].mean(axis=0)
        off_bolts = min(float(np.linalg.norm(flat - np.array(one.at))) for one in made.spots)
        off_bends = min((float(np.linalg.norm(flat - one)) for one in edges), default=99.0)
        if mesh.flanges[2 * row + 1] < 0 or off_bolts < 9.0 + 15.0 or off_bends < 15.0:
            continue
        lever = float(np.linalg.norm(point - at))
        by_hand = lever / rectangle(30.0, 3.0).flat_mm3
        assert 0.889 <= mpa[row, middle] / by_hand <= 1.01
        seen += 1
    assert seen >= 4


def test_finer_bricks_change_next_to_nothing() -> None:
    """Frequency and stress between bolts have converged."""
    coarse, fine = (elements_check(strength(ELL), brick_mm=mm) for mm in (6.0, 4.0))
    assert fine.hz == pytest.approx(coarse.hz, rel=0.01)
    assert fine.nominal_mpa == pytest.approx(coarse.nominal_mpa, rel=0.04)
    two = elements_check(strength(ELL), brick_mm=6.0, layers=2)
    assert two.hz == pytest.approx(coarse.hz, rel=0.01)


def test_both_results_are_told() -> None:
    told: list[str] = []
    found = elements_check(strength(ZED), progress=told.append)
    assert told == ["bricks", "stress", "natural frequency"]
    words = found.sentence()
    assert f"{found.hz:.1f} Hz" in words
    assert f"{found.formula_hz:.1f} Hz" in words
    assert "on the safe side" in words


def test_the_same_bracket_has_the_same_answer_to_the_last_digit() -> None:
    assert elements_check(strength(STRAP)) == elements_check(strength(STRAP))


def test_without_the_library_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "skfem", None)
    with pytest.raises(MissingLibraryError, match="scikit-fem"):
        elements_check(strength(ELL))
