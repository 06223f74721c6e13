"""How far the reading of a scan is: what a user sees, and what a hostile reader may not do."""

import os
from pathlib import Path

import numpy as np
import pytest

import scan_makers as make
from noseroom.attached import attached_files, read_shapes
from noseroom.envelope.reader import read
from noseroom.geometry import scan_process
from noseroom.geometry.scan_steps import STEPS, Listener, Step, said, teller
from noseroom.geometry.scan_types import DEFAULT_LIMITS
from noseroom.geometry.scan_worker import scan_from
from noseroom.geometry.scans import ScanError, read_scan
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules

VAN = Path(__file__).parents[1] / "vehicle_envelopes" / "light_van.yaml"
PANEL = make.stl(make.as_soup(*make.panel(120, 80)))


def test_every_step_is_told_in_order_and_the_long_one_by_shares():
    told = []
    scan_from(PANEL, "stl", 1.0, 2_000, DEFAULT_LIMITS, lambda *news: told.append(news))
    places = [STEPS.index(step) for step, _ in told]
    assert places == sorted(places)
    # The two ends are told by who calls this.
    assert {step for step, _ in told} == set(STEPS) - {Step.READ, Step.HAND_OVER}
    assert all(0 <= share < 1 for _, share in told)


def test_a_scan_in_a_process_of_its_own_says_how_far_it_is(tmp_path):
    (tmp_path / "panel.stl").write_bytes(PANEL)
    told = []
    read_scan(
        tmp_path / "panel.stl",
        unit="mm",
        most_triangles=2_000,
        progress=lambda *news: told.append(news),
    )
    assert told
    assert [done for done, _, _ in told] == sorted(done for done, _, _ in told)
    assert all(of == len(STEPS) and what.split(",")[0] in set(STEPS) for _, of, what in told)


def test_a_nose_names_the_part_whose_scan_is_read():
    envelope = read(VAN, KINDS, rule_keys=clearance_rules())
    told = []
    read_shapes(VAN, envelope, attached_files(VAN, envelope), lambda *news: told.append(news))
    assert told[0] == (0, 1, "scan of inner panel")
    assert len(told) > 1
    assert all(what.startswith("scan of inner panel: ") for _, _, what in told[1:])


@pytest.mark.parametrize(
    "code",
    [
        "os.write(order['news'], bytes(range(200, 256)) * 20_000)",
        "os.write(order['news'], b'\\xff')",
        "print('\\0\\0' * 9)",
        "os.close(order['news'])",
        "os.close(order['news']); import time; time.sleep(1)",
    ],
    ids=["flood", "half a word", "printed", "closed", "closed early"],
)
def test_what_a_reader_tells_is_believed_in_nothing(tmp_path, monkeypatch, code):
    head = scan_process._BOOT.split("sys.path[:]")[0]
    monkeypatch.setattr(scan_process, "_BOOT", head + code)
    (tmp_path / "panel.stl").write_bytes(PANEL)
    told = []
    with pytest.raises(ScanError, match="gives no answer"):
        read_scan(tmp_path / "panel.stl", unit="mm", progress=lambda *news: told.append(news))
    assert told == []


def test_a_listener_gives_out_the_last_news_and_then_the_end():
    ear, mouth = os.pipe()
    listener = Listener(ear)
    assert listener.next(0.01) is None
    tell = teller(mouth)
    tell(Step.MEASURE, 0.25)
    assert listener.next(20.0) == (STEPS.index(Step.MEASURE), 0.25)
    assert said(STEPS.index(Step.MEASURE), 0.25) == "measuring how far that moved it, 25%"
    os.close(mouth)
    with pytest.raises(EOFError):
        listener.next(20.0)
    tell(Step.THIN, 0.0)  # nobody listens any more, and that is no fault


def test_a_large_noisy_scan_keeps_its_form_when_it_is_thinned_out_thirty_times():
    """Independent: the noise is known; a surface through the middle of it is within that.

    A grid, which is what is left where thinning out in one go gives up, is millimetres off.
    """
    noise_mm = 0.1
    points, triangles = make.panel(400, 250, noise_mm=noise_mm)
    scan = scan_from(make.stl(points[triangles]), "stl", 1.0, 6_000, DEFAULT_LIMITS)
    assert len(scan.triangles) <= 1.02 * 6_000
    assert scan.deflection_mm < 8 * noise_mm
    assert np.ptp(scan.vertices, axis=0) == pytest.approx(np.ptp(points, axis=0), abs=0.5)
