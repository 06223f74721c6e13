"""Why a tab gets no bracket: which rule, by how much, and what would do, tried where it can be."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.bracket_bolts import Fastener
from noseroom.checks.bracket_glance import Nose, glances
from noseroom.checks.bracket_job import BENT, ROOM, Fell
from noseroom.checks.bracket_load import box_of
from noseroom.checks.bracket_records import NoBracket
from noseroom.checks.bracket_search import ADJUSTMENT, Search
from noseroom.checks.bracket_sites import TabSite
from noseroom.layout import PlacedPart
from noseroom.tables.fasteners import grommets

Floats = NDArray[np.float64]

_FURTHER_MM = (1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 15.0, 20.0)
"""How much further out a tab's hole is tried."""
_STRIPS = 2


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
            ("name a hole that is there as a part of the kind bolt hole, or hang it by another",),
            fell,
        )
    why = nearest.text
    if nearest.form != ADJUSTMENT:
        why = f"a {nearest.form} comes nearest, and falls by the rule {nearest.rule!r}: {why}"
    return NoBracket(search.site, why, tuple(_would_do(nose, search, bolt, nearest)), fell)


def _nearest(fell: Sequence[Fell]) -> Fell | None:
    """The form that came furthest; of those that came as far, the one that lacks least."""
    some = [one for one in fell if one.form != ADJUSTMENT or len(fell) == 1]
    return min(some, key=lambda one: (-one.got, one.short_mm), default=None)


def _would_do(nose: Nose, search: Search, bolt: Fastener, nearest: Fell) -> Iterator[str]:
    tried = _tab_further_out(nose, search, bolt)
    if tried:
        yield tried
    elif nearest.would_do:
        yield nearest.would_do + (" (not tried)" if nearest.got >= BENT else "")
    loose = search.tried.fell.get(ADJUSTMENT)
    if loose is not None and loose.would_do and not (tried or nearest.got == ROOM):
        yield loose.would_do


def _tab_further_out(nose: Nose, search: Search, bolt: Fastener) -> str:
    """By how much a tab's hole would have to be further out for a bracket to stand free."""
    site = search.site
    out = _out(site)
    if out is None:
        return ""
    rubber = grommets()[bolt.thread.size] if site.rubber else None
    for further in _FURTHER_MM:
        moved = replace(site, middle=site.middle + further * out, room_mm=site.room_mm + further)
        there = replace(search, site=moved, tried=type(search.tried)(), _pads={})
        for strip in islice(nose.bench.strips(bolt, rubber), _STRIPS):
            one = next(glances(nose, there, bolt, strip), None)
            if one is not None:
                by = words.at_least(further, nose.unit)
                return (
                    f"a tab whose hole is {by} further out: then a {one.made.form} of "
                    f"{strip.stock.label} stands free (tried)"
                )
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
