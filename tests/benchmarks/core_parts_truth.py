"""Random placements of parts of every kind at random sizes, judged by finer meshes and the kernel.

Run: python tests/benchmarks/core_parts_truth.py [placements] [first block] [seed] [only]

The parts are made anew every 100 placements, in blocks that depend on nothing but the seed and
their number: a run that was stopped goes on at any block, and a fault is seen again by itself with
`100 BLOCK SEED PLACEMENT`.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from core_parts import KINDS
from parts_judge import Run, block

A_BLOCK = 100


def main(placements: int = 5000, first: int = 0, seed: int = 1, only: int = -1) -> int:
    """Print the counts; 1 if anything was over-stated or further off than it should be."""
    whole = Run()
    started = time.monotonic()
    blocks = range(first, first + max(1, placements // A_BLOCK))
    for number in blocks:
        run = block(seed, number, KINDS, A_BLOCK, only=only)
        whole.add(run)
        for line in run.failures:
            print(line)
        count = sum(name.startswith("FAULT") for name in run.seen.elements())
        spent = time.monotonic() - started
        print(
            f"block {number} of {blocks[0]} to {blocks[-1]}: {count} faults, {spent:.0f} s so far"
        )
        sys.stdout.flush()
    for name, times in sorted(whole.seen.items()):
        print(f"{times:6d} {name}")
    print(f"bound at most {whole.worst_bound_mm:.6f} mm below the least that the truth can be")
    print(f"value at most {whole.worst_value_mm:.2e} mm outside of what the truth can be")
    return int(any(name.startswith("FAULT") for name in whole.seen))


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:])))
