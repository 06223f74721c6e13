"""Random brackets folded, laid flat, folded again: how far each way is off, and how many.

Run by hand: `python tests/benchmarks/sheet_truth.py [how many]`. Prints counts and the worst
differences; nothing of it is timed.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import math

from noseroom.errors import GeometryError
from noseroom.geometry.kernel import volume_mm3
from noseroom.geometry.sheet_flat import folded_volume_mm3
from noseroom.geometry.sheet_solids import flat_solid, folded_solid
from sheet_makers import brackets
from test_sheet_folding import (
    corners_of,
    in_order_of,
    same_bends,
    same_hole,
    same_outline,
    unfolded,
)


def main(how_many: int) -> int:
    """Compare all; 1 where one is not the same."""
    counts: Counter[str] = Counter()
    volume = flat = vertex = 0.0
    for number, (blank, solid) in enumerate(brackets(how_many, seed=31)):
        t = blank.thickness_mm
        counts[f"of {len(blank.flanges)} flanges"] += 1
        counts["bends"] += len(blank.bends)
        counts["holes and slots"] += sum(len(one.holes) for one in blank.flanges)
        more = sum(
            math.radians(abs(one.angle_deg)) * t**2 * one.length_mm * (0.5 - one.k)
            for one in blank.bends
        )
        try:
            area = volume_mm3(flat_solid(blank))
            flat = max(flat, abs(volume_mm3(solid) - area - more) / area)
            counts["laid flat by the kernel"] += 1
        except GeometryError:
            counts["over itself in the flat"] += 1
        volume = max(volume, abs(volume_mm3(solid) / folded_volume_mm3(blank) - 1.0))
        try:
            again = unfolded(blank, solid)
            same_bends(blank, again)
            for one, other in zip(blank.flanges, in_order_of(blank, again), strict=True):
                same_outline(one.outline, other.outline)
                assert len(one.holes) == len(other.holes)
                assert all(any(same_hole(a, b) for b in other.holes) for a in one.holes)
            twice = folded_solid(again)
            vertex = max(vertex, abs(corners_of(twice) - corners_of(solid)).max())
            counts["the same again"] += 1
        except (AssertionError, ValueError, KeyError) as error:
            counts["not the same"] += 1
            print(f"number {number}: {error!r:.300}")
    for name, found in sorted(counts.items()):
        print(f"{name:24} {found}")
    print(f"worst: volume {volume:.1e}, flat against folded {flat:.1e}, corner {vertex:.1e} mm")
    return int(counts["not the same"] > 0)


if __name__ == "__main__":
    raise SystemExit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 300))
