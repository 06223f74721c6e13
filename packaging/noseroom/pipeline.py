"""The whole story on one page: envelope file to verdict and files."""

from __future__ import annotations

import hashlib
import platform
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING

from noseroom._version import __version__
from noseroom.attached import Attached, attached_files, digest, read_shapes
from noseroom.checks.agreement import HOPELESS_W, check_agreement
from noseroom.envelope.model import Envelope
from noseroom.envelope.reader import read, read_text
from noseroom.errors import EnvelopeError, Fault, SurveyError
from noseroom.fingerprints import fingerprint
from noseroom.layout import Layout, PlacedPart, arrange
from noseroom.memo import Memo
from noseroom.parts.registry import KINDS
from noseroom.parts.scan import ScanShape
from noseroom.report.result import Result
from noseroom.report.summary import summed_up
from noseroom.shelf import Shelf, usual_folder
from noseroom.survey.culprits import culprits
from noseroom.survey.solution import Source
from noseroom.tables.clearances import clearance_rules
from noseroom.threads import one_thread, uncollected

if TYPE_CHECKING:
    from noseroom.checks.at_once import Outlook
    from noseroom.checks.bodies import Bodies
    from noseroom.checks.bracket_records import Brackets
    from noseroom.checks.cooling_records import Cooling
    from noseroom.checks.drift import Checked
    from noseroom.checks.fan_window import Window
    from noseroom.checks.margins import Margins
    from noseroom.checks.pairs import Pairs
    from noseroom.findings import Finding

Progress = Callable[[int, int, str], None]

_LIBRARIES = (
    *("cadquery", "cadquery-ocp", "trimesh", "coal", "manifold3d", "numpy", "scipy", "shapely"),
    *("fast-simplification", "CoolProp", "fluids"),
)


def check(
    path: str | Path,
    *,
    outputs: str | Path | None = None,
    progress: Progress | None = None,
    files_from: Sequence[str | Path] = (),
    afresh: bool = False,
    remark: Callable[[str], None] = warnings.warn,
) -> Result:
    """Check the nose that an envelope file describes.

    outputs: a folder in which everything is written under the file's stem; None writes nothing.
    When that already holds the answer for the same bytes and the same versions, it is read back
    instead, without loading the CAD kernel. progress: called with (done, of, what).
    files_from: folders besides the file's own from which it may name scans. afresh: compute
    everything, whatever earlier runs have kept. remark: told what went wrong without harm to the
    answer, such as a cache that was damaged.

    Raises EnvelopeError, with every fault by line, for a file that cannot be used; then nothing is
    written. Raises OutputError when the outputs cannot be written.
    """
    say = progress or silent
    cache = None if afresh else usual_folder()
    session = Session(path, files_from=files_from, cache=cache, remark=remark)
    asked = session.read()
    folder = None if outputs is None else Path(outputs) / asked.envelope.stem
    if folder is not None and not afresh:
        known = earlier(folder, asked.digest)
        if known is not None:
            return known
    if folder is None:
        nose = session.nose(asked, say)
        return session.with_air(nose, session.judge(nose, say), say)[0]
    return written(session, asked, folder, say)


def written(session: Session, asked: Asked, folder: Path, say: Progress) -> Result:
    """The result of all checks, with its files in the nose's own folder.

    Raises OutputError when they cannot be written.
    """
    from noseroom.workshop.nose_files import write_nose
    from noseroom.workshop.whole_folder import demand_writable

    nose = session.nose(asked, say)
    demand_writable(folder)
    result, cooling = session.with_air(nose, session.judge(nose, say), say)
    with one_thread():
        return write_nose(result, nose.layout, session.bodies(nose, say), folder, say, cooling)


@dataclass(frozen=True, eq=False)
class Asked:
    """An envelope as it was read, with the files that it names, and the digest of it all."""

    envelope: Envelope
    files: tuple[Attached, ...]
    digest: str


@dataclass(frozen=True, eq=False)
class Nose:
    """An envelope with its layout."""

    asked: Asked
    layout: Layout


class Session:
    """One nose that is changed again and again: only what a change reaches is computed again.

    path: the envelope file. files_from: folders besides its own from which it may name scans.
    cache: the folder in which answers are kept from run to run; None keeps none. remark: told what
    went wrong with that; no answer suffers from it.
    """

    def __init__(
        self,
        path: str | Path,
        *,
        files_from: Sequence[str | Path] = (),
        cache: Path | None = None,
        remark: Callable[[str], None] = warnings.warn,
    ) -> None:
        self.path = path
        self._remark = remark
        self._files_from = files_from
        shelf = None if cache is None else Shelf(cache, fingerprint(versions()))
        self._memo = Memo(shelf)
        self._last: Nose | None = None
        self._checked: Checked | None = None

    @property
    def memo(self) -> Memo:
        """What is remembered from one check to the next."""
        return self._memo

    @property
    def made(self) -> int:
        """How many answers have been computed so far."""
        return self._memo.made

    @property
    def margins(self) -> Margins | None:
        """What the last full check noted of every pair; None before the first."""
        return None if self._checked is None else self._checked.margins

    def check(self, text: str | bytes | None = None, progress: Progress | None = None) -> Result:
        """The result for the file as it is now, or for a text in its place; nothing is written.

        Raises EnvelopeError, with every fault by line; the next text may be right again.
        """
        say = progress or silent
        return self.judge(self.nose(self.read(text), say), say)

    def read(self, text: str | bytes | None = None) -> Asked:
        """The envelope and the files that it names."""
        rules = clearance_rules()
        if text is None:
            envelope = read(self.path, KINDS, rule_keys=rules)
        else:
            envelope = read_text(text, KINDS, name=str(self.path), rule_keys=rules)
        files = attached_files(self.path, envelope, self._files_from)
        return Asked(envelope, tuple(files), digest(envelope, files))

    def nose(self, asked: Asked, say: Progress) -> Nose:
        """The layout of what was read; the last one, where nothing has changed since."""
        if self._last is None or self._last.asked.digest != asked.digest:
            shapes = read_shapes(self.path, asked.envelope, asked.files, say, self._memo)
            self._last = Nose(asked, arranged(self.path, asked.envelope, shapes))
        return self._last

    def _near(self, asked: Asked, checked: Layout) -> Nose:
        """The layout of what was read, begun from that of the last check."""
        if self._last is not None and self._last.asked.digest == asked.digest:
            return self._last
        shapes = read_shapes(self.path, asked.envelope, asked.files, silent, self._memo)
        return Nose(asked, arranged(self.path, asked.envelope, shapes, checked))

    def at_once(self, text: str | bytes | None = None) -> Outlook | None:
        """The verdicts for the file as it is now, or for a text in its place, without figures.

        What the last full check left room for is taken over from it; only where a changed reading
        could make another verdict is anything computed. None where there is nothing to take over:
        before the first check, and when more than figures has changed.

        Raises EnvelopeError, with every fault by line.
        """
        if self._checked is None:
            return None
        with uncollected():
            nose = self._near(self.read(text), self._checked.pairs.layout)
        from noseroom.checks.at_once import verdicts_at_once
        from noseroom.checks.bodies import Bodies

        with one_thread(), uncollected():
            bodies = Bodies(nose.layout, self._memo)
            return verdicts_at_once(self._checked, nose.layout, bodies, self._memo)

    def bodies(self, nose: Nose, say: Progress) -> Bodies:
        """All bodies of a nose. Loads the CAD kernel."""
        from noseroom.checks.bodies import bodies_of

        return bodies_of(nose.layout, say, self._memo)

    def with_air(self, nose: Nose, result: Result, say: Progress) -> tuple[Result, Cooling | None]:
        """The result with the answers on air and heat, and all that was reckoned for them.

        Nothing is where the file does not ask for it. It takes seconds, and no verdict rests on it.
        """
        from noseroom.checks.cooling_findings import check_cooling

        if nose.layout.envelope.cooling is None:
            return result, None
        with one_thread():
            cooling, answers = check_cooling(nose.layout, result.findings, say)
        return replace(result, cooling=answers), cooling

    def brackets(self, nose: Nose, say: Progress) -> Brackets:
        """Brackets for every tab that waits for one, put back into the nose and checked there."""
        from noseroom.checks.brackets import design_brackets
        from noseroom.checks.pairs import Pairs
        from noseroom.checks.rules import Rules

        with one_thread():
            pairs = Pairs(nose.layout, memo=self._memo)
            return design_brackets(pairs, Rules(nose.layout.envelope), say)

    def judge(self, nose: Nose, say: Progress) -> Result:
        """All checks on a nose. Only what is not known yet needs bodies, and the CAD kernel."""
        from noseroom.checks.bodies import Bodies
        from noseroom.checks.drift import Checked
        from noseroom.checks.margins import Margins
        from noseroom.checks.pairs import Pairs

        self._memo.turn()
        margins, pairs = Margins(), Pairs(nose.layout, memo=self._memo)
        with one_thread():
            bodies = Bodies(nose.layout, self._memo)
            findings, far_pairs = judged(pairs, bodies, say, margins)
        self._checked = Checked(pairs, margins)
        for line in self._memo.save():
            self._remark(line)
        return summed_up(nose.layout, nose.asked.digest, findings, far_pairs, versions())


def arranged(
    path: str | Path,
    envelope: Envelope,
    shapes: Mapping[str, ScanShape],
    near: Layout | None = None,
) -> Layout:
    """The layout, or the faults that keep it from being made, by line.

    near: see `arrange`.
    """
    try:
        layout = arrange(envelope, shapes, near)
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
        yield from _sizes_at_odds(part)


def _sizes_at_odds(part: PlacedPart) -> Iterator[Fault]:
    """Sizes that contradict one another, by more than how they were read explains."""
    for odds in part.part.at_odds():
        sizes = {key: part.entry.sizes[key] for key in odds.keys if key in part.entry.sizes}
        given = {key: one for key, one in sizes.items() if one.knowledge != "assumed"}
        # What is only assumed gives way.
        if not given or odds.over_mm <= sum(one.half_width for one in sizes.values()):
            continue
        key, read = next(iter(given.items()))
        yield Fault(read.line, f"{part.name}.{key}", odds.found, odds.wanted, "read both again")


def judged(
    pairs: Pairs, bodies: Bodies, say: Progress, margins: Margins
) -> tuple[tuple[Finding, ...], int]:
    """All findings, the worst first, and how many pairs are surely far apart.

    margins: where the verdict on each pair is noted, with how much it may change and stand.
    """
    from noseroom.checks.at_speed import check_at_speed
    from noseroom.checks.belts import check_belts
    from noseroom.checks.compressor_stand import with_places
    from noseroom.checks.fan_gap import check_fan_gaps
    from noseroom.checks.fit import check_fit
    from noseroom.checks.margins import MOVING
    from noseroom.checks.moving import check_moving
    from noseroom.checks.rules import Rules
    from noseroom.checks.service import check_service
    from noseroom.checks.spacer import check_spacers

    layout = pairs.layout
    rules = Rules(layout.envelope)
    fit = check_fit(pairs, bodies, rules, say, margins)
    settled = margins.settled(layout)
    moving = check_moving(pairs, bodies, rules, settled, say, margins)
    open_moving = margins.open_pairs(MOVING)
    speed = check_at_speed(pairs, bodies, rules, settled, open_moving, say, margins)
    # What moves and what runs is noted by now: the fan's verdict rests on that too.
    windows: dict[str, Window] = {}
    fan_gaps = check_fan_gaps(pairs, rules, say, margins, windows)
    found = (
        *check_agreement(layout),
        *fan_gaps,
        *check_spacers(layout, fan_gaps, windows),
        *check_belts(pairs, rules),
        *fit.findings,
        *moving,
        *speed,
        *check_service(pairs, rules, say),
    )
    placed = with_places(pairs, rules, found)
    return tuple(sorted(placed, key=lambda one: one.verdict.rank)), fit.far_pairs


def silent(done: int, of: int, what: str) -> None:
    """A listener to progress that says nothing."""


@cache
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
