"""The whole folder for the bench: what each maker has to make, written together or not at all."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from noseroom.errors import NoseroomError
from noseroom.workshop.figures import Figure
from noseroom.workshop.whole_folder import whole_folder

FOLDER = "workshop"


class NothingToMakeError(NoseroomError, ValueError):
    """Nothing can be made, or has to be: a sentence a line says why."""


@dataclass(frozen=True)
class Share:
    """What one maker made.

    names: files, below the bench's folder. refused: sentences on what could not be made, and why.
    figures: what goes onto the paper templates, full size. remarks: what a person has to know of
    what was made.
    """

    names: tuple[str, ...] = ()
    refused: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Bench:
    """The folder as it was written. names: files below the nose's own folder; see `Share`."""

    names: tuple[str, ...]
    refused: tuple[str, ...]
    remarks: tuple[str, ...]


Maker = Callable[[Path], Share]
"""Writes into an empty folder what it has to make."""
Sheets = Callable[[Path, Sequence[Figure]], Iterable[str]]
"""Writes the paper templates of all figures; returns their names."""


def write_bench(folder: Path, makers: Sequence[Maker], sheets: Sheets | None = None) -> Bench:
    """Write everything into "workshop" in the nose's own folder.

    What stood there before is untouched until all of the new is there.

    Raises NothingToMakeError where no maker has made a file; OutputError when the folder cannot be
    written; GeometryError when a file does not come back as it should.
    """
    names: list[str] = []
    refused: list[str] = []
    remarks: list[str] = []
    figures: list[Figure] = []
    with whole_folder(folder / FOLDER) as fresh:
        for maker in makers:
            share = maker(fresh)
            names += share.names
            refused += share.refused
            remarks += share.remarks
            figures += share.figures
        if not names:
            raise NothingToMakeError("\n".join(dict.fromkeys(refused)))
        if sheets is not None and figures:
            names += sheets(fresh, figures)
    return Bench(
        tuple(f"{FOLDER}/{one}" for one in names),
        tuple(dict.fromkeys(refused)),
        tuple(dict.fromkeys(remarks)),
    )


def sentence(text: str) -> str:
    """A reason as a sentence: with a capital, and a full stop."""
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."
