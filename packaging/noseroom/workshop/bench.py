"""The whole folder for the bench: what each maker has to make, written together or not at all."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from noseroom.errors import NoseroomError
from noseroom.findings import Verdict
from noseroom.workshop.cut_list import CutRow, with_totals, write_cut_list
from noseroom.workshop.figures import Figure
from noseroom.workshop.paper import write_templates
from noseroom.workshop.whole_folder import whole_folder

FOLDER = "workshop"


class NothingToMakeError(NoseroomError, ValueError):
    """Nothing can be made, or has to be: a sentence a line says why."""


@dataclass(frozen=True)
class Share:
    """What one maker made.

    names: files, below the bench's folder. refused: sentences on what could not be made, and why.
    doubts: sentences on what was made and is not surely right. needless: sentences on what has not
    to be made. answers: sentences on what was made, by its
    title.
    figures: what goes onto the paper templates, full size. rows: of the cut list. remarks: what a
    person has to know of what was made. pictures: drawings' SVG by their titles.
    """

    names: tuple[str, ...] = ()
    refused: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    rows: tuple[CutRow, ...] = ()
    remarks: tuple[str, ...] = ()
    pictures: Mapping[str, str] = field(default_factory=dict)
    needless: tuple[str, ...] = ()
    answers: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True)
class Bench:
    """The folder as it was written. names: files below the nose's own folder; see `Share`.

    rows: of the cut list, with sums.
    """

    names: tuple[str, ...]
    refused: tuple[str, ...]
    rows: tuple[CutRow, ...]
    remarks: tuple[str, ...]
    pictures: Mapping[str, str]
    answers: Mapping[str, tuple[str, ...]]
    doubts: tuple[str, ...]


Maker = Callable[[Path], Share]
"""Writes into an empty folder what it has to make."""


def write_bench(folder: Path, makers: Sequence[Maker], subject: str) -> Bench:
    """Write everything into "workshop" in the nose's own folder. subject: the nose's title.

    After the makers come what they share: paper templates of all figures, and the cut list. What
    stood there before is untouched until all of the new is there.

    Raises NothingToMakeError where no maker has made a file; OutputError when the folder cannot be
    written; GeometryError or DrawingError when a file does not come back as it should.
    """
    with whole_folder(folder / FOLDER) as fresh:
        shares = [maker(fresh) for maker in makers]
        refused = _each(one for share in shares for one in share.refused)
        names = [one for share in shares for one in share.names]
        if not names:
            needless = _each(one for share in shares for one in share.needless)
            raise NothingToMakeError("\n".join((*refused, *needless)))
        figures = [one for share in shares for one in share.figures]
        rows = with_totals(row for share in shares for row in share.rows)
        if figures:
            names += write_templates(fresh, figures, subject)
        if rows:
            names.append(write_cut_list(fresh, rows))
    return Bench(
        tuple(f"{FOLDER}/{one}" for one in names),
        refused,
        rows,
        _each(one for share in shares for one in share.remarks),
        {title: sheet for share in shares for title, sheet in share.pictures.items()},
        {title: said for share in shares for title, said in share.answers.items()},
        _each(one for share in shares for one in share.doubts),
    )


def _each(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(texts))


def before_metal(verdict: Verdict) -> tuple[str, ...]:
    """What has to be known of the nose before metal is cut for it."""
    if verdict is Verdict.FITS:
        return ()
    return (
        f"The nose itself is not settled yet ({verdict.value}): see its page before metal is cut.",
    )


def sentence(text: str) -> str:
    """A reason as a sentence: with a capital, and a full stop."""
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."
