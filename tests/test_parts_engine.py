"""Engine, water pump, fan, pulley, alternator and compressor, against sums by hand."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

import part_checks as checks
from noseroom.parts.alternator import Alternator
from noseroom.parts.base import Part, kind_of
from noseroom.parts.compressor import Compressor
from noseroom.parts.engine import Engine
from noseroom.parts.fan import Fan
from noseroom.parts.pulley import Pulley
from noseroom.parts.water_pump import WaterPump
from part_checks import Expected

PARTS: tuple[type[Part], ...] = (Engine, WaterPump, Fan, Pulley, Alternator, Compressor)
NO_METAL = {Engine: ("front",), Pulley: ("middle", "face", "front", "rear")}
"""Faces that are planes in empty space: the middle of a hollow rim, a block that is not shown."""

BLADE_COVER = 0.35  # share of the circle: common practice
RIB_PITCH, RIB_ANGLE_DEG = 3.56, 40.0  # ISO 9981/9982 Table 1, SAE J1459 (from memory)
RIB_DEPTH, RIB_LAND = 2.9, 0.5  # from memory
V_ANGLE_DEG, V_DEPTH = 36.0, 0.9  # from memory; common practice

# -- by hand --------------------------------------------------------------------------------------


def lug_area(radius: float, half_width: float, height: float) -> float:
    """Area between a circle's flank and a line at a height, within ± a half-width of its top.

    The integral of height - sqrt(r² - y²) over y.
    """
    share = half_width / radius
    under = radius**2 * (math.asin(share) + share * math.sqrt(1.0 - share**2))
    return 2.0 * half_width * height - under


def engine_by_hand(made: Any) -> dict[str, Expected]:
    if made.shown == "no":
        return {}
    half = made.width_mm / 2
    low, high = (0, -half, -made.below_mm), (made.length_mm, half, made.height_mm)
    volume = made.length_mm * made.width_mm * (made.below_mm + made.height_mm)
    return {"block": Expected(volume, low, high)}


def pump_by_hand(made: Any) -> dict[str, Expected]:
    ahead, thick = made.pilot_length_mm, made.hub_thickness_mm
    return {
        "hub": checks.of_cylinder((0, 0, 0), 0, thick, made.hub_diameter_mm / 2),
        "pilot": checks.of_cylinder((-ahead, 0, 0), 0, ahead, made.pilot_diameter_mm / 2),
        "snout": checks.of_cylinder(
            (thick, 0, 0), 0, made.snout_length_mm, made.snout_diameter_mm / 2
        ),
    }


def fan_by_hand(made: Any) -> dict[str, Expected]:
    root, tip, width = made.spider_diameter_mm / 2, made.diameter_mm / 2, made.width_mm
    clutched = made.drive == "clutch"
    shift = made.shaft_length_mm + made.clutch_depth_mm if clutched else 0.0
    front, thick = -shift - made.ahead_mm, made.spider_thickness_mm
    half = math.pi * BLADE_COVER / made.blades

    # Slices square to the blade's radius: parallelograms as wide as the blade and, along the
    # tangent, as long as the sheet is when cut at the blade's angle; ruled from root to tip.
    def cut(chord: float) -> float:
        return float(made.thickness_mm / math.cos(math.atan2(chord, width)))

    heights = np.linspace(root, tip * math.cos(half), 201)
    lengths = np.interp(
        heights,
        heights[[0, -1]],
        [cut(2 * root * math.tan(half)), cut(2 * tip * math.sin(half))],
    )
    blade = float(np.trapezoid(width * lengths, heights))
    turns = 2 * np.pi * np.arange(made.blades)[:, None] / made.blades + [[-half, half]]
    ends = np.concatenate(
        [r * np.stack([np.sin(turns), np.cos(turns)], -1) for r in (tip, root / math.cos(half))]
    ).reshape(-1, 2)
    found = {
        "spider": checks.of_cylinder((-shift - thick, 0, 0), 0, thick, root),
        "sweep": Expected(
            math.pi * (tip**2 - root**2) * width, (front, -tip, -tip), (front + width, tip, tip)
        ),
        "blades": Expected(
            made.blades * blade, (front, *ends.min(axis=0)), (front + width, *ends.max(axis=0))
        ),
    }
    if clutched:
        tip = -shift - thick - made.nose_length_mm
        lengths = made.shaft_length_mm, made.clutch_depth_mm, made.nose_length_mm
        across = made.shaft_diameter_mm, made.clutch_diameter_mm, made.nose_diameter_mm
        largest = max(across) / 2
        found["clutch"] = Expected(
            sum(math.pi / 4 * d**2 * long for d, long in zip(across, lengths, strict=True)),
            (tip, -largest, -largest),
            (0.0, largest, largest),
        )
    return found


def pulley_by_hand(made: Any) -> dict[str, Expected]:
    if made.section == "v":
        grooves, top, slope = made.grooves, made.groove_width_mm, V_ANGLE_DEG / 2
        depth, width = V_DEPTH * top, grooves * top + (grooves + 1) * made.land_mm
    else:
        grooves, top, slope = made.ribs, RIB_PITCH - RIB_LAND, RIB_ANGLE_DEG / 2
        # Face of a pulley of x grooves: (x-1) e + 2 f; V-pulley data sheet.
        depth, width = RIB_DEPTH, (grooves - 1) * RIB_PITCH + 2 * made.edge_mm
    r = made.diameter_mm / 2
    inner = r - depth - made.wall_mm
    bottom = top - 2 * depth * math.tan(math.radians(slope))
    # Pappus: the area of a trapezoid times the way that its centroid goes round.
    area = (top + bottom) / 2 * depth
    centroid = r - depth / 3 * (top + 2 * bottom) / (top + bottom)
    rim = math.pi * (r**2 - inner**2) * width - grooves * area * 2 * math.pi * centroid
    thick = made.web_thickness_mm
    web = {"front": -width / 2, "middle": -thick / 2, "rear": width / 2 - thick}[made.web]
    return {
        "rim": Expected(rim, (-width / 2, -r, -r), (width / 2, r, r)),
        "web": checks.of_cylinder((web, 0, 0), 0, thick, inner),
    }


def alternator_by_hand(made: Any) -> dict[str, Expected]:
    half, r, rb = made.pulley_width_mm / 2, made.pulley_diameter_mm / 2, made.body_diameter_mm / 2
    front, long, thick = half + made.gap_mm, made.body_length_mm, made.ear_thickness_mm
    end = rb + made.ear_out_mm + made.ear_width_mm / 2
    ear = lug_area(rb, made.ear_width_mm / 2, end) - math.pi * made.hole_mm**2 / 4
    shaft = math.pi * (0.4 * r) ** 2 * made.gap_mm
    return {
        "pulley": Expected(
            math.pi * r**2 * made.pulley_width_mm + shaft, (-half, -r, -r), (front, r, r)
        ),
        "body": Expected(
            math.pi * rb**2 * long + 2 * ear * thick, (front, -rb, -end), (front + long, rb, end)
        ),
    }


def compressor_by_hand(made: Any) -> dict[str, Expected]:
    nose, long, rb = made.nose_length_mm, made.body_length_mm, made.body_diameter_mm / 2
    rear, d, gap = nose + long, made.port_diameter_mm, made.spacing_mm
    out, thick, width = made.ear_out_mm, made.ear_thickness_mm, made.ear_width_mm
    tip = rb + out + width / 2
    lug = lug_area(rb, width / 2, tip) * thick
    lug -= math.pi * made.hole_mm**2 / 4 * (width if made.bolts == "across" else thick)
    lugs = {"none": 0, "below": 2, "both": 4}[made.ears]
    volume = math.pi * rb**2 * long + lugs * lug
    low, high = -tip if lugs else -rb, tip if lugs == 4 else rb
    if made.place == "top":
        half, top, deep = (gap + d + 4) / 2, rb + 4, d + 4
        volume += lug_area(rb, half, top) * deep
        if lugs == 4:  # the rear upper ear stands in the pad
            volume -= lug_area(rb, min(half, width / 2), top) * min(deep, thick)
        high = max(high, top)
        x, z, far = rear - deep / 2, top, top + made.port_length_mm
        stub_low, stub_high = (x - d / 2, -(gap + d) / 2, z), (x + d / 2, (gap + d) / 2, far)
        room_high = (x + d / 2, (gap + d) / 2, far + made.elbow_mm)
        room_low = (x - d / 2, -(gap + d) / 2, far)
    else:
        far = rear + made.port_length_mm
        stub_low, stub_high = (rear, -(gap + d) / 2, -d / 2), (far, (gap + d) / 2, d / 2)
        room_low, room_high = (
            (far, -(gap + d) / 2, -d / 2),
            (far + made.elbow_mm, (gap + d) / 2, d / 2),
        )
    stubs = 2 * math.pi * d**2 / 4 * made.port_length_mm
    return {
        "nose": checks.of_cylinder((0, 0, 0), 0, nose, made.nose_diameter_mm / 2),
        "body": Expected(volume, (nose, -rb, low), (rear, rb, high)),
        "ports": Expected(stubs, stub_low, stub_high),
        "elbow room": Expected(made.elbow_mm * d * (gap + d), room_low, room_high),
    }


BY_HAND: dict[type[Part], Callable[[Any], dict[str, Expected]]] = {
    Engine: engine_by_hand,
    WaterPump: pump_by_hand,
    Fan: fan_by_hand,
    Pulley: pulley_by_hand,
    Alternator: alternator_by_hand,
    Compressor: compressor_by_hand,
}
FEW = {Fan: {"blades": 3}, Pulley: {"grooves": 2, "ribs": 3}}
"""Counts that are kept small where more of the same shows nothing new."""

each_part = pytest.mark.parametrize("part", PARTS, ids=lambda part: part.about.name)


def a_few(part: type[Part], *, seed: int) -> list[Part]:
    """Some six draws over all choices; the stride meets every word of every choice."""
    drawn = list(checks.draws(part, seed=seed, count=6, **FEW.get(part, {})))
    return drawn[:: 5 if len(drawn) > 12 else 1]


# -- every part -----------------------------------------------------------------------------------


@each_part
def test_declarations_hang_together(part: type[Part]) -> None:
    checks.check_kind(part)


@each_part
def test_solids_are_closed_and_as_large_as_by_hand_over_the_whole_range(part: type[Part]) -> None:
    for made in checks.draws(part, seed=11):
        checks.check_solids(made, BY_HAND[part](made))


@each_part
def test_pieces_cover_the_metal_and_stand_close_to_it(part: type[Part]) -> None:
    for made in a_few(part, seed=12):
        meshed = checks.bodies(made, checks.COARSE)
        checks.check_pieces_cover(made, meshed)
        checks.check_pieces_tight(made, meshed)
        checks.check_faces_on_metal(made, meshed, free=NO_METAL.get(part, ()), within_mm=0.11)


@each_part
def test_features_and_pieces_follow_sizes_with_exact_derivatives(part: type[Part]) -> None:
    for made in a_few(part, seed=13):
        checks.check_follows_sizes(made)


@each_part
def test_no_surface_moves_further_than_its_bound_says(part: type[Part]) -> None:
    for made in a_few(part, seed=14)[-2:]:
        checks.check_movement_bounds(made, most=150)


def test_no_module_of_these_loads_the_cad_kernel_when_it_is_imported() -> None:
    names = ("engine", "water_pump", "fan", "pulley", "alternator", "compressor", "belt")
    loads = "; ".join(f"import noseroom.parts.{name}" for name in names)
    script = f"import sys; {loads}; print([m for m in ('cadquery', 'OCP') if m in sys.modules])"
    path = {"PYTHONPATH": ":".join(one for one in sys.path if one)}
    told = subprocess.run([sys.executable, "-c", script], env=path, capture_output=True, text=True)
    assert told.stdout.strip() == "[]", told.stderr


# -- what is particular to one --------------------------------------------------------------------


def test_an_engine_without_a_block_has_no_body_but_can_be_measured_from() -> None:
    made = Engine()
    assert made.pieces() == ()
    assert made.solids() == {}
    assert set(made.features()) == {"axis", "front"}
    assert all(size.usual is not None for size in kind_of(Engine).sizes)


def test_pump_bolts_stand_evenly_on_the_bolt_circle_from_12_oclock() -> None:
    made = WaterPump(bolt_count=4, bolt_circle_mm=50.0)
    points = [made.ports()[f"bolt {k}"].point for k in (1, 2, 3, 4)]
    # Clockwise as seen from the front: 3 o'clock is on the car's left, which is -Y.
    expected = [(0, 0, 25), (0, -25, 0), (0, 0, -25), (0, 25, 0)]
    np.testing.assert_allclose(points, expected, atol=1e-12)
    at_3 = made.features()["hub.edge"].at("3 o'clock")
    assert at_3[1] == pytest.approx(-made.hub_diameter_mm / 2)


def test_fan_blades_stay_within_their_sweep_and_reach_its_planes_and_tips() -> None:
    for made in checks.draws(Fan, seed=21, count=6):
        points = checks.bodies(made, checks.COARSE)["blades"].mesh.vertices
        radii = np.hypot(points[:, 1], points[:, 2])
        front = made.features()["blade.front"].point[0]
        assert radii.max() == pytest.approx(made.diameter_mm / 2, abs=1e-6)
        assert radii.min() >= made.spider_diameter_mm / 2 - 1e-6
        assert points[:, 0].min() == pytest.approx(front, abs=1e-6)
        assert points[:, 0].max() == pytest.approx(front + made.width_mm, abs=1e-6)


@pytest.mark.parametrize(("rotation", "sign"), [("clockwise", 1.0), ("anticlockwise", -1.0)])
def test_leading_edges_go_first(rotation: str, sign: float) -> None:
    made = Fan(diameter_mm=430.0, rotation=rotation)
    points = checks.bodies(made, checks.COARSE)["blades"].mesh.vertices
    up = points[(points[:, 2] > 100.0) & (np.abs(points[:, 1]) < 100.0)]
    lead = up[up[:, 0] < up[:, 0].min() + 1e-6]
    trail = up[up[:, 0] > up[:, 0].max() - 1e-6]
    # Clockwise from the front, the blade at 12 o'clock goes to the car's left (-Y); air is drawn
    # aft, so that the edge ahead is the one that goes first.
    assert sign * (trail[:, 1].mean() - lead[:, 1].mean()) > 0


def test_blade_plates_are_never_thinner_than_the_sheet_and_flatten_towards_the_tip() -> None:
    made = Fan(diameter_mm=430.0, thickness_mm=2.0)
    corners = np.array([piece.corners for piece in made.pieces() if piece.component == "blades"])
    angles = []
    for section in corners[0].reshape(2, 4, 3):
        a, b, c, _ = section
        run, wide = c - b, np.linalg.norm(a - b)
        along = np.linalg.norm(run)
        thick = wide * abs(run[0]) / along  # of a parallelogram with sides along x and y
        assert thick >= 2.0
        angles.append(math.degrees(math.acos(np.linalg.norm(run[1:]) / along)))
    assert angles[0] > angles[1] > 0


def test_a_clutch_stands_between_hub_and_fan_and_its_nose_comes_through_the_fan() -> None:
    sizes = {"diameter_mm": 430.0, "ahead_mm": 30.0, "spider_thickness_mm": 6.0}
    plain = Fan(**sizes)
    clutched = Fan(
        **sizes, drive="clutch", shaft_length_mm=25.0, clutch_depth_mm=35.0, nose_length_mm=20.0
    )
    for name in ("blade.front", "blade.rear", "spider.front"):
        apart = clutched.features()[name].point - plain.features()[name].point
        np.testing.assert_allclose(apart, (-60.0, 0.0, 0.0), atol=1e-12)
    assert np.all(clutched.features()["mount"].point == 0.0)
    # Shaft 25, body 35, the spider's 6, and the nose of 20 beyond it.
    assert clutched.features()["clutch.front"].point[0] == pytest.approx(-86.0)
    box = clutched.solids()["clutch"].BoundingBox()
    assert (box.xmin, box.xmax) == pytest.approx((-86.0, 0.0), abs=1e-6)
    assert "clutch.front" not in plain.features()
    assert "clutch" not in plain.solids()


def test_six_ribs_span_what_the_pitch_says() -> None:
    """Six ribs: 21.36 mm (rib pitch from memory: ISO 9981/9982 Table 1, SAE J1459)."""
    made = Pulley(diameter_mm=150.0, section="ribbed", ribs=6, edge_mm=RIB_PITCH / 2)
    assert made.width_mm == pytest.approx(21.36, abs=1e-9)


@pytest.mark.parametrize("section", ["v", "ribbed"])
def test_a_pulleys_grooves_are_true(section: str) -> None:
    """Points a little inside a groove are free, points beside it are metal."""
    from noseroom.geometry.overlap import inside

    made = Pulley(diameter_mm=150.0, section=section, grooves=2, ribs=3)
    rim = checks.bodies(made)["rim"]
    pitch = made.groove_width_mm + made.land_mm if section == "v" else RIB_PITCH
    middles = (np.arange(2) - 0.5) * pitch if section == "v" else (np.arange(3) - 1) * pitch
    just_in = np.array([(x, 0.0, 75.0 - 0.5) for x in middles])
    under = np.array([(x, 0.0, 75.0 - 12.7 * 0.9 - 1.0) for x in middles])
    lands = np.array([(x, 0.0, 75.0 - 0.2) for x in (middles[:-1] + middles[1:]) / 2])
    assert not inside(just_in, rim, checks.HERE).any()
    assert inside(lands, rim, checks.HERE).all()
    if section == "v":
        assert inside(under, rim, checks.HERE).all()


def test_what_a_belt_runs_on_names_its_belt_circle() -> None:
    sizes = {
        Pulley: {"diameter_mm": 150.0},
        Alternator: {"pulley_diameter_mm": 70.0},
        Compressor: {"nose_diameter_mm": 125.0, "belt_mm": 25.0},
    }
    places = {}
    for part, given in sizes.items():
        belt = part(**given).features()["belt"]
        assert belt.shape == "circle"
        places[part] = (float(belt.point[0]), float(belt.radius))
    assert places == {Pulley: (0.0, 75.0), Alternator: (0.0, 35.0), Compressor: (25.0, 62.5)}


def test_a_nose_edge_can_be_measured_edge_to_edge() -> None:
    edge = Compressor(nose_diameter_mm=125.0).features()["nose.edge"]
    assert (edge.shape, edge.radius) == ("circle", 62.5)
    np.testing.assert_allclose(edge.at("6 o'clock"), (0.0, 0.0, -62.5), atol=1e-12)


@pytest.mark.parametrize("bolts", ["along", "across"])
def test_ear_holes_are_drilled_where_the_ports_say(bolts: str) -> None:
    from noseroom.geometry.overlap import inside

    made = Compressor(bolts=bolts, ears="both")
    body = checks.bodies(made)["body"]
    ears = {name: port for name, port in made.ports().items() if name.endswith("ear")}
    assert len(ears) == 4
    for port in ears.values():
        deeper = port.point - 3.0 * port.direction
        side = np.array([0.0, 0.0, port.bore_mm / 2 + 1.0])
        assert not inside(deeper[None], body, checks.HERE).any()
        assert inside((deeper + side)[None], body, checks.HERE).all()


@pytest.mark.parametrize("place", ["rear", "top"])
def test_elbow_room_begins_where_the_ports_end(place: str) -> None:
    made = Compressor(place=place, elbow_mm=50.0)
    room = made.solids()["elbow room"].BoundingBox()
    assert made.sweeps() == ("elbow room",)
    for name in ("suction", "discharge"):
        port = made.ports()[name]
        end, way = port.point, port.direction
        start, stop = (room.xmin, room.xmax) if place == "rear" else (room.zmin, room.zmax)
        assert float(end @ way) == pytest.approx(start, abs=1e-6)
        assert stop - start == pytest.approx(50.0, abs=1e-6)
    assert made.ports()["suction"].point[1] > 0 > made.ports()["discharge"].point[1]
