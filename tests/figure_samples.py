"""Figures and blanks for tests of what is cut and printed, with sizes that are known by hand."""

from __future__ import annotations

import math

from noseroom.geometry.outlines import BendLine, Circle, Path, rectangle, rounded, slot
from noseroom.geometry.sheet import Bend, Blank, Flange
from noseroom.workshop.figures import CentreMark, Figure, Label

WIDE, LONG, CORNER = 30.0, 95.4, 4.0


def strap(name: str = "strap", hand: str = "left") -> Figure:
    """A bracket's flat: a round hole, a slot, two bends."""
    outline = rounded([(0, 0), (WIDE, 0), (WIDE, LONG), (0, LONG)], [CORNER] * 4)
    return Figure(
        name,
        f"Condenser bracket, upper {hand}",
        cuts=(Circle((15, 12), 9.0), slot((15, 80), 6, 9, math.pi / 2), outline),
        bends=(
            BendLine((0, 30), (WIDE, 30), "90° up, R 3.0"),
            BendLine((0, 62), (WIDE, 62), "90° down, R 3.0"),
        ),
        centres=(
            CentreMark((15, 12), "drill Ø 9.0 (0.354 in)", 9.0),
            CentreMark((15, 77), "slot end Ø 9.0", 9.0),
            CentreMark((15, 83), "slot end Ø 9.0", 9.0),
        ),
        hand=hand,
        seen_from="the side that the bolts' heads are on",
        thickness_mm=2.5,
        material="mild steel",
        notes=("Size ± 0.5 mm; 3 × Ø 9 is no ½ in drill.",),
    )


def strap_area_mm2() -> float:
    """Of its outline by hand: each rounded corner takes (1 - π/4) r² away."""
    return WIDE * LONG - (4.0 - math.pi) * CORNER**2


def panel(wide: float = 330.0, high: float = 400.0) -> Figure:
    """Too large for a sheet, with round holes on seams and off them."""
    outline = rounded([(0, 0), (wide, 0), (wide, high), (0, high)], [12] * 4)
    return Figure(
        "panel",
        "Condenser, front panel",
        cuts=(Circle((wide / 2, high / 2), 70.0), Circle((60, 60), 12), outline),
        centres=(CentreMark((60, 60), "drill Ø 12", 12.0),),
        guides=(Path(((20, 0), (20, high)), closed=False),),
        labels=(
            Label("A", (8, high / 2), 6.0, 90.0),
            *(Label(f"front {k}", (wide / 2, 30.0 + k * 24.0), 8.0) for k in range(4)),
            *(Label(f"{k}", (30.0 + k * 40.0, high / 2 - 2.0), 5.0) for k in range(7)),
        ),
        thickness_mm=3.0,
        material="card",
        notes=("Slots fit the card as it is sold.",),
    )


def crowded() -> Figure:
    """Twelve holes close together, each with words."""
    spots = [(12.0 + 18.0 * k, 12.0 + 18.0 * j) for k in range(4) for j in range(3)]
    return Figure(
        "crowded",
        "Plate with many holes",
        cuts=(*(Circle(one, 7.0) for one in spots), rectangle((0, 0), (78, 60))),
        centres=tuple(CentreMark(one, "drill Ø 7.0 (0.276 in)", 7.0) for one in spots),
    )


def angle_blank(angle_deg: float = 90.0) -> Blank:
    """An L of 3 mm with legs of 67 and 42 mm outside, 40 mm wide, inside radius 4, K 0.4."""
    spent = math.radians(abs(angle_deg)) * (4.0 + 0.4 * 3.0)
    far = 60.0 + spent
    foot = rounded([(0, 0), (60, 0), (60, 40), (0, 40)], [8, 0, 0, 8])
    leg = rounded([(far, 0), (far + 35, 0), (far + 35, 40), (far, 40)], [0, 8, 8, 0])
    holes = (Circle((18, 12), 6.6), Circle((18, 28), 6.6), Circle((45, 20), 11.0))
    up = slot((far + 20, 20), 10, 9, math.pi / 2)
    return Blank(
        3.0,
        (Flange(foot, holes), Flange(leg, (up,))),
        (Bend(0, 1, (60, 0), (60, 40), angle_deg, 4.0, 0.4),),
    )


def step_blank(angle_deg: float = 90.0, thickness_mm: float = 2.5, turn_deg: float = 0.0) -> Blank:
    """A Z, 30 mm wide, bent up and down again by the same angle; the whole flat may be turned."""
    k, inside, wide = 0.36, 3.0, 30.0
    spent = math.radians(angle_deg) * (inside + k * thickness_mm)
    x1, x2 = 40.0 + spent, 65.0 + spent
    x3, x4 = x2 + spent, x2 + spent + 45.0
    turn = math.radians(turn_deg)
    first = rounded([(0, 0), (40, 0), (40, wide), (0, wide)], [6, 0, 0, 6]).placed(turn)
    web = rectangle((x1, 0), (x2, wide)).placed(turn)
    last = rounded([(x3, 0), (x4, 0), (x4, wide), (x3, wide)], [0, 6, 6, 0]).placed(turn)
    ends = [
        Circle(one, 1.0).placed(turn).centre for one in ((40, 0), (40, wide), (x2, 0), (x2, wide))
    ]
    return Blank(
        thickness_mm,
        (
            Flange(first, (Circle((16, 15), 9.0).placed(turn),)),
            Flange(web),
            Flange(last, (slot((x4 - 18, 15), 8, 7).placed(turn),)),
        ),
        (
            Bend(0, 1, ends[0], ends[1], angle_deg, inside, k),
            Bend(1, 2, ends[2], ends[3], -angle_deg, inside, k),
        ),
    )
