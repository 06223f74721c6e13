"""What the demos' tests share: layouts made once, the command, hashes of what it wrote."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from functools import cache
from pathlib import Path

from noseroom.attached import attached_files, read_shapes
from noseroom.envelope.reader import read
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules

SMALL = """\
format: 1
units: mm
core support:
  opening: {width: 600, height: 400}
radiator:
  flow: down
  core: {width: 450, height: 300, thickness: 40}
  place:
    - core.front 60 aft of core support.face
"""

WITH_CONDENSER = (
    SMALL
    + """\
condenser:
  core: {width: 420, height: 280, thickness: 20}
  place:
    - core.rear 15 ahead of radiator.core.front
"""
)

DEMOS = sorted((Path(__file__).parents[1] / "vehicle_envelopes").glob("*.yaml"))


@cache
def nose(path: Path) -> Layout:
    """The layout of an envelope file with its scans, without any check."""
    envelope = read(path, KINDS, rule_keys=clearance_rules())
    scans = attached_files(path, envelope)
    return arrange(envelope, read_shapes(path, envelope, scans, lambda *_: None))


def hashes(folder: Path) -> dict[str, str]:
    """Every file below a folder, hidden ones too, with its SHA-256."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def command(*words: str | Path, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "noseroom.cli", *map(str, words)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        env=os.environ | environment,
    )
