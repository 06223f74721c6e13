"""One thread for linear algebra, and no pauses in what has to be quick.

Our matrices are small, and threads only wait for one another.

On two busy cores a singular value decomposition of 100 × 100 took fifty times as long with two
threads as with one.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any


@contextmanager
def one_thread() -> Iterator[None]:
    """Keep the linear algebra that runs inside to one thread."""
    with _controller().limit(limits=1, user_api="blas"):
        yield


@contextmanager
def uncollected() -> Iterator[None]:
    """Let garbage wait while what runs inside does.

    A collection looks through all that was remembered of a nose, which takes as long as an answer.
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


@cache
def _controller() -> Any:
    # Looks through the loaded libraries: not quick, and they do not change.
    import numpy.linalg  # noqa: F401 - so that its library is among them
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController()
