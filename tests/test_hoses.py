"""Hoses: solids that every file can hold, ends near their own ports, and ends that nobody knows."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest

import noseroom
from noseroom.checks.bodies import bodies_of
from noseroom.checks.fit import check_fit
from noseroom.checks.pairs import Pairs, component_pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.reader import read_text
from noseroom.findings import Finding, Verdict
from noseroom.geometry.exports import check_step, write_step
from noseroom.geometry.kernel import is_valid
from noseroom.layout import Layout, arrange
from noseroom.parts import shapes
from noseroom.parts.base import Port
from noseroom.parts.hose import Hose
from noseroom.parts.registry import KINDS
from noseroom.parts.runs import hose_run
from noseroom.tables.clearances import clearance_rules

AXES = np.vstack([np.eye(3), -np.eye(3)])


def a_run(end: tuple[float, float, float], there: int, start: int = 0) -> tuple:
    ports = [
        Port(np.zeros(3), AXES[start], 10.0),
        Port(np.array(end, dtype=float), AXES[there], 10.0),
    ]
    return hose_run(ports, 60.0, np.eye(4))


@pytest.mark.parametrize(
    ("end", "there", "radius"),
    [((120, 40, 0), 1, 11), ((120, 40, 0), 2, 23), ((400, 90, 60), 3, 8)],
)
def test_a_tight_bend_comes_back_valid_from_a_step_file(
    end: tuple[float, float, float], there: int, radius: float, tmp_path: Path
) -> None:
    """A sixth of tight runs gave a skin that was good here, and not when it was read again."""
    solid = shapes.round_run(a_run(end, there), radius)
    assert is_valid(solid)
    whole = cq.Assembly(name="nose")
    whole.add(solid, name="hose")
    write_step(whole, tmp_path / "hose.step")
    check_step(tmp_path / "hose.step", whole)


def test_a_hose_is_cut_into_its_ends_and_the_rest_without_losing_any() -> None:
    run = a_run((300, 120, 40), 3)
    hose = Hose(diameter_mm=20.0, run=run, on_ports=2)
    assert {piece.component for piece in hose.pieces()} == {"hose", "end", "far end"}
    volumes = {name: solid.Volume() for name, solid in hose.solids().items()}
    whole = Hose(diameter_mm=20.0, run=run).solids()["hose"].Volume()
    assert sum(volumes.values()) == pytest.approx(whole, rel=1e-3)
    length = sum(math.dist(a, b) for a, b in pairwise(run))
    for name in ("end", "far end"):
        # Half its diameter long, to within the share of a leg that a cut keeps from a bend.
        assert 5.0 < volumes[name] / (math.pi * 100.0) < 0.1 * length


NOSE = """
format: 1
title: a hose
units: mm
tape: 0.2
core support:
  opening: {width: 700, height: 480}
radiator:
  core: {width: 560, height: 420, thickness: 50}
  place:
    - core.front at top 30 aft of core support.face
    - core.front at bottom 30 aft of core support.face
    - core.bottom 25 above core support.opening.bottom
    - core centred in core support.opening
    - level ± 0.1 deg
condenser:
  core: {width: 500, height: 350, thickness: 20}
  ports: {side: right, way: ahead, diameter: 16, length: 12, from top: 30, spacing: 130}
  place:
    - core.rear at top 40 ahead of radiator.core.front
    - core.rear at bottom 40 ahead of radiator.core.front
    - core.bottom 30 above radiator.core.bottom
    - core centred on radiator.core
    - level ± 0.1 deg
    - square across ± 0.1 deg
drier:
  diameter: 64
  height: 200
  ports: {inlet: left, diameter: 16, length: 18, spacing: 34}
  place:
    - axis 120 ahead of core support.face
    - bottom 60 above core support.opening.bottom
    - plumb ± 0.5 deg
    - square across ± 2 deg
PLACE
stub:
  is: hose
  from: condenser.upper port
  diameter: 26
  stub: 80
liquid line:
  is: hose
  from: condenser.lower port
  to: drier.inlet
  diameter: 14
"""
PLACED = NOSE.replace("PLACE", "    - axis 330 right of centreline")
OPEN = NOSE.replace("PLACE\n", "")


def layout_of(text: str) -> Layout:
    return arrange(read_text(text, KINDS, rule_keys=clearance_rules()))


def test_a_hose_to_a_part_without_a_place_is_not_known_and_everything_is_written(
    tmp_path: Path,
) -> None:
    file = tmp_path / "nose.yaml"
    file.write_text(OPEN, encoding="utf-8")
    result = noseroom.check(file, outputs=tmp_path / "outputs")
    assert result.exit_status == 3
    assert (tmp_path / "outputs" / "nose" / "nose.step").is_file()
    (one,) = (one for one in result.findings if "liquid line" in one.parts)
    assert one.verdict is Verdict.NOT_KNOWN
    assert "place of drier" in one.note


def test_a_path_to_a_place_that_nobody_knows_is_not_made_up() -> None:
    line = layout_of(OPEN).parts["liquid line"]
    assert isinstance(line.part, Hose)
    assert len(line.part.run) == 2
    assert not line.known
    assert len(layout_of(PLACED).parts["liquid line"].part.run) > 2  # type: ignore[attr-defined]


def test_only_the_stretch_on_its_own_port_may_be_near_the_part_that_it_sits_on() -> None:
    layout = layout_of(PLACED)
    stub, line = layout.parts["stub"], layout.parts["liquid line"]
    condenser, drier = layout.parts["condenser"], layout.parts["drier"]
    asked = set(component_pairs(layout, stub, condenser))
    assert ("hose", "core") in asked
    assert ("hose", "headers") in asked
    assert not any(mine == "end" for mine, _ in asked)
    # The first end is on the condenser, the far one on the drier, and not the other way round.
    assert ("far end", "core") in set(component_pairs(layout, line, condenser))
    assert not any(mine == "end" for mine, _ in component_pairs(layout, line, condenser))
    assert ("end", "body") in set(component_pairs(layout, line, drier))
    assert not any(mine == "far end" for mine, _ in component_pairs(layout, line, drier))
    # Against anything else every stretch counts.
    assert ("end", "core") in set(component_pairs(layout, stub, layout.parts["radiator"]))


def found(text: str, *names: str) -> Finding:
    layout = layout_of(text)
    quiet = lambda done, of, what: None  # noqa: E731
    fit = check_fit(Pairs(layout), bodies_of(layout, quiet), Rules(layout.envelope), quiet)
    (one,) = (one for one in fit.findings if set(one.parts) == set(names))
    return one


def test_a_hose_out_of_a_short_port_does_not_foul_what_the_port_sits_on() -> None:
    """The port holds it 12 - 8 = 4 mm off its header or less, where 10 mm is asked of a hose."""
    short = PLACED.replace("length: 12", "length: 5")
    assert found(short, "stub", "condenser").verdict is not Verdict.FOULS


def test_a_hose_that_runs_along_its_own_part_still_fouls_it() -> None:
    """A port that points out, so that a thick stub lies along nothing; then a drier in its way."""
    near = PLACED.replace("axis 120 ahead of", "axis 70 ahead of").replace(
        "axis 330 right", "axis 235 right"
    )
    assert found(near, "liquid line", "drier").verdict is Verdict.FOULS
