"""What holds for every test: no answers from earlier runs of the program on this machine."""

from __future__ import annotations

import os

# Before anything loads numpy. Our matrices are small: two workers with two threads each wait for
# one another, on a busy machine many times as long as the sums take.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

import pytest

# One browser for all modules: a second one in the same process cannot be driven.
from browser import chromium as chromium


@pytest.fixture(autouse=True, scope="session")
def own_cache(tmp_path_factory: pytest.TempPathFactory) -> None:
    """A cache of the test run's own; its workers share it, as runs at once do."""
    base = tmp_path_factory.getbasetemp()
    shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    os.environ["NOSEROOM_CACHE"] = str(shared / "cache")
