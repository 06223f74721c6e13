"""What stands of a changed nose is what a full check of it finds, and little is computed for it."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from drive_nose import DRIVE
from noseroom.checks.bends import BendsOfAnother, readjusted
from noseroom.checks.drift import Checked, Drift
from noseroom.checks.margins import AMPLE_MM, AT_REST, MOVING, SECOND_ORDER, Margins
from noseroom.checks.motion import motions_of
from noseroom.checks.near_pairs import NearPairs
from noseroom.checks.pairs import Pairs, component_pairs
from noseroom.envelope.reader import read_text
from noseroom.findings import Verdict
from noseroom.geometry.separation import MovingPiece, nearest
from noseroom.layout import Layout, arrange, network_of
from noseroom.memo import Memo
from noseroom.parts.registry import KINDS
from noseroom.pipeline import Session
from noseroom.report.changes import at_once
from noseroom.survey.near import solve_near
from noseroom.survey.poses import Pose
from noseroom.tables.clearances import clearance_rules
from test_session import NOSE

Floats = NDArray[np.float64]

DEMO = Path(__file__).parents[1] / "vehicle_envelopes"

ENGINE = (
    NOSE
    + """\
engine:
  moves: {roll: 2, pitch: 1, forward: 4}
  place:
    - axis 250 below core support.opening.bottom
    - axis 0 right of centreline
    - front 200 aft of core support.face
water pump:
  hub: {diameter: 80, thickness: 15}
  place:
    - axis 10 above core support.opening.bottom
    - axis 0 right of centreline
    - hub.face 130 aft of core support.face
fan:
  carried by: water pump
  diameter: 380
  width: 50
"""
)


def laid_out(text: str) -> Layout:
    return arrange(read_text(text, KINDS, rule_keys=clearance_rules()))


def drift_of(before: str, now: str) -> Drift:
    return Drift(Checked(Pairs(laid_out(before)), Margins()), laid_out(now))


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Session:
    made = Session(tmp_path_factory.mktemp("soon") / "nose.yaml")
    made.check(NOSE)
    return made


CHANGES = {
    "a place": ("axis 90 ahead", "axis 88 ahead"),
    "a place, by much": ("axis 90 ahead", "axis 40 ahead"),
    "into the next part": ("core.rear 15 ahead", "core.rear 1 ahead"),
    "a place of what others rest on": ("core.front 60 aft", "core.front 58 aft"),
    "a size": ("diameter: 60", "diameter: 63"),
    "a size of what others rest on": ("thickness: 40", "thickness: 42"),
    "a line in between": ("condenser:\n", "# read again on Monday\n\ncondenser:\n"),
}


@pytest.mark.parametrize("what", CHANGES)
def test_the_verdicts_at_once_are_those_of_a_full_check(session: Session, what: str) -> None:
    old, new = CHANGES[what]
    assert NOSE.count(old) == 1
    text = NOSE.replace(old, new)
    session.check(NOSE)
    outlook = session.at_once(text)
    assert outlook is not None
    other = Session(session.path)
    full = other.check(text)
    assert outlook.verdict is full.verdict
    assert other.margins is not None
    assert dict(outlook.verdicts) == dict(other.margins.verdicts())


@pytest.mark.parametrize(
    "change",
    [
        ("axis 280 left", "axis 280 ± 9 left"),
        ("    - axis 280 left of centreline\n", ""),
        ("units: mm\n", "units: mm\nrules: {body to body: 40 mm}\n"),
        (NOSE[NOSE.index("box:") :], ""),
        ("drier:\n", "drier:\n  fitted: no\n"),
    ],
)
def test_where_more_than_figures_has_changed_nothing_is_taken_over(
    session: Session, change: tuple[str, str]
) -> None:
    session.check(NOSE)
    assert session.at_once(NOSE.replace(*change)) is None


def test_what_is_said_of_air_and_heat_changes_no_verdict(session: Session) -> None:
    cooling = "cooling:\n  radiator: {fins: 11}\n"
    session.check(NOSE + cooling)
    for changed in (NOSE + cooling.replace("11", "12"), NOSE):
        outlook = session.at_once(changed)
        assert outlook is not None
        assert (outlook.looked_at, outlook.changed) == (0, {})


def test_before_the_first_check_there_is_nothing_to_take_over(tmp_path: Path) -> None:
    assert Session(tmp_path / "nose.yaml").at_once(NOSE) is None


def test_a_small_change_leaves_most_pairs_alone(session: Session) -> None:
    session.check(NOSE)
    outlook = session.at_once(NOSE.replace("axis 90 ahead", "axis 89 ahead"))
    assert outlook is not None
    assert outlook.taken_over >= 4 * outlook.looked_at > -1
    assert outlook.changed == {}


def test_a_verdict_that_changes_is_said_with_what_it_was(session: Session) -> None:
    session.check(NOSE)
    outlook = session.at_once(NOSE.replace("axis 90 ahead", "axis 40 ahead"))
    assert outlook is not None
    key = AT_REST, "core support", "drier"
    assert outlook.changed[key] == (Verdict.FITS, Verdict.TOO_CLOSE)
    said = "\n".join(at_once("a nose", outlook))
    assert "now too close to call (before: fits): core support and drier, at rest" in said


@pytest.mark.parametrize(
    "change",
    [
        ("axis 90 ahead", "axis 87 ahead"),
        ("core.front 60 aft", "core.front 63 aft"),
        ("thickness: 40", "thickness: 43"),
        ("hub.face 130 aft", "hub.face 126 aft"),
    ],
)
def test_a_nose_begun_from_the_last_one_comes_out_where_a_fresh_one_does(
    change: tuple[str, str],
) -> None:
    assert ENGINE.count(change[0]) == 1
    envelope = read_text(ENGINE.replace(*change), KINDS, rule_keys=clearance_rules())
    near, fresh = arrange(envelope, near=laid_out(ENGINE)), arrange(envelope)
    for name, part in fresh.parts.items():
        np.testing.assert_allclose(near.parts[name].pose, part.pose, atol=1e-7)
    np.testing.assert_allclose(near.survey.deviations, fresh.survey.deviations)


def test_readings_that_agree_much_less_are_adjusted_afresh() -> None:
    """A second reading of the same place, 20 mm off, costs chi² far above what is let pass."""
    twice = NOSE.replace(
        "    - axis 280 left of centreline\n",
        "    - axis 280 left of centreline\n    - axis 280 left of centreline\n",
    )
    near = laid_out(twice)
    worse = twice.replace("axis 280 left of centreline", "axis 300 left of centreline", 1)
    stations, sentences = network_of(read_text(worse, KINDS), read_text(worse, KINDS).parts)
    assert solve_near(stations, sentences, near.survey) is None
    stations, sentences = network_of(read_text(twice, KINDS), read_text(twice, KINDS).parts)
    assert solve_near(stations, sentences, near.survey) is not None


@pytest.mark.parametrize(("was", "now", "stands"), [(100, 101, True), (120, 121, False)])
def test_an_assumption_that_would_come_back_is_not_left_out(
    was: int, now: int, stands: bool
) -> None:
    """With the blades at 120 mm the readings refute an assumption that they bear out at 121."""

    def text(blades: int) -> str:
        old = "12 o'clock 100 aft"
        assert DRIVE.count(old) == 1
        return "format: 1\n" + DRIVE.replace(old, f"12 o'clock {blades} aft")

    envelope = read_text(text(now), KINDS)
    stations, sentences = network_of(envelope, envelope.parts)
    near = laid_out(text(was)).survey
    assert (solve_near(stations, sentences, near) is not None) is stands
    fresh = laid_out(text(now)).survey
    left = [{(one.station, one.text) for one in it.refuted} for it in (near, fresh)]
    assert (left[0] == left[1]) is stands


# -- how far things have come ----------------------------------------------------------------


def test_a_part_that_is_read_further_ahead_has_come_that_far() -> None:
    """3 mm further along the car, and nothing else has moved; the readings tell a little less."""
    drift = drift_of(NOSE, NOSE.replace("axis 90 ahead", "axis 93 ahead"))
    assert drift.comparable
    assert 3.0 - 1e-6 <= drift.mm(AT_REST, "drier", "radiator", 0.0) < 3.2
    assert drift.mm(AT_REST, "radiator", "condenser", 0.0) == pytest.approx(0.0, abs=1e-6)


def test_what_carries_both_drops_out() -> None:
    """The condenser is read from the radiator: both come 4 mm, and neither against the other."""
    drift = drift_of(NOSE, NOSE.replace("core.front 60 aft", "core.front 56 aft"))
    assert drift.mm(AT_REST, "radiator", "condenser", 0.0) == pytest.approx(0.0, abs=1e-6)
    assert 4.0 - 1e-6 <= drift.mm(AT_REST, "radiator", "box", 0.0) < 4.3


def test_a_larger_drum_comes_nearer_by_half_of_its_growth_or_a_little_more() -> None:
    """Its pieces stand round it by no more than 0.21 % of its radius; 6 mm more in diameter."""
    drift = drift_of(NOSE, NOSE.replace("diameter: 60", "diameter: 66"))
    assert 3.0 <= drift.mm(AT_REST, "drier", "box", 0.0) < 3.1


def test_how_far_a_reading_moves_a_part_is_never_less_than_its_corners_show() -> None:
    """Against the corners of all pieces, seen from the other part, over changes of every kind."""
    rng = np.random.default_rng(5)
    before = laid_out(ENGINE)
    checked = Checked(Pairs(before), Margins())
    for old, new in (
        ("hub.face 130 aft", "hub.face {} aft"),
        ("axis 10 above", "axis {} above"),
        ("axis 250 below", "axis {} below"),
        ("thickness: 40", "thickness: {}"),
        ("diameter: 380", "diameter: {}"),
    ):
        assert ENGINE.count(old) == 1
        was = float(next(word for word in old.replace(",", " ").split() if word.isdigit()))
        now = laid_out(ENGINE.replace(old, new.format(round(was + rng.uniform(1, 6), 2))))
        drift = Drift(checked, now)
        assert drift.comparable
        names = [name for name, part in before.parts.items() if part.components]
        for a in names:
            for b in names:
                if a != b:
                    assert came(before, now, a, b) <= drift.mm(AT_REST, a, b, 0.0) + 1e-9


def came(before: Layout, now: Layout, a: str, b: str) -> float:
    """How far the corners of a's pieces are from where they were, seen from b, at most."""
    most = 0.0
    seen = []
    for layout in (before, now):
        turn, shift = layout.parts[b].pose[:3, :3], layout.parts[b].pose[:3, 3]
        pieces = [p for each in layout.parts[a].moving.values() for p in each[0]]
        seen.append([(piece.corners - shift) @ turn for piece in pieces])
    for one, other in zip(*seen, strict=True):
        most = max(most, float(np.linalg.norm(one - other, axis=1).max()))
    return most


def test_what_moves_is_bounded_over_all_of_its_movement() -> None:
    """Where the engine's movement takes the fan, before and after, at random amounts."""
    rng = np.random.default_rng(8)
    text = ENGINE.replace("axis 250 below", "axis 262 below")
    before, now = laid_out(ENGINE), laid_out(text)
    drift = Drift(Checked(Pairs(before), Margins()), now)
    (then,), (today,) = motions_of(before), motions_of(now)
    bound = drift.mm(MOVING, "fan", "radiator", 0.0)
    most = 0.0
    for _ in range(200):
        amounts = then.centre + then.reaches * rng.uniform(-1, 1, len(then.reaches))
        for one, other in zip(
            before.parts["fan"].moving["sweep"][0],
            now.parts["fan"].moving["sweep"][0],
            strict=True,
        ):
            was, there = then.pose(amounts), today.pose(amounts)
            places = one.corners @ was[:3, :3].T + was[:3, 3]
            places_now = other.corners @ there[:3, :3].T + there[:3, 3]
            most = max(most, float(np.linalg.norm(places_now - places, axis=1).max()))
    assert 0.05 < most <= bound
    assert bound < most + 2.0


# -- what is looked at, but quickly ------------------------------------------------------------

MOVES = {
    "the hub": ("axis 0 right", "axis 1.6 right"),
    "the core": ("core.front 60 aft", "core.front 58.4 aft"),
    "the drier": ("axis 90 ahead", "axis 87 ahead"),
}
NEAR = [
    ("fan", "radiator"),
    ("drier", "condenser"),
    ("fan", "water pump"),
    ("condenser", "radiator"),
]


def quick_and_exact(what: str) -> tuple[NearPairs, Pairs, Pairs]:
    """Pairs of a changed nose, quick and exact, and those of the one that was checked."""
    old, new = MOVES[what]
    changed = ENGINE[::-1].replace(old[::-1], new[::-1], 1)[::-1]  # the last: the pump has two
    assert changed != ENGINE
    before = Pairs(laid_out(ENGINE), memo=Memo())
    exact = Pairs(laid_out(changed), memo=Memo())
    for a, b in NEAR:
        parts = before.layout.parts
        for mine, theirs in component_pairs(before.layout, parts[a], parts[b]):
            before.sure_gap(parts[a], mine, parts[b], theirs, enough_mm=200.0)
    drift = Drift(Checked(before, Margins()), exact.layout)
    assert drift.comparable
    return NearPairs(exact, before, drift), exact, before


@pytest.mark.parametrize("what", MOVES)
def test_a_quick_look_tells_whatever_is_asked_as_an_exact_one_does(what: str) -> None:
    """Whether a gap surely remains, for gaps all round the one that does."""
    quick, exact, _ = quick_and_exact(what)
    parts, told = exact.layout.parts, 0
    for a, b in NEAR:
        for mine, theirs in component_pairs(exact.layout, parts[a], parts[b]):
            pair = parts[a], mine, parts[b], theirs
            doubt = quick.doubt_mm(parts[a], parts[b])
            least = exact.sure_gap(*pair, enough_mm=200.0).lower_mm
            for asked in (*np.arange(-6.0, 24.0, 2.5), least - 1.1 * doubt, least + 1.1 * doubt):
                whole = exact.sure_gap(*pair, enough_mm=asked + AMPLE_MM)
                enough = asked + min(AMPLE_MM, quick.ample_mm(*pair, asked))
                found = quick.sure_gap(*pair, enough_mm=enough)
                assert found.answers(asked) is whole.answers(asked)
                if abs(found.lower_mm - asked) > doubt:
                    told += 1
                    assert (found.lower_mm >= asked) is (whole.lower_mm >= asked)
                if whole.nominal_mm < asked:
                    assert found.nominal_mm == pytest.approx(whole.nominal_mm, abs=1e-4)
                else:
                    assert found.nominal_mm >= asked - 1e-4
    assert told >= 300


@pytest.mark.parametrize("what", MOVES)
def test_what_pieces_are_taken_to_keep_is_kept_whatever_the_readings_hide(what: str) -> None:
    """Against noses adjusted again to readings and assumptions that are drawn; gaps by coal."""
    rng = np.random.default_rng(12)
    quick, exact, _ = quick_and_exact(what)
    layout, closest = exact.layout, np.inf
    sure, parts = layout.uncertainty, layout.parts
    ways = rng.standard_normal((6, len(sure.deviations)))
    drawn = sure.reaches * rng.choice([-1.0, 1.0], ways.shape)
    drawn += 2.0 * sure.deviations * ways / np.linalg.norm(ways, axis=1)[:, None]
    tied = len(layout.survey.adjustment.observed)
    states = readjusted(layout.survey, drawn[:, :tied])
    assert np.isfinite(states).all()
    poses = layout.survey.network.poses(states)
    for a, b in NEAR:
        for mine, theirs in component_pairs(layout, parts[a], parts[b]):
            known = quick._known_mm(parts[a], mine, parts[b], theirs, None)
            assert known is not None
            ours, others = parts[a].moving[mine][0], parts[b].moving[theirs][0]
            assert known.shape == (len(ours), len(others))
            worst = np.unravel_index(np.argsort(known, axis=None)[:6], known.shape)
            for i, j in zip(*worst, strict=True):
                for k, sources in enumerate(drawn):
                    one = strayed(ours[i], sources, poses[a], k)
                    other = strayed(others[j], sources, poses[b], k)
                    closest = min(closest, nearest(one, other)[0] - known[i, j])
    assert 0.0 <= closest < 20.0


def strayed(piece: MovingPiece, sources: Floats, poses: Pose, k: int) -> MovingPiece:
    """A piece on the k-th of its part's poses, its sizes by their linear forms."""
    corners = piece.corners
    if piece.swell is not None:
        corners = corners + piece.swell @ sources
    # A station that never moves has one pose.
    turn = (poses.turn if poses.turn.ndim == 2 else poses.turn[k]) @ piece.axes.T
    shift = poses.shift if poses.shift.ndim == 1 else poses.shift[k]
    corners = (corners - piece.origin) @ turn.T + shift
    return dataclasses.replace(piece, corners=corners, hull=None)


@pytest.mark.parametrize("what", MOVES)
def test_the_second_order_hardly_changes_when_a_reading_does(what: str) -> None:
    """Less than the share of it that is kept back."""
    _, exact, before = quick_and_exact(what)
    most = 0.0
    for a, b in NEAR:
        corners = exact._outline(exact.layout.parts[a]).corners
        now = exact.bends.most_mm(b, a, corners)
        then = BendsOfAnother(exact.layout.survey, before.bends).most_mm(b, a, corners)
        assert np.abs(now - then).max() <= SECOND_ORDER * np.linalg.norm(now) + 1e-6
        most = max(most, float(now.max()))
    assert most > 0.01


@pytest.mark.parametrize("demo", ["small_estate", "half_measured_coupe"])
def test_a_demo_nose_says_at_once_what_its_full_check_says(demo: str) -> None:
    path = DEMO / f"{demo}.yaml"
    text = path.read_text(encoding="utf-8")
    session = Session(path)
    session.check()
    lines = text.split("\n")
    changed = 0
    for number, line in enumerate(lines):
        if (" aft of " not in line and " above " not in line) or changed == 3:
            continue
        words = line.split()
        figures = [k for k, word in enumerate(words) if word.replace(".", "").isdigit()]
        if not figures:
            continue
        words[figures[0]] = f"{float(words[figures[0]]) + 2:g}"
        text = "\n".join([*lines[:number], "    " + " ".join(words), *lines[number + 1 :]])
        outlook = session.at_once(text)
        if outlook is None:
            continue
        changed += 1
        other = Session(path)
        assert other.check(text).verdict is outlook.verdict
        assert other.margins is not None
        assert dict(outlook.verdicts) == dict(other.margins.verdicts())
    assert changed
