"""Values as bytes and back: numbers, texts, arrays, and records of classes that are named.

Nothing is run when bytes are read, whoever wrote them: only the classes that the reader names are
made, from their fields.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any

import msgpack
import numpy as np

_ARRAY, _RECORD, _WORD = "array", "record", "word"
_DTYPES = ("|b1", "|u1", "|i1", "<i2", "<i4", "<i8", "<u4", "<u8", "<f4", "<f8", "<c16")
_WRONG = (
    *(TypeError, KeyError, ValueError, AttributeError, OverflowError, RecursionError),
    msgpack.UnpackException,
)


def pack(value: Any) -> bytes:
    """Bytes that `unpack` turns into an equal value; lists come back as tuples.

    Raises TypeError for what is neither number, text, array, mapping, sequence, enumeration nor
    record, and OverflowError for a whole number of more than 64 bits.
    """
    packed: bytes = msgpack.packb(_plain(value), use_bin_type=True)
    return packed


def unpack(raw: bytes, *classes: type) -> Any:
    """The value that was packed. classes: of the records and enumerations in it.

    Raises ValueError for bytes that hold anything else.
    """
    known = {one.__qualname__: one for one in classes}
    try:
        return _built(msgpack.unpackb(raw, use_list=False, raw=False), known)
    except _WRONG as error:
        raise ValueError(f"not what was packed: {error}") from None


def _plain(value: Any) -> Any:
    if isinstance(value, Enum):
        return {_WORD: (type(value).__qualname__, value.name)}
    if value is None or isinstance(value, bool | int | float | str | bytes):
        return value
    if isinstance(value, tuple | list):
        return [_plain(one) for one in value]
    if isinstance(value, np.ndarray):
        whole = np.asarray(value, order="C")
        if whole.dtype.str not in _DTYPES:
            raise TypeError(f"an array of {whole.dtype} cannot be packed")
        return {_ARRAY: (whole.dtype.str, whole.shape, whole.tobytes())}
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, Mapping):
        return {"map": [[_plain(key), _plain(one)] for key, one in value.items()]}
    if is_dataclass(value) and not isinstance(value, type):
        given = {one.name: _plain(getattr(value, one.name)) for one in fields(value)}
        return {_RECORD: (type(value).__qualname__, given)}
    raise TypeError(f"a {type(value).__name__} cannot be packed")


def _built(value: Any, known: Mapping[str, type]) -> Any:
    if isinstance(value, tuple):
        return tuple(_built(one, known) for one in value)
    if not isinstance(value, dict):
        return value
    ((kind, held),) = value.items()
    if kind == "map":
        return {_built(key, known): _built(one, known) for key, one in held}
    if kind == _ARRAY:
        dtype, shape, raw = held
        if dtype not in _DTYPES or any(not isinstance(side, int) or side < 0 for side in shape):
            raise ValueError(f"found an array of {dtype!r}, {shape!r}")
        # A copy: what is read from bytes could not be written to.
        return np.frombuffer(raw, dtype=np.dtype(dtype)).reshape(shape).copy()
    if kind == _WORD:
        name, word = held
        return known[name][word]  # type: ignore[index]
    if kind == _RECORD:
        name, given = held
        return known[name](**{key: _built(one, known) for key, one in given.items()})
    raise ValueError(f"found {kind!r}")
