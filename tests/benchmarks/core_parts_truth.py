"""Random placements of parts of random sizes, judged by finer meshes and by the kernel.

Run: python tests/benchmarks/core_parts_truth.py [placements] [seed]
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from core_parts import judged, made_components
from noseroom.geometry.clearance import Relation, clearance
from noseroom.parts.registry import PARTS
from truth_makers import VALUE_BELOW_MM, at, faults, random_pose

CAP_MM = 50.0


def main(placements: int = 1000, seed: int = 1) -> int:
    """Print the counts; 1 if anything was over-stated or further off than it should be."""
    rng = np.random.default_rng(seed)
    made = made_components(list(PARTS), rng)
    seen: Counter[str] = Counter()
    for n in range(placements):
        i, j = (int(k) for k in rng.choice(len(made), 2))
        a, b = made[i], made[j]
        pose_a = random_pose(rng, 1000.0) @ at(*-a.middle)
        there = random_pose(rng, a.reach + b.reach + 20) @ at(*-b.middle)
        pose_b = pose_a @ at(*a.middle) @ there
        answer = clearance(a.body, b.body, pose_a, pose_b, cap_mm=CAP_MM)
        seen[str(answer.relation)] += 1
        if answer.relation is not Relation.APART:
            if answer.bound_mm > 0:
                seen["FAULT a gap between what is not apart"] += 1
            continue
        low, high = judged(a, pose_a, b, pose_b)
        seen["apart and below the cap"] += high < CAP_MM
        seen["apart and below 25 mm"] += high < VALUE_BELOW_MM
        for fault in faults(answer, low, high, CAP_MM):
            seen["FAULT " + fault] += 1
            print(f"{n}: {fault}: {a.name} {b.name} truth {low} {high} answer {answer}"[:300])
    for name, count in sorted(seen.items()):
        print(f"{count:6d} {name}")
    print(f"{len(made)} components of {len({one.name.split('.')[0] for one in made})} kinds")
    return int(any(name.startswith("FAULT") for name in seen))


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:])))
