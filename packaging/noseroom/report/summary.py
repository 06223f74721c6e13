"""A layout and what was found on it, as one result."""

from __future__ import annotations

from collections.abc import Iterator

from noseroom.envelope.model import Envelope
from noseroom.findings import Finding
from noseroom.layout import Layout
from noseroom.parts.registry import KINDS
from noseroom.parts.scan import ScannedPart
from noseroom.report.result import (
    SCHEMA_VERSION,
    Assumption,
    PlacedSummary,
    Result,
    ScanSummary,
    verdict_of,
)
from noseroom.survey.solution import Source


def summed_up(
    layout: Layout,
    sha256: str,
    findings: tuple[Finding, ...],
    far_pairs: int,
    made_with: dict[str, str],
) -> Result:
    """The result for a layout: what was found, and what it rests on.

    sha256: of the envelope and all that it names. far_pairs: pairs that are surely far apart.
    made_with: versions that went into it.
    """
    envelope, survey = layout.envelope, layout.survey
    service = tuple(one for one in findings if one.is_service)
    cooling = tuple(one for one in findings if one.is_cooling)
    findings = tuple(one for one in findings if not (one.is_service or one.is_cooling))
    used = [one for one in survey.sources if one.assumed]
    return Result(
        schema=SCHEMA_VERSION,
        title=envelope.title,
        unit=envelope.unit,
        verdict=verdict_of(findings, far_pairs),
        findings=findings,
        far_pairs=far_pairs,
        assumptions=(
            *(_assumption(envelope, one, "used") for one in used),
            *_assumed_motions(layout),
            *_assumed_at_speed(layout),
            *(_assumption(envelope, one, "replaced by readings") for one in survey.dropped),
            *(_assumption(envelope, one, "refuted by readings") for one in survey.refuted),
        ),
        left_out=layout.left_out,
        notes=envelope.notes,
        parts=tuple(
            PlacedSummary(
                part.name,
                part.kind,
                part.group,
                part.known,
                tuple(tuple(float(x) for x in row) for row in part.pose),
                {key: float(value) for key, value in part.placements[0].sizes.items()},
            )
            for part in layout.parts.values()
        ),
        degrees_of_freedom=survey.degrees_of_freedom,
        input_sha256=sha256,
        made_with=made_with,
        scans=tuple(_scan_summaries(layout)),
        service=service,
        cooling=cooling,
    )


def _assumed_motions(layout: Layout) -> Iterator[Assumption]:
    """What nobody has said of how the engines move."""
    from noseroom.checks.motion import motions_of

    for motion in motions_of(layout):
        for one in motion.sources:
            if one.assumed and one.reach > 0:
                unit = "deg" if "deg" in one.text else "mm"
                text = f"{one.station} {one.text}"
                said = motion.grounds[one.key]
                yield Assumption(text, one.line, one.reach, unit, said, "used", one.station)


def _assumed_at_speed(layout: Layout) -> Iterator[Assumption]:
    """What nobody has said of how fans flex and belts swing."""
    for part in layout.parts.values():
        for key, text, unit in (
            ("flex", "blade tips come up to {:g} mm forward at speed", "mm"),
            ("flap", "free spans swing by up to {:.3g} of their length at speed", ""),
        ):
            read = part.entry.sizes.get(key)
            if read is not None and read.knowledge == "assumed" and not part.unplaced:
                said = f"{part.name} {text.format(read.value)}"
                yield Assumption(said, read.line, read.value, unit, read.source, "used", part.name)


def _scan_summaries(layout: Layout) -> Iterator[ScanSummary]:
    for placed in layout.parts.values():
        if isinstance(placed.part, ScannedPart) and placed.part.shape is not None:
            shape, entry = placed.part.shape, placed.entry
            yield ScanSummary(
                placed.name,
                entry.texts["file"],
                entry.text_lines["file"],
                len(shape.scan.triangles),
                shape.remarks,
            )


def _assumption(envelope: Envelope, source: Source, state: str) -> Assumption:
    entry = envelope.parts.get(source.station)
    if entry is None or source.key not in entry.sizes:
        said = "common practice"
        return Assumption(source.text, source.line, source.reach, "", said, state, source.station)
    declared = next(one for one in KINDS[entry.kind].sizes if one.key == source.key)
    unit = {"angle": "deg", "length": "mm"}.get(declared.measure, "")
    text = f"{source.station} {source.key}: about {source.value:g} ± {source.half_width:g} {unit}"
    said = entry.sizes[source.key].source or declared.source
    return Assumption(text.strip(), source.line, source.reach, unit, said, state, source.station)
