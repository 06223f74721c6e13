"""How long a stack's state takes: one draw, many draws, and what each part of the way costs.

    python tests/benchmarks/stack_states.py

Times of a busy machine say little; what counts are the ratios, which are of one run.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from machine import machine

from noseroom.physics.stack import StackAnswer, solve_stack
from stack_makers import compression, stack, state

REPEATS = 5
DRAWS = 1000


def least_ms(work: Callable[[], StackAnswer]) -> tuple[float, float, StackAnswer]:
    """The least of some repeats, ms by the clock and of the processor, and the last answer."""
    work()
    clock, processor = [], []
    for _ in range(REPEATS):
        first, second = time.perf_counter(), time.process_time()
        answer = work()
        clock.append(time.perf_counter() - first)
        processor.append(time.process_time() - second)
    return 1e3 * min(clock), 1e3 * min(processor), answer


def spread(draws: int, usual: float, share: float, seed: int) -> np.ndarray:
    """Draws round a usual figure; the figure itself for one."""
    if draws == 1:
        return np.array([usual])
    return usual * (1.0 + share * np.random.default_rng(seed).uniform(-1, 1, draws))


def main() -> None:
    """Prints a table."""
    print(machine())
    print(f"{'state':34}{'draws':>6}{'clock ms':>10}{'cpu ms':>9}{'rounds':>8}{'settled':>9}")
    first = 0.0
    for name, running, ram in (
        ("idle, A/C off", False, 0.0),
        ("idle, A/C on", True, 0.0),
        ("cruise, A/C on", True, 250.0),
    ):
        for draws in (1, DRAWS):

            def work(running: bool = running, ram: float = ram, draws: int = draws) -> StackAnswer:
                asked = state(
                    spread(draws, 36.0, 0.05, 1),
                    running,
                    spread(draws, 0.8, 0.3, 2),
                    ram_pa=ram,
                    coolant_w=spread(draws, 9000.0, 0.3, 3),
                    compression=compression(spread(draws, 3500.0, 0.3, 4)) if running else None,
                )
                return solve_stack(stack(rim=spread(draws, 0.01, 0.9, 5)), asked, draws)

            clock, processor, answer = least_ms(work)
            first = first or clock
            print(
                f"{name:34}{draws:6}{clock:10.1f}{processor:9.1f}{answer.rounds:8}"
                f"{answer.settled.mean():9.2f}   {clock / first:6.1f} x the first"
            )


if __name__ == "__main__":
    main()
