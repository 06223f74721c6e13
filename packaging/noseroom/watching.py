"""Checking a file again whenever it is saved: the answer while one writes."""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from noseroom.errors import EnvelopeError, NoseroomError
from noseroom.pipeline import Progress, Session
from noseroom.report.changes import at_once, changes
from noseroom.report.result import Result
from noseroom.shelf import usual_folder

_LOOK_EVERY_S = 0.05
_GONE_AFTER = 20
Say = Callable[[str], None]


def watch(
    path: str | Path,
    say: Say,
    *,
    files_from: Sequence[str | Path] = (),
    progress: Progress | None = None,
    remark: Say = warnings.warn,
    rounds: int | None = None,
) -> Result | None:
    """Check an envelope file, and again each time that it is saved, until it is interrupted.

    say: is given each line to show, first the verdicts and then, when they are known, the figures;
    remark: what went wrong without harm to the answers. rounds: how many times to check; without
    end if not given. Nothing is written. A file that cannot be used is said so, and waited for.
    Returns the last result, None where there is none.
    """
    session = Session(path, files_from=files_from, cache=usual_folder(), remark=remark)
    known: Result | None = None
    for done, there in enumerate(_saved(Path(path)), start=1):
        if not there and done > 1:
            say(f"{path} is gone; waiting for it")
            continue
        try:
            soon = None if known is None else session.at_once()
            for line in () if soon is None or known is None else at_once(known.title, soon):
                say(line)
            now = session.check(progress=progress)
        except EnvelopeError as error:
            say(str(error))
        except NoseroomError as error:
            say(f"noseroom: {error}")
        else:
            for line in changes(known, now):
                say(line)
            known = now
        if done == rounds:
            break
    return known


def _saved(path: Path) -> Iterator[bool]:
    """At once, and then each time that a file has been saved; False when it has gone.

    An editor may write a file in steps, or put another in its place: it counts as saved once two
    looks in a row find the same, and it may be away for a moment.
    """
    last = seen = _look(path)
    away = 0
    yield last is not None
    while True:
        time.sleep(_LOOK_EVERY_S)
        now = _look(path)
        away = away + 1 if now is None else 0
        if now is not None and now == seen != last:
            last = now
            yield True
        elif away == _GONE_AFTER and last is not None:
            last = None
            yield False
        seen = now


def _look(path: Path) -> tuple[int, int, int] | None:
    """What tells one state of a file from another; None while it is not there."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino
