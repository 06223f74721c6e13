"""Damaged envelope files: a sound one, and everything that goes wrong with files in practice.

Every damage leaves a file that is certainly broken, so that a reader which accepts it is wrong.
"""

from __future__ import annotations

import random
from collections.abc import Callable

SOUND = """\
format: 1
title: Half-ton farm pickup, inline six
units: in
sides: as seated
tape: 1/16
marks:
  rail line:
    is: straightedge across the frame rails
core support:
  opening:
    width: 27 1/4
    height: 19
radiator:
  flow: down
  core:
    width: 22 1/2
    height: 17
    thickness: 2
  place:
    - core.front at top 5/8 aft of core support.face
    - core.bottom 1 above core support.opening.bottom
    - core centred in core support.opening
water pump:
  bolts:
    count: 4
    circle: 1 3/4
    thread: 5/16-24
  place:
    - hub.face 5 3/4 ± 1/8 aft of radiator.core.rear
    - axis 3/8 right of centreline
fan:
  fitted: yes
  diameter: 17
  blades: 6
  place:
    - blade.front at 12 o'clock 2 5/8 aft of radiator.core.rear
left puller:
  is: electric fan
  fitted: no
  diameter: 10
  frame:
    depth: 2
  motor:
    depth: 2
"""

_SIZES = ("width: 27 1/4", "height: 19", "width: 22 1/2", "height: 17", "thickness: 2")
_REQUIRED = (*_SIZES, "diameter: 17", "diameter: 10")
_KEYS = ("format:", "units:", "tape:", "opening:", "core:", "flow:", "bolts:", "circle:",
         "place:", "blades:", "fitted:", "frame:", "motor:", "radiator:", "sides:")  # fmt: skip
_SENTENCES = ("5/8 aft of core support.face", "1 above core support.opening.bottom",
              "3/8 right of centreline", "2 5/8 aft of radiator.core.rear")  # fmt: skip

Damage = Callable[[random.Random, str], "str | bytes"]


def _value(rng: random.Random, text: str, new: str) -> str:
    """The text with one size's value replaced."""
    line = rng.choice(_REQUIRED)
    return text.replace(line, f"{line.split(':')[0]}: {new}", 1)


def _missing(rng: random.Random, text: str) -> str:
    line = rng.choice(("format: 1\n", "units: in\n", *(f"    {size}\n" for size in _SIZES)))
    return text.replace(line, "", 1)


def _misspelt(rng: random.Random, text: str) -> str:
    key = rng.choice(_KEYS)
    at = rng.randrange(1, len(key) - 1)
    return text.replace(key, key[:at] + "qz" + key[at:], 1)


def _twice(rng: random.Random, text: str) -> str:
    lines = text.splitlines(keepends=True)
    at = rng.choice([n for n, line in enumerate(lines) if ": " in line and "- " not in line])
    return "".join([*lines[: at + 1], lines[at], *lines[at + 1 :]])


def _wrong_type(rng: random.Random, text: str) -> str:
    return _value(rng, text, rng.choice(("[1, 2]", "{a: 1}", "wide", "true", "2024-05-06", "''")))


def _null(rng: random.Random, text: str) -> str:
    return _value(rng, text, rng.choice(("", "~", "null", "# 3", "#10-24")))


def _huge(rng: random.Random, text: str) -> str:
    return _value(rng, text, rng.choice(("1e9", "99999", "4000 mm", "1e400", "9" * 400, ".inf")))


def _negative(rng: random.Random, text: str) -> str:
    return _value(rng, text, rng.choice(("-3", "-27 1/4", "0", "-0.0", "-.inf", ".nan")))


def _trap(rng: random.Random, text: str) -> str:
    return _value(rng, text, rng.choice(("?", "> 1/2", "<= 3", "27,5 mm", "@3", "`3", "%3", "*3")))


def _bound(rng: random.Random, text: str) -> str:
    return _value(rng, text, rng.choice(("at least 3", "at most 3 in", "27 ± 0", "3 ± -1")))


def _circular(rng: random.Random, text: str) -> str:
    one, other = rng.sample(("radiator", "water pump", "fan"), 2)
    for name, carrier in ((one, other), (other, one)):
        text = text.replace(f"\n{name}:\n", f"\n{name}:\n  carried by: {carrier}\n", 1)
    return text


def _not_utf8(rng: random.Random, text: str) -> bytes:
    data = text.encode()
    at = rng.randrange(len(data))
    return data[:at] + rng.choice((b"\xff", b"\xc3\x28", b"\xed\xa0\x80", b"\xbd")) + data[at:]


def _binary(rng: random.Random, text: str) -> bytes:
    del text
    return bytes(rng.randrange(256) for _ in range(rng.randint(64, 900))) + b"\0"


def _aliases(rng: random.Random, text: str) -> str:
    depth, width = rng.randint(6, 12), rng.randint(6, 10)
    lines = ["bomb:", "  a0: &a0 [x, x, x, x, x, x]"]
    for level in range(1, depth):
        lines.append(f"  a{level}: &a{level} [{', '.join([f'*a{level - 1}'] * width)}]")
    return text + "\n".join(lines) + "\n"


def _loop_alias(rng: random.Random, text: str) -> str:
    del rng
    return text + "shroud: &me\n  place: [*me]\n"


def _tab(rng: random.Random, text: str) -> str:
    lines = text.splitlines(keepends=True)
    indented = [n for n, line in enumerate(lines) if line.startswith("  ")]
    at = rng.choice(indented)
    lines[at] = "\t" + lines[at].lstrip()
    return "".join(lines)


def _truncated(rng: random.Random, text: str) -> str:
    return text + rng.choice(("shroud: {opening: {dia", 'drier: {"dia', "belt: [", "hose: 'from"))


def _deep(rng: random.Random, text: str) -> str:
    depth = rng.choice((20, 100, 5000))
    return text + "shroud: " + "[" * depth + "]" * depth + "\n"


def _tag(rng: random.Random, text: str) -> str:
    tags = ("!!python/object/apply:os.getcwd", "!!python/name:os.sep", "!!float", "!mine", "!!str")
    return _value(rng, text, f"{rng.choice(tags)} 3")


def _documents(rng: random.Random, text: str) -> str:
    del rng
    return text + "---\n" + text


def _no_mapping(rng: random.Random, text: str) -> str:
    del text
    return rng.choice(("", "# nothing yet\n", "- radiator\n", "radiator\n", "---\n...\n", "~\n"))


def _control(rng: random.Random, text: str) -> str:
    at = rng.randrange(len(text))
    return text[:at] + rng.choice("\x07\x1b\x00\x7f\x9f\ufffe") + text[at:]


def _utf16(rng: random.Random, text: str) -> bytes:
    return text.encode(rng.choice(("utf-16", "utf-32")))


def _merge(rng: random.Random, text: str) -> str:
    del rng
    return text.replace("  flow: down\n", "  flow: down\n  <<: {flow: cross}\n")


def _sentence(rng: random.Random, text: str) -> str:
    wrong = rng.choice(
        ("5/8 aft", "5/8 aft of nothing.face", "aft of", "5/8 sideways of core support.face", "?",
         "-3 aft of core support.face", "5/8 aft of core support.fase", "1 in from core support",
         "99999 aft of core support.face", "2 above centreline", "5 ± 0 aft of core support.face")
    )  # fmt: skip
    return text.replace(rng.choice(_SENTENCES), wrong, 1)


def _subject(rng: random.Random, text: str) -> str:
    return text.replace("- core.bottom 1", f"- {rng.choice(('cor.bottom', 'hub.face', 'fan'))} 1")


def _word(rng: random.Random, text: str) -> str:
    old, new = rng.choice(
        (("fitted: no", "fitted: maybe"), ("flow: down", "flow: up"), ("units: in", "units: yd"),
         ("sides: as seated", "sides: as lying"), ("format: 1", "format: 2"),
         ("is: electric fan", "is: electric fam"), ("is: electric fan", "is: 5"),
         ("tape: 1/16", "tape: 0"), ("tape: 1/16", "tape: 1/16 ± 1"), ("blades: 6", "blades: 6.5"),
         ("blades: 6", "blades: about 6"), ("count: 4", "count: [4]"))
    )  # fmt: skip
    return text.replace(old, new, 1)


def _other_choice(rng: random.Random, text: str) -> str:
    del rng
    return text.replace("  flow: down\n", "  flow: cross\n  tanks: {top: {height: 2}}\n")


def _extra(rng: random.Random, text: str) -> str:
    line = rng.choice(
        ("datum: firewall", "rules: {fan gap: 1}", "rules: 3", "shop: 3", "marks: 3", "shroud: 3",
         "gadget: {}", "hose: {from: nothing.port}", "belt: {over: [fan]}", "a/b radiator: {}",
         "shroud:", 'title: "\\ud800"', 'notes: "\\UFFFFFFFF"', 'notes: "a\\0"',
         "engine: {carried by: nobody}", "engine: {tilt: 3 deg}", "engine: {lean: very}",
         "belt: {over: []}", "Radiator: {}", "box: {notes: [[]]}", "5: {}", "? [a]\n: b")
    )  # fmt: skip
    return (
        text.replace("marks:", "xmarks:") + line + "\n"
        if line == "marks: 3"
        else text + line + "\n"
    )


def _oversized(rng: random.Random, text: str) -> str:
    return text + "# " + rng.choice("xyz") * 1_000_001 + "\n"


DAMAGES: dict[str, Damage] = {
    name.lstrip("_"): made
    for name, made in list(globals().items())
    if name.startswith("_") and callable(made) and name not in ("_value",)
    and getattr(made, "__module__", "") == __name__
}  # fmt: skip


def damaged(rng: random.Random) -> tuple[str, bytes]:
    """What was done to the file, and its bytes: one damage, or two of which the second is last."""
    names = list(DAMAGES)
    first = rng.choice(names)
    made = DAMAGES[first](rng, SOUND)
    alone = first in ("no_mapping", "truncated", "deep", "aliases")
    if isinstance(made, str) and not alone and rng.random() < 0.3:
        second = rng.choice(("word", "sentence", "extra", "subject"))
        made, first = DAMAGES[second](rng, made), f"{first}, {second}"
    data = made.encode("utf-8", "surrogatepass") if isinstance(made, str) else made
    return first, data
