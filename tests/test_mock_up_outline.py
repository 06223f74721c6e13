"""What a stand-in shows: all of a part's metal, its holes and stubs, and what was only assumed."""

from __future__ import annotations

import numpy as np
import pytest

from demo_noses import DEMOS, nose
from noseroom.geometry.kernel import volume_mm3
from noseroom.parts.shapes import joined
from noseroom.workshop.mock_up_outline import KINDS, MockUpError, stand_ins
from print_makers import outlines

_BY_STEM = {one.stem: one for one in DEMOS}


@pytest.mark.parametrize("path", DEMOS, ids=lambda one: one.stem)
def test_every_demo_has_stand_ins_of_one_solid(path) -> None:
    layout = nose(path)
    found = stand_ins(layout)
    assert [one.name for one in found] == [
        one.name for one in layout.parts.values() if one.kind in KINDS
    ]
    for one in found:
        whole = joined(list(one.solids.values()))
        apart = len(whole.Solids())
        # An electric fan's frame and its disc hang together by bars and motor.
        assert apart == 1, (one.name, apart)
        assert one.notes


def test_it_has_all_of_the_parts_metal_and_nothing_beyond_its_box() -> None:
    layout = nose(_BY_STEM["farm_pickup"])
    for name in ("condenser", "drier", "compressor"):
        part = layout.parts[name]
        metal = [one for key, one in part.part.solids().items() if key not in part.ghosts]
        shown = joined(list(outlines()[name].solids.values()))
        missing = joined(metal).cut(shown)
        assert volume_mm3(missing) == pytest.approx(0.0, abs=1e-3)
        boxes = [one.BoundingBox() for one in (joined(metal), shown)]
        for key in ("xmin", "xmax", "ymin", "ymax", "zmin", "zmax"):
            assert getattr(boxes[0], key) == pytest.approx(getattr(boxes[1], key), abs=1e-6)


def test_holes_and_stubs_are_told_apart() -> None:
    found = outlines()
    assert sorted(found["condenser"].stubs) == ["lower port", "upper port"]
    assert len(found["condenser"].holes) == 4
    assert sorted(found["drier"].stubs) == ["inlet", "outlet"]
    assert sorted(found["drier"].holes) == ["lug"]
    assert sorted(found["compressor"].stubs) == ["discharge", "suction"]
    assert len(found["compressor"].holes) == 2


def test_the_fan_is_bored_as_its_hub_is() -> None:
    """Four holes for 5/16 in bolts on 1 3/4 in, 11/32 in by ASME B18.2.8, and the pilot."""
    fan = outlines()["fan"]
    bolts = [one for name, one in fan.holes.items() if name.startswith("bolt")]
    assert [one.bore_mm for one in bolts] == pytest.approx([11 / 32 * 25.4] * 4)
    assert [np.hypot(*one.point[1:]) for one in bolts] == pytest.approx([7 / 8 * 25.4] * 4)
    assert fan.holes["pilot"].bore_mm == pytest.approx(5 / 8 * 25.4)
    spider = fan.solids["spider"]
    for one in fan.holes.values():
        y, z = one.point[1:]
        probe = spider.isInside((-2.0, float(y), float(z)))
        assert not probe


def test_the_fans_disc_is_what_its_blades_sweep() -> None:
    part = nose(_BY_STEM["farm_pickup"]).parts["fan"].part
    box = outlines()["fan"].solids["sweep"].BoundingBox()
    assert box.ymax - box.ymin == pytest.approx(part.diameter_mm, abs=1e-6)
    assert box.xmax - box.xmin == pytest.approx(part.width_mm, abs=1e-6)


def test_sizes_that_nobody_has_read_are_named() -> None:
    notes = " ".join(outlines()["compressor"].notes)
    assert "Nobody has read these sizes" in notes
    for key in ("ears.width", "ports.spacing"):
        assert key in notes
    assert "elbow room.length" not in notes
    assert "body.diameter" not in notes  # read
    assert "keep it free" in notes


def test_a_name_that_is_none_is_refused_with_what_there_is() -> None:
    layout = nose(_BY_STEM["farm_pickup"])
    with pytest.raises(
        MockUpError, match="'gril': no such part is fitted; of this nose, condenser"
    ):
        stand_ins(layout, ["gril"])
    with pytest.raises(MockUpError, match="'radiator': it is of kind radiator"):
        stand_ins(layout, ["radiator"])


def test_cells_fill_most_of_the_inside() -> None:
    import manifold3d

    from noseroom.geometry.split_solids import solid_of_shape

    for name in ("condenser", "fan", "compressor"):
        one = outlines()[name]
        whole = solid_of_shape(name, joined(list(one.solids.values())))
        cells = [manifold3d.Manifold.hull_points(corners) for corners in one.cells]
        filled = manifold3d.Manifold.batch_boolean(cells, manifold3d.OpType.Add) ^ whole
        assert filled.volume() > 0.8 * whole.volume()
