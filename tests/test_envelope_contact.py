"""What is flush or touches lies along the faces that are named; what touches may touch."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import noseroom
from noseroom.envelope.reader import read_text
from noseroom.errors import EnvelopeError
from noseroom.findings import Verdict
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS

HEAD = """\
format: 1
units: mm
tape: 1 mm
"""
FRAME = """\
core support:
  opening: {width: 700, height: 480}
panel:
  is: box
  depth: 400
  width: 4
  height: 300
  place:
    - front 50 aft of core support.face
    - middle 400 right of centreline
    - bottom 20 above core support.opening.bottom
"""
SQUARE = ("plumb ± 0.05 deg", "level ± 0.05 deg", "square across ± 0.05 deg")


def block(kind: str, sizes: str, *sentences: str) -> str:
    said = "".join(f"    - {one}\n" for one in (*sentences, *SQUARE))
    return f"thing:\n  is: {kind}\n{sizes}  place:\n{said}"


def box(*sentences: str) -> str:
    return block("box", "  depth: 60\n  width: 100\n  height: 80\n", *sentences)


def pipe(*sentences: str) -> str:
    sizes = "  axis: up\n  diameter: 60\n  length: 200\n"
    return block("cylinder", sizes, *sentences)


def laid_out(thing: str, sides: str = "as seated") -> Layout:
    return arrange(read_text(f"{HEAD}sides: {sides}\n{FRAME}{thing}", KINDS))


def where(layout: Layout, feature: str) -> float:
    """How high, how far aft or how far right a face of a part is: its own coordinate."""
    part, name = feature.split(":")
    point, normal, _ = layout.parts[part].touch_point(name)
    return float(point[int(np.argmax(np.abs(normal)))])


ALONG = "front 100 aft of core support.face"
ACROSS = "middle 0 right of centreline"
HIGH = "bottom 100 above core support.opening.bottom"


@pytest.mark.parametrize(
    ("mine", "sentence", "theirs", "others"),
    [
        ("bottom", "flush with core support.lower rail.bottom", "lower rail.bottom", (0, 1)),
        ("bottom", "touching core support.upper rail.top", "upper rail.top", (0, 1)),
        ("top", "flush with core support.opening.top", "opening.top", (0, 1)),
        ("left", "flush with core support.opening.right", "opening.right", (0, 2)),
        ("front", "touching core support.face", "face", (1, 2)),
    ],
)
def test_faces_that_meet_lie_in_one_plane_whichever_way_they_look(
    mine: str, sentence: str, theirs: str, others: tuple[int, int]
) -> None:
    rest = [(ALONG, ACROSS, HIGH)[axis] for axis in others]
    layout = laid_out(box(f"{mine} {sentence}", *rest))
    assert layout.parts["thing"].known
    assert where(layout, f"thing:{mine}") == pytest.approx(
        where(layout, f"core support:{theirs}"), abs=1e-6
    )


@pytest.mark.parametrize(("face", "away"), [("left", -1.0), ("right", 1.0)])
def test_a_round_thing_touches_a_face_with_its_flank_from_outside(face: str, away: float) -> None:
    layout = laid_out(
        pipe(
            f"flank touching panel.{face}",
            "axis 150 aft of core support.face",
            "bottom 50 above core support.opening.bottom",
        )
    )
    axis = layout.parts["thing"].pose[1, 3]
    assert axis == pytest.approx(where(layout, f"panel:{face}") + away * 30.0, abs=1e-6)


def test_a_pipe_before_a_face_that_looks_forward_is_ahead_of_it() -> None:
    layout = laid_out(pipe("flank touching panel.front", "axis 0 right of centreline", HIGH))
    assert layout.parts["thing"].pose[0, 3] == pytest.approx(
        where(layout, "panel:front") - 30.0, abs=1e-6
    )


def test_a_part_on_a_leaning_face_lies_in_that_faces_plane() -> None:
    """Square to the face, not to the car: 5 degrees over 200 mm are 17 mm."""
    leaning = FRAME.replace(
        "    - middle 400 right of centreline\n",
        "    - middle 400 right of centreline\n    - 5 deg ± 0.05 deg turned right\n",
    )
    thing = box("left touching panel.right", "front 60 aft of panel.front, along the car", HIGH)
    thing = thing.replace("square across ± 0.05 deg", "5 deg ± 0.05 deg turned right")
    layout = arrange(read_text(f"{HEAD}{leaning}{thing}", KINDS))
    on, normal, _ = layout.parts["panel"].touch_point("right")
    point, _, _ = layout.parts["thing"].touch_point("left")
    assert (point - on) @ normal == pytest.approx(0.0, abs=1e-3)
    assert abs(point[0] - on[0]) > 50.0


def test_a_file_written_as_facing_the_grille_means_the_same_contact() -> None:
    seated = pipe("flank touching panel.right", "axis 150 aft of core support.face", HIGH)
    facing = seated.replace("panel.right", "panel.left")
    mirrored = FRAME.replace("right of centreline", "left of centreline")
    one = laid_out(seated)
    other = arrange(read_text(f"{HEAD}sides: as facing the grille\n{mirrored}{facing}", KINDS))
    np.testing.assert_allclose(one.parts["thing"].pose, other.parts["thing"].pose, atol=1e-6)


def refused(thing: str) -> str:
    with pytest.raises(EnvelopeError) as caught:
        laid_out(thing)
    (fault,) = caught.value.faults
    return str(fault)


def test_faces_that_are_not_parallel_cannot_be_flush() -> None:
    said = refused(box("bottom flush with panel.left"))
    assert "bottom, which looks down, flush with panel.left, which looks left" in said


@pytest.mark.parametrize(
    "sentence",
    ["axis flush with panel.middle", "flank touching tube.flank", "flank touching tube.top.rim"],
)
def test_where_no_face_says_the_way_it_has_to_be_said(sentence: str) -> None:
    tube = "tube:\n  is: cylinder\n  axis: up\n  diameter: 30\n  length: 50\n"
    assert "neither of the two is a flat face" in refused(pipe(sentence) + tube)


# -- what is joined --------------------------------------------------------------------------


def meant_to_touch(layout: Layout, a: str, b: str) -> tuple[bool, bool]:
    one, other = layout.parts[a], layout.parts[b]
    mine, theirs = one.components[0], other.components[0]
    return (
        layout.meant_to_touch(one, mine, other, theirs),
        layout.meant_to_touch(other, theirs, one, mine),
    )


def test_what_touches_may_touch_and_nothing_else_may() -> None:
    layout = laid_out(pipe("flank touching panel.left", "axis 150 aft of core support.face", HIGH))
    assert meant_to_touch(layout, "thing", "panel") == (True, True)
    assert meant_to_touch(layout, "thing", "core support") == (False, False)


def test_flush_alone_joins_nothing() -> None:
    layout = laid_out(box("left flush with panel.left", ALONG, HIGH))
    assert meant_to_touch(layout, "thing", "panel") == (False, False)


@pytest.mark.parametrize("names", ["panel", "[panel]", "[core support, Panel]"])
def test_parts_of_any_kind_may_be_joined_by_name(names: str) -> None:
    thing = box(ALONG, ACROSS, HIGH).replace("  is: box\n", f"  is: box\n  joined to: {names}\n")
    layout = laid_out(thing)
    assert meant_to_touch(layout, "thing", "panel") == (True, True)
    joined_too = "core support" in names
    assert meant_to_touch(layout, "thing", "core support") == (joined_too, joined_too)


@pytest.mark.parametrize("name", ["engine", ""])
def test_a_box_on_the_engine_may_touch_the_block_when_that_is_said(name: str) -> None:
    engine = (
        "engine:\n  block: {shown: yes, length: 500, width: 400, height: 400}\n"
        "  place:\n    - front 300 aft of core support.face\n"
        "    - axis 60 above core support.opening.bottom\n"
    )
    said = f"  joined to: {name}\n" if name else ""
    thing = box("rear 5 ahead of engine.front", ACROSS, HIGH)
    thing = thing.replace("  is: box\n", f"  is: box\n  carried by: engine\n{said}")
    layout = arrange(read_text(HEAD + FRAME + engine + thing, KINDS))
    assert meant_to_touch(layout, "thing", "engine") == (bool(name), bool(name))


def test_a_swept_fan_is_joined_to_nothing() -> None:
    fan = (
        "engine: {}\nwater pump: {}\nfan:\n  diameter: 400\n  joined to: panel\n"
        "  place:\n    - blade.front at 12 o'clock 100 aft of core support.face\n"
    )
    layout = arrange(read_text(HEAD + FRAME + fan, KINDS))
    one, panel = layout.parts["fan"], layout.parts["panel"]
    (swept,) = one.part.sweeps()
    metal = next(name for name in one.components if name != swept)
    assert not layout.meant_to_touch(one, swept, panel, "body")
    assert layout.meant_to_touch(one, metal, panel, "body")


def test_a_whole_check_asks_no_room_between_two_parts_that_touch(tmp_path: Path) -> None:
    """Two boxes face to face: joined they are no finding; else the usual room is missing."""
    verdicts = {}
    for name, said in (("joined", "  joined to: panel\n"), ("apart", "")):
        thing = box("left 0 right of panel.right", ALONG, HIGH)
        path = tmp_path / f"{name}.yaml"
        path.write_text(
            HEAD + FRAME + thing.replace("  is: box\n", f"  is: box\n{said}"), encoding="utf-8"
        )
        result = noseroom.check(path)
        pairs = [one for one in result.findings if {"thing", "panel"} <= set(one.parts)]
        verdicts[name] = {one.verdict for one in pairs}
    assert Verdict.FITS not in verdicts["apart"]
    assert verdicts["apart"]
    assert verdicts["joined"] <= {Verdict.FITS}


def test_an_unknown_part_to_be_joined_to_is_named_with_the_nearest() -> None:
    thing = box(ALONG).replace("  is: box\n", "  is: box\n  joined to: [panle]\n")
    said = refused(thing)
    assert 'thing.joined to: found "panle"' in said
    assert 'did you mean "panel"?' in said
