"""Writing a folder whole or not at all."""

from __future__ import annotations

import glob
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from noseroom.errors import OutputError

_LEFT_S = 24 * 3600.0
"""A folder beside the outputs that has stood this long is no running program's."""


@contextmanager
def whole_folder(folder: Path) -> Iterator[Path]:
    """An empty folder to write into, which takes `folder`'s place in one move at the end.

    What stood there before is untouched until all of the new is there, and if anything fails.

    Raises OutputError when the folder cannot be written.
    """
    fresh = _folder_beside(folder)
    try:
        yield fresh
        _swap(fresh, folder)
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written ({error.strerror or error})") from error
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def demand_writable(folder: Path) -> None:
    """Find out before the long work, not after it, that the outputs cannot be written.

    Raises OutputError.
    """
    shutil.rmtree(_folder_beside(folder), ignore_errors=True)


def _folder_beside(folder: Path) -> Path:
    """An empty folder beside the one to be written. Raises OutputError."""
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        if folder.exists() and not folder.is_dir():
            raise OutputError(f"{folder}: there is a file where the folder should be")
        _clear_away(folder)
        return Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    except FileExistsError as error:
        raise OutputError(
            f"{folder.parent}: cannot be written in: it is a file, not a folder"
        ) from error
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written ({error.strerror or error})") from error


def _clear_away(folder: Path) -> None:
    """Remove what runs that were killed left beside a folder, once it is surely nobody's.

    The outputs themselves come back from it where a run was killed in the very moment in which it
    had put them aside.
    """
    for left in sorted(folder.parent.glob(f".{glob.escape(folder.name)}-*")):
        try:
            if not left.is_dir() or time.time() - left.stat().st_mtime < _LEFT_S:
                continue
            aside = left / folder.name
            if aside.is_dir() and not folder.exists():
                aside.rename(folder)
        except OSError:  # another run was quicker, or it is not ours to move
            continue
        shutil.rmtree(left, ignore_errors=True)


def _swap(fresh: Path, folder: Path) -> None:
    """Put the fresh folder in the old one's place; the old one comes back if that fails."""
    fresh.chmod(0o755)
    if not folder.exists():
        fresh.rename(folder)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{folder.name}-old-", dir=folder.parent))
    aside = old / folder.name
    folder.rename(aside)
    try:
        fresh.rename(folder)
    except OSError:
        aside.rename(folder)
        raise
    finally:
        shutil.rmtree(old, ignore_errors=True)
