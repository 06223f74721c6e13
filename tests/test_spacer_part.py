"""The spacer as a part: volumes by hand, pieces round the metal, and what cannot be made."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator

import numpy as np
import pytest

import part_checks as checks
from noseroom.errors import GeometryError
from noseroom.geometry.overlap import inside
from noseroom.parts.base import Part
from noseroom.parts.spacer import Spacer
from noseroom.parts.water_pump import WaterPump
from part_checks import Expected

PLAIN = Spacer(
    thickness_mm=50.0,
    diameter_mm=76.0,
    bore_mm=16.0,
    bolt_circle_mm=44.0,
    hole_mm=8.5,
    chamfer_mm=1.0,
)
DOUBLE = dataclasses.replace(
    PLAIN, form="double pilot", recess_mm=16.0, spigot_diameter_mm=16.0, spigot_length_mm=8.0
)


def sound(*, seed: int, number: int) -> Iterator[Spacer]:
    """Random spacers that can be made, of both forms in turn."""
    rng = np.random.default_rng(seed)
    found = 0
    while found < number:
        form = ("plain", "double pilot")[found % 2]
        made = Spacer(**{**checks.random_sizes(Spacer, rng), "form": form})
        if not made.faults():
            found += 1
            yield made


def by_hand(made: Spacer) -> dict[str, Expected]:
    """Rings and drilled holes, less the chamfers' rings by the theorem of Pappus and Guldin."""
    c, t, outside, bore = made.chamfer_mm, made.thickness_mm, made.diameter_mm, made.bore_mm

    def chamfer(radius: float, centroid: float) -> float:
        return c**2 / 2 * 2 * math.pi * (radius + centroid * c / 3)

    volume = math.pi / 4 * outside**2 * t - 2 * chamfer(outside / 2, -1.0)
    volume -= made.bolt_count * math.pi / 4 * made.hole_mm**2 * t
    tip = t
    if made.form == "plain":
        volume -= math.pi / 4 * bore**2 * t + 2 * chamfer(bore / 2, 1.0)
    else:
        volume -= math.pi / 4 * bore**2 * made.recess_mm + chamfer(bore / 2, 1.0)
        volume += math.pi / 4 * made.spigot_diameter_mm**2 * made.spigot_length_mm
        volume -= chamfer(made.spigot_diameter_mm / 2, -1.0)
        tip += made.spigot_length_mm
    r = outside / 2
    return {"body": Expected(volume, (-tip, -r, -r), (0, r, r))}


def test_declarations_hang_together() -> None:
    checks.check_kind(Spacer)


def test_solids_are_closed_and_as_large_as_by_hand() -> None:
    for made in sound(seed=31, number=24):
        checks.check_solids(made, by_hand(made))


def test_pieces_cover_the_metal_and_stand_close_to_it() -> None:
    for made in sound(seed=32, number=4):
        meshed = checks.bodies(made, checks.COARSE)
        checks.check_pieces_cover(made, meshed)
        checks.check_pieces_tight(made, meshed, filled_mm=made.chamfer_mm)
        # The bore is filled in the pieces: its middle, which a face is named by, is no metal.
        radius = made.bore_mm / 2
        checks.check_faces_on_metal(made, meshed, within_mm=radius + made.chamfer_mm + 0.2)


def test_features_and_pieces_follow_sizes_with_exact_derivatives() -> None:
    for made in (PLAIN, DOUBLE):
        checks.check_follows_sizes(made)


def test_no_surface_moves_further_than_its_bound_says() -> None:
    for made in (PLAIN, DOUBLE):
        checks.check_movement_bounds(made, most=100)


@pytest.mark.parametrize("made", [PLAIN, DOUBLE], ids=["plain", "double pilot"])
def test_holes_stand_where_those_of_the_hub_do(made: Spacer) -> None:
    hub = WaterPump(bolt_count=4, bolt_circle_mm=made.bolt_circle_mm)
    body = checks.bodies(made)["body"]
    for number in (1, 2, 3, 4):
        at_hub = hub.ports()[f"bolt {number}"].point
        mine = made.ports()[f"bolt {number}"].point
        np.testing.assert_allclose(mine - at_hub, (-made.thickness_mm, 0, 0), atol=1e-12)
        deep = at_hub + np.linspace(0.5, made.thickness_mm - 0.5, 9)[:, None] * (-1.0, 0.0, 0.0)
        assert not inside(deep, body, checks.HERE).any()
        beside = deep + np.array([0.0, 0.0, made.hole_mm / 2 + 0.5])
        assert inside(beside, body, checks.HERE).all()


def test_two_pilots_have_a_floor_between_them() -> None:
    body = checks.bodies(DOUBLE)["body"]
    along = np.array([-8.0, -15.9, -16.1, -49.0, -57.9, -58.1])[:, None] * (1.0, 0.0, 0.0)
    assert list(inside(along, body, checks.HERE)) == [False, False, True, True, True, False]


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"bore_mm": 32.0}, "between the bore and the bolt holes"),
        ({"diameter_mm": 54.0}, "between the bolt holes and the rim"),
        ({"bolt_count": 12, "hole_mm": 10.0}, "between one bolt hole and the next"),
        ({"form": "double pilot", "recess_mm": 48.0}, "between the recess and the front face"),
        ({"form": "double pilot", "spigot_diameter_mm": 34.0}, "the spigot and the bolt holes"),
        ({"thickness_mm": 2.5}, "too thin for a chamfer"),
    ],
)
def test_what_cannot_be_made_says_why(changed: dict[str, object], said: str) -> None:
    made = dataclasses.replace(PLAIN, **changed)  # type: ignore[arg-type]
    with pytest.raises(GeometryError, match=said):
        made.solids()


def test_a_part_is_a_part() -> None:
    assert isinstance(PLAIN, Part)
    assert PLAIN.features()["front"].point[0] == pytest.approx(-50.0)
    assert DOUBLE.features()["spigot.end"].point[0] == pytest.approx(-58.0)
    assert "spigot.end" not in PLAIN.features()
