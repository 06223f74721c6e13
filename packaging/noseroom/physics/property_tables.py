"""Tables of properties that CoolProp makes once and the user's disk keeps.

Loading CoolProp takes two seconds, reading its answers back a few milliseconds.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Iterable

import numpy as np

from noseroom.errors import MissingLibraryError
from noseroom.physics.ranges import Floats
from noseroom.shelf import Shelf, usual_folder

__all__ = ["kept_tables"]

_FORMAT = b"property tables 1 "


def kept_tables(
    key: str, names: Iterable[str], make: Callable[[], dict[str, Floats]]
) -> dict[str, Floats]:
    """Arrays by name, from the user's cache or made anew.

    key: of these tables; another one for another way of making them. names: what has to be there.
    What the cache has is used only under the same version of CoolProp, and if it is whole. Raises
    MissingLibraryError where CoolProp is not there.
    """
    try:
        return _kept_tables(key, names, make)
    except ImportError as error:
        raise MissingLibraryError(
            "properties of refrigerant and coolant need CoolProp: pip install CoolProp"
        ) from error


def _kept_tables(
    key: str, names: Iterable[str], make: Callable[[], dict[str, Floats]]
) -> dict[str, Floats]:
    folder = usual_folder()
    if folder is None:
        return make()
    # Asking for the version does not load the library.
    from importlib.metadata import version

    shelf = Shelf(folder, _FORMAT + version("CoolProp").encode())
    try:
        kept = shelf.get(key.encode())
        tables = None if kept is None else _unpacked(kept, names)
        if tables is None:
            tables = make()
            shelf.put(key.encode(), _packed(tables))
            shelf.save()
    finally:
        shelf.close()
    return tables


def _packed(tables: dict[str, Floats]) -> bytes:
    written = io.BytesIO()
    np.savez_compressed(written, allow_pickle=False, **tables)
    return written.getvalue()


def _unpacked(kept: bytes, names: Iterable[str]) -> dict[str, Floats] | None:
    """None for bytes that are no such tables: then they are made anew."""
    try:
        with np.load(io.BytesIO(kept), allow_pickle=False) as found:
            return {name: np.asarray(found[name], dtype=float) for name in names}
    except (KeyError, ValueError, OSError, TypeError, zipfile.BadZipFile):
        return None
