"""Where a compressor may stand: 200 × 200 mm at every 2 mm, against asking each place by itself.

    python tests/benchmarks/placing.py [envelope file ...]

Without files: the farm pickup, the small estate and the roadster. Processor seconds of one thread,
libraries loaded before. "one by one": what the same pairs of components take when the sure gap is
asked at each place, from every 50th of them.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
from machine import machine

from noseroom.checks.clear_places import Window, neighbours
from noseroom.checks.compressor_place import find_places
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.reader import read
from noseroom.layout import Layout, PlacedPart, arrange
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules
from noseroom.threads import one_thread

_DEMOS = Path(__file__).parents[2] / "vehicle_envelopes"
_FILES = ("farm_pickup", "small_estate", "long_six_roadster")
_EACH = 50
_LIMIT_S = 5.0


def main() -> None:
    """Print a line for each nose."""
    files = [Path(one) for one in sys.argv[1:]] or [_DEMOS / f"{one}.yaml" for one in _FILES]
    print(machine())
    print(f"{'nose':24}{'places':>8}{'allowed':>9}{'s':>8}{'one by one, s':>15}{'ratio':>8}")
    with one_thread():
        _search(arrange(read(files[0], KINDS, rule_keys=clearance_rules())))  # loads libraries
        for file in files:
            layout = arrange(read(file, KINDS, rule_keys=clearance_rules()))
            took, size, allowed = _search(layout)
            alone = _alone(layout)
            mark = "" if took < _LIMIT_S else f"  over {_LIMIT_S:g} s"
            print(
                f"{file.stem:24}{size:8}{allowed:9}{took:8.2f}{alone:15.0f}"
                f"{alone / took:7.0f}×{mark}"
            )


def _compressor(layout: Layout) -> PlacedPart:
    return next(one for one in layout.parts.values() if one.kind == "compressor")


def _search(layout: Layout) -> tuple[float, int, int]:
    start = time.process_time()
    found = find_places(Pairs(layout), Rules(layout.envelope), _compressor(layout))
    took = time.process_time() - start
    if found is None:
        raise SystemExit("nothing fixes where the compressor stands")
    return took, found.allowed.size, int(found.allowed.sum())


def _alone(layout: Layout) -> float:
    """Processor seconds that every place by itself would take, by a sample of them."""
    pairs, rules, part = Pairs(layout), Rules(layout.envelope), _compressor(layout)
    frame = part.pose[:3, :3]
    window = Window.round_about(frame[:, 1], frame[:, 2], (100.0,) * 4)
    others = [
        one
        for one in layout.parts.values()
        if one.name != part.name and one.known and one.components and part.name not in one.ties
    ]
    near = list(neighbours(pairs, rules, part, others))
    sample = window.shifts.reshape(-1, 3)[::_EACH]
    start = time.process_time()
    for shift in sample:
        for one in near:
            pairs.sure_gap(
                part, one.mine, one.part, one.theirs, enough_mm=one.asked_mm, shift=shift
            )
    return (time.process_time() - start) * np.prod(window.shape) / len(sample)


if __name__ == "__main__":
    main()
