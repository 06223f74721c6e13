"""Peak memory, time and progress of whole checks in fresh processes, their children included.

Run: python tests/benchmarks/memory.py [triangles]

Each demo nose is checked, and then the light van with a scan of that many triangles (2,000,000) for
its inner panel. Memory is the sum over the process and its children as sampled every 20 ms (pages
that they share count twice). At the end stands the largest of any one process as the system kept
it, which no sampling can miss. Progress is read as a person sees it: how many different lines, and
the longest that one of them stood still.
"""

from __future__ import annotations

import os
import pty
import re
import resource
import select
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import psutil

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import inner_panel

DEMOS = Path(__file__).resolve().parents[2] / "vehicle_envelopes"
SCANNED = "light_van"
DEMO_BELOW_GB, SCAN_BELOW_GB = 1.5, 3.0
_EVERY_S = 0.02
_LONG_MM = 1100.0
_GB = 1e9
_KB = 1024
_ESCAPES = re.compile(rb"\x1b\[[0-9;?]*[A-Za-z]")
_LINE = re.compile(r"\d+/\S+\s+(.+)")


@dataclass
class Cost:
    """What one check took; progress: (seconds since the start, what the line said then)."""

    sum_gb: float
    wall_s: float
    status: int
    progress: list[tuple[float, str]]

    @property
    def stood_still(self) -> tuple[float, str]:
        """The longest time that the line stood still, seconds, and what it said."""
        ends = [at for at, _ in self.progress[1:]] + [self.wall_s]
        return max(
            ((end - at, said) for end, (at, said) in zip(ends, self.progress, strict=True)),
            default=(self.wall_s, ""),
        )


def checked(nose: Path) -> Cost:
    """Check a nose in a process of its own, with a terminal to show its progress on."""
    ours, theirs = pty.openpty()
    started = time.monotonic()
    with tempfile.TemporaryDirectory() as outputs:
        child = subprocess.Popen(
            [sys.executable, "-m", "noseroom.cli", "check", str(nose), "--outputs", outputs],
            stdout=subprocess.DEVNULL,
            stderr=theirs,
            env={**os.environ, "TERM": "xterm", "COLUMNS": "120"},
        )
        os.close(theirs)
        most, said = 0, b""
        seen: list[tuple[float, str]] = []
        done = False
        while not done:
            done = child.poll() is not None
            most = max(most, _resident(child.pid))
            while select.select([ours], [], [], 0 if done else _EVERY_S)[0]:
                try:
                    said = said[-4096:] + os.read(ours, 65536)
                except OSError:  # the other end is closed
                    break
                line = _last_line(said)
                if line and (not seen or seen[-1][1] != line):
                    seen.append((time.monotonic() - started, line))
                if not done:
                    break
        status = child.wait()
        wall_s = time.monotonic() - started
    os.close(ours)
    return Cost(most / _GB, wall_s, status, seen)


def _resident(number: int) -> int:
    """Bytes of a process and its children."""
    total = 0
    try:
        one = psutil.Process(number)
        for each in (one, *one.children(recursive=True)):
            total += each.memory_info().rss
    except psutil.Error:
        pass
    return total


def _last_line(said: bytes) -> str:
    text = _ESCAPES.sub(b"", said).decode("utf-8", "replace")
    found = [_LINE.search(line) for line in re.split(r"[\r\n]+", text)]
    whole = [one.group(1).strip() for one in found if one]
    # The last may be cut off where the reading stopped.
    return whole[-2] if len(whole) > 1 else ""


def noses(folder: Path, triangles: int) -> Iterator[tuple[str, Path, float]]:
    """Name, file and limit of each check; the scan is made in the folder."""
    for nose in sorted(DEMOS.glob("*.yaml")):
        yield nose.stem, nose, DEMO_BELOW_GB
    step_mm = (2 * _LONG_MM * inner_panel.HIGH_MM / triangles) ** 0.5
    (folder / inner_panel.SCAN.name).write_bytes(inner_panel.ply(_LONG_MM, step_mm))
    nose = folder / f"{SCANNED}.yaml"
    nose.write_bytes((DEMOS / nose.name).read_bytes())
    yield f"{SCANNED}, {triangles:,} triangles", nose, SCAN_BELOW_GB


def main(triangles: int = 2_000_000) -> int:
    """Print each figure; 1 if one is over its limit, or nothing was shown for a scan."""
    over = False
    with tempfile.TemporaryDirectory() as folder:
        for name, nose, limit_gb in noses(Path(folder), triangles):
            cost = checked(nose)
            still_s, line = cost.stood_still
            bad = cost.sum_gb >= limit_gb or cost.status == 2 or not cost.progress
            over |= bad
            print(
                f"{'OVER ' if bad else ''}{name}: {cost.sum_gb:.2f} GB of {limit_gb:g}, "
                f"{cost.wall_s:.0f} s, status {cost.status}; {len(cost.progress)} lines of "
                f"progress, longest {still_s:.0f} s: {line}"
            )
            sys.stdout.flush()
    largest = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * _KB / _GB
    print(f"largest of any one process: {largest:.2f} GB")
    return int(over or largest >= SCAN_BELOW_GB)


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:])))
