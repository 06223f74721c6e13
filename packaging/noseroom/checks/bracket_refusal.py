"""Why a tab gets no bracket: which rule, by how much, and what would do, tried where it can be."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import islice
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.bracket_bolts import Fastener
from noseroom.checks.bracket_glance import Nose, glances
from noseroom.checks.bracket_job import ROOM, Fell
from noseroom.checks.bracket_load import box_of
from noseroom.checks.bracket_records import NoBracket
from noseroom.checks.bracket_search import ADJUSTMENT, Search, Tried
from noseroom.checks.bracket_sites import TabSite
from noseroom.layout import PlacedPart
from noseroom.tables.fasteners import grommets

Floats = NDArray[np.float64]

_FURTHER_MM = (1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 15.0, 20.0)
"""How much further out a tab's hole is tried."""
_MORE_MM = (0.0, 2.0, 5.0)
_STRIPS = 2
_OTHERWISE = "hang it by another hole, or name one that is there as a part of the kind bolt hole"


def unread(part: PlacedPart, keys: Sequence[str]) -> list[str]:
    """Those of some sizes that nobody has read."""
    sizes = part.entry.sizes
    return [key for key in keys if key in sizes and sizes[key].knowledge == "assumed"]


def not_to_guesses(site: TabSite, part: PlacedPart, keys: Sequence[str]) -> NoBracket:
    """Sizes that decide metal are only assumed."""
    listed = words.listed(list(keys))
    return NoBracket(
        site,
        f"a bracket cannot be made to guesses: {listed} of the {part.name} "
        f"{'is' if len(keys) == 1 else 'are'} only assumed",
        (f"read {listed} of the {part.name} and write it into the file",),
    )


def no_bolt(site: TabSite, unit: str) -> NoBracket:
    """Its hole is too small for every bolt of the table."""
    return NoBracket(
        site,
        f"no bolt of the table passes a hole of {words.length(site.hole_mm, unit)}",
        ("drill the hole out, or hang it by another",),
    )


def no_grommet(site: TabSite, bolt: Fastener) -> NoBracket:
    """It is wanted on rubber, and no grommet of the table takes its bolt."""
    known = words.listed(list(grommets()))
    return NoBracket(
        site,
        f"it is to hang on rubber, and no grommet of the table takes a bolt of "
        f"{bolt.thread.size} (there are those for {known})",
        (f"mounts: bolted for the {site.host.name}",),
    )


def none_found(nose: Nose, search: Search, bolt: Fastener) -> NoBracket:
    """No form stands free: the one that came nearest says by how much, and what would do."""
    fell = tuple(search.tried.fell.values())
    nearest = _nearest(fell)
    if nearest is None:
        return NoBracket(
            search.site,
            f"no face of the core support is within reach of the {search.site.title}",
            (_OTHERWISE,),
            fell,
        )
    why = nearest.text
    if nearest.form != ADJUSTMENT:
        why = f"{a_form(nearest.form)} comes nearest, and falls by the rule {nearest.rule!r}: {why}"
    return NoBracket(search.site, why, tuple(_would_do(nose, search, bolt, nearest)), fell)


def _nearest(fell: Sequence[Fell]) -> Fell | None:
    """The form that came furthest; of those that came as far, the one that lacks least."""
    some = [one for one in fell if one.form != ADJUSTMENT or len(fell) == 1]
    return min(some, key=lambda one: (-one.got, one.short_mm), default=None)


def _would_do(nose: Nose, search: Search, bolt: Fastener, nearest: Fell) -> Iterator[str]:
    tried = [
        one
        for one in (_tab_further_out(nose, search, bolt), _other_moved(nose, search, bolt, nearest))
        if one
    ]
    yield from tried
    loose = search.tried.fell.get(ADJUSTMENT)
    if tried:
        return
    if nearest.would_do:
        yield nearest.would_do
    elif loose is not None and loose.would_do and nearest.got < ROOM:
        yield loose.would_do
    else:
        yield _OTHERWISE


def _other_moved(nose: Nose, search: Search, bolt: Fastener, nearest: Fell) -> str:
    """By how much another part in the way would have to stand further off."""
    block = search.tried.blocks.get(nearest.form)
    if nearest.got != ROOM or block is None or block.part == search.site.host.name:
        return ""
    if nose.layout.parts[block.part].kind == "core support":
        return ""
    for more in _MORE_MM:
        by = float(np.ceil(block.short_mm + more))
        around = search.around.with_moved(block.part, by * block.way)
        found = _first(nose, _anew(search, around=around), bolt)
        if found:
            return (
                f"the {block.part} {words.at_least(by, nose.unit)} further "
                f"{words.way(block.way)}: then {found}"
            )
    return ""


def _anew(search: Search, **changes: Any) -> Search:
    return replace(search, **changes, tried=Tried(), _pads={}, _known={})


def _first(nose: Nose, search: Search, bolt: Fastener) -> str:
    """What stands free of the first strips, in words; "": nothing."""
    for strip in islice(nose.bench.strips(bolt, search.rubber(bolt)), _STRIPS):
        one = next(glances(nose, search, bolt, strip), None)
        if one is not None:
            return f"{a_form(one.made.form)} of {strip.stock.label} stands free (tried)"
    return ""


def a_form(form: str) -> str:
    """A form with its article."""
    return f"an {form}" if form[0] in "L" else f"a {form}"


def _tab_further_out(nose: Nose, search: Search, bolt: Fastener) -> str:
    """By how much a tab's hole would have to be further out for a bracket to stand free."""
    site = search.site
    out = _out(site)
    if out is None:
        return ""
    for further in _FURTHER_MM:
        moved = replace(site, middle=site.middle + further * out, room_mm=site.room_mm + further)
        found = _first(nose, _anew(search, site=moved), bolt)
        if found:
            by = words.at_least(further, nose.unit)
            return f"a {site.name.split()[-1]} whose hole is {by} further out: then {found}"
    return ""


def _out(site: TabSite) -> Floats | None:
    """Unit way (3,) in a tab's plane out from its part; None where its hole is in the part."""
    pose = site.host.pose
    here = pose[:3, :3].T @ (site.middle - pose[:3, 3])
    low, high = box_of(site.host)
    away = pose[:3, :3] @ (here - np.clip(here, low, high))
    away = away - (away @ site.normal) * site.normal
    size = float(np.sqrt(away @ away))
    return None if size < 1.0 else np.asarray(away / size)
