"""Which spacer is made for a fan: its sizes from the hub, its thickness from the window."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from noseroom.checks import words
from noseroom.checks.spacer_bolts import Bolting, remembered
from noseroom.checks.spacer_choice import Choice, Room, choose
from noseroom.checks.spacer_stack import stack_of
from noseroom.checks.spacer_words import fastener, torque
from noseroom.errors import NoseroomError, UnitsError
from noseroom.findings import Finding, Verdict
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.spacer import Spacer
from noseroom.tables.fasteners import ClearanceHole, clearance_holes, thread_like
from noseroom.units import read_thread
from noseroom.workshop.spacer_drawing import FORM_MM, Sheet, thickness_tolerance_mm, within

_MUST_READ = ("hub.diameter", "pilot.diameter", "pilot.length", "bolts.count", "bolts.circle")
_AS_READ_MM = 0.3
"""A size read worse than this is read again before metal is cut: common practice."""


BENCH_CAUTIONS = (
    "A spacer turns with the fan: one piece, bolts of the right length and grade, true to the hub. "
    "Never stack spacers.",
    "Battery off and engine cold before hands go near the fan. At the first run nobody stands in "
    "line with the blades.",
    "Guaranteed for the model as measured: read hub and fan with a caliper before metal is cut.",
)
"""What is said wherever the files are handed over."""


class NoSpacerError(NoseroomError, ValueError):
    """There is no spacer to be made; the text says why, and what would change that.

    needless: the fan does without one.
    """

    def __init__(self, text: str, *, needless: bool = False) -> None:
        super().__init__(text)
        self.needless = needless


@dataclass(frozen=True)
class SpacerPlan:
    """A spacer with all that its drawing says.

    window_mm: least and most thickness with which the fan keeps its room. bolts: with which it is
    held; None where they are not known, or none fits.
    """

    spacer: Spacer
    fan: str
    window_mm: tuple[float, float]
    sheet: Sheet
    bolts: Bolting | None = None


def spacer_plan(layout: Layout, finding: Finding) -> SpacerPlan:
    """The spacer for the fan that a fan-gap finding is about.

    Raises NoSpacerError where the fan needs none, where no thickness keeps its room, or where a
    size of the hub has not been read.
    """
    fan = layout.parts[finding.parts[0]]
    choice = _choice(layout, finding)
    pump = layout.parts[choice.stack.pump]
    _demand_read(pump)
    hole = _hole(pump)
    spacer, why = _spacer(layout, pump, choice)
    title = f"Fan spacer, {spacer.form}"
    subtitle = f"{layout.envelope.title}. Between {pump.name} and {fan.name}."
    window = _window(choice)
    notes = tuple(_notes(spacer, pump, choice, window, why, hole))
    bolts = choice.best.bolts
    fitting = bolts if bolts is not None and bolts.bolt is not None else None
    return SpacerPlan(spacer, fan.name, window, Sheet(title, subtitle, notes), fitting)


def _choice(layout: Layout, finding: Finding) -> Choice:
    """The best spacer for a fan, well inside its window."""
    fan = finding.parts[0]
    window = _asked_for(finding)
    if not window:
        raise NoSpacerError(
            f"there is no spacer to make for the {fan}: {finding.note}",
            needless=finding.verdict is Verdict.FITS,
        )
    stack = stack_of(layout, layout.parts[fan])
    if stack is None:
        raise NoSpacerError(
            f"there is no hub to make a spacer for: no water pump in the file carries the {fan}"
        )
    if stack.is_spaced:
        raise NoSpacerError(
            f"{stack.between.least_mm:.1f} mm or more is between the {stack.pump}'s hub and the "
            f"{fan} already, and spacers are never stacked: take it out, read the fan as it then "
            "stands, and check again"
        )
    if stack.unfit:
        raise NoSpacerError(f"no spacer can be bored for the {stack.pump}'s hub: {stack.unfit}")
    choice = choose(stack, Room(window))
    if choice is None or choice.best.spare_mm < thickness_tolerance_mm():
        raise NoSpacerError(
            f"the window of the {fan} is too narrow for a spacer that is turned to "
            f"± {thickness_tolerance_mm():.1f} mm: {finding.note}"
        )
    return choice


def _asked_for(finding: Finding) -> tuple[tuple[float, float], ...]:
    """The window of a fan that does not keep its room without a spacer, mm; else nothing."""
    found = finding.details.get("spacer_mm", [])
    if finding.verdict not in (Verdict.FOULS, Verdict.TOO_CLOSE) or not isinstance(found, list):
        return ()
    return tuple((float(low), float(high)) for low, high in found)


def _window(choice: Choice) -> tuple[float, float]:
    """The interval that the best spacer is in, mm."""
    best = choice.best.thickness_mm
    return next((low, high) for low, high in choice.room.window if low <= best <= high)


def _demand_read(pump: PlacedPart) -> None:
    guessed = [key for key in _MUST_READ if pump.entry.sizes[key].knowledge == "assumed"]
    if not pump.entry.texts.get("bolts.thread"):
        guessed.append("bolts.thread")
    if guessed:
        raise NoSpacerError(
            f"a spacer cannot be made to guesses: read {words.listed(guessed)} of the {pump.name} "
            "and write it into the file"
        )


def _hole(pump: PlacedPart) -> ClearanceHole:
    """The holes for the hub's bolts."""
    said = pump.entry.texts["bolts.thread"]
    try:
        thread = thread_like(read_thread(said))
    except UnitsError as error:
        raise NoSpacerError(f"the thread of the {pump.name}'s bolts: {error}") from error
    hole = None if thread is None else clearance_holes().get(thread.size)
    if hole is None:
        known = words.listed(list(clearance_holes()))
        raise NoSpacerError(
            f"no clearance hole is known for the {pump.name}'s bolts, {said}: the table has {known}"
        )
    return hole


def _spacer(layout: Layout, pump: PlacedPart, choice: Choice) -> tuple[Spacer, str]:
    """The spacer and why it has the form that it has."""
    form = choice.best.form
    if form.faults or form.spacer is None:
        raise NoSpacerError(
            f"no spacer {choice.best.label} thick can be made for the {pump.name}'s hub: "
            f"{'; '.join(form.faults)}"
        )
    left = words.length(form.pilot_left_mm, layout.envelope.unit)
    why = {
        "plain": f"Plain: {left} of the hub's pilot comes through it and centres the fan.",
        "no pilot": "Plain: the hub has no pilot to speak of; see what centres the fan today.",
        "double pilot": (
            "Two pilots: too little of the hub's own would come through to centre the fan."
        ),
    }
    return form.spacer, why[form.kind]


def _notes(
    spacer: Spacer,
    pump: PlacedPart,
    choice: Choice,
    window: tuple[float, float],
    why: str,
    hole: ClearanceHole,
) -> Iterator[str]:
    yield (
        "One piece of aluminium 6061-T6 or low-carbon steel bar, no casting. Never stack spacers."
    )
    kind = "as sold" if choice.best.stock else "turned to length"
    yield f"Thickness {kind}. Never outside {within(*window)}: the fan loses its room."
    true = "; spigot true to the bore within the same" if spacer.is_double else ""
    yield f"Faces parallel within {FORM_MM:.2f} mm [.002 in]{true}. No boss, no burr."
    yield "Break other edges 0.2 to 0.5 mm [.008 to .020 in]."
    yield why
    rough = [
        f"{said} ± {size.half_width:.1f} mm"
        for key, said in (("pilot.diameter", "pilot"), ("bolts.circle", "bolt circle"))
        if (size := pump.entry.sizes[key]).half_width > _AS_READ_MM
    ]
    caliper = "Bore and spigot slide" if spacer.is_double else "The bore slides"
    roughly = f" Only roughly read: {', '.join(rough)}." if rough else ""
    yield f"{caliper} on without play: read hub and fan with a caliper first.{roughly}"
    memory = " (from memory: confirm)" if hole.remembered else ""
    document = hole.source.split(",")[0]
    yield f"Holes for {pump.entry.texts['bolts.thread']}, {document}{memory}. {_bolts(choice)}"
    yield "Battery off, engine cold. At the first run nobody in line with the blades."


def _bolts(choice: Choice) -> str:
    made = choice.best.bolts
    if made is None:
        return "Its bolts are not known: see the answer on the spacer."
    if made.bolt is None:
        return "No bolt fits it as it is: see the answer on the spacer."
    memory = " (partly from memory: confirm)" if remembered(made.rows) else ""
    unit = choice.stack.unit
    low, high = (torque(nm, unit) for nm in (made.torque_nm.least_mm, made.torque_nm.most_mm))
    return (
        f"Takes {fastener(made)}{memory}; {low} oiled, {high} dry; the maker's torque stands "
        "above this."
    )
