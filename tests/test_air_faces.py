"""What the air meets, by plane geometry done by hand."""

from __future__ import annotations

import math

import pytest

from cooling_noses import PULLER, STACK
from noseroom.checks.air_faces import Faces, faces_of
from noseroom.envelope.reader import read_text
from noseroom.layout import arrange
from noseroom.parts.registry import KINDS
from noseroom.units import MM_PER_INCH

_IN2 = MM_PER_INCH**2 * 1e-6

_NOSE = STACK + PULLER.replace("diameter: 12", "diameter: 10")


def faces(text: str = _NOSE, **how: bool) -> Faces:
    found = faces_of(arrange(read_text(text, KINDS)), **how)
    assert found is not None
    return found


def test_areas_by_hand() -> None:
    """24 x 16 in of radiator, 20 x 12 of condenser with a header of 1 x 12 on either side.

    The puller's plate is 10 + 2 (1/8 + 1/4 + 5/8) = 12 in square, in the middle; the condenser
    reaches 6 in above and below the middle, so that all of it lies before the plate or beside it.
    """
    found = faces()
    assert found.radiator_m2 == pytest.approx(24 * 16 * _IN2, rel=1e-4)
    assert found.condenser_m2 == pytest.approx(20 * 12 * _IN2, rel=1e-4)
    assert found.covered_share == pytest.approx(240 / 384, rel=1e-3)
    zones = {(zone.covered, zone.drawn_by): zone.area_m2 / _IN2 for zone in found.zones}
    assert zones[True, "puller"] == pytest.approx(144, rel=1e-3)
    assert zones[True, ""] == pytest.approx(240 - 144, rel=1e-3)
    assert zones[False, ""] == pytest.approx(384 - 240 - 2 * 12, rel=1e-3)
    assert (False, "puller") not in zones
    assert found.gap_mm == pytest.approx(0.5 * MM_PER_INCH, abs=0.05)
    assert found.open_edge_mm == pytest.approx(64 * MM_PER_INCH, rel=1e-3)
    assert found.beyond_m2 == pytest.approx(0.0, abs=1e-5)
    assert found.grille_m2 == pytest.approx(30 * 14 * _IN2)


def test_what_is_open_beside_the_radiator() -> None:
    """28 x 20 in of opening less 24 in of core with a tank of 1 in above and below: 24 x 18."""
    assert faces().beside_m2 == pytest.approx((28 * 20 - 24 * 18) * _IN2, rel=1e-3)


def test_a_fan_in_its_own_frame_sweeps_all_but_its_hub() -> None:
    (fan,) = faces().fans
    assert fan.swept_m2 == pytest.approx(math.pi / 4 * (10**2 - 4**2) * _IN2)
    assert (fan.way, fan.driven, fan.shrouded) == ("behind", False, True)


def test_the_car_as_it_is_has_no_condenser() -> None:
    bare = faces(condenser=False)
    assert bare.condenser is None
    assert bare.covered_share == 0.0
    assert sum(zone.area_m2 for zone in bare.zones) == pytest.approx(bare.radiator_m2)


def test_a_pusher_draws_on_nothing() -> None:
    turned = _NOSE.replace("is: electric fan", "is: electric fan\n  mounting: in front").replace(
        "front flush with radiator.core.rear", "rear flush with condenser.core.front"
    )
    found = faces(turned)
    assert [zone.drawn_by for zone in found.zones] == ["", ""]
    assert [fan.way for fan in found.fans] == ["in front"]


def test_a_wide_condenser_has_air_that_meets_no_radiator() -> None:
    wide = faces(_NOSE.replace("core: {width: 20, height: 12", "core: {width: 25, height: 12"))
    assert wide.beyond_m2 == pytest.approx(12 * _IN2, rel=1e-3)
