"""YAML's own traps: what a builder writes in good faith and YAML reads as something else."""

from __future__ import annotations

import re
from dataclasses import dataclass

from ruamel.yaml.error import MarkedYAMLError, YAMLError

from noseroom.envelope.suggest import quoted

_VALUE = "a value such as 27 1/4"
_LEAVE_OUT = "leave the key out if nobody has measured it"


@dataclass(frozen=True, slots=True)
class SyntaxTrap:
    """Why a text is not YAML, in a builder's words; line is 1-based."""

    line: int
    found: str
    expected: str
    hint: str


# Each: a sign of the trap on the line, what to say was found, what was expected, what to write.
_LINE_TRAPS: tuple[tuple[re.Pattern[str], str, str, str], ...] = (
    (
        re.compile(r"(?:^|[:,{\[-])\s*\?\s*(?:$|[,}\]#])"),
        "? as a value",
        _VALUE,
        _LEAVE_OUT,
    ),
    (
        re.compile(r"(?::|^\s*-|[\[,])\s+(?P<sign>>=?|<=?)\s*[\d.]"),
        "a comparison sign before a value",
        "words",
        "write at least 1/2 or at most 1/2",
    ),
    (
        re.compile(r"[{,\[:]\s+#\s*\S.*"),
        "# which starts a comment here and hides the rest of the line",
        "a text in quotes",
        'write "#10-24" with its quotes',
    ),
    (
        re.compile(r":\s+[@`%]"),
        "a value that starts with a sign which YAML keeps for itself",
        "a text in quotes",
        "put the value in quotes",
    ),
    (
        re.compile(r""":\s*(?P<mark>["'])[^"']*(?P=mark)\s*[^\s,}\]#]"""),
        "words after a quoted text",
        "one text",
        "put quotes round the whole value, or round nothing",
    ),
    (
        re.compile(r":\s+[^\s#'\"{\[][^#'\"{\[]*:\s"),
        "a second colon in one line",
        "one key and one value",
        "start a new line for the second key, or quote a text that has a colon",
    ),
)
_ON_THIS_LINE_ONLY = 1


def syntax_trap(error: YAMLError, lines: list[str]) -> SyntaxTrap:
    """What most likely lies behind a syntax error, from the lines that it names."""
    marks = [getattr(error, name, None) for name in ("problem_mark", "context_mark")]
    numbers = [mark.line for mark in marks if mark is not None] or [0]
    problem = " ".join(str(getattr(error, "problem", None) or "not YAML").split())
    here = min(numbers[0], max(len(lines) - 1, 0))
    line_text = lines[here] if lines else ""
    if "\\t" in problem or re.match(r" *\t", line_text):
        return SyntaxTrap(here + 1, "a tab", "spaces", "indent with spaces only")
    # The mark may lie where the parser gave up, lines after the slip: look back to its context.
    first = min(numbers[-1], here) if isinstance(error, MarkedYAMLError) else here
    for number in [here, *range(here - 1, max(first, here - 40) - 1, -1)]:
        for sign, found, expected, hint in _LINE_TRAPS:
            if number < len(lines) and sign.search(lines[number]):
                shown = f"{found}, in {quoted(lines[number].strip())}"
                return SyntaxTrap(number + 1, shown, expected, hint)
    context = " ".join(str(getattr(error, "context", None) or "").split())
    detail = f"{problem} {context}".strip()
    shown = quoted(line_text.strip()) if line_text.strip() else "the end of the file"
    hint = "check colons, quotes, brackets and indentation here and just above"
    return SyntaxTrap(here + 1, f"{shown}, which is not YAML", f"YAML ({detail})", hint)


def no_value(written: str, rest: str) -> tuple[str, str]:
    """Why a plain value is nothing, and what to write instead, from the words that follow it."""
    if written == "~":
        return "~, which YAML reads as nothing", _LEAVE_OUT
    if written:
        return f"{written}, which YAML reads as nothing", _LEAVE_OUT
    comment = re.match(r"\s*(#\s*\S.*)", rest)
    if comment and re.match(r"#\s?\d", comment[1]):
        shown = comment[1].split(",")[0].rstrip("}] ")
        return (
            f"nothing, because YAML takes {shown} for a comment",
            f'write "{shown}" with its quotes',
        )
    return "nothing", _LEAVE_OUT
