"""An idler: a flat drum or a grooved pulley on its own stud."""

from __future__ import annotations

import math

import pytest

import part_checks as checks
from noseroom.parts.pulley import IdlerPulley, Pulley


def test_declarations_hang_together() -> None:
    checks.check_kind(IdlerPulley)
    assert IdlerPulley.about.freedom == "placed"


def test_a_flat_drum_is_as_large_as_by_hand_over_the_whole_range() -> None:
    """A ring of the wall's thickness, closed by a web."""
    for made in checks.draws(IdlerPulley, seed=81, count=8, section="flat"):
        solids = made.solids()
        r = made.diameter_mm / 2
        inner = r - made.wall_mm
        rim = math.pi * (r**2 - inner**2) * made.face_mm
        web = math.pi * inner**2 * made.web_thickness_mm
        assert solids["rim"].Volume() == pytest.approx(rim, rel=1e-9)
        assert solids["web"].Volume() == pytest.approx(web, rel=1e-9)
        box = solids["rim"].BoundingBox()
        assert (box.xmin, box.xmax) == pytest.approx((-made.face_mm / 2, made.face_mm / 2))


def test_pieces_cover_it_and_follow_its_sizes() -> None:
    for made in checks.draws(IdlerPulley, seed=82, count=4):
        meshed = checks.bodies(made, checks.COARSE)
        checks.check_pieces_cover(made, meshed)
        checks.check_follows_sizes(made)


def test_a_grooved_one_is_a_pulley_like_any_other() -> None:
    sizes = {"diameter_mm": 80.0, "ribs": 5, "section": "ribbed"}
    idler, pulley = IdlerPulley(**sizes), Pulley(**sizes)
    for name, solid in pulley.solids().items():
        assert idler.solids()[name].Volume() == pytest.approx(solid.Volume(), rel=1e-12)
