"""What runs in the reading process: bytes to triangles, mended and thinned out."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from noseroom.errors import MissingLibraryError
from noseroom.geometry.scan_answer import pack, pack_error
from noseroom.geometry.scan_steps import Step, Tell, quiet, teller
from noseroom.geometry.scan_types import (
    UNITS_MM,
    Limits,
    Raw,
    Scan,
    UnreadableError,
)

Reader = Callable[[bytes, Limits], Raw]

# What is scanned for a nose is between a bracket and a whole front end.
_LIKELY_LONGEST_MM = (60.0, 4000.0)


def main(order: dict[str, Any]) -> None:
    """Read standard input as `order` says and write the answer; always ends with an answer."""
    limits = Limits(
        file_bytes=order["file_bytes"],
        unpacked_bytes=order["unpacked_bytes"],
        triangles=order["triangles"],
        pieces=order["pieces"],
    )
    answer = Path(order["answer"])
    tell = teller(order["news"])
    try:
        tell(Step.READ, 0.0)
        data = sys.stdin.buffer.read(limits.file_bytes + 1)
        most = order["most_triangles"]
        scan = scan_from(data, order["ending"], order["unit_mm"], most, limits, tell)
        tell(Step.HAND_OVER, 0.0)
        pack(answer, scan)
    except UnreadableError as error:
        pack_error(answer, error.found, error.expected, error.advice)
    except MemoryError:
        pack_error(
            answer, "a file that needs more memory than is allowed", "a scan", "thin it out first"
        )
    except RecursionError:
        pack_error(answer, "a file nested without end", "a scan", "save it again")
    except MissingLibraryError as error:
        pack_error(answer, str(error), "the library that reads such a file")
    except Exception as error:
        # Whatever a reader did not foresee; a traceback would be of no use to who has the file.
        pack_error(answer, f"damage that trips its reader up ({type(error).__name__})", "a scan")


def scan_from(
    data: bytes,
    ending: str,
    unit_mm: float | None,
    most_triangles: int,
    limits: Limits,
    tell: Tell = quiet,
) -> Scan:
    """A file's bytes as a scan, in this very process; arguments as those of `read_scan`.

    tell: called with each step as it begins.

    Raises:
        UnreadableError: whatever is wrong with it.
    """
    if len(data) > limits.file_bytes:
        raise UnreadableError("a file that grows while it is read", "one that stands still")
    raw = _reader(ending)(data, limits)
    digest = hashlib.sha256(data).hexdigest()
    del data
    per_unit = _unit(raw, unit_mm)
    vertices = raw.vertices if raw.in_mm else raw.vertices * per_unit
    from noseroom.geometry.scan_mend import mended

    return mended(vertices, raw, per_unit, most_triangles, limits, digest, tell)


def _reader(ending: str) -> Reader:
    """The reader for an ending; only the libraries that it needs are loaded."""
    match ending:
        case "stl":
            from noseroom.geometry.scan_stl import read_stl as reader
        case "ply":
            from noseroom.geometry.scan_ply import read_ply as reader
        case "obj":
            from noseroom.geometry.scan_obj import read_obj as reader
        case "3mf":
            from noseroom.geometry.scan_3mf import read_3mf as reader
        case "glb":
            from noseroom.geometry.scan_gltf import read_glb as reader
        case "gltf":
            from noseroom.geometry.scan_gltf import read_gltf as reader
        case _:
            from noseroom.geometry.scan_step import read_step as reader
    return reader


def _unit(raw: Raw, given_mm: float | None) -> float:
    """One unit of the file in mm, as it says or as was said."""
    if raw.unit_mm is not None:
        if given_mm is not None and abs(given_mm / raw.unit_mm - 1.0) > 1e-6:
            raise UnreadableError(
                f"a file that says it is in {unit_name(raw.unit_mm)}",
                f"the unit that was said, {unit_name(given_mm)}",
                "leave the unit out, or save the file in the other one",
            )
        return raw.unit_mm
    if given_mm is not None:
        return given_mm
    if raw.in_mm:
        return 1.0
    points = raw.vertices[np.unique(raw.triangles)]
    points = points[np.isfinite(points).all(axis=1)]
    sides = np.ptp(points, axis=0) if len(points) else np.zeros(3)
    box = " x ".join(f"{side:.4g}" for side in sides)
    longest = float(sides.max())
    low, high = _LIKELY_LONGEST_MM
    likely = [name for name, mm in UNITS_MM.items() if low <= longest * mm <= high]
    would = [f"{name} would make it {longest * UNITS_MM[name]:.4g} mm long" for name in likely]
    raise UnreadableError(
        f"a box of {box} in a unit that such a file does not say",
        f"a unit with it, one of {', '.join(UNITS_MM)}",
        "; ".join(would) or "none of them makes it the size of a car's part: is it the right file?",
    )


def unit_name(mm: float) -> str:
    """A unit by its name, or by its length where it has none."""
    return next(
        (name for name, one in UNITS_MM.items() if abs(mm / one - 1.0) < 1e-6),
        f"units of {mm:g} mm",
    )
