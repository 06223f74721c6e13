"""STEP text in one fixed order.

The kernel writes the colours in the order of their shapes' memory addresses, so that the
same assembly comes out differently from run to run. Here the entities are renumbered:
geometry and structure stay as they are, the colours follow in the order of what they paint.
"""

from __future__ import annotations

import re

# An instance "#12 = NAME(…);". Quoted text may hold anything, ";" and "#" too.
_INSTANCE = re.compile(r"#(\d+)\s*=\s*((?:'(?:[^']|'')*'|[^';])*);\s*")
_QUOTED_OR_REFERENCE = re.compile(r"('(?:[^']|'')*')|#(\d+)|(\s*\n\s*)")
_COLOURING = "MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION("


def in_fixed_order(text: str) -> str:
    """Return a STEP file's text with its colours in a repeatable order, an entity a line."""
    start = text.index("DATA;") + len("DATA;")
    end = text.rindex("ENDSEC;")
    bodies = {int(number): body for number, body in _INSTANCE.findall(text[start:end])}
    references = {number: _references(body) for number, body in bodies.items()}
    order = _order(bodies, references)
    numbers = {old: new for new, old in enumerate(order, start=1)}
    lines = [f"#{numbers[old]}={_renumbered(bodies[old], numbers)};" for old in order]
    return "\n".join([text[:start], *lines, text[end:]])


def _order(bodies: dict[int, str], references: dict[int, list[int]]) -> list[int]:
    roots = [number for number, body in bodies.items() if body.startswith(_COLOURING)]
    if not roots:
        return list(bodies)
    tail_start = min(roots)
    order = [number for number in bodies if number < tail_start]
    reached = {root: _reach(root, references, tail_start) for root in roots}
    for root in sorted(roots, key=lambda root: [old for old in reached[root] if old < tail_start]):
        order += [old for old in reached[root] if old >= tail_start]
    order += list(bodies)  # whatever else stands behind, in the kernel's order
    return list(dict.fromkeys(order))


def _reach(root: int, references: dict[int, list[int]], tail_start: int) -> list[int]:
    """Entities that a colouring leads to, in order; not what lies behind geometry it paints."""
    found: dict[int, None] = {}
    waiting = [root]
    while waiting:
        number = waiting.pop()
        if number not in found:
            found[number] = None
            if number >= tail_start:
                waiting += reversed(references[number])
    return list(found)


def _references(body: str) -> list[int]:
    return [int(number) for _, number, _ in _QUOTED_OR_REFERENCE.findall(body) if number]


def _renumbered(body: str, numbers: dict[int, int]) -> str:
    def replace(match: re.Match[str]) -> str:
        quoted, reference, _ = match.groups()
        if quoted:
            # A line break inside a text has no meaning in this format.
            return quoted.replace("\n", "")
        return f"#{numbers[int(reference)]}" if reference else ""

    return _QUOTED_OR_REFERENCE.sub(replace, body).strip()
