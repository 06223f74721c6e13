"""How far the reading of a scan is, told from process to process.

The reader may have been taken over by the file that it read, so that what it tells is only a step
and a share of it, both checked, and however much it tells, no more than a little is kept.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import suppress
from enum import StrEnum
from threading import Event, Thread
from typing import TypeAlias

Progress: TypeAlias = Callable[[int, int, str], None]
"""Called with (done, of, what)."""


class Step(StrEnum):
    """What is done with a scan, in order, in a builder's words."""

    READ = "reading the file"
    WELD = "joining corners"
    STRAYS = "looking for loose bits"
    TURN = "turning faces to agree"
    HOLES = "looking for holes"
    THIN = "thinning out"
    MEASURE = "measuring how far that moved it"
    HAND_OVER = "handing it over"


Tell: TypeAlias = Callable[[Step, float], None]
"""Called with a step and how much of it is done, 0 to 1."""

STEPS = tuple(Step)
_AT_ONCE = 4096
_PERCENT = 100


def quiet(step: Step, share: float = 0.0) -> None:
    """Tell nobody."""


def teller(descriptor: int) -> Tell:
    """What the reading process tells its steps with, into a pipe; two bytes each."""

    def tell(step: Step, share: float = 0.0) -> None:
        # Where whoever listened has gone, the answer is still what counts.
        with suppress(OSError):
            os.write(descriptor, bytes([STEPS.index(step), round(_PERCENT * share)]))

    return tell


class Listener:
    """Reads what a `teller` writes, in a thread, so that waiting for it can end.

    descriptor: the pipe's reading end; closed when its writing end is. Of several steps that were
    told meanwhile the last is enough, so that a flood fills nothing.
    """

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._latest = b""
        self._ended = False
        self._something = Event()
        Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        rest = b""
        with suppress(OSError):
            while data := os.read(self._descriptor, _AT_ONCE):
                whole = rest + data
                end = len(whole) // 2 * 2
                rest = whole[end:]
                self._latest = whole[max(0, end - 2) : end]
                self._something.set()
        os.close(self._descriptor)
        self._ended = True
        self._something.set()

    def next(self, wait_s: float) -> tuple[int, float] | None:
        """The last step's number and its share; None where nothing sound came in that time.

        Raises EOFError when the other end has been closed and all was given out.
        """
        self._something.wait(wait_s)
        ended = self._ended
        if not ended:
            self._something.clear()
        news, self._latest = self._latest, b""
        if ended and not news:
            raise EOFError
        if len(news) != 2 or news[0] >= len(STEPS) or news[1] > _PERCENT:
            return None
        return news[0], news[1] / _PERCENT


def said(number: int, share: float) -> str:
    """A step in words, with its share where it has one."""
    return f"{STEPS[number]}, {share:.0%}" if share else str(STEPS[number])
