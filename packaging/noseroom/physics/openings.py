"""What grilles, screens and openings take from air, as loss coefficients on ρ v² / 2.

v is the velocity ahead, as if nothing were there, unless it says otherwise. Arrays in and out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics.ranges import Correlation, Floats, Range

__all__ = [
    "PERFORATED_PLATE",
    "WIRE_SCREEN",
    "loss_of_opening",
    "loss_of_plate_idelchik",
    "loss_of_screen_idelchik",
    "pressure_drop",
]

PERFORATED_PLATE = Correlation(
    name="Idelchik's perforated plate",
    source="I. E. Idelchik, Handbook of Hydraulic Resistance (3rd ed.), diagram 8-1: thin plate, "
    "sharp edges; formula from memory",
    ranges=(Range("open share", 0.05, 0.95),),
    spread="within 13 % of another author's curve (R. D. Blevins, as the library fluids has it) "
    "up to seven tenths open",
)

WIRE_SCREEN = Correlation(
    name="Idelchik's wire screen",
    source="I. E. Idelchik, Handbook of Hydraulic Resistance (3rd ed.), diagram 8-6: round wires, "
    "Reynolds number on the wire above 1000; formula from memory",
    ranges=(Range("open share", 0.1, 0.95), Range("Reynolds number", 50.0, 1e5)),
    spread="more at low Reynolds numbers, by the factor of the same diagram",
)


def loss_of_plate_idelchik(open_share: ArrayLike) -> Floats:
    """Sharp-edged openings in a thin sheet, or slats: (0.707 √(1-f) + 1 - f)² / f².

    open_share: f, of the face. Source: `PERFORATED_PLATE`.
    """
    f = np.asarray(open_share, dtype=float)
    return np.asarray(((0.707 * np.sqrt(1.0 - f) + 1.0 - f) / f) ** 2)


def loss_of_screen_idelchik(open_share: ArrayLike, wire_re: ArrayLike = 1e3) -> Floats:
    """Woven wire, such as a bug screen: k (1.3 (1-f) + (1/f - 1)²).

    open_share: f, of the face. wire_re: Reynolds number on wire and velocity between the wires;
    below 1000 k is 1 + 0.7 exp(-0.0106 Re), which lies near the diagram's table. Source:
    `WIRE_SCREEN`.
    """
    f, re = np.asarray(open_share, dtype=float), np.asarray(wire_re, dtype=float)
    slow = 1.0 + 0.7 * np.exp(-0.0106 * re)
    return np.asarray(slow * (1.3 * (1.0 - f) + (1.0 / f - 1.0) ** 2))


def loss_of_opening(contraction: ArrayLike = 0.62) -> Floats:
    """An opening in a wall between two large rooms, on the velocity in the opening: 1 / c².

    contraction: of the jet, 0.61 to 0.63 for a sharp edge and 1 for a well rounded one (Borda and
    Kirchhoff, π / (π + 2) = 0.611 for a slot).
    """
    return np.asarray(1.0 / np.asarray(contraction, dtype=float) ** 2)


def pressure_drop(loss: ArrayLike, density: ArrayLike, velocity: ArrayLike) -> Floats:
    """Pa: ζ ρ v |v| / 2."""
    v = np.asarray(velocity, dtype=float)
    return np.asarray(0.5 * np.asarray(loss) * np.asarray(density) * v * np.abs(v))
