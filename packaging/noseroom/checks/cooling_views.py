"""Outcomes as records: bands of every figure, zones, fans, the loop."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from noseroom.checks.cooling_changes import Front, rings_of
from noseroom.checks.cooling_fans import CarFan
from noseroom.checks.cooling_outcomes import Outcome, share_of, span_of
from noseroom.checks.cooling_records import CycleView, FanView, StateView, ZoneView
from noseroom.physics import air
from noseroom.physics.ranges import Floats
from noseroom.physics.stack_air import BAY, BEHIND
from noseroom.physics.stack_answer import StackAnswer
from noseroom.physics.stack_laws import law_of_fan

__all__ = ["state_view"]

_BAR = 1e5
_POINTS = 17


def state_view(
    outcome: Outcome,
    today: Outcome,
    front: Front,
    fans: Sequence[CarFan],
    nominal: StackAnswer,
    speeds: Mapping[str, float],
    systems: Mapping[str, tuple[tuple[float, float], ...]],
    refrigerant: str,
) -> StateView:
    """A way of the nose in a state.

    nominal: the answer for the usual figures; speeds, of the fans over their curves' in it;
    systems: (m³/s, Pa) that the rest of the nose asks of each fan.
    """
    answer, loads, running = outcome.solved.answer, outcome.loads, outcome.running
    zero, ambient = air.ZERO_CELSIUS, outcome.asked.pressure_pa
    head = answer.head
    known = outcome.settled
    with np.errstate(all="ignore"):
        ratio = outcome.air_kg_s / today.air_kg_s
    return StateView(
        state=outcome.asked.name,
        air=span_of(ratio),
        air_kg_s=span_of(outcome.air_kg_s),
        into_c=span_of(outcome.into_k, less=zero),
        recirculated=span_of(outcome.recirculated),
        coolant_c=span_of(outcome.coolant_k, less=zero),
        boils_c=span_of(loads.boils_k, less=zero),
        boils=share_of(outcome.coolant_k >= loads.boils_k, ~np.isnan(outcome.coolant_k)),
        head_bar=span_of((outcome.head_pa - ambient) / _BAR) if running else None,
        cut_out_bar=span_of((loads.cut_out_pa - ambient) / _BAR),
        cut_out=share_of(outcome.head_pa >= loads.cut_out_pa, known) if running else 0.0,
        duty=span_of(head.duty) if head is not None else None,
        warm=share_of(head.warm, answer.settled) if head is not None else 0.0,
        amps=span_of(loads.amps),
        amps_there=span_of(loads.amps_there),
        short=share_of(loads.amps > loads.amps_there, np.ones_like(known)),
        told=float((~np.isnan(outcome.air_kg_s)).mean()),
        unsettled=1.0 - float(known.mean()),
        zones=tuple(_zones(answer, front)),
        fans=tuple(_fans(answer, fans, nominal, speeds, systems, front)),
        cycle=_cycle(nominal, refrigerant),
        flows={name: span_of(flow) for name, flow in answer.flows.items()},
        outside_pa=float(ambient),
    )


def _zones(answer: StackAnswer, front: Front) -> list[ZoneView]:
    views = []
    for one in front.zones:
        name = f"radiator {one.name}"
        speed = answer.velocities[name]
        inlet = _inlet_k(answer, one.covered, one.name, one.pushed_by, one.drawn_by, speed)
        pieces = rings_of(one.outline)
        views.append(
            ZoneView(
                name=one.name,
                covered=one.covered,
                drawn_by=one.drawn_by,
                pushed_by=one.pushed_by,
                area_m2=one.area_m2,
                outline=pieces[0][0],
                speed=span_of(speed),
                inlet_c=span_of(inlet, less=air.ZERO_CELSIUS),
                pieces=pieces,
                masked=one.masked,
            )
        )
    return views


def _inlet_k(
    answer: StackAnswer, covered: bool, name: str, pushed_by: str, drawn_by: str, speed: Floats
) -> Floats:
    """Of the air that comes to a zone, from before or from behind."""
    ahead = f"gap {name}" if covered else f"ahead of {pushed_by}" if pushed_by else "front"
    behind = f"behind {drawn_by}" if drawn_by else BEHIND if BEHIND in answer.nodes else BAY
    return np.where(speed >= 0, answer.nodes[ahead], answer.nodes[behind])


def _fans(
    answer: StackAnswer,
    fans: Sequence[CarFan],
    nominal: StackAnswer,
    speeds: Mapping[str, float],
    systems: Mapping[str, tuple[tuple[float, float], ...]],
    front: Front,
) -> list[FanView]:
    discs = {one.name: [(*at, one.diameter_mm) for at in one.middles_mm] for one in front.fans}
    views = []
    for one in fans:
        name = one.stack.name
        at, settled = answer.fans[name], answer.settled
        views.append(
            FanView(
                name=name,
                driven=one.driven,
                curve=_curve(one, speeds[name], nominal),
                system=systems.get(name, ()),
                flow=span_of(at.flow),
                rise=span_of(at.rise),
                beyond=share_of(at.stalled | at.beyond, settled),
                known=one.known,
                discs=tuple(discs.get(name, ())),
            )
        )
    return views


def _curve(fan: CarFan, speed: float, nominal: StackAnswer) -> tuple[tuple[float, float], ...]:
    """(m³/s, Pa) of the usual figures, in the air that it moves, down to no rise."""
    behind = nominal.nodes.get(f"behind {fan.stack.name}", nominal.nodes["front"])
    kelvin = float(behind[0]) if np.isfinite(behind[0]) else 300.0
    law = law_of_fan(fan.stack, speed, air.density(np.full(1, kelvin)))
    scale = float(law.flow_scale.ravel()[0]), float(law.rise_scale.ravel()[0])
    flows, rises = law.flows * scale[0], law.rises * scale[1]
    step = max(1, (len(flows) - 1) // (_POINTS - 1))
    return tuple(
        (float(q), float(p)) for q, p in zip(flows[::step], rises[::step], strict=True) if p >= 0
    )


def _cycle(nominal: StackAnswer, refrigerant: str) -> CycleView | None:
    head = nominal.head
    if head is None or not nominal.settled[0]:
        return None
    cycle, loop = head.loop.cycle, head.loop
    h = tuple(float(np.ravel(one)[0]) for one in cycle.enthalpies)
    t = tuple(float(np.ravel(one)[0]) - air.ZERO_CELSIUS for one in cycle.temperatures_k)
    low, high = (float(np.ravel(one)[0]) for one in cycle.pressures)
    return CycleView(
        refrigerant=refrigerant,
        low_pa=low,
        high_pa=high,
        enthalpies=(h[0], h[1], h[2]),
        temperatures_c=(t[0], t[1], t[2]),
        flow_kg_s=float(loop.flow[0]),
        cooling_w=float(loop.cooling[0]),
        rejected_w=float(loop.rejected[0]),
    )
