"""Random placements of analytic bodies: how true the bound and the value of a clearance are.

Run: python tests/benchmarks/core_truth.py [placements] [seed]
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from noseroom.geometry.clearance import clearance
from truth_makers import (
    SURE_MM,
    VALUE_BELOW_MM,
    faults,
    random_pose,
    random_truth,
    true_gap,
)

CAP_MM = 50.0
BODIES = 60


def main(placements: int = 5000, seed: int = 1) -> int:
    """Print the counts; 1 if anything was over-stated or further off than it should be."""
    rng = np.random.default_rng(seed)
    truths = [random_truth(rng) for _ in range(BODIES)]
    bodies = [one.body() for one in truths]
    seen: Counter[str] = Counter()
    worst_bound = worst_value = 0.0
    for n in range(placements):
        i, j = (int(k) for k in rng.choice(BODIES, 2))
        a, b = truths[i], truths[j]
        pose_a = random_pose(rng, 1000.0)
        pose_b = pose_a @ random_pose(rng, a.reach + b.reach + 40)
        low, high = true_gap(a, pose_a, b, pose_b)
        answer = clearance(bodies[i], bodies[j], pose_a, pose_b, cap_mm=CAP_MM)
        if high > 1e-5 and high - low > SURE_MM:
            seen["truth not settled"] += 1
            continue
        seen[str(answer.relation)] += 1
        if 1e-5 < high < CAP_MM:
            seen["apart and below the cap"] += 1
            worst_bound = max(worst_bound, high - answer.bound_mm)
        if 1e-5 < high < VALUE_BELOW_MM:
            seen["apart and below 25 mm"] += 1
            worst_value = max(worst_value, abs(answer.distance_mm - high))
        for fault in faults(answer, low, high, CAP_MM):
            seen["FAULT " + fault] += 1
            print(f"{n}: {fault}: {a} {b} truth {low} {high} answer {answer}"[:400])
    for name, count in sorted(seen.items()):
        print(f"{count:6d} {name}")
    print(f"bound at most {worst_bound:.6f} mm below the truth up to the cap of {CAP_MM:g} mm")
    print(f"value at most {worst_value:.2e} mm off below 25 mm")
    return int(any(name.startswith("FAULT") for name in seen))


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:])))
