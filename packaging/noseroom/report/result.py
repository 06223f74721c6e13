"""The one result model: everything that was found, as data. All reports are views of it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from typing import Any

from noseroom.findings import Finding, Verdict, exit_status, overall

SCHEMA_VERSION = 1
GUARANTEE = (
    "Guaranteed for the model as measured, at rest and at speed, over the engine movement, the "
    "flex of fans and the swing of belts that are stated or assumed."
)
CAUTIONS: dict[str, frozenset[str]] = {
    GUARANTEE: frozenset(),
    "Refrigerant is for certified people with recovery equipment; never vent it.": frozenset(
        {"condenser", "drier", "compressor"}
    ),
    "A fan can start by itself: battery off, engine cold, before hands go near it.": frozenset(
        {"fan", "electric fan"}
    ),
    "Never open a hot cooling system.": frozenset({"radiator", "hose"}),
}
"""Cautions, and the kinds of parts that each concerns (none named: the whole result)."""


@dataclass(frozen=True, slots=True)
class Assumption:
    """Something that nobody measured. reach: half-width of its range; line: where it belongs.

    state: "used", "replaced by readings" or "refuted by readings". part: whose it is.
    """

    text: str
    line: int
    reach: float
    unit: str
    source: str
    state: str = "used"
    part: str = ""


@dataclass(frozen=True, slots=True)
class PlacedSummary:
    """Where a part stands: pose (4, 4) local to vehicle frame, mm, and its adjusted sizes."""

    name: str
    kind: str
    group: str
    known: bool
    pose: tuple[tuple[float, ...], ...]
    sizes: dict[str, float]


@dataclass(frozen=True, slots=True)
class ScanSummary:
    """A scan that was read. file: as the envelope names it. remarks: what was wrong with it."""

    name: str
    file: str
    line: int
    triangles: int
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WrittenFile:
    """A file beside this result, by its name in the folder, with its SHA-256."""

    name: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Result:
    """The answer for one envelope file.

    findings: worst first. far_pairs: pairs that surely keep their rules and are far apart.
    service: answers on working on the nose once it is together, worst first; cooling: answers on
    air and heat, which rest on bands. Both stand apart and do not decide the verdict. left_out:
    parts not fitted, by name. made_with: versions that went into it, so that a later run knows
    whether it still holds. input_sha256: of the envelope file's bytes, and of the scans that it
    names where there are any.
    """

    schema: int
    title: str
    unit: str
    verdict: Verdict
    findings: tuple[Finding, ...]
    far_pairs: int
    assumptions: tuple[Assumption, ...]
    left_out: tuple[str, ...]
    notes: tuple[str, ...]
    parts: tuple[PlacedSummary, ...]
    degrees_of_freedom: int
    input_sha256: str
    made_with: dict[str, str]
    files: tuple[WrittenFile, ...] = ()
    cautions: tuple[str, ...] = tuple(CAUTIONS)
    scans: tuple[ScanSummary, ...] = ()
    service: tuple[Finding, ...] = ()
    cooling: tuple[Finding, ...] = ()

    def __str__(self) -> str:
        """What the terminal shows, plain, 80 columns wide."""
        from io import StringIO

        from noseroom.report.terminal import show

        text = StringIO()
        show(self, "", stream=text, width=80)
        return text.getvalue()

    def _repr_html_(self) -> str:
        """What a notebook shows."""
        from noseroom.report.notebook import result_html

        return result_html(self)

    @property
    def exit_status(self) -> int:
        """0 everything fits; 1 something fouls; 3 something is open and nothing fouls."""
        return exit_status(self.verdict)

    def of(self, verdict: Verdict) -> tuple[Finding, ...]:
        """The findings with one verdict."""
        return tuple(one for one in self.findings if one.verdict is verdict)

    def to_json(self) -> str:
        """The text of findings.json: a stable order, figures to 0.0001, no times and no paths."""
        plain = _adapter().dump_python(self, mode="json")
        return json.dumps(_rounded(plain), indent=1, ensure_ascii=False) + "\n"

    @classmethod
    def from_json(cls, text: str | bytes) -> Result:
        """Read findings.json back. Raises ValueError for anything else."""
        made: Result = _adapter().validate_json(text)
        return made


def verdict_of(findings: tuple[Finding, ...], far_pairs: int) -> Verdict:
    """The verdict on the whole nose. Nothing to check at all is "not known".

    What to buy for a fan does not count: that the fan wants it does.
    """
    found = [one.verdict for one in findings if not one.is_choice]
    return overall(found) if found or not far_pairs else Verdict.FITS


def result_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of findings.json."""
    schema: dict[str, Any] = _adapter().json_schema(mode="serialization")
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = f"noseroom findings, version {SCHEMA_VERSION}"
    return schema


@cache
def _adapter() -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(Result)


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 4) + 0.0  # + 0.0 turns -0.0 into 0.0
    if isinstance(value, dict):
        return {key: _rounded(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_rounded(one) for one in value]
    return value
