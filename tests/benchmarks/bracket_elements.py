"""Random bent brackets, by formula and by finite elements: is the formula ever hopeful?

    python tests/benchmarks/bracket_elements.py [how many] [seed]

Prints, over all of them, the formula's first natural frequency over that of finite elements, and
its highest stress over theirs: away from bolts and bends, in bends, and at the washers' rims. The
first has to stay below 1, the others above; the last depends on how fine the bricks are. Every
other bracket is held by a tab.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from noseroom.checks.bracket_strength import Carried, strength_of
from noseroom.checks.strength_elements import elements_check
from noseroom.checks.strength_frame import Tab
from noseroom.errors import GeometryError
from noseroom.tables.sheet import sheet_materials
from strips import BentStrip, bent_strip


def random_bracket(random: np.random.Generator) -> BentStrip:
    """A strap, an L, a Z, a U or a hat, askew or not."""
    form = random.choice(["strap", "L", "Z", "U", "hat"])
    thick = float(random.choice([1.5, 2.0, 3.0, 4.0]))
    wide = float(random.uniform(22.0, 55.0))
    turn = random.uniform(20.0, 130.0, size=4) * random.choice([-1.0, 1.0])
    signs = {"strap": (), "L": (1,), "Z": (1, -1), "U": (1, 1), "hat": (-1, 1, 1, -1)}[form]
    if form in ("U", "hat"):
        turn = np.sign(turn) * np.minimum(np.abs(turn), 95.0)
    angles = [float(sign * one) for sign, one in zip(signs, turn, strict=False)]
    flats = [float(one) for one in random.uniform(25.0, 70.0, size=len(angles) + 1)]
    flats[0] += wide
    flats[-1] += wide
    if form == "hat":
        flats[2] += 20.0
    skews = [float(one) for one in random.uniform(-12.0, 12.0, size=len(angles))]
    return bent_strip(
        flats,
        angles,
        wide=wide,
        thick=thick,
        inside=thick * float(random.uniform(0.7, 2.0)),
        skews=skews,
        bolts=(0, 2, 4) if form == "hat" else (0, -1),
        hole=7.0 if wide < 30.0 else 9.0,
        washer=16.0 if wide < 30.0 else 18.0,
    )


def main(count: int, seed: int) -> None:
    random = np.random.default_rng(seed)
    metals = list(sheet_materials().values())
    rows: dict[str, list[float]] = {}
    left_out = 0
    for number in range(count):
        made = random_bracket(random)
        fixed = made.spots[:1] + made.spots[2:]
        tab = Tab(20.0, 2.5, float(random.uniform(8.0, 30.0))) if number % 2 else None
        load = Carried(float(random.uniform(0.3, 4.0)), 4, "random", tab=tab)
        metal = metals[number % len(metals)]
        try:
            strength = strength_of(
                made.blank, made.spots[1], fixed, load, metal, with_remedies=False
            )
            found = elements_check(strength)
        except (GeometryError, ValueError) as fault:
            left_out += 1
            print(f"{number}: left out, {fault}")
            continue
        row = {
            "frequency": found.formula_hz / found.hz,
            "stress away from bolts and bends": _over(found.formula_mpa, found.nominal_mpa),
            "stress in bends": _over(found.formula_mpa, found.bend_mpa),
            "stress at washers' rims": _over(found.formula_mpa, found.bolt_mpa),
        }
        if not found.formula_is_safe:
            print(f"{number}: hopeful: {found}\n    {made.blank}")
        for key, value in row.items():
            if value is not None:
                rows.setdefault(key, []).append(value)
    print(f"{count - left_out} brackets, formula over finite elements: least, middle, most")
    for key, values in rows.items():
        print(f"{key:36} {min(values):6.3f} {np.median(values):6.3f} {max(values):6.3f}")


def _over(formula: float, elements: float | None) -> float | None:
    return None if elements is None else formula / elements


if __name__ == "__main__":
    given = [int(one) for one in sys.argv[1:3]]
    main(*given, *(60, 7)[len(given) :])
