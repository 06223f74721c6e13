"""Words for messages: what stood there, what could have stood there, which spelling was meant."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from functools import lru_cache

# A shorter likeness than this is more often a different word than a slip.
_LIKENESS = 0.6
_LONGEST_SHOWN = 60
_MOST_LISTED = 8

_NUMBER = re.compile(
    r"[-+]?(?:\d[\d_]*\.?\d*|\.\d+)(?:e[-+]?\d+)?|[-+]?\.(?:inf|nan)", re.IGNORECASE
)
_DATE = re.compile(r"\d{4}-\d{1,2}-\d{1,2}(?:[T ].*)?")


def nearest(word: str, known: Iterable[str]) -> str:
    """The known spelling nearest to a word, whatever its case; "" when none is near."""
    return _nearest(word, tuple(known))


@lru_cache(maxsize=4096)
def _nearest(word: str, known: tuple[str, ...]) -> str:
    # A sentence is tried in every form; most hints are for forms that it does not have.
    spellings = {one.casefold(): one for one in known}
    near = difflib.get_close_matches(word.casefold(), spellings, n=1, cutoff=_LIKENESS)
    return spellings[near[0]] if near else ""


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """A suggestion for a misspelt word, or "" when nothing is near."""
    near = nearest(word, known)
    return f'did you mean "{near}"?' if near else ""


def quoted(text: str) -> str:
    """A text in quotes on one line, cut to what still reads well in a message."""
    line = " ".join(text.split())
    return f'"{line}"' if len(line) <= _LONGEST_SHOWN else f'"{line[: _LONGEST_SHOWN - 3]}..."'


def described(value: object) -> str:
    """What stood in the file, in a few words: a text in quotes, a number, a list, nothing."""
    if value is None:
        return "nothing"
    if isinstance(value, dict):
        return f"a mapping ({listed(list(value))})" if value else "an empty mapping"
    if isinstance(value, list):
        return f"a list of {len(value)}" if value else "an empty list"
    text = str(value)
    if not text.strip():
        return "an empty text"
    if _NUMBER.fullmatch(text):
        return f"the number {text if len(text) <= _LONGEST_SHOWN else text[:20] + '...'}"
    if _DATE.fullmatch(text):
        return f"the date {text[:_LONGEST_SHOWN]}"
    return quoted(text)


def listed(words: Iterable[str]) -> str:
    """Words for a message: all of them, or the first few and how many more there are."""
    every = list(words)
    shown = ", ".join(every[:_MOST_LISTED])
    return shown if len(every) <= _MOST_LISTED else f"{shown} and {len(every) - _MOST_LISTED} more"
