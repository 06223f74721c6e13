"""What each maker puts on the bench, as `workshop.bench` wants it."""

from __future__ import annotations

from pathlib import Path

from noseroom.checks.bracket_records import Brackets, NoBracket
from noseroom.workshop.bench import Share, sentence
from noseroom.workshop.bracket_files import write_brackets

_MOST_REASONS = 3


def make_brackets(found: Brackets, subject: str, fresh: Path) -> Share:
    """Write every bracket that was designed; for every tab without one a sentence says why.

    subject: the nose's title. Raises as `write_brackets` does.
    """
    written = write_brackets(found.made, subject, fresh)
    refused = [sentence(found.why_none)] if found.why_none else []
    refused += [_why(one) for one in found.not_made]
    remarks = [caution for design in found.made for caution in design.cautions]
    return Share(
        written.names,
        tuple(refused),
        written.figures,
        written.rows,
        tuple(dict.fromkeys(remarks)),
        written.pictures,
    )


def _why(missing: NoBracket) -> str:
    """Why a tab has no bracket, and what would change that, in one line."""
    said = [sentence(f"no bracket for the {missing.site.title}: {missing.why}")]
    said += [sentence(one) for one in missing.would_do[:_MOST_REASONS]]
    return " ".join(said)
