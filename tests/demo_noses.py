"""The demo noses, laid out once for every test of a process that asks."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from noseroom.attached import attached_files, read_shapes
from noseroom.envelope.reader import read
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules

DEMOS = sorted((Path(__file__).parents[1] / "vehicle_envelopes").glob("*.yaml"))


@cache
def nose(path: Path) -> Layout:
    """The layout of an envelope file with its scans, without any check."""
    envelope = read(path, KINDS, rule_keys=clearance_rules())
    scans = attached_files(path, envelope)
    return arrange(envelope, read_shapes(path, envelope, scans, lambda *_: None))
