"""What each maker puts on the bench, as `workshop.bench` wants it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from noseroom.checks.bracket_records import BracketDesign, Brackets, NoBracket
from noseroom.checks.strength_elements import elements_check
from noseroom.errors import GeometryError
from noseroom.findings import Verdict
from noseroom.geometry.exports import check_step, write_step
from noseroom.layout import Layout
from noseroom.workshop.bench import Share, sentence
from noseroom.workshop.bracket_files import write_brackets
from noseroom.workshop.nose_files import slug, unused

Progress = Callable[[int, int, str], None]

IN_PLACE = "nose-with-brackets.step"
_HUNG = ("condenser", "drier", "electric fan")
_MOST_REASONS = 3


def make_brackets(
    found: Brackets,
    layout: Layout,
    fresh: Path,
    elements: Progress | None = None,
    warnings: tuple[str, ...] = (),
) -> Share:
    """Write every bracket that was designed, and the nose with all of them in their places.

    For every tab without one a sentence says why. elements: told how far the check of strength by
    finite elements is; None for no such check. warnings: what stands against cutting any metal
    yet, for the drawings. Raises as `write_brackets` does, and
    MissingLibraryError where finite elements are asked for and their library is missing.
    """
    good = [one for one in _each_named(found.made) if one.verdict is not Verdict.FOULS]
    written = write_brackets(good, layout.envelope.title, fresh, warnings)
    names = list(written.names)
    if good:
        names.append(_write_in_place(good, layout, fresh))
    none = (sentence(found.why_none),) if found.why_none else ()
    hung = any(one.kind in _HUNG for one in layout.parts.values())
    return Share(
        tuple(names),
        (
            *(none if hung else ()),
            *(_why(one) for one in found.not_made),
            *(_fouls(one) for one in found.made if one.verdict is Verdict.FOULS),
        ),
        written.figures,
        written.rows,
        tuple(dict.fromkeys(one for design in good for one in design.cautions)),
        written.pictures,
        () if hung else none,
        {
            design.title: (*_said(design), *(_by_elements(design, elements) if elements else ()))
            for design in good
        },
        tuple(doubt for design in good for doubt in _doubts(design)),
    )


def _each_named(designs: Sequence[BracketDesign]) -> Iterator[BracketDesign]:
    """The same, with names that stay apart as file names."""
    used: set[str] = set()
    for design in designs:
        name = unused(design.name, used)
        yield design if name == slug(design.name) else dataclasses.replace(design, name=name)


def _fouls(design: BracketDesign) -> str:
    worst = next(one for one in design.findings if one.verdict is Verdict.FOULS)
    return sentence(f"no {design.title[:1].lower()}{design.title[1:]} was written: {worst.note}")


def _doubts(design: BracketDesign) -> Iterator[str]:
    """What is not surely right of a bracket that is written all the same."""
    for one in design.findings:
        if one.verdict is not Verdict.FITS:
            yield f"{design.title} ({one.verdict.value}): {one.note}"


def _write_in_place(designs: Sequence[BracketDesign], layout: Layout, fresh: Path) -> str:
    """The whole nose with its brackets as STEP, read back."""
    placed = {design.placed.name: design.placed for design in designs}
    assembly = dataclasses.replace(layout, parts={**layout.parts, **placed}).assembly()
    write_step(assembly, fresh / IN_PLACE)
    check_step(fresh / IN_PLACE, assembly)
    return IN_PLACE


def _said(design: BracketDesign) -> tuple[str, ...]:
    """What was found of a bracket, and what stands against the other forms."""
    made = sentence(f"{design.form} of {design.material.name}, {design.stock}")
    answers = [f"{one.verdict.value}: {one.note}" for one in design.findings]
    against = [sentence(f"no {one.form}: {one.text}") for one in design.fell]
    return (made, *answers, *against)


def _by_elements(design: BracketDesign, say: Progress) -> tuple[str, ...]:
    """What finite elements say of its strength, beside the formula."""
    if design.strength is None:
        return ("Finite elements: not asked, since there is no sum by formula beside them.",)
    say(0, 1, f"finite elements: {design.name}")
    try:
        return (elements_check(design.strength).sentence(),)
    except GeometryError as error:
        return (sentence(f"finite elements: not known, {error}"),)


def _why(missing: NoBracket) -> str:
    """Why a tab has no bracket, and what would change that, in one line."""
    said = [sentence(f"no bracket for the {missing.site.title}: {missing.why}")]
    said += [sentence(one) for one in missing.would_do[:_MOST_REASONS]]
    return " ".join(said)
