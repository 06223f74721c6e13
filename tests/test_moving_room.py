"""The room that movement takes, to look at: it holds every pose, and says so on the page."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial import ConvexHull

import noseroom
from moving_noses import BAR, HEAD, TRUE, arranged, box, engine, hood
from noseroom.checks.motion import motions_of
from noseroom.checks.moving_room import moving_rooms, swept
from noseroom.findings import Finding, Verdict
from noseroom.layout import Layout


def inside_one(points: np.ndarray, bodies: object) -> np.ndarray:
    """Which points (n, 3) are in the hull of the vertices of at least one body."""
    found = np.zeros(len(points), dtype=bool)
    for body in bodies:  # type: ignore[attr-defined]
        rows = ConvexHull(body.mesh.vertices).equations
        found |= (points @ rows[:, :3].T + rows[:, 3] <= 1e-6).all(axis=1)
    return found


def near(*parts: str) -> Finding:
    return Finding("moving: x", "x", parts, Verdict.TOO_CLOSE, "", state="moving")


NOSES = {
    "hood": ("hood", hood(opened=60, slam=8)),
    "bar": ("anti-roll bar", BAR.format(turn=25) + TRUE),
    "engine": (
        "filter",
        engine(roll=8, pitch=2, forward=12, up=5)
        + box("filter", (200, 150, 500), (120, 160, 60), "engine"),
    ),
}


def nose(which: str) -> tuple[str, Layout]:
    name, text = NOSES[which]
    return name, arranged(text, box("post", (-300, 0, 100), (20, 20, 20)))


@pytest.mark.parametrize("which", NOSES)
def test_every_corner_is_in_the_room_in_every_pose(which: str) -> None:
    name, layout = nose(which)
    (motion,) = motions_of(layout)
    rooms = moving_rooms(layout, [near(name, "post")])
    rng = np.random.default_rng(3)
    corners = np.concatenate(
        [piece.corners for each in layout.parts[name].moving.values() for piece in each[0]]
    )
    for _ in range(120):
        share = rng.choice([-1.0, 1.0, rng.uniform(-1, 1)], len(motion.reaches))
        pose = motion.pose(motion.centre + share * motion.reaches)
        there = corners @ pose[:3, :3].T + pose[:3, 3]
        assert inside_one(there, rooms[name]).all()
    assert all(body.watertight for body in rooms[name])


def test_the_room_is_not_much_more_than_what_is_swept() -> None:
    """A shift alone sweeps a longer box, exactly: 120 mm and 2 times 12 mm, by hand."""
    layout = arranged(engine(forward=12), box("filter", (200, 150, 500), (120, 160, 60), "engine"))
    (motion,) = motions_of(layout)
    points = swept(layout.parts["filter"].moving["body"][0][0].corners, motion)
    assert np.ptp(points, axis=0) == pytest.approx([144, 160, 60], abs=0.05)
    assert ConvexHull(points).volume == pytest.approx(144 * 160 * 60, rel=1e-3)


def test_only_what_an_answer_names_of_an_engine_is_shown() -> None:
    _, layout = nose("engine")
    assert not moving_rooms(layout, [])
    assert set(moving_rooms(layout, [near("filter", "post")])) == {"filter"}
    _, layout = nose("hood")
    assert set(moving_rooms(layout, [])) == {"hood"}


def test_the_page_has_the_room_apart_from_what_is_seen_at_first(tmp_path: Path) -> None:
    """A swing of 60 degrees is cut into parts of 6: each is a body of the hood, and no metal."""
    path = tmp_path / "nose.yaml"
    path.write_text(HEAD + hood(opened=60) + box("post", (-300, 0, 100), (20, 20, 20)))
    result = noseroom.check(path, outputs=tmp_path)
    assert result.exit_status == 0
    text = (tmp_path / "nose" / "page.html").read_text(encoding="utf-8")
    assert text.count('"ghost":"moving"') == 11
    assert 'id="rooms"' in text
    glb = (tmp_path / "nose" / "nose.glb").read_bytes()
    assert b"moving" not in glb[:5000]
