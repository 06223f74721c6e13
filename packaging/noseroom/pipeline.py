"""The whole story on one page: envelope file to verdict and files."""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Callable, Iterator, Mapping, Sequence
from importlib import metadata
from pathlib import Path

from noseroom._version import __version__
from noseroom.attached import attached_files, digest, read_shapes
from noseroom.checks.agreement import HOPELESS_W, check_agreement
from noseroom.envelope.model import Envelope
from noseroom.envelope.reader import read
from noseroom.errors import EnvelopeError, Fault, SurveyError
from noseroom.findings import Finding
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from noseroom.parts.scan import ScannedPart, ScanShape
from noseroom.report.result import (
    SCHEMA_VERSION,
    Assumption,
    PlacedSummary,
    Result,
    ScanSummary,
    verdict_of,
)
from noseroom.survey.culprits import culprits
from noseroom.survey.solution import Source
from noseroom.tables.clearances import clearance_rules

Progress = Callable[[int, int, str], None]

_LIBRARIES = ("cadquery", "cadquery-ocp", "trimesh", "coal", "manifold3d", "numpy", "shapely")


def check(
    path: str | Path,
    *,
    outputs: str | Path | None = None,
    progress: Progress | None = None,
    files_from: Sequence[str | Path] = (),
) -> Result:
    """Check the nose that an envelope file describes.

    outputs: a folder in which everything is written under the file's stem; None writes nothing.
    When that already holds the answer for the same bytes and the same versions, it is read back
    instead, without loading the CAD kernel. progress: called with (done, of, what).
    files_from: folders besides the file's own from which it may name scans.

    Raises EnvelopeError, with every fault by line, for a file that cannot be used; then nothing is
    written. Raises OutputError when the outputs cannot be written.
    """
    say = progress or (lambda done, of, what: None)
    envelope = read(path, KINDS, rule_keys=clearance_rules())
    scans = attached_files(path, envelope, files_from)
    whole = digest(envelope, scans)
    folder = None if outputs is None else Path(outputs) / envelope.stem
    if folder is not None:
        known = earlier(folder, whole)
        if known is not None:
            return known
    shapes = read_shapes(path, envelope, scans, say)
    layout = _arranged(path, envelope, shapes)
    if folder is not None:
        from noseroom.workshop.nose_files import demand_writable

        demand_writable(folder)
    return _checked(layout, whole, folder, say)


def _arranged(path: str | Path, envelope: Envelope, shapes: Mapping[str, ScanShape]) -> Layout:
    """The layout, or the faults that keep it from being made, by line."""
    try:
        layout = arrange(envelope, shapes)
    except SurveyError as error:
        line, *more = error.lines or (1,)
        also = f"see also line {', '.join(str(one) for one in more)}" if more else ""
        wanted = "readings that one nose can satisfy"
        raise EnvelopeError(str(path), (Fault(line, "place", str(error), wanted, also),)) from error
    faults = tuple(_hopeless(layout))
    if faults:
        raise EnvelopeError(str(path), faults)
    impossible = tuple(_impossible_sizes(layout))
    if impossible:
        raise EnvelopeError(str(path), impossible)
    return layout


def _hopeless(layout: Layout) -> Iterator[Fault]:
    """Readings that are wrong beyond doubt, so that no nose stands behind them."""
    if not any(abs(one.w) > HOPELESS_W for one in layout.survey.disagreements):
        return
    found = culprits(layout.survey, HOPELESS_W)
    for one in found:
        source = one.source
        unit = "deg" if one.is_turn or _measure(layout, source) == "angle" else "mm"
        others = dict.fromkeys(each.line for each in one.instead if each.line != source.line)
        hint = "read it again"
        if others:
            lines = " or ".join(f"line {each}" for each in list(others)[:4])
            hint = f"read it again; if it is right, {lines} is wrong"
        if len(found) > 1:
            hint += f"; of these the furthest off is line {found[0].source.line}: begin there"
        yield Fault(
            max(source.line, 1),
            source.station,
            f"{source.text!r}, {abs(one.slip):.0f} {unit} off what the other readings say",
            "readings that agree within their ±",
            hint,
        )


def _measure(layout: Layout, source: Source) -> str:
    """What a source is a measure of, where it is a size: "length", "angle", ..."""
    part = layout.envelope.parts.get(source.station)
    sizes = KINDS[part.kind].sizes if part and source.key else ()
    return next((one.measure for one in sizes if one.key == source.key), "")


def _impossible_sizes(layout: Layout) -> Iterator[Fault]:
    """Sizes that the readings leave outside what such a part can have.

    A size as it was read may be off by its half-width, and so may lie that far beyond a limit. But
    nothing of less than half the least can be built.
    """
    for part in layout.parts.values():
        for size in KINDS[part.kind].sizes:
            value = part.placements[0].sizes.get(size.key)
            if value is None:
                continue
            read = part.entry.sizes[size.key]
            room = 0.0 if read.knowledge == "assumed" else read.half_width
            below = min(room, size.low / 2) if size.low >= 0 else room
            if size.low - below - 1e-6 <= value <= size.high + room + 1e-6:
                continue
            name = f"{part.name}.{size.key}"
            unit = {"length": " mm", "angle": " deg"}.get(size.measure, "")
            limits = f"between {size.low:g} and {size.high:g}{unit}"
            if read.knowledge == "assumed":
                found = f"nothing of it in the file, and other readings that make it {value:.1f}"
                hint = "measure it; or a reading of this part, or of what carries it, is wrong"
            else:
                found = f"{read.text!r}, which other readings make {value:.1f}"
                hint = "read it again, and the readings of this part and of what carries it"
            yield Fault(read.line, name, found + unit, limits, hint)


def _checked(layout: Layout, sha256: str, folder: Path | None, say: Progress) -> Result:
    """All checks, and the files. From here on the CAD kernel is needed."""
    from noseroom.checks.belts import check_belts
    from noseroom.checks.bodies import bodies_of
    from noseroom.checks.fan_gap import check_fan_gaps
    from noseroom.checks.fit import check_fit
    from noseroom.checks.moving import check_moving
    from noseroom.checks.pairs import Pairs
    from noseroom.checks.rules import Rules
    from noseroom.geometry.kernel import load_cadquery
    from noseroom.workshop.nose_files import write_nose

    load_cadquery()
    rules = Rules(layout.envelope)
    bodies = bodies_of(layout, say)
    pairs = Pairs(layout)
    fit = check_fit(pairs, bodies, rules, say)
    gaps = check_fan_gaps(pairs, rules, say)
    belts = check_belts(pairs, rules)
    moving = check_moving(pairs, bodies, rules, fit.settled(layout), say)
    findings = sorted(
        (*check_agreement(layout), *gaps, *belts, *fit.findings, *moving),
        key=lambda one: one.verdict.rank,
    )
    result = _result(layout, sha256, tuple(findings), fit.far_pairs)
    return result if folder is None else write_nose(result, layout, bodies, folder, say)


def _result(layout: Layout, sha256: str, findings: tuple[Finding, ...], far_pairs: int) -> Result:
    envelope, survey = layout.envelope, layout.survey
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
        made_with=versions(),
        scans=tuple(_scan_summaries(layout)),
    )


def _assumed_motions(layout: Layout) -> Iterator[Assumption]:
    """What nobody has said of how the engines move."""
    from noseroom.checks.motion import motions_of

    for motion in motions_of(layout):
        for one in motion.sources:
            if one.assumed and one.reach > 0:
                unit = "deg" if "deg" in one.text else "mm"
                text = f"{one.station} {one.text}"
                said = layout.parts[one.station].entry.sizes[one.key].source
                yield Assumption(text, one.line, one.reach, unit, said, "used", one.station)


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


def versions() -> dict[str, str]:
    """What a result depends on besides its file: this program, its libraries, the interpreter."""
    found = {
        "noseroom": __version__,
        "program": _program_digest(),
        "python": platform.python_version(),
    }
    for name in _LIBRARIES:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            found[name] = "not installed"
    return found


def _program_digest() -> str:
    """A digest of this program's own files, so that an edited checkout never serves old answers."""
    home = Path(__file__).parent
    digest = hashlib.sha256()
    for file in sorted(
        one for ending in ("py", "csv", "css", "js") for one in home.rglob(f"*.{ending}")
    ):
        digest.update(file.relative_to(home).as_posix().encode() + b"\0" + file.read_bytes())
    return digest.hexdigest()[:16]


def earlier(folder: Path, digest: str) -> Result | None:
    """The result that already stands in a folder, if it is whole and for the same input.

    Every file is compared with its recorded hash, so that a damaged or edited output is made anew.
    """
    try:
        known = Result.from_json((folder / "findings.json").read_bytes())
        if known.input_sha256 != digest or known.made_with != versions() or not known.files:
            return None
        for file in known.files:
            if hashlib.sha256((folder / file.name).read_bytes()).hexdigest() != file.sha256:
                return None
    except (OSError, ValueError):
        return None
    return known
