"""Bands and names as the pictures and the page of air and heat write them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from noseroom.checks.cooling_records import Cooling, OptionView, Span, StateView

CAUTION = (
    "Hot coolant scalds and a charged system is under pressure: never open a hot cap, leave the "
    "refrigerant to certified people, keep clear of fans. Bands for the model as measured; they "
    "rank what to do and promise nothing for one car."
)
"""What stands once on every picture, which may be looked at alone."""
SELDOM, OFTEN = 0.05, 0.95
"""Shares of the cars that could be this one which count as hardly any and as nearly all."""


@dataclass(frozen=True)
class Way:
    """A way to have the nose. number: its rank among the changes, "" for the nose as it is."""

    number: str
    view: OptionView

    @property
    def label(self) -> str:
        """Its name with the rank before it."""
        return f"{self.number} {self.view.name}".strip()


def ways(found: Cooling) -> tuple[Way, ...]:
    """Today's car, the nose with A/C, and the changes, the best first."""
    as_is = [Way("", one) for one in (found.today, found.with_ac) if one is not None]
    return (*as_is, *(Way(str(k), one) for k, one in enumerate(found.options, start=1)))


def band(
    found: Span, unit: str = "", digits: int = 0, scale: float = 1.0, beyond: str = "beyond"
) -> str:
    """The ends of a band: "95 to 112 °C", "28 bar and up", "not known".

    beyond: what stands for a figure that is none at both ends.
    """
    if math.isnan(found.low) or math.isnan(found.high):
        return "not known"
    if math.isinf(found.low):
        return beyond
    unit = f" {unit}" if unit else ""
    low = figure(found.low * scale, digits)
    if math.isinf(found.high):
        return f"{low}{unit} and up"
    high = figure(found.high * scale, digits)
    return f"{low}{unit}" if low == high else f"{low} to {high}{unit}"


def figure(value: float, digits: int = 0) -> str:
    """A finite figure, never as "-0"."""
    text = f"{value:.{digits}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def directed(found: Span, unit: str, digits: int = 0, scale: float = 1.0, on: str = "") -> str:
    """A band of what may also run back: "0.3 to 1.8 m/s back", "0.2 back to 1.1 m/s on".

    on: what is said of what runs the usual way, such as " in".
    """
    if math.isnan(found.low) or math.isnan(found.high):
        return "not known"
    if found.high <= 0:
        turned = Span(-found.high, -found.middle, -found.low)
        return f"{band(turned, unit, digits, scale)} back"
    if found.low < 0:
        back, ahead = (figure(abs(end) * scale, digits) for end in (found.low, found.high))
        return f"{back} back to {ahead} {unit}{on or ' on'}"
    return f"{band(found, unit, digits, scale)}{on}"


def trouble(state: StateView) -> float:
    """Share of the cars in which the coolant boils or the switch acts, the worse of the two."""
    shares = [one for one in (state.boils, state.cut_out) if not math.isnan(one)]
    return max(shares, default=math.nan)
