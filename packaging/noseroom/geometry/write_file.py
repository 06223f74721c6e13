"""Writing a file whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from noseroom.errors import OutputError


def write_whole(path: str | os.PathLike[str], data: bytes) -> None:
    """Put `data` at `path`; what stood there before is untouched if that fails.

    Raises:
        OutputError: the folder is missing, full, or may not be written.
    """
    target = Path(path)
    try:
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=".", suffix=target.suffix)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
            os.chmod(name, 0o644)  # a temporary file is private, a result is not
            os.replace(name, target)
        except BaseException:
            os.unlink(name)
            raise
    except OSError as error:
        raise OutputError(f"cannot write {target}: {error.strerror or error}") from error


def read_whole(path: str | os.PathLike[str]) -> bytes:
    """Return the bytes of a file that was just written.

    Raises:
        OutputError: it is not there or may not be read.
    """
    try:
        return Path(path).read_bytes()
    except OSError as error:
        raise OutputError(f"cannot read {path}: {error.strerror or error}") from error
