"""What the stack does to the engine and the head pressure: today, with A/C, and with each change.

Every figure that nobody measured is drawn from its band, the same draws for every way to have the
nose, so that the ways are compared car by car. See `cooling_records.Cooling` for what comes out.
Hot coolant scalds, and only certified people open a charged system.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from noseroom.checks.air_faces import faces_of
from noseroom.checks.cooling_batch import Case, Solved, solved
from noseroom.checks.cooling_car import Car
from noseroom.checks.cooling_changes import Change, Front, front_of
from noseroom.checks.cooling_draws import Draws
from noseroom.checks.cooling_known import KnownCar, car_as_known, shown_by
from noseroom.checks.cooling_options import Option, options_of
from noseroom.checks.cooling_outcomes import Outcome, margin_of, share_of, span_of
from noseroom.checks.cooling_readings import Shown, reading_views, taken_of
from noseroom.checks.cooling_records import Cooling, OptionView, ReadingView, Room
from noseroom.checks.cooling_states import (
    REFRIGERANT,
    asked_states,
    reading_state,
)
from noseroom.checks.cooling_views import state_view
from noseroom.checks.cooling_way import CarWay, Made
from noseroom.checks.cooling_words import cautions, in_words
from noseroom.findings import Finding
from noseroom.layout import Layout
from noseroom.physics.ranges import Floats, without_repeats

__all__ = ["DRAWS", "cooling_of_nose"]

DRAWS = 256
"""As many as a check takes: the ends of the bands are then known to a few per cent of them."""
TODAY, WITH_AC = "today", "with A/C"
_READ, _BEFORE = "as it was read", "before it was read"
_USUAL, _SYSTEM = "usual figures, ", "system of "
_SPEEDS = (0.3, 0.6, 0.85, 1.0, 1.2, 1.5, 1.9)
_MOST_DRIVERS = 6
_FEWEST = 16
"""Of fewer draws nobody can tell what their spread comes from."""

Progress = Callable[[int, int, str], None]
Points = tuple[tuple[float, float], ...]


def cooling_of_nose(
    layout: Layout,
    *,
    draws: int = DRAWS,
    seed: int = 0,
    findings: Sequence[Finding] = (),
    progress: Progress | None = None,
    options: bool = True,
) -> Cooling | None:
    """All of it for a nose; None for one without a radiator.

    draws: how many cars that could be this one; 1 gives the usual figures alone, whose bands have
    no width. findings: of the fit check, for what room is sure. progress: called with (done, of,
    what). options: False for the nose as it is, with and without A/C, alone.
    """
    faces = faces_of(layout)
    if faces is None:
        return None
    if progress is not None:
        progress(0, 1, "air and heat: cars that go with what is known of this one")
    known = car_as_known(layout, faces, draws, seed)
    usual = Car(layout, faces, Draws(1), known.car.speeds)
    nose = _Nose(known, usual, options_of(known.car, findings) if options else ())
    return nose.cooling(progress)


@dataclass(frozen=True, eq=False)
class _Way:
    """A way to have the nose, with all that its states are made of."""

    option: Option
    front: Front
    running: bool


class _Nose:
    """One nose, with its draws and once more with the usual figures."""

    def __init__(self, known: KnownCar, usual: Car, options: Sequence[Option]) -> None:
        self.known, self.car, self.usual = known, known.car, usual
        faces = self.car.faces
        self.states = asked_states(self.car)
        self.read_at = reading_state(self.car)
        none = Room("no room")
        today = _Way(
            Option(TODAY, "as the car is, no A/C", Change(today=True), none),
            front_of(faces, Change(today=True)),
            running=False,
        )
        self.fitted = faces.condenser is not None
        self.ways = {TODAY: today}
        if self.fitted:
            base = Option(WITH_AC, "as the file has it", Change(), none)
            self.ways[WITH_AC] = _Way(base, front_of(faces, Change()), running=True)
        for one in options:
            change = one.change if self.fitted else replace(one.change, today=True)
            self.ways[one.name] = _Way(
                replace(one, change=change), front_of(faces, change), self.fitted
            )

    def _of(self, car: Car, name: str) -> CarWay:
        way = self.ways[name]
        return CarWay(car, way.front, way.option.change, way.running)

    def cooling(self, progress: Progress | None) -> Cooling:
        """Solve all, then tell."""
        made: dict[tuple[str, str], Made] = {}
        usual: dict[tuple[str, str], Made] = {}
        for asked in self.states:
            for name in self.ways:
                key = asked.name, name
                made[key] = self._of(self.car, name).made(asked, key)
                usual[key] = self._of(self.usual, name).made(asked, key)
        cases = [one.case for one in made.values()] + self._read_cases()
        answers = self._solved(cases, usual, progress)
        nominal = {key: answers[f"{_USUAL}{key[0]}", key[1]] for key in usual}
        systems = self._systems(answers)
        outcomes = {
            (asked.name, name): self._of(self.car, name).outcome(asked, answers[asked.name, name])
            for asked in self.states
            for name in self.ways
        }
        views = self._read(answers)
        ways = {
            name: self._view(name, outcomes, made, usual, nominal, systems) for name in self.ways
        }
        remarks = without_repeats(one for each in answers.values() for one in each.answer.remarks)
        return self._told(ways, outcomes, views, tuple(str(one) for one in remarks))

    def _solved(
        self,
        cases: Sequence[Case],
        usual: Mapping[tuple[str, str], Made],
        progress: Progress | None,
    ) -> Mapping[tuple[str, str], Solved]:
        """All cases, the usual figures, and those again with other speeds of each fan."""
        more = [
            replace(made.case, key=(f"{_USUAL}{state}", name))
            for (state, name), made in usual.items()
        ]
        more += [
            _turned(made.case, fan.stack.name, f"{_SYSTEM}{fan.stack.name}|{state}", name)
            for (state, name), made in usual.items()
            for fan in made.fans
        ]
        found: dict[tuple[str, str], Solved] = {}
        for key, one in solved([*cases, *more]):
            found[key] = one
            if progress is not None:
                progress(len(found), len(cases) + len(more), f"air and heat: {key[1]}")
        return found

    def _systems(
        self, answers: Mapping[tuple[str, str], Solved]
    ) -> dict[tuple[str, str], dict[str, Points]]:
        """What the rest of the nose asks of each fan, from faster and slower fans in its place."""
        found: dict[tuple[str, str], dict[str, Points]] = {}
        for (what, name), one in answers.items():
            if not what.startswith(_SYSTEM):
                continue
            fan, _, state = what.removeprefix(_SYSTEM).partition("|")
            at = one.answer.fans[fan]
            points = sorted(
                (float(q), float(p))
                for q, p in zip(at.flow, at.rise, strict=True)
                if np.isfinite(q) and np.isfinite(p)
            )
            found.setdefault((state, name), {})[fan] = tuple(points)
        return found

    # -- readings ---------------------------------------------------------------------------

    @property
    def _base(self) -> str:
        """The nose as the file has it."""
        return WITH_AC if self.fitted else TODAY

    def _read_cases(self) -> list[Case]:
        """What would be read; the same, with what it narrows, of draws that know nothing of it.

        Where nothing was read, that is what is solved anyway.
        """
        if self.read_at is None:
            return []
        found = [self._of(self.car, TODAY).made(self.read_at, (_READ, TODAY)).case]
        before = self.known.before
        if before is not self.car:
            found.append(self._of(before, TODAY).made(self.read_at, (_BEFORE, TODAY)).case)
            found.append(self._of(before, self._base).made(self.states[0], (_BEFORE, WITH_AC)).case)
        return found

    def _read(self, answers: Mapping[tuple[str, str], Solved]) -> tuple[ReadingView, ...]:
        """What each reading does."""
        first = self.states[0].name
        read = answers[first if self.read_at is None else _READ, TODAY]
        now = before = self._shown(self.car, read, answers[first, self._base])
        if self.known.before is not self.car:
            before = self._shown(
                self.known.before, answers[_BEFORE, TODAY], answers[_BEFORE, WITH_AC]
            )
        readings = taken_of(self.car.entry.readings)
        return reading_views(now, before, readings, self.known.agrees, self.known.speaking)

    def _shown(self, car: Car, read: Solved, fitted: Solved) -> Shown:
        each = shown_by(self._of(car, TODAY), self.read_at or self.states[0], read)
        base = self._of(car, self._base).outcome(self.states[0], fitted)
        head = base.head_margin if self.fitted else base.coolant_margin
        return Shown(each, base.coolant_margin, head)

    # -- telling ----------------------------------------------------------------------------

    def _view(
        self,
        name: str,
        outcomes: Mapping[tuple[str, str], Outcome],
        made: Mapping[tuple[str, str], Made],
        usual: Mapping[tuple[str, str], Made],
        nominal: Mapping[tuple[str, str], Solved],
        systems: Mapping[tuple[str, str], Mapping[str, Points]],
    ) -> OptionView:
        way = self.ways[name]
        refrigerant = self.car.entry.words.get("refrigerant", REFRIGERANT)
        states = []
        for asked in self.states:
            key = asked.name, name
            given = usual[key].case.state.speeds
            states.append(
                state_view(
                    outcomes[key],
                    outcomes[asked.name, TODAY],
                    way.front,
                    usual[key].fans,
                    nominal[key].answer,
                    {fan: float(np.ravel(speed)[0]) for fan, speed in given.items()},
                    systems.get(key, {}),
                    refrigerant,
                )
            )
        own = [outcomes[asked.name, name] for asked in self.states]
        margin, other = (
            margin_of([outcomes[asked.name, one] for asked in self.states])
            for one in (name, self._base)
        )
        known = ~np.isnan(margin)
        more = own[0].loads.amps - outcomes[self.states[0].name, self._base].loads.amps
        return OptionView(
            name=name,
            text=way.option.text,
            states=tuple(states),
            margin=span_of(margin),
            sound=share_of(margin > 0, known),
            better=share_of(margin > other, known & ~np.isnan(other)),
            amps=span_of(more),
            room=way.option.room,
            by_file=way.option.by_file,
        )

    def _told(
        self,
        ways: Mapping[str, OptionView],
        outcomes: Mapping[tuple[str, str], Outcome],
        readings: tuple[ReadingView, ...],
        remarks: tuple[str, ...],
    ) -> Cooling:
        options = [one for name, one in ways.items() if name not in (TODAY, WITH_AC)]
        options.sort(key=lambda one: (-one.sound, -one.margin.middle, one.name))
        margin = margin_of([outcomes[asked.name, self._base] for asked in self.states])
        entry, faces = self.car.layout.envelope.cooling, self.car.faces
        found = Cooling(
            draws=self.car.n,
            words="",
            radiator=faces.radiator.name,
            condenser="" if faces.condenser is None else faces.condenser.name,
            today=ways[TODAY],
            with_ac=ways.get(WITH_AC),
            options=tuple(options),
            readings=readings,
            drivers=self._drivers(margin),
            assumed=dict(sorted(self.car.assumed.items())),
            remarks=remarks,
            cautions=cautions(self.car.entry.words.get("refrigerant", REFRIGERANT)),
            line=0 if entry is None else entry.line,
            held=self.known.held,
        )
        return replace(found, words=in_words(found, self.car.layout.envelope.unit))

    def _drivers(self, margin: Floats) -> tuple[tuple[str, float], ...]:
        """What the margin's spread comes from: squared rank correlation with each band."""
        known = ~np.isnan(margin)
        if self.car.n < _FEWEST or known.sum() < _FEWEST:
            return ()
        ranked = _ranks(margin[known])
        found = []
        for name, column in self.car.known.draws.columns.items():
            if name in self.car.assumed:
                both = np.cov(_ranks(column[known]), ranked)
                spread = both[0, 0] * both[1, 1]
                found.append((name, float(both[0, 1] ** 2 / spread) if spread > 0 else 0.0))
        found.sort(key=lambda one: (-one[1], one[0]))
        return tuple(found[:_MOST_DRIVERS])


def _turned(case: Case, fan: str, state: str, name: str) -> Case:
    """A case with one fan at several speeds as its draws, A/C off: only the air is asked for."""
    speeds = {**case.state.speeds}
    speeds[fan] = np.asarray(speeds[fan]) * np.array(_SPEEDS)
    turned = replace(case.state, speeds=speeds, compression=None)
    return Case((state, name), case.stack, turned, len(_SPEEDS))


def _ranks(values: Floats) -> Floats:
    from scipy.stats import rankdata

    return np.asarray(rankdata(values))
