"""What to buy for the A/C of a nose: all of it in one go, with the same draws."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from noseroom.checks.charge import ChargeView, charge_of
from noseroom.checks.condenser_choice import CondenserChoice, Progress, choose_condenser
from noseroom.checks.condenser_choice_air import TRIAL_DRAWS, trials_of
from noseroom.checks.condenser_choice_words import (
    charge_finding,
    condenser_finding,
    currents_finding,
    fan_finding,
    line_finding,
)
from noseroom.checks.cooling_states import REFRIGERANT
from noseroom.checks.cooling_words import cautions
from noseroom.checks.currents import CurrentsView, currents_of
from noseroom.checks.fan_choice import FanChoice, choose_fan
from noseroom.checks.line_sizes import LineView, size_lines
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Finding

__all__ = ["Choices", "check_choices"]


@dataclass(frozen=True, slots=True)
class Choices:
    """Records for page and files. None or empty where the nose has nothing of it."""

    condenser: CondenserChoice | None
    fan: FanChoice | None
    lines: tuple[LineView, ...]
    charge: ChargeView | None
    currents: CurrentsView | None
    refrigerant: str
    draws: int

    @property
    def cautions(self) -> tuple[str, ...]:
        """What stands beside all of it, each sentence once."""
        said = [*cautions(self.refrigerant)]
        if self.currents is not None:
            said.append(self.currents.caution)
        seen: set[str] = set()
        found = []
        for text in said:
            own = [one for one in re.split(r"(?<=[.]) ", text) if one not in seen]
            seen.update(own)
            found.append(" ".join(own))
        return tuple(one for one in found if one)


def check_choices(
    pairs: Pairs,
    rules: Rules,
    progress: Progress | None = None,
    *,
    draws: int = TRIAL_DRAWS,
    seed: int = 0,
) -> tuple[Choices | None, tuple[Finding, ...]]:
    """All choices of a nose whose file asks for air and heat with `cooling`; else nothing.

    draws: how many cars that could be this one each size is tried in. Also nothing for a nose
    without a radiator whose place is known, which `cooling_findings` tells.
    """
    layout = pairs.layout
    entry = layout.envelope.cooling
    trials = None if entry is None else trials_of(layout, draws=draws, seed=seed)
    if trials is None or entry is None:
        return None, ()
    as_read = trials.as_read()
    found = Choices(
        condenser=choose_condenser(pairs, rules, trials, as_read, progress),
        fan=choose_fan(pairs, rules, trials, as_read, progress),
        lines=size_lines(trials),
        charge=charge_of(trials),
        currents=currents_of(trials),
        refrigerant=entry.words.get("refrigerant", REFRIGERANT),
        draws=draws,
    )
    return found, tuple(_findings(found, layout.envelope.unit))


def _findings(found: Choices, unit: str) -> Iterator[Finding]:
    if found.condenser is not None:
        yield condenser_finding(found.condenser, unit)
    if found.fan is not None:
        yield fan_finding(found.fan)
    for one in found.lines:
        yield line_finding(one)
    if found.charge is not None:
        yield charge_finding(found.charge)
    if found.currents is not None:
        yield currents_finding(found.currents)
