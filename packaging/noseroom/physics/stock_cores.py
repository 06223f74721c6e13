"""Cores as they are usual, for those that nobody measured."""

from __future__ import annotations

from noseroom.physics.fin_cores import LouveredCore, Number, PlainCore
from noseroom.tables.heat import UsualCore

__all__ = ["core_like"]

_MM = 1e-3


def core_like(row: UsualCore, **instead: Number) -> LouveredCore | PlainCore:
    """A core with a usual one's sizes, in m.

    instead: sizes that are known better, or draws of them, by the names of the core's class and in
    its units, such as depth=0.040. Raises TypeError for a name that the class has not.
    """
    sizes: dict[str, Number] = {
        "fin_pitch": row.fin_pitch_mm * _MM,
        "fin_length": row.fin_length_mm * _MM,
        "fin_thickness": row.fin_thickness_mm * _MM,
        "depth": row.depth_mm * _MM,
        "tube_thickness": row.tube_thickness_mm * _MM,
        "fin_conductivity": row.conductivity,
    }
    if row.louver_pitch_mm is None or row.louver_length_mm is None or row.louver_angle_deg is None:
        return PlainCore(**{**sizes, **instead})
    sizes["louver_pitch"] = row.louver_pitch_mm * _MM
    sizes["louver_length"] = row.louver_length_mm * _MM
    sizes["louver_angle_deg"] = row.louver_angle_deg
    return LouveredCore(**{**sizes, **instead})
