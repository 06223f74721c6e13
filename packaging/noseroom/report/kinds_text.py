"""What the envelope file may say of each kind of part, for somebody who writes one."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from noseroom.envelope.kinds import NOT_KNOWN, Kind, Kinds, Size

_WIDTH = 88


def every_kind(kinds: Kinds) -> str:
    """One line a kind: its name, other words for it, and what it is."""
    lines = []
    for kind in kinds.values():
        also = f" (or {', '.join(kind.also)})" if kind.also else ""
        lines.append(f"{kind.name}{also}: {kind.help}")
    return "\n".join(lines) + "\n"


def one_kind(kind: Kind) -> str:
    """All that the file may say of one kind: sizes, words, what can be measured from, ports."""
    return "\n".join(_paragraphs(kind)) + "\n"


def _paragraphs(kind: Kind) -> Iterator[str]:
    yield f"{kind.name}: {kind.help}"
    yield f"carried by: {' or '.join(kind.carried_by)}"
    for heading, lines in (
        ("sizes", [_size(one) for one in kind.sizes]),
        ("words", [f"{one.key}: {' | '.join(one.options)} ({one.help})" for one in kind.choices]),
        ("texts", [f"{one.key}: {one.help}" for one in kind.texts]),
        ("names of parts", [f"{one.key}: {one.help}" for one in kind.references]),
        ("assumed unless measured", list(kind.assumed)),
    ):
        if lines:
            yield f"\n{heading}"
            yield from (
                textwrap.fill(line, _WIDTH, initial_indent="  ", subsequent_indent="      ")
                for line in lines
            )
    for heading, names in (
        ("to measure from", [one.name for one in kind.features if one.name]),
        ("ports for hoses", list(kind.ports)),
    ):
        if names:
            yield f"\n{heading}"
            yield textwrap.fill(
                ", ".join(names), _WIDTH, initial_indent="  ", subsequent_indent="  "
            )


def _size(size: Size) -> str:
    unit = {"length": " mm", "angle": " deg"}.get(size.measure, "")
    usual = "has to be given" if size.usual is None else f"usually {size.usual:g}"
    reach = f" ± {size.reach:g}" if size.usual is not None and size.reach else ""
    unit = unit if size.usual is not None else ""
    other = "".join(f", {mm:g}{unit} where {one} is {word}" for one, word, mm in size.usual_for)
    only = f"; only where {size.when[0]} is {size.when[1]}" if size.when else ""
    if size.source == NOT_KNOWN:
        return f"{size.key}: {size.help}; never assumed{only}"
    return f"{size.key}: {size.help}; {usual}{reach}{unit}{other}{only}"
