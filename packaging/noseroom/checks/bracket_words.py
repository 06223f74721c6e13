"""What is said of a bracket, in plain words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bracket_bolts import INSERT_HOLE_MM, Bolted
from noseroom.checks.bracket_job import Candidate
from noseroom.tables.fasteners import ThreadSize, threads
from noseroom.units import MM_PER_INCH

Floats = NDArray[np.float64]

_BY_HAND_MM = 3.1
"""What a bench brake bends by hand in narrow strips: common practice."""
_WAYS = ("fore and aft", "across the car", "up and down")


def way_words(along: Floats) -> str:
    """The main vehicle axis of a direction (3,), both ways."""
    return _WAYS[int(np.argmax(np.abs(along)))]


def both(mm: float) -> str:
    """A length in both units, as drawings have it."""
    return f"{mm:.1f} mm [{mm / MM_PER_INCH:.3f} in]"


def trade_thread(thread: ThreadSize) -> str:
    """A thread as it is sold by: coarse metric ones by their size alone, as "M6"."""
    if thread.unit == "in":
        return thread.thread
    pitches = [one.pitch_mm for one in threads() if one.size == thread.size and one.unit == "mm"]
    return thread.size if thread.pitch_mm >= max(pitches) else thread.thread


_BY_ONE = ("drier",)
"""Parts that hang by a single bracket."""


def notes(made: Candidate, bolts: Sequence[Bolted]) -> Iterator[str]:
    """What has to be known at the bench and at the car."""
    job = made.job
    take, noun = job.take, job.site.name.split()[-1]
    yield "Break all edges. The rolling direction of the sheet runs across the bends."
    if job.sheet.thickness_mm > _BY_HAND_MM and made.bend_count:
        yield "Steel or aluminium as thick as this is bent in a press, not in a hand brake."
    for one in take.takes:
        reach = both(one.spread_mm)
        if one.kind == "packing":
            more = f"Washers, {both(one.travel_mm)} at most," if one.travel_mm > 0 else "Nothing"
            yield (
                f"{more} between the bracket and the core support, or the {noun}, where a gap "
                f"is left as it is bolted up: {way_words(one.along)} the holes may be {reach} "
                "from where they are drawn."
            )
        elif one.kind == "last":
            yield (
                f"Hang the bracket on the {noun} first, mark the hole in the core support through "
                f"it, then drill: {way_words(one.along)} it may be {reach} from where it is drawn."
            )
    if job.face.sheet_mm <= 0:
        size = trade_thread(job.rail_bolt.thread)
        drill = INSERT_HOLE_MM.get(job.rail_bolt.thread.size)
        hole = f", hole {both(drill)} (from memory: confirm)" if drill else ""
        yield f"The {job.face.name} is a box: a rivet nut {size} goes into it{hole}."
    if job.rubber is not None:
        one_mm = job.rubber.flange_mm
        yield (
            f"A rubber grommet with a collar sits in the hole for the tab: hole "
            f"{both(job.rubber.hole_mm)}, {both(job.rubber.outside_mm)} across, flanges of "
            f"{both(one_mm)} ({job.rubber.how}: measure yours before the hole is cut). The tab "
            f"stands {both(one_mm)} off the sheet. The washers there are as wide as its flanges."
        )
        yield (
            f"Rubber gives: the {job.site.host.name} may sway by up to {both(one_mm)} on it, which "
            "the clearances here leave out."
        )
    if job.site.host.kind in _BY_ONE:
        yield (
            f"One bolt holds the {job.site.host.name}: only its grip keeps the bracket from "
            "turning. Tighten it to its torque, and give it a second bolt or a stop if it turns."
        )
    remembered = [one for one in bolts if any(row.remembered for row in one.rows)]
    if remembered:
        yield "Sizes of bolts are partly from memory: confirm before buying."


def cautions(made: Candidate) -> tuple[str, ...]:
    """What can hurt where this is made and fitted."""
    said = [
        "Cut sheet is sharp: gloves and eye protection; clamp what is drilled.",
        "Guaranteed for the model as measured: hold the paper template up before metal is cut.",
    ]
    if made.hole is None:
        said.insert(
            1,
            "Before drilling look behind the panel; battery off where wiring is near. Never drill "
            "a tank, a header or a core.",
        )
    return tuple(said)
