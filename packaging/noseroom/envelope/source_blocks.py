"""The tree of a file that is read again and again, of which little changes from time to time.

An envelope is a mapping whose keys stand at the left edge, so that it falls into blocks: a key, and
all that is set in under it. A block that stands where it stood, with the text that it had, is the
tree that it was. Where a file is anything else than such blocks, or has a fault, it is read whole.
"""

from __future__ import annotations

import re
from functools import lru_cache
from itertools import pairwise

from noseroom.envelope.source import MOST_NODES, Node, SourceError, decoded, tree
from noseroom.errors import Fault

_KEPT = 256
_KEY = re.compile(r"^[^\s#]", re.MULTILINE)
_ACROSS = re.compile(r"[&*]|^[^\s\w#]|^\d", re.MULTILINE)
"""What may tie one block to another, or be more than a key at the left edge."""


def parse_again(data: bytes) -> tuple[Node, list[Fault]]:
    """As `source.parse`, and the same tree. Nobody may change it: others have parts of it."""
    text = decoded(data)
    root = _of_blocks(text)
    return tree(text) if root is None else (root, [])


def _of_blocks(text: str) -> Node | None:
    """The tree of a text, block by block; None where it has to be read as a whole."""
    starts = [one.start() for one in _KEY.finditer(text)]
    plain = text.removesuffix("\n").split("\n") == text.splitlines()
    if not starts or not plain or _ACROSS.search(text) or not _empty(text[: starts[0]]):
        return None
    root = Node("mapping", 0)
    for start, end in pairwise([*starts, len(text)]):
        block = _block(text[start:end], text.count("\n", 0, start))
        if block is None:
            return None
        ((key, (line, value)),) = block.entries.items()
        if key in root.entries:
            return None
        root.line = root.line or line
        root.entries[key] = line, value
        root.weight += 1 + value.weight
    return root if root.weight <= MOST_NODES else None


def _empty(text: str) -> bool:
    """Whether there is nothing but comments."""
    return all(line.lstrip(" ").startswith("#") or not line.strip(" ") for line in text.split("\n"))


@lru_cache(maxsize=_KEPT)
def _block(text: str, lines_above: int) -> Node | None:
    """The tree of a block under some lines; None where it is not one key with a value."""
    try:
        root, faults = tree("\n" * lines_above + text)
    except SourceError:
        return None
    return root if not faults and len(root.entries) == 1 else None
