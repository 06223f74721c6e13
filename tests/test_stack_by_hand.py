"""A stack's state against chains that can be reckoned one step after the other.

The hand has its own root finding (scipy), exchanger (ht's exact crossflow series) and refrigerant
(CoolProp itself), and walks through the condenser in small steps.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from noseroom.physics.fans import FanCurve
from noseroom.physics.fin_cores import contraction_kays, expansion_kays, fin_efficiency
from noseroom.physics.stack import solve_stack
from noseroom.physics.stack_parts import Opening, StackState, Zone
from stack_makers import (
    FACE_M2,
    GRILLE,
    SHARP,
    compression,
    condenser,
    even_core,
    fan,
    radiator,
    stack,
    state,
    zones,
)

ZERO = 273.15
DRY_CP = 1006.0
"""J/(kg K), as ASHRAE's moist air has dry air (Handbook Fundamentals 2017, ch. 1, eq. 30)."""
STRAIGHT = FanCurve.through([(0.0, 200.0), (1.5, 0.0)], speed=1000.0, source="invented")
WHOLE = Zone(name="all", area_m2=FACE_M2, drawn_by="fan")


def light(kelvin: float) -> float:
    """kg/m³ of dry air at 101325 Pa: molar mass 28.9644, gas constant 8314.46 (CODATA)."""
    return 101325.0 * 28.9644 / 8314.46 / kelvin


def one_chain(**instead: Any) -> Any:
    """Grille, radiator, fan, bay, outlet, one behind the other: nothing leaks."""
    return stack(
        0.0,
        beside=0.0,
        rim=0.0,
        **{
            "zones": (WHOLE,),
            "radiator": radiator(core=even_core(), heat_factor=1.0, drag_factor=1.0),
            "fans": (fan(curve=STRAIGHT, leak=None),),
            **instead,
        },
    )


def even_drop(mass: float, cold: float, hot: float, f: float = 0.03) -> float:
    """Pa over the even core: entrance, acceleration, friction, exit.

    W. M. Kays, A. L. London, Compact Heat Exchangers (3rd ed., 1984), eq. 2-26a; from memory.
    """
    core = even_core()
    sigma = float(core.free_share)
    flux = mass / FACE_M2 / sigma
    ratio = light(cold) / light(hot)
    sides = contraction_kays(sigma) + 1 - sigma**2 - (1 - sigma**2 - expansion_kays(sigma)) * ratio
    wetted = 4 * core.depth / core.hydraulic_diameter
    total = sides + 2 * (ratio - 1) + f * wetted * (ratio + 1) / 2
    return float(flux**2 / 2 / light(cold) * total)


def test_one_chain_of_grille_radiator_fan_and_outlet() -> None:
    heat, cold = 9000.0, 311.15
    found = solve_stack(
        one_chain(),
        StackState(outside_k=cold, coolant_w=heat, speeds={"fan": 0.8}),
    )

    def surplus(mass: float) -> float:
        hot = cold + heat / mass / DRY_CP
        rise = 0.64 * light(hot) / 1.2 * (200.0 - 200.0 / 1.5 * mass / light(hot) / 0.8)
        grille = GRILLE / 2 * light(cold) * (mass / light(cold) / 0.16) ** 2
        outlet = SHARP / 2 * light(hot) * (mass / light(hot) / 0.14) ** 2
        return rise - grille - even_drop(mass, cold, hot) - outlet

    mass = float(brentq(surplus, 0.01, 2.0))
    # Openings take up to 1 % more where air creeps, so that they have a slope at no flow.
    assert found.radiator_kg_s[0] == pytest.approx(mass, rel=4e-3)
    mass = float(found.radiator_kg_s[0])
    assert found.nodes["bay"][0] - cold == pytest.approx(heat / mass / DRY_CP, rel=1e-6)
    assert found.into_radiator_k[0] == pytest.approx(cold)
    assert found.recirculated[0] == pytest.approx(0.0, abs=1e-9)
    assert found.fans["fan"].flow[0] == pytest.approx(mass / light(found.nodes["bay"][0]), rel=1e-4)


def test_the_coolant_of_the_chain_by_another_library() -> None:
    """T = T_air + Q / (ε C_min); ε by ht, both streams unmixed, exact."""
    from ht.hx import effectiveness_from_NTU

    heat, cold = 9000.0, 311.15
    one = one_chain()
    found = solve_stack(one, StackState(outside_k=cold, coolant_w=heat, speeds={"fan": 0.8}))
    core = even_core()
    fin = fin_efficiency(
        60.0, conductivity=380.0, thickness=0.07e-3, half_length=5.5e-3, depth=57e-3
    )
    share = core.fin_area_share
    outside = 60.0 * float(core.surface * (1 - share * (1 - fin)))
    mean = (found.coolant_k + found.coolant_out_k) / 2
    water, inside = one.radiator.coolant.at(mean)
    conductance = FACE_M2 / (1 / outside + 1 / float(inside[0]))
    air = float(found.radiator_kg_s[0]) * DRY_CP
    least, most = sorted((air, float(water[0])))
    effect = effectiveness_from_NTU(NTU=conductance / least, Cr=least / most, subtype="crossflow")
    assert found.coolant_k[0] == pytest.approx(cold + heat / effect / least, abs=0.02)
    assert found.coolant_k[0] - found.coolant_out_k[0] == pytest.approx(heat / float(water[0]))


def condenser_alone() -> Any:
    """A condenser before a radiator that has nothing to give off, all in one chain."""
    return one_chain(
        zones=(Zone(name="all", area_m2=FACE_M2, covered=True, drawn_by="fan"),),
        condenser=condenser(core=even_core(80.0, 0.05, depth=20e-3)),
    )


def walked(high: float, mass: float, cold: float, conductances: list[float]) -> float:
    """Face that 0.6 of clearance's formula's flow needs at a pressure, walked in 4000 steps.

    Each step's air comes at the inlet temperature, and takes 1 - exp(-U/C) of the way.
    """
    from CoolProp.CoolProp import PropsSI

    def ask(what: str, *given: Any) -> float:
        return float(PropsSI(what, *given, "R134a"))

    low = ask("P", "T", 278.15, "Q", 1)
    suction = ask("H", "T", 284.15, "P", low)
    ideal = ask("H", "P", high, "S", ask("S", "T", 284.15, "P", low))
    hot = suction + (ideal - suction) / 0.62
    out = ask("H", "P", high, "T", ask("T", "P", high, "Q", 0) - 5.0)
    filled = 0.85 * (1.05 - 0.05 * (high / low) ** (1 / 1.1))
    flow = 150e-6 * 1080 / 60 * filled * ask("D", "T", 284.15, "P", low)
    vapour, liquid = ask("H", "P", high, "Q", 1), ask("H", "P", high, "Q", 0)
    steps, face = 4000, 0.0
    drop = (hot - out) / steps
    for k in range(steps):
        h = hot - (k + 0.5) * drop
        zone = 0 if h > vapour else 1 if h > liquid else 2
        ahead = ask("T", "P", high, "H", h) - cold
        capacity = mass / FACE_M2 * DRY_CP
        taken = capacity * -np.expm1(-conductances[zone] / capacity)
        face += flow * drop / ahead / taken
    return face


def test_head_pressure_of_a_condenser_alone() -> None:
    """By CoolProp, step for step; what the face needs at the pressure found is the face."""
    cold = 311.15
    one = condenser_alone()
    running = compression(load=1e5, evaporating_k=278.15, warmest_k=278.15)
    found = solve_stack(
        one,
        StackState(outside_k=cold, coolant_w=0.0, speeds={"fan": 0.8}, compression=running),
    )
    assert found.settled.all()
    assert found.head is not None
    part = one.condenser
    core = part.core
    fin = fin_efficiency(
        80.0, conductivity=380.0, thickness=0.07e-3, half_length=5.5e-3, depth=20e-3
    )
    outside = 80.0 * float(core.surface * (1 - core.fin_area_share * (1 - fin)))
    conductances = [1 / (1 / outside + 1 / inside) for inside in part.inside]
    face = walked(float(found.head.pressure[0]), float(found.radiator_kg_s[0]), cold, conductances)
    assert face == pytest.approx(FACE_M2, rel=3e-3)
    # And all of its heat is in the air.
    warmer = found.nodes["bay"][0] - cold
    given = found.head.loop.rejected[0]
    assert found.radiator_kg_s[0] * DRY_CP * warmer == pytest.approx(given, rel=1e-5)
    assert found.condenser_w[0] == pytest.approx(given)


def test_clutch_that_cycles() -> None:
    """A load of 1 kW is taken up in a share of the time; its heat and its work are means.

    Head pressure is the running compressor's.
    """
    light_load, full = (
        solve_stack(
            condenser_alone(),
            state(
                25.0,
                coolant_w=0.0,
                bay_w=0.0,
                speed=0.8,
                compression=compression(load=load, evaporating_k=278.15, warmest_k=278.15),
            ),
        )
        for load in (1000.0, 1e5)
    )
    assert light_load.head is not None
    assert full.head is not None
    duty, loop = light_load.head.duty[0], light_load.head.loop
    assert 0.1 < duty < 0.9
    assert duty * loop.cooling[0] == pytest.approx(1000.0, rel=1e-6)
    assert light_load.condenser_w[0] == pytest.approx(duty * (loop.cooling + loop.work)[0])
    assert full.head.duty[0] == 1.0
    # Cooler and so denser air before the fan is all that differs while it runs.
    assert light_load.head.pressure[0] == pytest.approx(full.head.pressure[0], rel=0.03)


def test_a_coil_that_the_compressor_cannot_hold_cold_warms() -> None:
    """Where both agree by CoolProp: flow × rise of enthalpy is what the coil takes."""
    from CoolProp.CoolProp import PropsSI

    def load(coil_k: Any) -> Any:
        return 180.0 * (311.15 - coil_k)

    found = solve_stack(stack(beside=0.0), state(speed=1.0, compression=compression(load)))
    assert found.head is not None
    coil, high = float(found.head.evaporating_k[0]), float(found.head.pressure[0])
    assert 275.15 < coil < 288.15
    assert not found.head.warm[0]
    low = PropsSI("P", "T", coil, "Q", 1, "R134a")
    suction = PropsSI("H", "T", coil + 6.0, "P", low, "R134a")
    liquid = PropsSI("H", "T", PropsSI("T", "P", high, "Q", 0, "R134a") - 5.0, "P", high, "R134a")
    filled = 0.85 * (1.05 - 0.05 * (high / low) ** (1 / 1.1))
    flow = 150e-6 * 1080 / 60 * filled * PropsSI("D", "T", coil + 6.0, "P", low, "R134a")
    assert flow * (suction - liquid) == pytest.approx(load(coil), rel=2e-3)
    assert found.head.duty[0] == pytest.approx(1.0, abs=1e-6)


def test_air_conditioning_off_is_a_plain_radiator() -> None:
    """A condenser that resists nothing and gives nothing off might as well be away."""
    without = solve_stack(stack(0.0, beside=0.01, rim=0.0), state(running=False))
    thin = condenser(drag_factor=1e-6)
    off = solve_stack(stack(1.0, beside=0.01, rim=0.0, condenser=thin), state(running=False))
    for name in ("radiator_kg_s", "coolant_k", "into_radiator_k", "recirculated"):
        np.testing.assert_allclose(getattr(off, name), getattr(without, name), rtol=1e-5)
    assert off.head is None
    assert off.condenser_w[0] == 0.0


def test_a_real_condenser_takes_air_even_when_it_is_off() -> None:
    """Common practice: a radiator behind a condenser gets some 10 to 20 % less air."""
    without = solve_stack(stack(0.0, beside=0.0), state(running=False))
    off = solve_stack(stack(0.8, beside=0.0, rim=0.0), state(running=False))
    assert 0.75 < off.radiator_kg_s[0] / without.radiator_kg_s[0] < 0.95


def test_heat_leaves_with_the_air() -> None:
    """Summed at the outlet, with moist air's own heat capacity (as psychrolib has it)."""
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    found = solve_stack(stack(), state())
    ratio = psychrolib.GetHumRatioFromRelHum(38.0, 0.4, 101325.0)
    rise = psychrolib.GetMoistAirEnthalpy(39.0, ratio) - psychrolib.GetMoistAirEnthalpy(38.0, ratio)
    capacity = rise / (1 + ratio)
    carried = found.flows["outlet"] * capacity * (found.nodes["bay"] - 311.15)
    put = 9000.0 + 2000.0 + found.condenser_w
    np.testing.assert_allclose(carried, put, rtol=2e-6)


def test_air_that_comes_back_from_below_the_car() -> None:
    """A tenth of the grille's air has been in the bay: so much warmer it is."""
    calm = one_chain(outlet=Opening(0.3, SHARP))
    asked = {"coolant_w": 9000.0, "speeds": {"fan": 0.8}}
    found = solve_stack(calm, StackState(outside_k=300.0, returned=0.1, **asked))
    front, bay = found.nodes["front"][0], found.nodes["bay"][0]
    assert front == pytest.approx(0.9 * 300.0 + 0.1 * bay)
    assert found.recirculated[0] == pytest.approx(0.1)
    assert found.energy_gap[0] < 1e-6


def test_a_condenser_beyond_the_radiator_has_its_face_too() -> None:
    """A condenser that is wider than the radiator condenses there too, past the radiator."""
    beyond = Zone(name="beyond", area_m2=0.03, covered=True, beyond=True)
    narrow, wide = (
        solve_stack(
            stack(zones=(*zones(1.0, 1.0), *more), beside=0.0, rim=0.0),
            state(30.0, ram_pa=150.0, speed=1.0),
        )
        for more in ((), (beyond,))
    )
    assert narrow.head is not None
    assert wide.head is not None
    assert sum(wide.head.faces_m2)[0] == pytest.approx(FACE_M2 + 0.03, rel=1e-5)
    assert wide.head.pressure[0] < narrow.head.pressure[0]
    assert "radiator beyond" not in wide.flows
    past = wide.flows["condenser beyond"] + wide.radiator_kg_s
    np.testing.assert_allclose(past, wide.flows["grille"], rtol=1e-8)


def test_a_pusher_s_zone_is_blown_through() -> None:
    """An electric fan before the condenser raises what goes through the zone behind it."""
    pushing = fan(name="pusher", curve=STRAIGHT, swept_m2=0.05)
    face = (
        Zone(name="blown", area_m2=0.1, covered=True, drawn_by="fan", pushed_by="pusher"),
        Zone(name="rest", area_m2=FACE_M2 - 0.1, covered=True, drawn_by="fan"),
    )
    on, standing = (
        solve_stack(
            stack(zones=face, fans=(fan(), pushing)),
            state(running=False, speeds={"fan": 0.6, "pusher": speed}),
        )
        for speed in (1.0, 0.0)
    )
    assert on.velocities["radiator blown"][0] > standing.velocities["radiator blown"][0]
    assert on.fans["pusher"].rise[0] > 0 > standing.fans["pusher"].rise[0]


# -- ways behind the condenser and behind the core ------------------------------------------


def two_halves(**instead: Any) -> Any:
    """Both halves of the face covered, the fan on one of them alone; no leaks."""
    half = FACE_M2 / 2
    return stack(
        beside=0.0,
        rim=0.0,
        zones=(
            Zone(name="drawn", area_m2=half, covered=True, drawn_by="fan"),
            Zone(name="free", area_m2=half, covered=True),
        ),
        **instead,
    )


def test_a_way_along_the_gap_takes_what_its_opening_lets_by() -> None:
    """The pull of the fan reaches the other half of the condenser: ζ ρ v² / 2 between the gaps."""
    asked = state(running=False)
    apart = solve_stack(two_halves(), asked)
    way = Opening(0.004, 2.5)
    joined = solve_stack(two_halves(along={("free", "drawn"): way}), asked)
    flow = float(joined.flows["along free, drawn"][0])
    assert flow > 0
    drop = float(joined.pressures["gap free"][0] - joined.pressures["gap drawn"][0])
    speed = flow / light(float(joined.nodes["gap free"][0])) / 0.004
    assert drop == pytest.approx(
        2.5 * light(float(joined.nodes["gap free"][0])) / 2 * speed**2, rel=0.02
    )
    # What comes through the free half of the condenser goes on by both ways.
    came, went = joined.flows["condenser free"][0], joined.flows["radiator free"][0]
    assert float(came) == pytest.approx(float(went) + flow, rel=1e-6)
    assert joined.flows["condenser free"][0] > apart.flows["condenser free"][0]
    assert joined.radiator_kg_s[0] > apart.radiator_kg_s[0]


def test_a_wide_way_makes_one_gap_of_two() -> None:
    joined = solve_stack(
        two_halves(along={("free", "drawn"): Opening(1.0, 1.0)}), state(running=False)
    )
    gaps = [float(joined.pressures[f"gap {name}"][0]) for name in ("free", "drawn")]
    outside = float(joined.pressures["bay"][0])
    assert abs(gaps[0] - gaps[1]) < 0.02 * abs(outside - gaps[0])


def test_what_no_fan_draws_on_passes_the_engine() -> None:
    """Both openings in a row: the core's drop, then ζ ρ v² / 2 behind it."""
    found = solve_stack(two_halves(behind=Opening(FACE_M2 / 2, 3.0)), state(running=False))
    flow = float(found.flows["past the engine"][0])
    assert flow == pytest.approx(float(found.flows["radiator free"][0]), rel=1e-6)
    start, end = ("behind the core", "bay") if flow > 0 else ("bay", "behind the core")
    kelvin = float(found.nodes[start][0])
    drop = float(found.pressures[start][0] - found.pressures[end][0])
    speed = abs(flow) / light(kelvin) / (FACE_M2 / 2)
    # Air that creeps takes a little more, so that the law has a slope at no flow.
    law = 1.5 * light(kelvin) * speed * (speed + 0.01)
    assert drop == pytest.approx(law, rel=0.02, abs=1e-6)


def test_a_fan_without_a_shroud_draws_from_behind_the_core() -> None:
    """Its leak starts there, so that the core's other half gets a share of its pull."""
    bare = fan(bare=True, leak=Opening(0.05, SHARP))
    open_ = solve_stack(
        two_halves(behind=Opening(FACE_M2 / 2, 3.0), fans=(bare,)), state(running=False)
    )
    through = open_.flows["radiator free"][0]
    leaks, passes = open_.flows["leak fan"][0], open_.flows["past the engine"][0]
    assert leaks > 0
    assert float(through) == pytest.approx(float(leaks + passes), rel=1e-6)


def test_ways_between_gaps_need_two_covered_zones() -> None:
    with pytest.raises(ValueError, match="along the gap"):
        two_halves(along={("free", "none"): Opening(0.01, 1.0)})


def test_air_comes_behind_a_header_by_the_rim_and_along_the_gap_alone() -> None:
    """A zone that a header stands before has no condenser, and all else as the others."""
    half = FACE_M2 / 2
    found = solve_stack(
        stack(
            beside=0.0,
            rim=0.012,
            zones=(
                Zone(name="core", area_m2=half, covered=True, drawn_by="fan", rim=0.25),
                Zone(
                    name="header", area_m2=half, covered=True, drawn_by="fan", blind=True, rim=0.75
                ),
            ),
            along={("core", "header"): Opening(0.01, 2.5)},
        ),
        state(running=False),
    )
    assert "condenser header" not in found.flows
    came = found.flows["rim header"] + found.flows["along core, header"]
    assert float(came[0]) == pytest.approx(float(found.flows["radiator header"][0]), rel=1e-6)
    assert 0 < found.flows["radiator header"][0] < found.flows["radiator core"][0]
    # The same opening at the same loss, shared as asked: √ of the drops, by the shares.
    drops = [
        found.pressures["front"][0] - found.pressures[f"gap {one}"][0] for one in ("core", "header")
    ]
    ratio = 0.25 / 0.75 * (drops[0] / drops[1]) ** 0.5
    flows = found.flows["rim core"][0] / found.flows["rim header"][0]
    assert float(flows) == pytest.approx(float(ratio), rel=0.02)


def test_a_header_stands_before_a_covered_zone() -> None:
    with pytest.raises(ValueError, match="blind"):
        stack(zones=(*zones(0.8, 1.0), Zone(name="odd", area_m2=0.01, blind=True)))
