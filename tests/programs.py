"""Programs from outside that read our files: found on the machine, or a reason to skip."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

NEED = "NOSEROOM_NEED_TOOLS"
"""Set to 1, a missing program is an error and no reason to skip."""
DPI = 300
MM_PX = 25.4 / DPI
"""A pixel's side at that many dots an inch, mm."""


def program(name: str) -> str:
    """Where a program is; skips the test, or fails it, where it is not."""
    found = shutil.which(name)
    if found is None:
        if os.environ.get(NEED) == "1":
            pytest.fail(f"{name} is not installed, and {NEED} is 1", pytrace=False)
        pytest.skip(f"{name} is not installed")
    return found


def told(name: str, *arguments: str | Path) -> str:
    """What a program prints."""
    command = [program(name), *map(str, arguments)]
    return subprocess.run(command, capture_output=True, check=True, timeout=120).stdout.decode(
        errors="replace"
    )


def pixels(pdf: Path, page: int, dpi: int = DPI) -> NDArray[np.uint8]:
    """A page as poppler draws it, (rows, columns, 3) RGB, 0 is black."""
    command = [program("pdftoppm"), "-r", f"{dpi}", "-f", f"{page}", "-l", f"{page}", str(pdf)]
    data = subprocess.run(command, capture_output=True, check=True, timeout=120).stdout
    kind, size, depth, rest = data.split(b"\n", 3)
    assert (kind, depth) == (b"P6", b"255")
    wide, high = (int(one) for one in size.split())
    return np.frombuffer(rest, np.uint8).reshape(high, wide, 3)


def page_count(pdf: Path) -> int:
    """As poppler counts them."""
    lines = told("pdfinfo", pdf).splitlines()
    return int(next(one for one in lines if one.startswith("Pages:")).split()[1])


def runs(row: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Stretches of true, as first and one past the last."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], row, [False]]).astype(int)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
