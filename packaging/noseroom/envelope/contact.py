"""Which way "flush with" and "touching" run: along the normal of the faces that they name."""

from __future__ import annotations

from typing import cast

from noseroom.envelope.model import Direction
from noseroom.envelope.names import BadSentenceError, Named
from noseroom.envelope.phrases import OPPOSITE

_LOOKS: dict[str, str] = {
    "ahead": "forward",
    "aft": "aft",
    "left": "left",
    "right": "right",
    "above": "up",
    "below": "down",
}
_EITHER_WAY = {"ahead": "aft", "left": "right", "below": "above"}


def direction_of(subject: Named, target: Named, phrase: str, at: int) -> Direction:
    """On which side of the target the subject is when the two meet.

    A face is met from outside, so that of a round thing it is the flank that meets it. Raises
    BadSentenceError where the faces do not lie in one plane, or where neither thing has one.
    """
    mine, theirs = _facing(subject), _facing(target)
    if mine and theirs and mine not in (theirs, OPPOSITE[theirs]):
        found = (
            f"{subject.ref.feature}, which looks {_LOOKS[mine]}, {phrase} {target.ref}, which "
            f"looks {_LOOKS[theirs]}"
        )
        hint = f"name another face, or say how far: 0 above {target.ref}, or another direction"
        raise BadSentenceError(at, found, "two faces that look the same way or at each other", hint)
    rim, other = (target, subject) if theirs else (subject, target)
    is_rim = rim.feature is not None and rim.feature.shape == "circle"
    # Through a rim one may look either way, so that it does not say on which side a flank is.
    flank = other.feature is not None and other.feature.shape in ("cylinder", "circle")
    if not (mine or theirs) or (is_rim and flank and not (mine and theirs)):
        found = f"{phrase} {target.ref}, which says no side: neither of the two is a flat face"
        hint = f"name a face, or say 0 ahead of, 0 left of or 0 above {target.ref}"
        raise BadSentenceError(at, found, "a face on one side at the least", hint)
    way = theirs or OPPOSITE[mine or "aft"]
    return cast(Direction, _EITHER_WAY.get(way, way)) if is_rim else way


def _facing(named: Named) -> Direction | None:
    return cast(Direction, named.feature.facing) if named.feature and named.feature.facing else None
