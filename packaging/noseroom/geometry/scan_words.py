"""What was wrong with a scan and what was done about it, in a builder's words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from noseroom.geometry.scan_strays import STRAY_MM, Gathered
from noseroom.geometry.scan_turn import Turned
from noseroom.geometry.scan_types import Hole
from noseroom.geometry.scan_weld import SLIVER_MM, Welded

_ODD_SMALL_MM, _ODD_LARGE_MM = 20.0, 10_000.0


def counted(count: int, one: str, many: str) -> str:
    """A remark with its count; nothing for none of them."""
    if not count:
        return ""
    return f"1 {one}" if count == 1 else f"{count:,} {many}"


def remarks_on(
    longest_mm: float,
    not_numbers: int,
    weld: Welded,
    strays: Gathered,
    turn: Turned,
    holes: Sequence[Hole],
    border: Sequence[Hole],
) -> Iterator[str]:
    """Yield what the builder should know, in the order in which it was found; some are empty."""
    if not _ODD_SMALL_MM <= longest_mm <= _ODD_LARGE_MM:
        yield f"it is {longest_mm:.3g} mm long, which is odd for a car's part: is its unit right?"
    yield counted(
        not_numbers,
        "triangle had a corner that is not a number; left out, and what is there is not known",
        "triangles had corners that are not numbers; left out, and what is there is not known",
    )
    yield counted(
        weld.twice, "triangle was there twice; one kept", "triangles were there twice; one kept"
    )
    thin = f"less than {SLIVER_MM:g} mm high"
    kept = f"; {weld.left:,} of them left in" if weld.left else ""
    yield counted(
        weld.slivers, f"sliver ({thin}); closed up{kept}", f"slivers ({thin}); closed up{kept}"
    )
    yield counted(
        turn.turned,
        "triangle faced the wrong way; turned",
        "triangles faced the wrong way; turned",
    )
    yield counted(
        turn.inside_out,
        "closed surface was inside out; turned",
        "closed surfaces were inside out; turned",
    )
    yield counted(
        turn.one_sided,
        "piece has one side only, as a twisted band has; left as it is",
        "pieces have one side only, as a twisted band has; left as they are",
    )
    yield counted(
        turn.crowded,
        "edge has more than two triangles; left as it is",
        "edges have more than two triangles; left as they are",
    )
    if strays.pieces > 1:
        small = f"the smallest {strays.smallest_mm:.1f} mm across"
        yield f"{strays.pieces:,} separate pieces, {small}; all kept"
    yield counted(
        strays.strays,
        f"stray bit (under {STRAY_MM:g} mm); put into a box that contains it",
        f"stray bits (under {STRAY_MM:g} mm); put into {strays.boxes} boxes that contain them",
    )
    if holes:
        width = f"{holes[0].width_mm:.0f} mm" if holes[0].width_mm >= 0.5 else "under 0.5 mm"
        what = "what lies behind it is" if len(holes) == 1 else "what lies behind them is"
        which = f"{width} wide" if len(holes) == 1 else f"the widest {width}"
        within = f"taken to stay within {math.ceil(max(one.reach_mm for one in holes)):g} mm"
        rest = f", {which}: {what} not known, {within}"
        yield counted(len(holes), f"hole{rest}", f"holes{rest}")
    yield counted(
        len(border),
        "open edge, where the scan ends",
        "open edges, where the scan ends",
    )
