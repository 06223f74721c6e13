"""How long verdicts and figures take when one reading or size changes, against a fresh check.

Every place reading and every size that the file gives is changed by a little, one at a time, in a
running session, and put back. Seconds are of this process's own processor time, which other work on
the machine does not lengthen much; the ratios are to a check that knows nothing.

    python tests/benchmarks/incremental.py [envelope file] [--every N]
"""

from __future__ import annotations

import argparse
import re
import sys
import time
from collections import defaultdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from machine import machine

from noseroom.errors import EnvelopeError
from noseroom.pipeline import Session
from noseroom.report.result import Result

_PLACE = re.compile(r"^ +- .*?(?P<number>\d+(?: \d+/\d+)?|\d+/\d+)(?= )")
_SIZE = re.compile(r"(?P<key>[a-z][a-z ]*): (?P<number>\d+(?: \d+/\d+)?)(?=[,}\s#]|$)")
_NEXT = " 1/16"


def nudged(number: str) -> str:
    """A figure that is a sixteenth more, as a builder writes it; "" where it is not a length."""
    whole, _, part = number.partition(" ")
    if "/" in whole:
        whole, part = "0", whole
    top, bottom = (int(one) for one in (part or "0/16").split("/"))
    if bottom > 16:
        return ""
    sixteenths = int(whole) * 16 + top * (16 // bottom) + 1
    return f"{sixteenths // 16} {sixteenths % 16}/16" if sixteenths % 16 else f"{sixteenths // 16}"


def changes_of(text: str) -> list[tuple[str, str, str, str]]:
    """(kind of change, part, line, new text) for all that can be changed by a sixteenth."""
    made = []
    lines = text.split("\n")
    part = ""
    for number, line in enumerate(lines):
        if re.match(r"[a-z]", line):
            part = line.split(":")[0]
        if not line.startswith(" ") or part in ("rules", "marks", "engine"):
            continue
        found = [("place", one) for one in _PLACE.finditer(line)] or [
            ("size", one) for one in _SIZE.finditer(line) if one["key"].strip() != "count"
        ]
        for kind, one in found:
            new = nudged(one["number"])
            if new:
                changed = line[: one.start("number")] + new + line[one.end("number") :]
                whole = "\n".join([*lines[:number], changed, *lines[number + 1 :]])
                made.append((kind, part, changed.strip(), whole))
    return made


def timed(session: Session, text: str) -> tuple[float, Result]:
    """Processor seconds and the result."""
    start = time.process_time()
    result = session.check(text)
    return time.process_time() - start, result


def _about_fan(part: str, line: str) -> bool:
    return part == "fan" or "fan" in line.split()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    home = Path(__file__).resolve().parents[2]
    parser.add_argument(
        "file", nargs="?", type=Path, default=home / "vehicle_envelopes" / "farm_pickup.yaml"
    )
    parser.add_argument("--every", type=int, default=1, help="only every Nth change")
    options = parser.parse_args()
    text = options.file.read_text(encoding="utf-8")
    session = Session(options.file)
    timed(session, text)  # libraries are loaded, and what is compiled is compiled
    fresh, _ = timed(Session(options.file), text)
    print(machine())
    print(f"{options.file.name}: a fresh check in a running process takes {fresh:.2f} s")
    taken: dict[str, list[tuple[float, str]]] = defaultdict(list)
    for kind, part, line, new in changes_of(text)[:: options.every]:
        try:
            start = time.process_time()
            outlook = session.at_once(new)
            soon = time.process_time() - start
            seconds, _ = timed(session, new)
        except EnvelopeError:
            continue  # a sixteenth more is more than the part can have
        at_once = "fan at once" if _about_fan(part, line) else f"{kind} at once"
        taken[at_once].append((soon if outlook else soon + seconds, f"{part}: {line}"))
        name = "the fan" if _about_fan(part, line) else kind
        taken[name].append((soon + seconds, f"{part}: {line}"))
        back, _ = timed(session, text)
        taken["taken back"].append((back, part))
        ratio = fresh / (soon + seconds)
        print(
            f"{soon:7.3f} s verdicts, {soon + seconds:7.3f} s figures ({ratio:4.1f} times)  "
            f"{name:8s} {part}: {line}",
            flush=True,
        )
    for name, all_of_it in taken.items():
        seconds = sorted(one for one, _ in all_of_it)
        middle = seconds[len(seconds) // 2]
        print(
            f"{name}: {len(seconds)} changes, median {middle:.3f} s ({fresh / middle:.0f} times "
            f"quicker), worst {max(all_of_it)[0]:.3f} s ({max(all_of_it)[1]})"
        )


if __name__ == "__main__":
    main()
