"""HTML that cannot be broken out of: whatever is not markup already is escaped."""

from __future__ import annotations

import html
import json
from collections.abc import Iterable
from typing import Any

from noseroom.report.drawing_text import clean

_VOID = frozenset({"input", "meta", "br", "hr", "img"})


class Html(str):
    """Text that is markup already."""

    __slots__ = ()


Child = str | Iterable["Child"] | None


def escaped(text: str) -> Html:
    """Any text as markup; characters that no page can show are left out."""
    return text if isinstance(text, Html) else Html(_plain(text))


def _plain(text: str) -> str:
    """Escaped and cleaned; a space at an end, which parts it from its neighbour, is kept."""
    said = html.escape(clean(text), quote=True)
    if not said:
        return " " if text and text.isspace() else ""
    return f"{' ' * text[0].isspace()}{said}{' ' * text[-1].isspace()}"


def joined(children: Child) -> Html:
    """Texts, markup and lists of both as one piece of markup."""
    if children is None:
        return Html("")
    if isinstance(children, str):
        return escaped(children)
    return Html("".join(joined(child) for child in children))


def tag(name: str, /, *children: Child, **attributes: str | int | bool | None) -> Html:
    """One element.

    attributes: "_" stands for "-" and one at the end is dropped (`class_`, `aria_label`); True is
    an attribute without a value, False and None none at all.
    """
    said = []
    for key, value in attributes.items():
        name_said = key.rstrip("_").replace("_", "-")
        if value is True:
            said.append(f" {name_said}")
        elif value is not None and value is not False:
            said.append(f' {name_said}="{html.escape(clean(str(value)), quote=True)}"')
    opened = Html(f"<{name}{''.join(said)}>")
    return opened if name in _VOID else Html(f"{opened}{joined(children)}</{name}>")


def data_block(name: str, value: Any) -> Html:
    """Data for the page's script, as JSON in which no text can close the element."""
    plain = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for sign in "<>&\u2028\u2029":
        plain = plain.replace(sign, f"\\u{ord(sign):04x}")
    return Html(f'<script type="application/json" id="{name}">{plain}</script>')
