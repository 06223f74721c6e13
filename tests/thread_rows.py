"""Rows of the table of threads, and units: what tests of bolts share."""

from __future__ import annotations

from noseroom.physics import screw_threads
from noseroom.tables import fasteners as tables
from noseroom.tables.fasteners import ThreadSize
from noseroom.units import read_thread

INCH = 25.4
PSI = 0.006894757
POUND = 4.4482216
POUND_FOOT = 1.3558179
ALL = tables.threads()


def row(thread: str) -> ThreadSize:
    found = tables.thread_like(read_thread(thread))
    assert found is not None, thread
    return found


def of_unit(unit: str) -> list[ThreadSize]:
    return [one for one in ALL if one.unit == unit]


def area_mm2(one: ThreadSize) -> float:
    area = screw_threads.metric_stress_area_mm2
    if one.unit == "in":
        area = screw_threads.unified_stress_area_mm2
    return area(one.major_mm, one.pitch_mm)
