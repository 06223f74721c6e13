"""Which belts go on? The length round the pulleys, its take-up, and the stock sizes within it.

A tape leaves a length open by more than the step from one size to the next. So what is said is a
range, and a string round the pulleys settles it before anything is bought.
"""

from __future__ import annotations

import math

from noseroom.checks import words
from noseroom.checks.drive import Drive
from noseroom.checks.drive_forms import RunForms
from noseroom.checks.take_up import TakeUp, take_up_of
from noseroom.findings import Finding, Verdict
from noseroom.physics.belts import pitch_length
from noseroom.tables.belts import Series, section_of, series_of
from noseroom.units import format_length

QUESTION = "which belts go on"
_STRING = "Confirm with a string round the pulleys before you buy."
_MOST_SIZES = 6

Details = dict[str, float | str | list[list[float]]]


def check_length(drive: Drive) -> tuple[Finding, ...]:
    """One finding for a belt of which the file says how it is tightened."""
    if drive.centre_forms is None:
        return ()
    here = RunForms(drive)
    if not here.whole:
        return ()  # its reach says so
    take_up = take_up_of(drive, here)
    return () if take_up is None else (_Answer(drive, here, take_up).finding(),)


class _Answer:
    """One belt's length in the words in which it is sold."""

    def __init__(self, drive: Drive, here: RunForms, take_up: TakeUp) -> None:
        self.drive, self.take_up = drive, take_up
        self.unit, self.belt = drive.layout.envelope.unit, drive.belt
        kind = self.belt.entry.choices.get("section", "v")
        self.series: Series = series_of(kind, self.unit)
        proud = self.belt.entry.sizes["proud"]
        outside = self.series.named_by == "outside"
        self._out, self._out_spread = (
            (proud.value, math.tau * proud.half_width) if outside else (0.0, 0.0)
        )
        width = self.belt.entry.sizes["width"].value if kind == "v" else 0.0
        self._pitch_out = section_of(kind, width).pitch_out_mm
        self.effective, spread, self.form = here.length()
        self.length, self.spread = self._named(self.effective, spread)

    def _named(self, effective: float, spread: float) -> tuple[float, float]:
        """A length in the terms of the series, and its ±, mm."""
        return float(pitch_length(effective, self._out)), spread + self._out_spread

    def finding(self) -> Finding:
        """The answer."""
        if self.take_up.open:
            return self._not_known()
        slack, tight = self.take_up.ends()
        low, low_spread = self._named(slack.length_mm, slack.spread_mm)
        high, high_spread = self._named(tight.length_mm, tight.spread_mm)
        sure = self.series.within(low + low_spread, high - high_spread)
        maybe = self.series.near(low - low_spread, high + high_spread)
        read = self.belt.entry.sizes["length"]
        said = self._said(low, high)
        details = self._details() | {
            "take_up_from_mm": round(low, 2),
            "take_up_from_spread_mm": round(low_spread, 2),
            "take_up_to_mm": round(high, 2),
            "take_up_to_spread_mm": round(high_spread, 2),
            "stock_mm": [[round(one, 2), round(self._goes(one), 2)] for one in sure],
            "stock_maybe_mm": [[round(one, 2)] for one in maybe if one not in sure],
            "stock_tolerance_mm": round(self.series.tolerance(high), 2),
            "stock_source": self.series.source,
        }
        if read.value:
            off = read.half_width
            surely = low + low_spread <= read.value - off and read.value + off <= high - high_spread
            may = low - low_spread <= read.value + off and read.value - off <= high + high_spread
            told = self._size(read.value)
            texts = (
                f"The belt of {told} at hand {{}} as the {self.belt.name}. {said}",
                "goes on, and can be tightened,",
                "may go on, or not,",
                "does not go on, with that take-up,",
            )
            short = max(low + low_spread - read.value, read.value - high + high_spread) + off
            return self._answer(surely, may, texts, short, sure or maybe, details)
        length = f"{self.series.named_by} length"
        texts = (
            f"{{}} {said}",
            f"Of the belts that are sold, {self._listed(sure)} ({length}) surely "
            f"{'go' if len(sure) > 1 else 'goes'} on as the {self.belt.name}, "
            f"{self._counted(high)}. {_STRING}",
            f"Of the belts that are sold, {self._listed(maybe)} ({length}) may go on as the "
            f"{self.belt.name}, {self._counted(high)}.",
            f"No size that is sold goes on as the {self.belt.name}, {self._counted(high)}.",
        )
        short = self._short(low + low_spread, high - high_spread)
        return self._answer(bool(sure), bool(maybe), texts, short, maybe, details)

    def _counted(self, length_mm: float) -> str:
        """What is counted of how far belts are off their marks."""
        most = words.at_least(self.series.tolerance(length_mm), self.unit)
        return f"counting that a belt may be {most} off its mark (from memory)"

    def _answer(
        self,
        surely: bool,
        may: bool,
        texts: tuple[str, str, str, str],
        short: float,
        sizes: tuple[float, ...],
        details: Details,
    ) -> Finding:
        rests_on = words.supports(self.form, self.drive.layout.survey.sources, self.unit)
        verdict = Verdict.FITS if surely else Verdict.TOO_CLOSE if may else Verdict.FOULS
        note = texts[0].format(texts[1] if surely else texts[2] if may else texts[3])
        remedies: tuple[str, ...] = ()
        if verdict is Verdict.TOO_CLOSE:
            remedies = (
                f"lay a string round the pulleys with the {self.take_up.part.name} at either end "
                f"of its way, and buy a belt between the two",
                *words.retake(rests_on),
            )
        elif verdict is Verdict.FOULS:
            further = words.at_least(self.take_up.further(short), self.unit)
            remedies = (
                f"let the {self.take_up.part.name} move {further} further, by a longer slot or arm",
            )
            if sizes:
                remedies = (f"use a belt of {self._listed(sizes)}", *remedies)
        return Finding(
            id=f"length: {self.belt.name}",
            question=QUESTION,
            parts=(self.belt.name, self.take_up.part.name),
            verdict=verdict,
            note=note,
            remedies=remedies,
            rests_on=() if verdict is Verdict.FITS else rests_on,
            details=details,
        )

    def _said(self, low: float, high: float) -> str:
        here = words.length(self.length, self.unit)
        spread = words.at_least(self.spread, self.unit)
        moved = self.take_up.part.name
        stops = [
            f" On the {which} side the {moved} stops after "
            f"{words.length(abs(end.by_mm), self.unit)}: it would meet another pulley, or the belt "
            f"would leave one."
            for which, end in zip(("slack", "tight"), self.take_up.ends(), strict=True)
            if end.stopped
        ]
        return (
            f"Round its pulleys it is {here} ± {spread} long by the readings; with what the "
            f"{moved} can move, from {words.length(low, self.unit)} to "
            f"{words.length(high, self.unit)}."
            f"{''.join(stops)}"
        )

    def _goes(self, size: float) -> float:
        """How far the adjuster goes for a size, mm."""
        return self.take_up.at(size - math.tau * self._out)

    def _short(self, low: float, high: float) -> float:
        """By how much the take-up misses the nearest size, with what that may be off, mm."""
        step = self.series.step_mm
        below, above = math.floor(low / step) * step, math.ceil(high / step) * step
        return min(
            low - below + self.series.tolerance(below), above - high + self.series.tolerance(above)
        )

    def _size(self, mm: float) -> str:
        if self.unit in ("in", "ft"):
            return format_length(mm, self.unit)
        return f"{mm:.0f} mm"

    def _listed(self, sizes: tuple[float, ...]) -> str:
        if len(sizes) > _MOST_SIZES:
            step = (
                self._size(self.series.step_mm)
                if self.unit == "in"
                else (f"{self.series.step_mm:g} mm")
            )
            return f"{self._size(sizes[0])} to {self._size(sizes[-1])} in steps of {step}"
        return words.listed([self._size(one) for one in sizes])

    def _details(self) -> Details:
        return {
            "length_mm": round(self.length, 2),
            "length_spread_mm": round(self.spread, 2),
            "named_by": self.series.named_by,
            "effective_length_mm": round(self.effective, 2),
            "pitch_length_mm": round(float(pitch_length(self.effective, self._pitch_out)), 2),
        }

    def _not_known(self) -> Finding:
        why, moved = self.take_up.open, self.take_up.part.name
        here, spread = (
            words.length(self.length, self.unit),
            words.at_least(self.spread, self.unit),
        )
        if "turns about" in why:
            remedy = "name it under about: of its adjuster, such as a cylinder for the bolt"
        elif "ends" in why:
            remedy = f"set the {moved} so that the belt can run, and ask again"
        elif "tighten" in why:
            remedy = "write under toward: of its adjuster which way does"
        else:
            remedy = f"measure how far the {moved} can go in and out, and write it in its adjuster"
        return Finding(
            id=f"length: {self.belt.name}",
            question=QUESTION,
            parts=(self.belt.name, moved),
            verdict=Verdict.NOT_KNOWN,
            note=f"Which belts go on as the {self.belt.name} is not known: {why}. Round its "
            f"pulleys it is {here} long ({self.series.named_by} length), ± {spread} by the "
            f"readings.",
            remedies=(remedy,),
            details=self._details(),
        )
