"""What a cooling answer is made of: draws, faces after a change, many stacks in one go."""

from __future__ import annotations

import numpy as np
import pytest

from cooling_noses import FAN, KNOWN, PULLER, nose
from noseroom.checks.air_faces import Faces, faces_of
from noseroom.checks.cooling_batch import Case, picked, solved
from noseroom.checks.cooling_car import Car
from noseroom.checks.cooling_changes import Change, Front, front_of
from noseroom.checks.cooling_draws import Draws, Known, banded
from noseroom.checks.cooling_outcomes import share_of, span_of
from noseroom.checks.cooling_stack import stack_of
from noseroom.checks.cooling_states import asked_states, engine_rpm, state_of
from noseroom.envelope.cooling_records import Figure
from noseroom.layout import Layout
from noseroom.physics.stack import solve_stack
from noseroom.tables.cooling import priors
from noseroom.tables.heat import bands

_SHARES = (
    *("grille open", "beside", "rim open", "rim sealed", "open fan", "immersion", "fan slip"),
    *("ram", "suction", "driveline", "returned at idle"),
)


def faces(*texts: str) -> Faces:
    found = faces_of(nose(*texts))
    assert found is not None
    return found


# -- draws --------------------------------------------------------------------------------------


@pytest.mark.parametrize("band", [*priors().values(), *bands().values()], ids=lambda b: b.key)
def test_a_bands_ends_are_its_5_and_95_per_cent_points(band: object) -> None:
    one = priors().get(band.key) or bands()[band.key]  # type: ignore[attr-defined]
    drawn = Known({}, Draws(4000)).band(one)
    low, middle, high = np.percentile(drawn, [5, 50, 95])
    width = one.high - one.low
    assert low == pytest.approx(one.low, abs=0.02 * width)
    assert middle == pytest.approx(one.usual, abs=0.02 * width)
    assert high == pytest.approx(one.high, abs=0.03 * width)


def test_a_share_is_never_more_than_all() -> None:
    """That a part is no more than its whole needs no source."""
    for key in _SHARES:
        one = priors()[key]
        assert banded(np.array([1.0]), one.low, one.usual, one.high)[0] <= 1.0, key


def test_one_draw_is_the_middle_of_every_band() -> None:
    known = Known({}, Draws(1))
    for one in priors().values():
        assert known.band(one) == pytest.approx([one.usual])


def test_every_stratum_has_one_draw() -> None:
    """A Latin hypercube by its definition.

    M. D. McKay, R. J. Beckman, W. J. Conover, Technometrics 21 (1979) 239-245; from memory.
    """
    column = Draws(50).column("fan flow")
    assert sorted((column * 50).astype(int)) == list(range(50))


def test_a_figures_draws_do_not_depend_on_what_else_is_drawn() -> None:
    one, other = Draws(20), Draws(20)
    other.column("something else")
    assert np.array_equal(one.column("cap"), other.column("cap"))
    assert not np.array_equal(one.column("cap"), Draws(20, seed=1).column("cap"))


def test_figures_are_hardly_correlated() -> None:
    """Of independent columns of 400 draws a correlation has a deviation of 1/20."""
    draws = Draws(400)
    each = np.array([draws.column(key) for key in priors()])
    assert np.abs(np.corrcoef(each) - np.eye(len(each))).max() < 0.2


def test_what_the_file_says_stands_for_a_band() -> None:
    figures = {"radiator.cap": Figure(90e3, 10e3, "", 1)}
    known = Known(figures, Draws(1000))
    drawn = known.figure("radiator.cap", priors()["cap"], 1e-3)
    assert (drawn.min() >= 80.0, drawn.max() <= 100.0) == (True, True)
    assert drawn.std() == pytest.approx(20.0 / np.sqrt(12.0), rel=0.01)
    assert "cap" not in known.assumed


# -- spans --------------------------------------------------------------------------------------


def test_spans_of_weighted_draws() -> None:
    """Even figures from 0 to 1 with the weight of a triangle, x: their q point is √q."""
    x = (np.arange(20_000) + 0.5) / 20_000
    found = span_of(x, x)
    assert (found.low, found.middle, found.high) == pytest.approx(
        np.sqrt([0.05, 0.5, 0.95]), abs=1e-3
    )


def test_what_is_beyond_all_figures_is_never_a_figure() -> None:
    values = np.array([*range(90), *[np.inf] * 10], dtype=float)
    found = span_of(values)
    assert np.isfinite(found.middle)
    assert np.isinf(found.high)
    assert np.isinf(span_of(np.full(5, np.inf)).low)
    assert np.isnan(span_of(np.full(5, np.nan)).low)


def test_shares_of_known_draws() -> None:
    true, known = np.array([True, True, False, True]), np.array([True, True, True, False])
    assert share_of(true, known) == pytest.approx(2 / 3)


# -- faces after a change -----------------------------------------------------------------------


def areas(front: Front, masked: bool = False) -> dict[tuple[bool, str, str], float]:
    """Of the zones that headers mask, or of the others."""
    some = [zone for zone in front.zones if zone.masked == masked]
    return {(z.covered, z.drawn_by, z.pushed_by): z.area_m2 for z in some}


def test_without_a_change_the_face_is_the_noses() -> None:
    found = faces(FAN)
    front = front_of(found, Change())
    expected = {(z.covered, z.drawn_by, ""): z.area_m2 for z in found.zones}
    assert areas(front) == pytest.approx(expected, rel=1e-9)
    assert sum(zone.rim_mm for zone in front.zones) == pytest.approx(front.edge_mm, rel=2e-3)


def test_today_has_no_condenser() -> None:
    """Zones make up all of the core's 24 x 16 in: no headers mask it."""
    front = front_of(faces(FAN), Change(today=True))
    assert not any(zone.covered for zone in front.zones)
    assert sum(areas(front).values()) == pytest.approx(24 * 16 * 0.0254**2, rel=1e-6)
    assert front.edge_mm == 0.0


def test_a_shroud_draws_on_all_of_the_core() -> None:
    front = front_of(faces(FAN), Change(shroud=True))
    assert {zone.drawn_by for zone in front.zones} == {"fan"}
    assert front.fans[0].shrouded


def test_a_lower_condenser_by_hand() -> None:
    """Half of 20 x 12 in: 20 x 6; its headers of 1 in mask 2 x 6 in; the rim is 2 (22 + 6) in."""
    front = front_of(faces(FAN), Change(cover=0.5))
    assert front.condenser_m2 == pytest.approx(20 * 6 * 0.0254**2, rel=1e-3)
    assert front.edge_mm == pytest.approx(56 * 25.4, rel=1e-3)
    assert sum(areas(front).values()) == pytest.approx((24 * 16 - 2 * 6) * 0.0254**2, rel=1e-3)
    behind = areas(front, masked=True)
    assert sum(behind.values()) == pytest.approx(2 * 6 * 0.0254**2, rel=1e-3)
    # Two ends of 1 in and a side of 6 in of each header.
    rims = sum(zone.rim_mm for zone in front.zones if zone.masked)
    assert rims == pytest.approx(2 * (1 + 6 + 1) * 25.4, rel=2e-3)


def test_another_condenser_by_hand() -> None:
    """Its own size, in the middle; headers of 22 mm beside it mask what is left of the core."""
    front = front_of(faces(FAN), Change(condenser_mm=(500.0, 300.0)))
    assert front.condenser_m2 == pytest.approx(0.15, rel=1e-6)
    masked = 2 * 22.0 * 300.0 * 1e-6
    assert sum(areas(front).values()) == pytest.approx(24 * 16 * 0.0254**2 - masked, rel=1e-6)
    assert sum(areas(front, masked=True).values()) == pytest.approx(masked, rel=1e-6)


def test_zones_of_the_gap_that_meet_by_hand() -> None:
    """Condenser and headers meet along the 12 in of each header, with one fan on all of it."""
    front = front_of(faces(FAN), Change(shroud=True))
    found = front.shared_mm
    assert {frozenset(pair) for pair in found} == {
        frozenset(("covered, drawn on by the fan", "behind the headers, drawn on by the fan"))
    }
    assert sum(found.values()) == pytest.approx(2 * 12 * 25.4, rel=2e-3)


def test_a_puller_stands_for_the_engines_fan() -> None:
    """Its plate is its diameter and 24 mm at each side; no other fan is left."""
    front = front_of(faces(FAN), Change(puller_mm=300.0))
    drawn = sum(zone.area_m2 for zone in front.zones if zone.drawn_by)
    assert drawn == pytest.approx(0.348**2, rel=1e-6)
    assert [(fan.name, fan.driven) for fan in front.fans] == [("electric puller", False)]


def test_a_pusher_blows_on_covered_zones_only() -> None:
    front = front_of(faces(FAN), Change(pusher_mm=250.0))
    pushed = [zone for zone in front.zones if zone.pushed_by]
    assert sum(zone.area_m2 for zone in pushed) == pytest.approx(0.298**2, rel=1e-3)
    assert all(zone.covered for zone in pushed)
    assert {fan.name for fan in front.fans} == {"fan", "electric pusher"}


# -- many stacks in one go ----------------------------------------------------------------------


def _case(layout: Layout, change: Change, n: int, key: str) -> Case:
    found = faces_of(layout)
    assert found is not None
    car = Car(layout, found, Draws(n, seed=3))
    asked, front = asked_states(car)[0], front_of(found, change)
    stack, fans = stack_of(car, front, change, engine_rpm(car, asked, change), stands=asked.stands)
    state = state_of(car, asked, change, fans, running=not change.today)
    return Case(("hot idle", key), stack, state, n)


def test_together_as_one_by_one() -> None:
    layout = nose(FAN, PULLER, KNOWN)
    changes = {
        "as it is": Change(),
        "sealed": Change(seals=frozenset({"radiator", "condenser"})),
        "idle": Change(idle_rpm=900.0),
        "today": Change(today=True),
    }
    cases = [_case(layout, change, 4 + k, key) for k, (key, change) in enumerate(changes.items())]
    together = {key[1]: one.answer for key, one in solved(cases)}
    for case in cases:
        alone, other = solve_stack(case.stack, case.state, case.n), together[case.key[1]]
        assert np.array_equal(alone.settled, other.settled)
        assert other.radiator_kg_s == pytest.approx(alone.radiator_kg_s, rel=1e-6, nan_ok=True)
        assert other.coolant_k == pytest.approx(alone.coolant_k, rel=1e-6, nan_ok=True)
        if alone.head is not None and other.head is not None:
            assert other.head.pressure == pytest.approx(alone.head.pressure, rel=1e-5, nan_ok=True)


def test_some_draws_of_a_record() -> None:
    case = _case(nose(FAN, KNOWN), Change(), 6, "as it is")
    some = picked(case.state, np.array([4, 1]), 6)
    assert np.asarray(some.coolant_w) == pytest.approx(np.asarray(case.state.coolant_w)[[4, 1]])
    assert some.compression is not None
    assert case.state.compression is not None
    assert some.compression.loop.fluid is case.state.compression.loop.fluid


def test_a_compressor_that_its_switch_takes_off_leaves_the_coolant_cooler() -> None:
    """Draws whose head pressure runs away are answered with the compressor off at times.

    Those that do not run away are not touched.
    """
    case = _case(nose(FAN, KNOWN), Change(cover=0.35), 24, "small")
    ((_, found),) = list(solved([case]))
    assert found.answer.head is not None
    away = found.answer.head.runs_away
    assert away.any()
    assert found.relieved is not None
    assert not np.isfinite(found.relieved.coolant_k[~away]).any()
    known = away & np.isfinite(found.relieved.coolant_k)
    assert known.sum() >= 0.5 * away.sum()
