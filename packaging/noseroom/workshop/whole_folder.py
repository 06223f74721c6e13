"""Writing a folder whole or not at all."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from noseroom.errors import OutputError


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
        return Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    except FileExistsError as error:
        raise OutputError(
            f"{folder.parent}: cannot be written in: it is a file, not a folder"
        ) from error
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written ({error.strerror or error})") from error


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
