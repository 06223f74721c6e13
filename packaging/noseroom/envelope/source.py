"""The bytes of an envelope file as a tree in which every value knows its line.

Works from the parser's events, not from loaded objects: nothing is constructed, so tags have
nothing to call; scalars keep the very text that was written (`1.10`, `yes`, `1/16`); and the caps
hold before anything is expanded. YAML 1.2 throughout: `yes` and `1:30` are texts.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)

from noseroom.envelope.suggest import quoted
from noseroom.envelope.traps import no_value, syntax_trap
from noseroom.errors import Fault

LARGEST_BYTES = 1_000_000
DEEPEST = 16
MOST_NODES = 20_000
"""Values in the file with every alias written out: far more than any nose needs."""

LONGEST_LINE = 10_000
MOST_LINES = 20_000
"""Beyond these the parser takes seconds, and no notebook of a nose has them."""

_NULLS = {"", "~", "null", "Null", "NULL"}
_UNPRINTABLE = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_EXPECTED_FILE = "a text file in YAML, such as one that starts with format: 1"


class SourceError(Exception):
    """The file cannot be read as YAML at all; `faults` say why. Never leaves this package."""

    def __init__(self, *faults: Fault) -> None:
        super().__init__(*faults)
        self.faults = faults


@dataclass(slots=True)
class Node:
    """One value: a mapping, a list or a scalar, with its 1-based line.

    text: of a scalar, None where YAML reads nothing. entries: of a mapping, key -> (line of the
    key, value). why_empty, hint: of an empty value, what made it empty and what to write instead.
    """

    kind: Literal["mapping", "list", "scalar"]
    line: int
    text: str | None = None
    entries: dict[str, tuple[int, Node]] = field(default_factory=dict)
    items: list[Node] = field(default_factory=list)
    why_empty: str = ""
    hint: str = ""
    weight: int = 1

    def plain(self) -> Any:
        """The value as dict, list, str or None."""
        if self.kind == "mapping":
            return {key: value.plain() for key, (_, value) in self.entries.items()}
        if self.kind == "list":
            return [one.plain() for one in self.items]
        return self.text

    def at(self, path: tuple[str | int, ...]) -> tuple[int, Node]:
        """The line of the key and the node at a path, or those of the deepest one on the way."""
        line, node = self.line, self
        for step in path:
            if isinstance(step, str) and step in node.entries:
                line, node = node.entries[step]
            elif isinstance(step, int) and step < len(node.items):
                node = node.items[step]
                line = node.line
            else:
                break
        return line, node


def load(path: Path) -> bytes:
    """The bytes of a regular file of a bearable size. Raises SourceError."""
    try:
        # Without blocking: a pipe with nobody at its other end would hold the caller for ever.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    except FileNotFoundError:
        raise SourceError(Fault(1, "", "no file of this name", _EXPECTED_FILE)) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        found = f"a file that cannot be opened ({reason})"
        raise SourceError(Fault(1, "", found, _EXPECTED_FILE)) from None
    try:
        status = os.fstat(handle)
        if not stat.S_ISREG(status.st_mode):
            what = "a directory" if stat.S_ISDIR(status.st_mode) else "a device or a pipe"
            raise SourceError(Fault(1, "", what, _EXPECTED_FILE))
        if status.st_size > LARGEST_BYTES:
            raise SourceError(_too_large(status.st_size))
        with os.fdopen(os.dup(handle), "rb") as stream:
            # One byte more than allowed tells a file that grew meanwhile.
            return stream.read(LARGEST_BYTES + 1)
    except OSError as error:
        found = f"a file that cannot be read ({error.strerror})"
        raise SourceError(Fault(1, "", found, _EXPECTED_FILE)) from None
    finally:
        os.close(handle)


def parse(data: bytes) -> tuple[Node, list[Fault]]:
    """The tree of one document whose top is a mapping, and the keys that stand twice.

    Raises SourceError for what leaves no tree to look at.
    """
    return tree(decoded(data))


def tree(text: str) -> tuple[Node, list[Fault]]:
    """As `parse`, of what the bytes say."""
    builder = _Builder(text.splitlines())
    try:
        return builder.document(_events(text)), builder.faults
    except SourceError as error:
        raise SourceError(*builder.faults, *error.faults) from None


def _events(text: str) -> Iterator[Any]:
    """The parser's events; whatever it raises becomes a SourceError."""
    try:
        yield from YAML(typ="rt", pure=True).parse(text)
    except YAMLError as error:
        trap = syntax_trap(error, text.splitlines())
        raise SourceError(Fault(trap.line, "", trap.found, trap.expected, trap.hint)) from None
    except Exception as error:  # some of the library's own slips come out on hostile bytes
        found = f"something that is not YAML ({type(error).__name__})"
        raise SourceError(Fault(1, "", found, _EXPECTED_FILE)) from None


def _too_large(size: int) -> Fault:
    found = f"a file of {size} bytes" if size else "a larger file"
    return Fault(1, "", found, f"at most {LARGEST_BYTES} bytes")


def decoded(data: bytes) -> str:
    """The text of the file: UTF-8, printable. Raises SourceError."""
    if len(data) > LARGEST_BYTES:
        raise SourceError(_too_large(len(data)))
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        hint = "save it as UTF-8 in your editor"
        raise SourceError(Fault(1, "", "a text in UTF-16", "a text in UTF-8", hint))
    if b"\0" in data:
        line = data.count(b"\n", 0, data.index(b"\0")) + 1
        raise SourceError(Fault(line, "", "a zero byte, as binary files have", _EXPECTED_FILE))
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        found = f"the byte 0x{data[error.start]:02x}, which is not UTF-8"
        hint = "save it as UTF-8 in your editor"
        raise SourceError(Fault(line, "", found, "a text in UTF-8", hint)) from None
    if odd := _UNPRINTABLE.search(text):
        line = text.count("\n", 0, odd.start()) + 1
        found = f"the control character U+{ord(odd[0]):04X}"
        raise SourceError(Fault(line, "", found, "printable text"))
    lines = text.splitlines()
    if len(lines) > MOST_LINES:
        found = f"{len(lines)} lines"
        raise SourceError(Fault(MOST_LINES, "", found, f"at most {MOST_LINES} lines"))
    for number, line_text in enumerate(lines, 1):
        if len(line_text) > LONGEST_LINE:
            found = f"a line of {len(line_text)} characters"
            raise SourceError(Fault(number, "", found, f"at most {LONGEST_LINE} in a line"))
    return text


class _Builder:
    """Makes the tree from the parser's events."""

    def __init__(self, lines: list[str]) -> None:
        self.lines = lines
        self.faults: list[Fault] = []
        self._anchors: dict[str, Node | None] = {}
        self._nodes = 0
        self._path: list[str] = []

    def document(self, events: Iterator[Any]) -> Node:
        root: Node | None = None
        for event in events:
            if isinstance(event, DocumentStartEvent):
                if root is not None:
                    found = "a second document after ---"
                    self._stop(event, found, "one document in a file", "make it a file of its own")
                root = self._node(next(events), events, 1)
        if root is None or (root.kind == "scalar" and root.text is None):
            raise SourceError(Fault(1, "", "an empty file", _EXPECTED_FILE))
        if root.kind != "mapping":
            found = f"a {root.kind}" if root.kind == "list" else quoted(root.text or "")
            expected = "keys with values at the top, such as format: 1"
            raise SourceError(Fault(root.line, "", found, expected))
        return root

    def _stop(self, event: Any, found: str, expected: str, hint: str = "") -> None:
        line = event.start_mark.line + 1
        raise SourceError(Fault(line, "", found, expected, hint))

    def _count(self, event: Any, weight: int = 1) -> None:
        self._nodes += weight
        if self._nodes > MOST_NODES:
            found = f"more than {MOST_NODES} values once every alias is written out"
            self._stop(event, found, "a file about one car's nose", "write the values out")

    def _node(self, event: Any, events: Iterator[Any], depth: int) -> Node:
        if isinstance(event, AliasEvent):
            return self._alias(event)
        self._count(event)
        if event.tag is not None:
            tag = str(event.tag).replace("tag:yaml.org,2002:", "!!")
            self._stop(event, f"the tag {tag}", "plain values without tags", "leave it out")
        if depth > DEEPEST:
            self._stop(event, f"values nested more than {DEEPEST} deep", "a flatter file")
        if event.anchor is not None:
            self._anchors[event.anchor] = None  # its own inside must not use it
        line = event.start_mark.line + 1
        if isinstance(event, MappingStartEvent):
            node = self._mapping(event, events, depth)
        elif isinstance(event, SequenceStartEvent):
            node = Node("list", line)
            for one in events:
                if isinstance(one, SequenceEndEvent):
                    break
                node.items.append(self._node(one, events, depth + 1))
            node.weight = 1 + sum(one.weight for one in node.items)
        else:
            node = self._scalar(event)
        if event.anchor is not None:
            self._anchors[event.anchor] = node
        return node

    def _alias(self, event: AliasEvent) -> Node:
        name = event.anchor
        if name not in self._anchors:
            hint = "quote a text that starts with *"
            self._stop(event, f"*{name}, which nothing before it is named", "a value", hint)
        node = self._anchors[name]
        if node is None:
            self._stop(event, f"*{name} inside of what it stands for", "a value without a loop")
            raise AssertionError  # for the type checker: the line above never returns
        self._count(event, node.weight)
        return node

    def _scalar(self, event: ScalarEvent) -> Node:
        line = event.start_mark.line + 1
        plain = event.style is None or event.style == ""
        if odd := _UNPRINTABLE.search(event.value):
            found = f"an escape for the character U+{ord(odd[0]):04X}"
            self._stop(event, found, "printable text")
        if not plain or event.value not in _NULLS:
            return Node("scalar", line, text=event.value)
        why, hint = no_value(event.value, "")
        return Node("scalar", line, text=None, why_empty=why, hint=hint)

    def _explain_empty(self, value: Node, key_end: Any) -> None:
        """Say what made a key's value empty; the parser puts it where the next key starts."""
        if value.kind == "scalar" and value.text is None and value.why_empty == "nothing":
            value.line = key_end.line + 1
            rest = self.lines[key_end.line][key_end.column :] if self.lines else ""
            value.why_empty, value.hint = no_value("", rest.lstrip().removeprefix(":"))

    def _mapping(self, start: MappingStartEvent, events: Iterator[Any], depth: int) -> Node:
        node = Node("mapping", start.start_mark.line + 1)
        last_key = ""
        for event in events:
            if isinstance(event, MappingEndEvent):
                break
            line = event.start_mark.line + 1
            key = self._key(event, events)
            self._path.append(key or "")
            value = self._node(next(events), events, depth + 1)
            self._path.pop()
            node.weight += 1 + value.weight
            if key is None:
                continue
            self._explain_empty(value, event.end_mark)
            if self._split_by_comma(node, last_key, key, value):
                continue
            if key in node.entries:
                first = node.entries[key][0]
                found = f"{quoted(key)} again, first given on line {first}"
                where = ".".join([*self._path, key])
                self.faults.append(Fault(line, where, found, "each key once", "keep one of them"))
                continue
            node.entries[key] = (line, value)
            last_key = key
        return node

    def _key(self, event: Any, events: Iterator[Any]) -> str | None:
        """The text of a key; None, with a fault noted, for what cannot be one."""
        line = event.start_mark.line + 1
        if not isinstance(event, ScalarEvent):
            expected = "a key that is a text"
            if isinstance(event, AliasEvent):
                self._stop(event, f"*{event.anchor} as a key", expected)
            self._node(event, events, DEEPEST)
            self.faults.append(Fault(line, "", "a list or a mapping as a key", expected))
            return None
        node = self._node(event, events, 1)
        if event.value == "<<" and event.style in (None, ""):
            found = "<<, a merge key"
            hint = "write the keys out, or give the whole value an alias"
            self.faults.append(Fault(line, "<<", found, "the keys themselves", hint))
            return None
        if node.text is None or not node.text.strip():
            self.faults.append(Fault(line, "", "an empty key", "a key that is a text"))
            return None
        return " ".join(node.text.split())

    def _split_by_comma(self, node: Node, last_key: str, key: str, value: Node) -> bool:
        """Whether this "key" is the rest of a decimal comma: `{width: 27,5 mm}`."""
        if value.text is not None or value.kind != "scalar" or not re.match(r"\d", key):
            return False
        before = node.entries.get(last_key, (0, None))[1]
        if before is None or before.text is None or not re.search(r"\d$", before.text):
            return False
        found = f'"{before.text},{key}", which the comma splits in braces'
        whole = f"{before.text}.{key}"
        where = ".".join([*self._path, last_key])
        self.faults.append(Fault(value.line, where, found, "a decimal point", f"write {whole}"))
        before.text = whole  # so that half the number is not judged as well
        return True
