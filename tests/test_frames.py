"""Frames, against the closed forms of Castigliano's theorem and a table of portal frames."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from noseroom.physics.beams import (
    Section,
    cantilever_hz,
    cantilever_stress_mpa,
    rectangle,
    shear_modulus_mpa,
)
from noseroom.physics.frames import End, Frame, Member, lowest_hz, peak_stress

E_MPA, STEEL = 200_000.0, 7850.0
G_MPA = shear_modulus_mpa(E_MPA, 0.3)
STRIP = rectangle(30.0, 3.0)
UP = np.array([0.0, 0.0, 1.0])


def chain(corners: list[tuple[float, float, float]], section: Section = STRIP) -> Frame:
    """A bent strip whose width lies along y; the first corner is held, the last one is the tip."""
    nodes = np.array(corners)
    members = []
    for k, along in enumerate(np.diff(nodes, axis=0)):
        normal = np.cross(along, [0.0, 1.0, 0.0])
        normal = normal / np.linalg.norm(normal)
        members.append(Member(k, k + 1, normal, section, (End(section), End(section))))
    return Frame(nodes, tuple(members), (0,), E_MPA, G_MPA, STEEL)


def ell(a: float, b: float) -> Frame:
    return chain([(0, 0, 0), (a, 0, 0), (a, 0, b)])


def zed(a: float, b: float, c: float) -> Frame:
    return chain([(0, 0, 0), (a, 0, 0), (a, 0, b), (a + c, 0, b)])


def test_a_straight_strip_gives_way_as_a_cantilever() -> None:
    """P L³ / 3EI + P L / κGA, P L / EA, T L / GJ, M L / EI."""
    long = 100.0
    tip = np.diag(chain([(0, 0, 0), (long, 0, 0)]).compliance(1))
    s = STRIP
    shear = long / (G_MPA * s.shear_mm2)
    assert tip == pytest.approx(
        [
            long / (E_MPA * s.area_mm2),
            long**3 / (3.0 * E_MPA * s.edge_mm4) + shear,
            long**3 / (3.0 * E_MPA * s.flat_mm4) + shear,
            long / (G_MPA * s.twist_mm4),
            long / (E_MPA * s.flat_mm4),
            long / (E_MPA * s.edge_mm4),
        ],
        rel=1e-9,
    )


@settings(max_examples=60, deadline=None, derandomize=True)
@given(a=st.floats(15.0, 120.0), b=st.floats(15.0, 120.0))
def test_an_ell_gives_way_by_castigliano(a: float, b: float) -> None:
    """Unit loads on its tip: in its plane bending of both legs, across it torsion of the first."""
    s, tip = STRIP, ell(a, b).compliance(2)
    flat, edge, area = E_MPA * s.flat_mm4, E_MPA * s.edge_mm4, E_MPA * s.area_mm2
    shear, twist = G_MPA * s.shear_mm2, G_MPA * s.twist_mm4
    assert tip[0, 0] == pytest.approx(b**3 / (3 * flat) + a * b**2 / flat + a / area + b / shear)
    assert tip[2, 2] == pytest.approx(a**3 / (3 * flat) + b / area + a / shear)
    assert tip[0, 2] == pytest.approx(-(a**2) * b / (2 * flat))
    across = (a**3 + b**3) / (3 * edge) + b**2 * a / twist + (a + b) / shear
    assert tip[1, 1] == pytest.approx(across)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(a=st.floats(15.0, 90.0), b=st.floats(15.0, 90.0), c=st.floats(15.0, 90.0))
def test_a_zed_gives_way_by_castigliano(a: float, b: float, c: float) -> None:
    """Lifted at its tip: c³/3 + c² b + ((a + c)³ - c³)/3 over EI, and the small terms."""
    s, tip = STRIP, zed(a, b, c).compliance(3)
    flat = E_MPA * s.flat_mm4
    bent = c**3 / 3 + c**2 * b + ((a + c) ** 3 - c**3) / 3
    small = (a + c) / (G_MPA * s.shear_mm2) + b / (E_MPA * s.area_mm2)
    assert tip[2, 2] == pytest.approx(bent / flat + small)
    # Pulled along: the web b³/3, and the first leg bent all along by the moment b.
    pulled = b**3 / 3 + a * b**2
    assert tip[0, 0] == pytest.approx(
        pulled / flat + (a + c) / (E_MPA * s.area_mm2) + b / (G_MPA * s.shear_mm2)
    )


def test_compliance_is_symmetric_and_positive() -> None:
    """Maxwell's reciprocal theorem."""
    tip = zed(40, 30, 50).compliance(3, (3.0, -7.0, 11.0))
    assert tip == pytest.approx(tip.T, rel=1e-9)
    assert np.linalg.eigvalsh(tip)[0] > 0


def test_an_arm_carries_the_load_out() -> None:
    """A stiff arm of 20 mm on a cantilever's tip: δ + 2 θ e + φ e², by hand."""
    long, out, flat = 80.0, 20.0, E_MPA * STRIP.flat_mm4
    there = chain([(0, 0, 0), (long, 0, 0)]).compliance(1, (out, 0.0, 0.0))
    bent = long**3 / 3 + long**2 * out + long * out**2
    assert there[2, 2] == pytest.approx(bent / flat + long / (G_MPA * STRIP.shear_mm2))


def portal(high: float, span: float) -> Frame:
    """Two legs and a beam between them, both feet clamped, the load in the beam's middle."""
    corners = [(0, 0, 0), (0, 0, high), (span / 2, 0, high), (span, 0, high), (span, 0, 0)]
    frame = chain(corners, rectangle(30.0, 0.5))
    return Frame(frame.nodes, frame.members, (0, 4), E_MPA, G_MPA, STEEL)


@pytest.mark.parametrize(("high", "span"), [(60.0, 100.0), (100.0, 80.0), (40.0, 120.0)])
def test_a_portal_frame_shares_its_moments_as_printed(high: float, span: float) -> None:
    """Clamped portal, load P in the middle: P L / 8(k + 2) at a foot, P L / 4(k + 2) at a corner.

    k = (I beam / I leg) (h / L); frame formulas after Kleinlogel, from memory. They leave out
    stretch and shear, which stock of half a millimetre makes next to nothing.
    """
    frame = portal(high, span)
    ratio = high / span
    foot = abs(frame.end_forces(0, 2)[0][4, 2])
    corner = abs(frame.end_forces(0, 2)[1][4, 2])
    assert foot == pytest.approx(span / (8 * (ratio + 2)), rel=2e-3)
    assert corner == pytest.approx(span / (4 * (ratio + 2)), rel=2e-3)


def test_loads_are_in_balance_at_every_member() -> None:
    frame = portal(50.0, 90.0)
    for number, member in enumerate(frame.members):
        first, last = frame.end_forces(number, 2)
        long = float(np.linalg.norm(frame.nodes[member.end] - frame.nodes[member.start]))
        assert first[:4] + last[:4] == pytest.approx(np.zeros((4, 6)), abs=1e-9)
        assert first[4] + last[4] == pytest.approx(last[2] * long, abs=1e-7)
        assert first[5] + last[5] == pytest.approx(-last[1] * long, abs=1e-7)


def test_peak_stress_of_a_strap_is_bending_at_its_root() -> None:
    """P L / Z for a load square to its face; the worst direction is hardly off it."""
    found = peak_stress(chain([(0, 0, 0), (100, 0, 0)]), 1, 50.0)
    by_hand = cantilever_stress_mpa(50.0, 100.0, STRIP)
    assert (found.member, found.end) == (0, 0)
    assert by_hand <= found.mpa <= 1.02 * by_hand
    assert abs(found.direction[2]) > 0.98


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    a=st.floats(20.0, 90.0),
    b=st.floats(20.0, 90.0),
    x=st.floats(-1.0, 1.0),
    y=st.floats(-1.0, 1.0),
    z=st.floats(-1.0, 1.0),
)
def test_no_direction_is_worse_than_the_worst(
    a: float, b: float, x: float, y: float, z: float
) -> None:
    """Stress at the root's corners by hand, for any direction: never above the peak."""
    size = math.sqrt(x * x + y * y + z * z)
    if size < 1e-3:
        return
    x, y, z = x / size, y / size, z / size
    # Tip at (a, b) in the plane of x and z: moments about the root.
    flat, edge, twist = x * b - z * a, y * a, y * b
    s = STRIP
    normal = abs(flat) / s.flat_mm3 + abs(edge) / s.edge_mm3 + abs(x) / s.area_mm2
    shear = abs(twist) / s.twist_mm3
    by_hand = math.sqrt(normal**2 + 3.0 * shear**2)
    assert by_hand <= peak_stress(ell(a, b), 2, 1.0).mpa * (1.0 + 1e-9)


def test_a_bend_and_a_hole_raise_what_is_judged() -> None:
    plain = chain([(0, 0, 0), (100, 0, 0)])
    member = plain.members[0]
    ends = (End(rectangle(21.0, 3.0), 1.3), member.ends[1])
    weaker = Member(0, 1, member.normal, member.section, ends)
    other = Frame(plain.nodes, (weaker,), (0,), E_MPA, G_MPA, STEEL)
    ratio = peak_stress(other, 1, 1.0).mpa / peak_stress(plain, 1, 1.0).mpa
    assert ratio == pytest.approx(1.3 * 30.0 / 21.0, rel=0.01)


@pytest.mark.parametrize("tip_kg", [0.0, 0.05, 0.5, 2.0])
def test_frequency_is_from_below_and_near(tip_kg: float) -> None:
    """Dunkerley's formula is a lower bound; the exact root of the frequency equation above it."""
    frame = chain([(0, 0, 0), (100, 0, 0)])
    exact = cantilever_hz(100.0, STRIP, E_MPA, STEEL, tip_kg)
    assert 0.95 * exact <= lowest_hz(frame, 1, tip_kg) <= exact


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    a=st.floats(20.0, 80.0),
    b=st.floats(20.0, 80.0),
    c=st.floats(20.0, 80.0),
    more=st.floats(1.02, 1.5),
    mass=st.floats(0.1, 4.0),
)
def test_longer_is_never_stiffer(a: float, b: float, c: float, more: float, mass: float) -> None:
    now, longer = zed(a, b, c), zed(a, b, c).scaled(more)
    assert lowest_hz(longer, 3, mass) < lowest_hz(now, 3, mass)
    assert peak_stress(longer, 3, 1.0).mpa > peak_stress(now, 3, 1.0).mpa


def test_two_members_at_one_place_hold_twice_as_well() -> None:
    one = chain([(0, 0, 0), (80, 0, 0)])
    two = Frame(one.nodes, one.members * 2, (0,), E_MPA, G_MPA, STEEL)
    assert two.compliance(1) == pytest.approx(one.compliance(1) / 2.0, rel=1e-9)


def test_mass_is_that_of_the_metal() -> None:
    """30 × 3 × 120 mm of steel: 85 g."""
    assert zed(40, 30, 50).mass_kg == pytest.approx(30 * 3 * 120 * 7850e-9)
