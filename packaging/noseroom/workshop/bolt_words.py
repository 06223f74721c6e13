"""Bolts of brackets as a shop asks for them: trade name, grade, nut, torque, washers to pack."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from noseroom.checks.bracket_bolts import Bolted
from noseroom.checks.bracket_words import trade_thread
from noseroom.checks.spacer_words import torque
from noseroom.physics.bolts import clamp_n, proof_load_n, tightening_torque_nm
from noseroom.physics.screw_threads import metric_stress_area_mm2, unified_stress_area_mm2
from noseroom.tables.fasteners import BoltLength, Grade, ThreadSize, grades, spacer_limits
from noseroom.units import MM_PER_INCH
from noseroom.workshop.cut_list import CutRow

_GRADES = {"in": "5", "mm": "8.8"}
"""What bolts on a car's body usually are: common practice."""
NUT = "locking nut"
_INSTEAD = "or a plain nut on a spring washer: beside an engine nuts shake loose"


def bolt_size(thread: ThreadSize, bolt: BoltLength) -> str:
    """Such as "1/4-20 × 1 1/4 in" or "M6 × 20"."""
    return f"{trade_thread(thread)} × {bolt.label}{' in' if bolt.unit == 'in' else ''}"


def size_of(one: Bolted) -> str:
    """The bolt's, or that none is sold."""
    thread = one.fastener.thread
    if one.bolt is None:
        return f"{trade_thread(thread)}, longer than {one.length_mm:.0f} mm: none is sold"
    return bolt_size(thread, one.bolt)


def grade_words(thread: ThreadSize) -> str:
    """The grade or property class that is asked for, "grade 5" or "class 8.8"."""
    return f"{'grade' if thread.unit == 'in' else 'class'} {_GRADES[thread.unit]}"


def torques_nm(thread: ThreadSize) -> tuple[float, float]:
    """Tightening torque with oiled and with dry threads, N·m: T = K d F, F from the proof load."""
    grade: Grade = grades()[_GRADES[thread.unit]]
    area = unified_stress_area_mm2 if thread.unit == "in" else metric_stress_area_mm2
    clamp = clamp_n(proof_load_n(area(thread.major_mm, thread.pitch_mm), grade.proof_mpa))
    oiled, dry = (
        tightening_torque_nm(clamp, thread.major_mm, spacer_limits()[key].value)
        for key in ("torque factor oiled", "torque factor dry")
    )
    return oiled, dry


def torque_notes(bolts: Iterable[Bolted]) -> Iterator[str]:
    """A sentence for each size of thread on how tight, and what stands against it."""
    every = tuple(bolts)
    sizes = {one.fastener.thread.thread: one.fastener.thread for one in every}
    less = "on aluminium"
    if any(one.into == "rivet nut" for one in every):
        less = f"{less} or in a rivet nut"
    for thread in sizes.values():
        oiled, dry = (torque(nm, thread.unit) for nm in torques_nm(thread))
        yield (
            f"{trade_thread(thread)}: {oiled} oiled, {dry} dry at most, less {less}. A sizing aid: "
            "the maker's torque stands above it."
        )


def bolt_rows(one: Bolted, item: str, hand: str, where: str) -> Iterator[CutRow]:
    """A joint's bolt, nut and washers for the cut list. where: such as "at the tab"."""
    thread = one.fastener.thread
    grade = grade_words(thread)
    oiled, dry = (torque(nm, thread.unit) for nm in torques_nm(thread))
    tight = f"{oiled} oiled, {dry} dry at most, less on aluminium or in a rivet nut; a sizing aid"
    yield CutRow(item, "bolt", 1, hand, size_of(one), grade, note=f"{where}; {tight}")
    if one.into == "nut":
        yield CutRow(item, NUT, 1, hand, trade_thread(thread), grade, note=f"{where}; {_INSTEAD}")
    else:
        yield CutRow(item, one.into, 1, hand, trade_thread(thread), note=where)
    washers = 2 if one.into == "nut" else 1
    yield CutRow(item, "washer", washers, hand, one.fastener.washer.size, note=where)


def packing_row(one: Bolted, packing_mm: float, item: str, hand: str) -> CutRow:
    """Washers to fill a gap with: as many as it may take of the thinnest that are sold."""
    washer = one.fastener.washer
    low, high = washer.least_mm, washer.most_mm
    return CutRow(
        item,
        "washer to pack with",
        max(1, math.floor(packing_mm / low + 1e-9)),
        hand,
        f"{washer.size}, {low:.1f} to {high:.1f} mm thick",
        note=f"at most {packing_mm:.1f} mm [{packing_mm / MM_PER_INCH:.3f} in] where a gap is left",
    )
