"""The scan of the light van's inner panel, invented: `python tests/inner_panel.py` writes it.

A pressed panel with a swage, a rolled top edge and a hole that a bolt left, as a hand-held scanner
may give it: its own axes, a little noise, a patch of faces turned round, some slivers and doubles.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

SCAN = Path(__file__).parents[1] / "vehicle_envelopes" / "light_van_inner_panel.ply"

LONG_MM, HIGH_MM, STEP_MM = 108.0, 330.0, 3.0
INNER_FACE_MM = -391.0
"""Where the flat of the panel stands across the car."""
FRONT_MM, BOTTOM_MM = -128.0, -60.0
HOLE = (40.0, 42.0, 12.0)
"""Of the bolt that is missing: from the front and the bottom, and its radius, mm."""
LANDMARKS = {
    "low bolt": (12.0, 24.0),
    "high bolt": (12.0, 306.0),
    "rear bolt": (96.0, 60.0),
    "swage": (53.0, 165.0),
}
"""Bolt heads' middles and a pencil mark on the swage: from the front and the bottom edge, mm."""
SWAGE_MM = 4.0
"""How far the swage across the panel stands inboard."""


def face(along: np.ndarray, up: np.ndarray) -> np.ndarray:
    """How far the panel stands inboard of its flat, mm."""
    swage = SWAGE_MM * 0.5 * (1 + np.cos(np.pi * np.clip((up - 165.0) / 22.0, -1, 1)))
    rolled = np.clip(up - (HIGH_MM - 30.0), 0.0, None) ** 2 / 60.0
    return swage - rolled


def in_the_car(along: np.ndarray, up: np.ndarray) -> np.ndarray:
    """Points of the panel in the car's axes, (n, 3) mm."""
    across = INNER_FACE_MM + face(along, up)
    return np.stack([FRONT_MM + along, across, BOTTOM_MM + up], axis=-1)


def in_the_scan(points: np.ndarray) -> np.ndarray:
    """The same in the scanner's axes: x runs ahead and y up, but for a few degrees."""
    axes = np.array([[-1.0, 0, 0], [0, 0, 1], [0, 1, 0]])
    turn = Rotation.from_euler("xyz", [2.0, -1.5, 3.0], degrees=True)
    return turn.apply(points @ axes.T) + np.array([210.0, 455.0, 120.0])


def landmarks() -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Each landmark in the car's axes and in the scan's, mm."""
    found = {}
    for name, (along, up) in LANDMARKS.items():
        here = in_the_car(np.array(along), np.array(up))
        found[name] = here, in_the_scan(here)
    return found


def triangles(long_mm: float = LONG_MM, step_mm: float = STEP_MM) -> tuple[np.ndarray, np.ndarray]:
    """The scan: vertices (n, 3) mm in its own axes, faces (m, 3)."""
    rng = np.random.default_rng(1971)
    along = np.arange(0.0, long_mm + step_mm / 2, step_mm)
    up = np.arange(0.0, HIGH_MM + step_mm / 2, step_mm)
    u, w = (grid.ravel() for grid in np.meshgrid(along, up, indexing="ij"))
    points = in_the_car(u, w)
    points[:, 1] += rng.normal(0.0, 0.08, len(points))
    rows = len(up)
    i, j = (grid.ravel() for grid in np.meshgrid(*map(range, (len(along) - 1, rows - 1))))
    corner = i * rows + j
    middle = np.stack([along[i] + step_mm / 2, up[j] + step_mm / 2], axis=-1)
    kept = np.hypot(*(middle - HOLE[:2]).T) > HOLE[2]
    a, b, c, d = corner, corner + rows, corner + rows + 1, corner + 1
    faces = np.concatenate([np.stack([a, b, c], -1)[kept], np.stack([a, c, d], -1)[kept]])
    turned = (np.abs(u[faces].mean(axis=1) - 30) < 9) & (np.abs(w[faces].mean(axis=1) - 90) < 9)
    faces[turned] = faces[turned][:, ::-1]
    doubles = faces[rng.choice(len(faces), 25, replace=False)]
    slivers = np.stack([faces[:40, 0], faces[:40, 1], faces[:40, 0]], axis=-1)
    whole = np.concatenate([faces, doubles, slivers])
    used, numbers = np.unique(whole, return_inverse=True)
    return in_the_scan(points[used]), numbers.reshape(-1, 3)


def ply(long_mm: float = LONG_MM, step_mm: float = STEP_MM) -> bytes:
    """The scan as a binary PLY file."""
    vertices, faces = triangles(long_mm, step_mm)
    head = (
        "ply\nformat binary_little_endian 1.0\ncomment invented, mm\n"
        f"element vertex {len(vertices)}\n"
        "property float x\nproperty float y\nproperty float z\n"
        f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    records = np.zeros(len(faces), dtype=[("count", "u1"), ("corners", "<i4", 3)])
    records["count"], records["corners"] = 3, faces
    return head.encode() + vertices.astype("<f4").tobytes() + records.tobytes()


if __name__ == "__main__":
    SCAN.write_bytes(ply())
    for name, (car, scan) in landmarks().items():
        print(name, np.round(car, 2), np.round(scan, 2))
