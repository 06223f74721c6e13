"""Brackets for every tab that waits for one: designed, put back into the nose, and checked there.

Asked apart from the verdict on the nose: it is about what to make, not about what is there.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator

import numpy as np

from noseroom.checks.bracket_bench import bench_of
from noseroom.checks.bracket_bolts import Fastener, fastener_for
from noseroom.checks.bracket_finish import Found, finished, put_back
from noseroom.checks.bracket_free import Around
from noseroom.checks.bracket_glance import Glanced, Nose, glances
from noseroom.checks.bracket_pairs import beside_one_another
from noseroom.checks.bracket_records import BracketDesign, Brackets, NoBracket
from noseroom.checks.bracket_refusal import (
    no_bolt,
    no_grommet,
    none_found,
    not_to_guesses,
    unread,
)
from noseroom.checks.bracket_search import Search
from noseroom.checks.bracket_sites import (
    TabSite,
    free_holes,
    rail_faces,
    tab_sites,
    taken_holes,
)
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules

Progress = Callable[[int, int, str], None]

_STRIPS = 3
"""So many strips are tried where none is free: what stands in the way of thin strips stands in that
of thick ones."""
_NO_HOPE = 0.6
"""Sheet is passed over whose thickness squared is less than this share of what the best bracket so
far would have needed: what is weakest is the metal round a bolt, whatever the width."""


def design_brackets(
    pairs: Pairs, rules: Rules, progress: Progress, only: Collection[str] = ()
) -> Brackets:
    """A bracket for each tab and lug that the core support could carry, or why there is none.

    only: titles of the tabs that are asked for, such as "drier lug"; empty: all.
    """
    layout = pairs.layout
    sites = [one for one in tab_sites(layout) if not only or one.title in only]
    if not sites:
        return Brackets((), (), "there is no tab or lug of known place to make a bracket for")
    every = tuple(rail_faces(layout))
    if not every:
        return Brackets((), (), "there is no core support to bolt a bracket to")
    read = tuple(face for face in every if not unread(face.host, face.must_read))
    lacking = tuple(dict.fromkeys(key for one in every for key in unread(one.host, one.must_read)))
    nose = Nose(
        pairs,
        rules,
        Around(layout, rules),
        read,
        tuple(free_holes(layout, list(read))),
        tuple(taken_holes(layout)),
        lacking,
        bench_of(layout.envelope.shop, layout.envelope.unit),
    )
    made: list[BracketDesign] = []
    missing: list[NoBracket] = []
    for done, site in enumerate(sites):
        progress(done, len(sites), f"bracket for the {site.title}")
        found = _design(nose, site)
        if isinstance(found, NoBracket):
            missing.append(found)
        else:
            made.append(found)
    return Brackets(beside_one_another(layout, rules, made), tuple(missing))


def _design(nose: Nose, site: TabSite) -> BracketDesign | NoBracket:
    guessed = unread(site.host, site.must_read)
    if guessed:
        return not_to_guesses(site, site.host, guessed)
    if not nose.faces:
        core = next(one for one in nose.layout.parts.values() if one.kind == "core support")
        return not_to_guesses(site, core, nose.unread)
    bolt = fastener_for(site.hole_mm, nose.unit)
    if bolt is None:
        return no_bolt(site, nose.unit)
    search = search_for(nose, site)
    if site.rubber and search.rubber(bolt) is None:
        return no_grommet(site, bolt)
    best: Found | None = None
    for one in _strongest_first(nose, search, bolt):
        found = put_back(nose, one)
        if best is None or found.badness < best.badness:
            best = found
        if found.clear:
            return finished(nose, search, found)
    if best is None:
        return none_found(nose, search, bolt)
    return finished(nose, search, best)


def search_for(nose: Nose, site: TabSite) -> Search:
    """What looks for a tab's bracket."""
    return Search(
        site,
        nose.faces,
        nose.holes,
        nose.taken,
        nose.layout.uncertainty,
        nose.unit,
        nose.around,
        nose.layout.survey.sources,
    )


def _strongest_first(nose: Nose, search: Search, bolt: Fastener) -> Iterator[Glanced]:
    """Brackets that stand free at a glance: the strong enough ones as they are met, then others.

    Strips are looked at from the least metal on, until one is strong enough.
    """
    weak: list[Glanced] = []
    asked = np.inf
    strips = list(nose.bench.strips(bolt, search.rubber(bolt)))
    thickest = max((one.sheet.thickness_mm for one in strips), default=0.0)
    for number, strip in enumerate(strips):
        if number >= _STRIPS and np.isinf(asked):
            break
        t = strip.sheet.thickness_mm
        if t < thickest and np.isfinite(asked) and t**2 < _NO_HOPE * asked:
            continue
        for one in glances(nose, search, bolt, strip):
            if one.weakness[0] == 0:
                yield one
            else:
                weak.append(one)
            asked = min(asked, _asked_mm2(one))
    yield from sorted(weak, key=lambda one: one.weakness)


def _asked_mm2(one: Glanced) -> float:
    """What square of its thickness would be enough."""
    if one.sums is None:
        return np.inf
    shock = one.sums.sum.shock
    return one.strip.sheet.thickness_mm**2 * shock.wanted / shock.safety
