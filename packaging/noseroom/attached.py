"""Files that an envelope file names: scans and parts, read from its folder and no other."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from noseroom.envelope.model import Envelope, PartEntry
from noseroom.errors import EnvelopeError, Fault
from noseroom.fingerprints import fingerprint
from noseroom.geometry.scan_types import DEFAULT_LIMITS, Floats, Scan
from noseroom.memo import Memo
from noseroom.parts.scan import STATED, ScannedPart, ScanShape

Progress = Callable[[int, int, str], None]

KIND = ScannedPart.about.name
_SIZES_MM = (10.0, 6000.0)
"""From a bracket to a whole front end."""
_OFF_MM, _OFF_SHARE = 30.0, 0.1
"""How far a landmark may be off the scan's box: it may stand in a hole, or just beyond an edge."""
_EXPECTED = "a scan's or a part's file beside this one: STL, PLY, OBJ, 3MF, GLB or STEP"


@dataclass(frozen=True)
class Attached:
    """One file that an envelope names. name: the part's. path: resolved. sha256: of its bytes."""

    name: str
    path: Path
    sha256: str


def attached_files(
    path: str | Path, envelope: Envelope, also_from: Sequence[str | Path] = ()
) -> tuple[Attached, ...]:
    """The files of the fitted scans.

    A file lies in the envelope's folder or below it, links followed, unless a folder that the
    caller names (`also_from`) holds it.

    Raises EnvelopeError, with every fault by line, for a file that is elsewhere, is not there or is
    no regular file.
    """
    home = Path(path).resolve().parent
    roots = (home, *(Path(one).resolve() for one in also_from))
    found: list[Attached] = []
    faults: list[Fault] = []
    for entry in envelope.parts.values():
        if entry.kind != KIND or not entry.fitted:
            continue
        try:
            real = _located(entry, home, roots)
            found.append(Attached(entry.name, real, _sha256(entry, real)))
        except _UnfitError as error:
            faults.append(error.fault)
    if faults:
        raise EnvelopeError(str(path), tuple(faults))
    return tuple(found)


def digest(envelope: Envelope, files: Sequence[Attached]) -> str:
    """A digest of the envelope file and all that it names; without files, of its bytes alone."""
    if not files:
        return envelope.digest
    whole = "\n".join([envelope.digest, *(f"{one.name}\t{one.sha256}" for one in files)])
    return hashlib.sha256(whole.encode()).hexdigest()


def read_shapes(
    path: str | Path,
    envelope: Envelope,
    files: Sequence[Attached],
    progress: Progress,
    memo: Memo | None = None,
) -> dict[str, ScanShape]:
    """Every scan's shape by its part's name. memo: what is in it already is not read again.

    Raises EnvelopeError, with every fault by line, for what cannot be used.
    """
    known = Memo() if memo is None else memo
    faults: list[Fault] = []
    shapes: dict[str, ScanShape] = {}
    for done, one in enumerate(files):
        entry = envelope.parts[one.name]
        progress(done, len(files), f"scan of {one.name}")
        try:
            key = fingerprint("scan", one.sha256, entry.choices, entry.points)
            shapes[one.name] = known.get(key, partial(_shape, entry, one, progress))
        except _UnfitError as error:
            faults.append(error.fault)
    if faults:
        raise EnvelopeError(str(path), tuple(faults))
    return shapes


def _shape(entry: PartEntry, file: Attached, progress: Progress) -> ScanShape:
    from noseroom.geometry.scans import ScanError, read_scan

    def say(done: int, of: int, step: str) -> None:
        progress(done, of, f"scan of {entry.name}: {step}")

    x, y = entry.choices["x runs"], entry.choices["y runs"]
    axes = ScannedPart.axes_of(x, y)
    if axes is None:
        expected = "two ways that are square to each other, such as x runs: aft, y runs: right"
        raise _UnfitError(Fault(entry.line, f"{entry.name}.y runs", f"x {x} and y {y}", expected))
    unit = entry.choices["unit"]
    try:
        scan = read_scan(file.path, unit=None if unit == STATED else unit, progress=say)
    except ScanError as error:
        raise _UnfitError(_fault(entry, error.found, error.expected, error.advice)) from None
    if scan.sha256 != file.sha256:
        wanted = "one that stays as it is"
        raise _UnfitError(_fault(entry, "a file that changes while it is read", wanted))
    points = {name: np.array(point) * scan.unit_mm for name, point in entry.points.items()}
    _demand_sense(entry, scan, points)
    return ScanShape(scan, axes, points, open_edge=entry.choices["edge"] == "open")


def _demand_sense(entry: PartEntry, scan: Scan, points: Mapping[str, Floats]) -> None:
    """Refuse a scan of a size that no part has, and a point that is not on it."""
    low, high = scan.box_mm
    size = float(np.linalg.norm(high - low))
    said = " × ".join(f"{side:,.0f}" for side in high - low)
    if not _SIZES_MM[0] <= size <= _SIZES_MM[1]:
        wanted = f"between {_SIZES_MM[0]:g} and {_SIZES_MM[1]:g} mm across"
        hint = "is its unit right?"
        raise _UnfitError(_fault(entry, f"a scan of {said} mm", wanted, hint))
    for name, point in points.items():
        off = float(np.linalg.norm(np.maximum(np.maximum(low - point, point - high), 0.0)))
        if off > max(_OFF_MM, _OFF_SHARE * size):
            found = f"{name} {off:,.0f} mm away from the scan, which is {said} mm"
            wanted = "points on the scan, by their figures in its own file"
            key = f"{entry.name}.landmarks"
            raise _UnfitError(Fault(entry.line, key, found, wanted, "is a figure mistyped?"))


class _UnfitError(Exception):
    """A file that cannot be used, as a fault."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(str(fault))
        self.fault = fault


def _fault(entry: PartEntry, found: str, expected: str, hint: str = "") -> Fault:
    return Fault(entry.text_lines["file"], f"{entry.name}.file", found, expected, hint)


def _located(entry: PartEntry, home: Path, roots: Sequence[Path]) -> Path:
    said = entry.texts.get("file", "")
    try:
        real = (home / said).resolve()
    except (OSError, ValueError, RuntimeError):
        raise _UnfitError(_fault(entry, f'"{said}"', _EXPECTED)) from None
    if not any(real.is_relative_to(root) for root in roots):
        hint = "move it there, or name its folder with --files-from when you run the check"
        found = f'"{said}", which lies outside of this file\'s folder'
        raise _UnfitError(_fault(entry, found, _EXPECTED, hint))
    return real


def _sha256(entry: PartEntry, path: Path) -> str:
    """The digest of a regular file of a bearable size."""
    said = f'"{entry.texts["file"]}"'
    try:
        # Without blocking: a pipe with nobody at its other end would hold us for ever.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    except FileNotFoundError:
        raise _UnfitError(_fault(entry, f"no file {said}", _EXPECTED)) from None
    except OSError as error:
        found = f"{said}, which cannot be opened ({error.strerror})"
        raise _UnfitError(_fault(entry, found, _EXPECTED)) from None
    status = os.fstat(handle)
    if not stat.S_ISREG(status.st_mode):
        os.close(handle)
        raise _UnfitError(_fault(entry, f"{said}, a folder, a device or a pipe", _EXPECTED))
    with os.fdopen(handle, "rb") as stream:
        if status.st_size > DEFAULT_LIMITS.file_bytes:
            found = f"{said}, of {status.st_size / 1e6:.0f} MB"
            hint = "reduce it in the program that made it"
            raise _UnfitError(
                _fault(entry, found, f"at most {DEFAULT_LIMITS.file_bytes / 1e6:.0f} MB", hint)
            )
        return hashlib.file_digest(stream, "sha256").hexdigest()
