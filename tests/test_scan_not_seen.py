"""What a scan did not see is not known: gaps between its pieces, lost triangles, slots, holes."""

from __future__ import annotations

import numpy as np
import pytest

import scan_makers as make
from noseroom.geometry.scan_answer import pack, unpacked
from noseroom.geometry.scan_types import DEFAULT_LIMITS, ScanError, UnreadableError
from noseroom.geometry.scan_worker import scan_from
from noseroom.geometry.scans import Scan, unseen_cells
from noseroom.parts.scan import ScanShape
from test_scan_mending import _in_cells


def _scan(soup) -> Scan:
    return scan_from(make.stl(soup), "stl", 1.0, 60_000, DEFAULT_LIMITS)


def _sheet(low, high, columns: int = 12, rows: int = 12):
    """A flat sheet in the plane y = 0, from (x, z) to (x, z): triangles (m, 3, 3), mm."""
    x, z = np.meshgrid(np.linspace(low[0], high[0], columns + 1),
                       np.linspace(low[1], high[1], rows + 1))  # fmt: skip
    points = np.stack([x, 0 * x, z], axis=-1).reshape(-1, 3)
    return points[make.grid_triangles(columns, rows)]


GAP_MM = 120.0


@pytest.mark.parametrize("steps", [1, 12])
def test_between_two_open_pieces_of_one_panel_nothing_is_known(steps):
    """Coarse or fine, a surface no steeper than 45 degrees across the gap is in the cells."""
    scan = _scan(
        np.concatenate([_sheet((0, 0), (240, 400), steps, steps),
                        _sheet((360, 0), (600, 400), steps, steps)])
    )  # fmt: skip
    cells = unseen_cells(scan, border_open=False)
    rng = np.random.default_rng(1)
    x, z, share = rng.uniform(240, 360, 500), rng.uniform(0, 400, 500), rng.uniform(-1, 1, 500)
    tent = GAP_MM / 2 - np.abs(x - 300)
    assert _in_cells(cells, np.stack([x, share * tent, z], axis=1)).all()
    # Far before the gap is known again, and so is what stands before the pieces themselves.
    beside = np.array([[300.0, GAP_MM, 200], [100, 12, 200], [500, -12, 200], [20, 12, 20]])
    assert not _in_cells(cells, beside).any()
    assert unseen_cells(scan, border_open=True) == ()


def test_a_gap_between_pieces_at_an_angle_is_not_known():
    """Two walls of a corner without its edge: the straight way from one to the other."""
    turned = _sheet((60, 0), (300, 200))[:, :, [1, 0, 2]]
    scan = _scan(np.concatenate([_sheet((60, 0), (300, 200)), turned]))
    cells = unseen_cells(scan, border_open=False)
    share = np.linspace(0, 1, 9)[:, None]
    for z in (1.0, 77.0, 199.0):
        way = (1 - share) * np.array([60.0, 0, z]) + share * np.array([0.0, 60, z])
        assert _in_cells(cells, way).all()


def test_an_island_far_off_is_bridged_and_its_bridge_is_bounded_in_number():
    rng = np.random.default_rng(7)
    places = rng.uniform([0, 200, 0], [600, 500, 400], (60, 3))
    bits = places[:, None] + 30 * rng.uniform(-1, 1, (60, 3, 3))
    scan = _scan(np.concatenate([_sheet((0, 0), (600, 400)), bits]))
    cells = unseen_cells(scan, border_open=False)
    assert len(scan.border) == 61
    assert len(cells) < 1400
    middle = places.mean(axis=0)
    assert _in_cells(cells, middle[None]).all()


def test_a_notch_in_a_border_is_spread_to_both_sides_and_a_flat_panel_is_not():
    """A notch 60 mm wide: half of that, at most 25 mm; over the seen metal next to nothing."""
    left, right = _sheet((0, 0), (270, 400), 27, 40), _sheet((330, 0), (600, 400), 27, 40)
    floor = _sheet((270, 0), (330, 50), 6, 5)
    scan = _scan(np.concatenate([left, floor, right]))
    assert len(scan.border) == 1
    cells = unseen_cells(scan, border_open=False)
    assert _in_cells(cells, np.array([[300.0, 20, 225], [300, -20, 225]])).all()
    before = np.array([[100.0, 12, 100], [500, -12, 300], [300, 40, 225]])
    assert not _in_cells(cells, before).any()


def test_a_slot_is_not_known_for_as_far_as_what_runs_along_it_may_stand_out():
    """10 mm wide, 300 mm long: 25 mm, not 5; a bolt hole stays at half its width."""
    soup = _sheet((0, 0), (600, 400), 60, 40)
    middle = soup.mean(axis=1)
    slot = (np.abs(middle[:, 0] - 295) < 5) & (np.abs(middle[:, 2] - 200) < 150)
    bolt = (np.abs(middle[:, 0] - 105) < 5) & (np.abs(middle[:, 2] - 205) < 5)
    scan = _scan(soup[~slot & ~bolt])
    assert len(scan.holes) == 2
    cells = unseen_cells(scan, border_open=True)
    assert _in_cells(cells, np.array([[295.0, 24, 200], [295, -24, 60], [105, 4.9, 205]])).all()
    assert not _in_cells(cells, np.array([[295.0, 26, 200], [105, 6, 205]])).any()
    assert any("taken to stay within 25 mm" in remark for remark in scan.remarks)


def _lost_bracket():
    """A sheet, and a bracket 60 mm off it of which every triangle has lost a corner."""
    bracket = _sheet((200, 100), (300, 200), 4, 4) + np.array([0.0, 60, 0])
    lost = bracket.copy()
    lost[:, 0, 1] = np.nan
    return np.concatenate([_sheet((0, 0), (600, 400)), lost]), bracket


@pytest.mark.parametrize("border_open", [True, False])
def test_where_triangles_were_lost_nothing_is_known(border_open):
    """A piece that vanishes as a whole leaves no hole; it is unknown space all the same."""
    soup, bracket = _lost_bracket()
    scan = _scan(soup)
    assert not scan.holes
    assert any("32 triangles had corners that are not numbers" in one for one in scan.remarks)
    cells = unseen_cells(scan, border_open=border_open)
    assert _in_cells(cells, bracket.reshape(-1, 3)).all()
    assert not _in_cells(cells, np.array([[500.0, 60, 300], [250, 200, 150]])).any()


def test_lost_triangles_come_through_the_answer_of_the_reading_process(tmp_path):
    soup, _ = _lost_bracket()
    scan = _scan(soup)
    pack(tmp_path / "answer", scan)
    back = unpacked("scan.stl", tmp_path / "answer")
    assert len(back.lost) == len(scan.lost) > 0
    for one, other in zip(back.lost, scan.lost, strict=True):
        assert np.array_equal(one, other)
    whole = (tmp_path / "answer").read_bytes()
    (tmp_path / "answer").write_bytes(whole[:-4] + b"\xff\xff\xff\x7f")
    with pytest.raises(ScanError):
        unpacked("scan.stl", tmp_path / "answer")


def test_lost_triangles_of_which_nothing_is_left_are_refused_without_a_hole_for_them():
    sheet = _sheet((0, 0), (600, 400))
    nothing = np.full((40, 3, 3), np.nan)
    with pytest.raises(UnreadableError, match="40 triangles without any corner"):
        _scan(np.concatenate([sheet, nothing]))
    # One that left its hole in the sheet is that hole.
    known = sheet.copy()
    known[150] = np.nan
    assert len(_scan(known).holes) == 1


def test_lost_triangles_in_thousands_are_few_cells():
    soup = _sheet((0, 0), (600, 400), 80, 80)
    lost = soup + np.array([0.0, 60, 0])
    lost[:, 2] = np.inf
    scan = _scan(np.concatenate([soup, lost]))
    assert 0 < len(scan.lost) <= 150
    known = soup[:, :2].reshape(-1, 3) + np.array([0.0, 60, 0])
    assert _in_cells(scan.lost, known).all()


def test_thousands_of_holes_are_few_cells_that_contain_every_cap():
    """2,500 holes: as many squares of 4 mm out of every fourth; their caps, spread to 2 mm."""
    side = 101
    soup = _sheet((0, 0), (4.0 * side, 4.0 * side), side, side)
    at = np.floor(soup.mean(axis=1)[:, [0, 2]] / 4.0).astype(int)
    scan = _scan(soup[~(at % 2 == 1).all(axis=1)])
    assert len(scan.holes) == 2500
    cells = unseen_cells(scan, border_open=True)
    assert len(cells) <= 360
    for hole in scan.holes[::97]:
        middle = hole.loop.mean(axis=0)
        tips = middle + np.array([[0.0, 1.9, 0], [0, -1.9, 0], [0, 0, 0]])
        assert _in_cells(cells, tips).all()
    assert not _in_cells(cells, np.array([[200.0, 6, 200]])).any()


def test_an_open_side_that_is_taken_for_air_is_told():
    scan = _scan(make.as_soup(*make.tub()))
    told = " ".join(ScanShape(scan, np.eye(3), {}, True).remarks)
    assert "taken for air, inside as well, because the file says edge: open" in told
    told = " ".join(ScanShape(scan, np.eye(3), {}, False).remarks)
    assert "edge: open says that it is air" in told
    closed = _scan(make.as_soup(*make.ball()))
    assert "air" not in " ".join(ScanShape(closed, np.eye(3), {}, True).remarks)


def _glb(document, data):
    return scan_from(make.pack_glb(document, data), "glb", None, 60_000, DEFAULT_LIMITS)


def test_shapes_of_a_glb_that_its_scene_does_not_show_are_told():
    document, data = make.gltf_document(*make.box(high=(0.1, 0.06, 0.04)))
    assert "scene" not in " ".join(_glb(document, data).remarks)
    document["nodes"].append({"mesh": 0, "translation": [1, 0, 0]})
    document["meshes"].append(document["meshes"][0])
    scan = _glb(document, data)
    assert len(scan.triangles) == 12
    assert any("2 shapes that its scene does not show" in remark for remark in scan.remarks)


def test_copies_that_an_extension_of_glb_places_are_refused():
    document, data = make.gltf_document(*make.box(high=(0.1, 0.06, 0.04)))
    document["nodes"][0]["extensions"] = {"EXT_mesh_gpu_instancing": {"attributes": {}}}
    with pytest.raises(UnreadableError, match="EXT_mesh_gpu_instancing"):
        _glb(document, data)
