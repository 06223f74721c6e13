"""Short names for values: the same values have the same one, in any process and on any machine."""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np

_SIZE = 16
_KEPT: WeakKeyDictionary[Any, bytes] = WeakKeyDictionary()


def fingerprint(*things: object) -> bytes:
    """16 bytes that stand for some values: numbers, texts, arrays, records and lists of these.

    Floats count by their bits, records by their class and fields, mappings by their order.
    Raises TypeError for anything that has no value of its own, such as a function.
    """
    made = hashlib.blake2b(digest_size=_SIZE)
    for chunk in _encoded(things):
        made.update(chunk)
    return made.digest()


def _encoded(thing: Any) -> Iterator[bytes]:
    """Bytes that no other value has: a mark for the kind, the length, what is in it."""
    plain = _PLAIN.get(type(thing))
    if plain is not None:
        yield plain(thing)
    elif isinstance(thing, tuple | list):
        yield b"(%d" % len(thing)
        for one in thing:
            yield from _encoded(one)
    elif isinstance(thing, np.ndarray):
        whole = np.asarray(thing, order="C")
        yield f"a{whole.dtype.str}{whole.shape}".encode()
        yield whole.tobytes()
    elif isinstance(thing, np.generic):
        yield from _encoded(thing.item())
    elif isinstance(thing, Mapping):
        yield b"{%d" % len(thing)
        for item in thing.items():
            yield from _encoded(item)
    elif isinstance(thing, set | frozenset):
        yield b"<%d" % len(thing)
        yield from sorted(b"".join(_encoded(one)) for one in thing)
    elif is_dataclass(thing) and not isinstance(thing, type):
        yield _record(thing)
    else:
        raise TypeError(f"a {type(thing).__name__} has no fingerprint")


def _record(thing: Any) -> bytes:
    """The fingerprint of a record; of one that is only equal to itself, kept with it.

    Such a record (a scan that was read) may be large, and does not change.
    """
    lasting = getattr(type(thing), "__hash__", None) is object.__hash__
    if lasting and thing in _KEPT:
        return _KEPT[thing]
    values = [getattr(thing, one.name) for one in fields(thing)]
    made = b"r" + fingerprint(type(thing).__qualname__, values)
    if lasting:
        _KEPT[thing] = made
    return made


def _text(value: str) -> bytes:
    coded = value.encode("utf-8", "surrogatepass")
    return b"s%d:" % len(coded) + coded


_PLAIN: dict[type, Callable[[Any], bytes]] = {
    type(None): lambda _: b"0",
    bool: lambda value: b"+" if value else b"-",
    int: lambda value: b"i%d;" % value,
    float: lambda value: b"f" + struct.pack("<d", value),
    complex: lambda value: b"c" + struct.pack("<dd", value.real, value.imag),
    str: _text,
    bytes: lambda value: b"b%d:" % len(value) + value,
}
