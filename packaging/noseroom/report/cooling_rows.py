"""What a ranking's picture is made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from noseroom.checks.cooling_records import Span


class BarState(Protocol):
    """One state of a row: bands, where they end, and shares of the cars that pass that."""

    @property
    def state(self) -> str:
        """Its name."""

    @property
    def coolant_c(self) -> Span:
        """Against `boils_c`."""

    @property
    def boils_c(self) -> Span:
        """Where the coolant boils."""

    @property
    def boils(self) -> float:
        """In how many of the cars it does."""

    @property
    def head_bar(self) -> Span | None:
        """Gauge, against `cut_out_bar`; None for A/C off."""

    @property
    def cut_out_bar(self) -> Span:
        """Where the switch acts."""

    @property
    def cut_out(self) -> float:
        """In how many of the cars it does."""

    @property
    def air(self) -> Span:
        """Through the radiator, over that of what the picture says."""


@dataclass(frozen=True)
class BarRow:
    """A way to have the nose. sound: what is said below its label; costs: what it takes."""

    label: str
    sound: str
    costs: Sequence[str]
    states: Sequence[BarState]


@dataclass(frozen=True)
class Heads:
    """What stands above the rows. what: in the sheet's title; air: what its air is compared to."""

    what: str
    rows: str = "Ranked, the best first"
    costs: str = "Costs"
    air: str = "as it is today"
    share: str = "% of today's"
