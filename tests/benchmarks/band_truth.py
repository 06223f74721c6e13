"""How often the bands of air and heat hold the truth of 500 invented cars that a judge computed.

    python tests/benchmarks/band_truth.py [cars] [draws] [--first N] [--readings]

Prints a row for each state and figure: how often the 5-95 % band holds it, where the truth lies
when it does not, and how many bands there were none of. With --readings, what a reading narrows.
The judge (`stack_truth*.py`) shares neither correlations nor solver with the program.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from stack_truth_bands import (
    FIGURES,
    READINGS,
    STATES,
    Judged,
    Narrowed,
    judged,
    narrowed,
    sensible_cars,
)

_SIZE_M = 0.05


def main() -> None:
    """Run it."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("cars", type=int, nargs="?", default=500)
    ask.add_argument("draws", type=int, nargs="?", default=200)
    ask.add_argument("--first", type=int, default=0)
    ask.add_argument("--readings", action="store_true")
    ask.add_argument("--every", action="store_true", help="print every figure of every car")
    asked = ask.parse_args()
    found: list[Judged] = []
    reads: list[Narrowed] = []
    for k, (car, today) in enumerate(sensible_cars(asked.cars, _SIZE_M, asked.first), 1):
        own = judged(car, today, asked.draws, _SIZE_M)
        found += own
        if asked.every:
            _show(own)
        if asked.readings:
            reads += narrowed(car, own, asked.draws)
        if k % 10 == 0 or k == asked.cars:
            held = np.mean([one.holds for one in found])
            print(f"{k} of {asked.cars} cars, {held:.1%} held", file=sys.stderr, flush=True)
    _table(found)
    _by_fan(found)
    if reads:
        _readings(reads)


def _show(own: list[Judged]) -> None:
    for one in own:
        band = one.band
        mark = "" if one.holds else "  <- not held"
        print(
            f"{one.seed:4d} {one.fan:9s} {one.state:9s} {one.figure:22s} "
            f"{band.low:8.3f} {band.middle:8.3f} {band.high:8.3f}  truth {one.truth:8.3f}{mark}",
            flush=True,
        )


def _table(found: list[Judged]) -> None:
    print(
        f"{'state':10s}{'figure':24s}{'cars':>5s}{'held':>8s}{'below':>8s}{'above':>8s}{'none':>7s}"
    )
    for state in STATES:
        for figure in FIGURES:
            some = [one for one in found if (one.state, one.figure) == (state, figure)]
            held = np.array([one.holds for one in some])
            none = np.array([np.isnan(one.band.middle) for one in some])
            below = np.array([one.below for one in some])
            above = ~held & ~none & ~below
            print(
                f"{state:10s}{figure:24s}{len(some):5d}{held.mean():8.1%}{below.mean():8.1%}"
                f"{above.mean():8.1%}{none.mean():7.1%}"
            )


def _by_fan(found: list[Judged]) -> None:
    for fan in sorted({one.fan for one in found}):
        some = [one for one in found if one.fan == fan]
        text = ", ".join(
            f"{figure} {np.mean([one.holds for one in some if one.figure == figure]):.0%}"
            for figure in FIGURES
        )
        print(f"{fan} ({len(some) // (len(FIGURES) * len(STATES))} cars): {text}")


def _readings(reads: list[Narrowed]) -> None:
    for reading in READINGS:
        for figure in FIGURES:
            some = [one for one in reads if (one.reading, one.figure) == (reading, figure)]
            ratios = np.array([one.after / one.before for one in some if one.before > 0])
            held = np.mean([one.judged.holds for one in some])
            print(
                f"{reading:11s}{figure:24s} width with it over without: mean {ratios.mean():.2f}, "
                f"median {np.median(ratios):.2f}; held {held:.1%}"
            )


if __name__ == "__main__":
    main()
