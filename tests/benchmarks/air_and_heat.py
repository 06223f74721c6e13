"""What tables and series of our own save against the libraries that they come from.

    python tests/benchmarks/air_and_heat.py

Prints ratios of one run, for a thousand draws at once, and how much longer a thousand draws of a
loop with coil and condenser take than one.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from noseroom.physics import exchangers
from noseroom.physics.air import ZERO_CELSIUS
from noseroom.physics.evaporators import coil_load
from noseroom.physics.loops import Loop, balance, need_of_condenser
from noseroom.physics.ranges import Floats
from noseroom.physics.refrigerant import refrigerant

DRAWS = 1000


def seconds(run: Callable[[], object], repeat: int = 5) -> float:
    """The best of several."""
    best = float("inf")
    for _ in range(repeat):
        start = time.perf_counter()
        run()
        best = min(best, time.perf_counter() - start)
    return best


def against_coolprop(rng: np.random.Generator) -> None:
    from CoolProp import CoolProp

    fluid, known = refrigerant("R134a"), CoolProp.AbstractState("HEOS", "R134a")
    pressure = rng.uniform(0.8e6, 2.5e6, DRAWS)
    entropy = fluid.vapour_entropy(pressure) + rng.uniform(5.0, 80.0, DRAWS)

    def one_by_one() -> list[float]:
        found = []
        for p, s in zip(pressure, entropy, strict=True):
            known.update(CoolProp.PSmass_INPUTS, p, s)
            found.append(known.hmass())
        return found

    ours = seconds(lambda: fluid.isentropic_enthalpy(pressure, entropy))
    theirs = seconds(one_by_one, 2)
    off = np.abs(fluid.isentropic_enthalpy(pressure, entropy) - one_by_one()).max()
    print(f"isentropic enthalpy: CoolProp takes {theirs / ours:.0f} times as long; {off:.2g} J/kg")


def against_ht(rng: np.random.Generator) -> None:
    from ht import effectiveness_from_NTU

    ntu, ratio = rng.uniform(0.1, 6.0, DRAWS), rng.uniform(0.05, 1.0, DRAWS)
    ours = seconds(lambda: exchangers.crossflow_unmixed(ntu, ratio))
    theirs = seconds(
        lambda: [
            effectiveness_from_NTU(n, c, subtype="crossflow")
            for n, c in zip(ntu, ratio, strict=True)
        ],
        2,
    )
    print(f"crossflow, exact: ht takes {theirs / ours:.0f} times as long")


def one_loop(rng: np.random.Generator, draws: int) -> float:
    fluid = refrigerant("R134a")
    air_k = ZERO_CELSIUS + 38.0

    def drawn(low: float, high: float) -> Floats:
        return rng.uniform(low, high, draws)

    loop = Loop(
        fluid=fluid,
        displacement_m3=160e-6,
        speed_rpm=1200.0,
        clearance=drawn(0.03, 0.08),
        filling=drawn(0.75, 0.95),
        isentropic_efficiency=drawn(0.5, 0.75),
        superheat_k=drawn(3.0, 12.0),
        subcooling_k=drawn(2.0, 10.0),
    )
    flux, blown = drawn(1.2, 3.0), drawn(0.07, 0.15)

    need = need_of_condenser(
        fluid,
        0.25,
        air_k=air_k,
        air_capacity=flux * 1010.0,
        conductance=(1400.0, 2300.0, 1400.0),
    )
    return seconds(
        lambda: balance(
            loop,
            lambda coil: coil_load(blown, 305.0, 0.012, coil, 0.75),
            need,
            least_condensing_k=air_k,
        ),
        3,
    )


def main() -> None:
    """Print everything."""
    rng = np.random.default_rng(8)
    against_coolprop(rng)
    against_ht(rng)
    alone, many = one_loop(rng, 1), one_loop(rng, DRAWS)
    print(f"a loop in balance: {DRAWS} draws take {many / alone:.1f} times as long as one")


if __name__ == "__main__":
    main()
