"""A file that is read again, block by block, is the tree that it is when read as a whole."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from noseroom.envelope import source_blocks
from noseroom.envelope.source import Node, SourceError, parse
from noseroom.envelope.source_blocks import parse_again
from noseroom.errors import Fault

DEMOS = sorted((Path(__file__).parents[1] / "vehicle_envelopes").glob("*.yaml"))
SNIPPETS = [
    *' \n\t:-#{}[],"|>&*!%@?a1.~\u2028\u00b7',
    *("\n  ", "\n- ", "\n---\n", "k: ", "\nk:\n", "\r\n", "# x\n", "\n\n", "null", "<<: ", "'"),
]


def told(read: Callable[[bytes], tuple[Node, list[Fault]]], text: str) -> object:
    """All that a reading says, faults and lines with it."""
    try:
        root, faults = read(text.encode())
    except SourceError as error:
        return error.faults
    return flat(root), faults


def flat(node: Node) -> object:
    entries = [(key, line, flat(one)) for key, (line, one) in node.entries.items()]
    own = node.kind, node.line, node.text, node.why_empty, node.hint, node.weight
    return own, entries, [flat(one) for one in node.items]


@pytest.mark.parametrize("demo", DEMOS, ids=lambda one: one.stem)
def test_a_demo_is_read_by_blocks_and_comes_out_the_same(demo: Path) -> None:
    text = demo.read_text(encoding="utf-8")
    assert told(parse_again, text) == told(parse, text)
    lower = "# read again\n" + text
    assert told(parse_again, lower) == told(parse, lower)
    before = source_blocks._block.cache_info()
    last = text.rstrip("\n") + "  # read again\n"
    assert told(parse_again, last) == told(parse, last)
    # Of all its blocks only the last one was not known.
    after = source_blocks._block.cache_info()
    assert after.misses - before.misses == 1
    assert after.hits - before.hits == len(parse(text.encode())[0].entries) - 1


@pytest.mark.parametrize("seed", range(4))
def test_whatever_is_written_into_a_file_it_is_read_the_same(seed: int) -> None:
    rng = random.Random(seed)
    texts = [demo.read_text(encoding="utf-8").split("\n") for demo in DEMOS]
    read = refused = 0
    for _ in range(60):
        lines = rng.choice(texts)
        start = rng.choice([0, rng.randrange(len(lines))])
        text = "\n".join(lines[start : start + rng.randrange(3, 25)])
        for _ in range(rng.randrange(1, 3)):
            at, gone = rng.randrange(len(text) + 1), rng.choice([0, 0, 1, 2])
            text = text[:at] + rng.choice(SNIPPETS) + text[at + gone :]
        found = told(parse, text)
        assert told(parse_again, text) == found
        read += isinstance(found[0], tuple)  # type: ignore[index]
        refused += not isinstance(found[0], tuple)  # type: ignore[index]
    assert read > 3 < refused


@pytest.mark.parametrize(
    "text",
    [
        "a: &x 1\nb: *x\n",
        "a: 1\na: 2\n",
        "a: {b: 1,\nc: 2}\n",
        'a: "one\ntwo"\nb: 1\n',
        "a:\n- 1\n- 2\nb: 3\n",
        "  a: 1\nb: 2\n",
        "27,5: 1\nb:\n",
        "a: 1\n---\nb: 2\n",
        "? a\n: b\n",
        "a:\nb:\n  # nothing\nc: ~\n",
        "# only\n# comments\n",
        "",
    ],
)
def test_what_is_no_plain_row_of_keys_is_read_the_same(text: str) -> None:
    assert told(parse_again, text) == told(parse, text)
