"""The spacer's face as a paper template: to lay on the hub before any metal is turned."""

from __future__ import annotations

import math

from noseroom.geometry.outlines import Circle
from noseroom.parts.spacer import Spacer
from noseroom.units import MM_PER_INCH
from noseroom.workshop.figures import CentreMark, Figure


def spacer_figure(spacer: Spacer, name: str, title: str) -> Figure:
    """Rim, bore and bolt holes at full size, the first hole at 12 o'clock."""
    reach = spacer.bolt_circle_mm / 2.0
    turns = (math.tau * k / spacer.bolt_count for k in range(spacer.bolt_count))
    holes = [(reach * math.sin(turn), reach * math.cos(turn)) for turn in turns]
    drill = f"drill Ø {spacer.hole_mm:.1f} [{spacer.hole_mm / MM_PER_INCH:.3f} in]"
    said = f"{spacer.bolt_count} × {drill}" if spacer.bolt_count > 1 else drill
    return Figure(
        name,
        title,
        cuts=(
            Circle((0.0, 0.0), spacer.bore_mm),
            *(Circle(one, spacer.hole_mm) for one in holes),
            Circle((0.0, 0.0), spacer.diameter_mm),
        ),
        centres=tuple(
            CentreMark(one, "" if k else said, spacer.hole_mm) for k, one in enumerate(holes)
        ),
        seen_from="the fan",
        notes=(
            "Cut the paper out and lay it on the hub: pilot and bolts have to agree with it before "
            "metal is turned. It is no template to drill a hub by.",
        ),
    )
