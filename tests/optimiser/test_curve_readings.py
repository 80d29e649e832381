"""Curves out of a ledger, each file read as it was when it was measured."""

from __future__ import annotations

from dataclasses import asdict

import numpy as np
import pytest

from experiments.acoustics import Distortion, Response, Sweep
from experiments.ledger import Ledger
from experiments.measuring import measure_files
from experiments.plan import Plan
from experiments.records import StoredCurve
from optimiser.curve_readings import curve_lines, read_curves
from tests.raw_files import (
    COMMAS,
    STATED,
    SWEEP_PLAN,
    write_distortion,
    write_recording,
    write_response,
)

NAMED = 'name = "t"\n' + SWEEP_PLAN


def test_every_kind_of_a_sweep_is_read_and_a_file_of_its_own_counts_first(tmp_path):
    recording = write_recording(tmp_path / "sweep.wav").read_bytes()
    response = write_response(tmp_path / "response.txt").read_bytes()
    curves = [
        StoredCurve("response.txt", "response", response),
        StoredCurve("sweep.wav", "sweep", recording, {"sweep": asdict(Sweep(50, 20000, 1))}),
    ]
    with Ledger.create(tmp_path / "radio", NAMED) as ledger:
        ledger.add({"wall": 0.5})
        ledger.measure(1, session="may", curves=curves, values={"upper_limit": 8000.0})
        lines = {one.name: one for one in read_curves(ledger).curves}
    assert {"response", "thd", "hd2", "decay"} <= set(lines)
    assert len(lines["response"].x) == 1200  # the text file's own points
    # x + 0.02 x^2 at 0.5 of full scale: harmonic 2 is 0.5 %, far below the low-pass.
    assert np.interp(500, lines["hd2"].x, lines["hd2"].y) == pytest.approx(0.5, rel=0.05)
    assert lines["decay"].y[0] == pytest.approx(0.0, abs=1.0)


def test_what_the_plan_states_of_the_rig_is_kept_with_the_file(tmp_path):
    path = tmp_path / "response.txt"
    path.write_text(COMMAS)  # 20,000 is 20 Hz here, as the plan states
    measured = measure_files(Plan.from_text(STATED), [path], kinds="response")
    with Ledger.create(tmp_path / "radio", STATED) as ledger:
        ledger.add({"wall": 0.5})
        ledger.measure(1, session="may", curves=measured.curves, values={})
        (line,) = read_curves(ledger).curves
    assert line.x[0] == 20.0 and line.x[-1] == 978.0  # noqa: PT018
    assert line.y[0] == pytest.approx(85.0)


def test_a_file_that_cannot_be_read_is_named_and_passed_over(tmp_path):
    bad = StoredCurve("torn.txt", "response", b"nothing here")
    good = StoredCurve("thd.txt", "distortion", write_distortion(tmp_path / "d.txt").read_bytes())
    with Ledger.create(tmp_path / "radio", NAMED) as ledger:
        ledger.add({"wall": 0.5})
        ledger.measure(1, session="may", curves=[bad, good], values={"upper_limit": 9000.0})
        told = []
        found = read_curves(ledger, progress=lambda share, text: told.append((share, text)))
    assert [one.name for one in found.curves] == ["thd"]
    assert found.notes[0].startswith("Cone 1, torn.txt: not used (")
    assert told[-1] == (1.0, "reading the curves of cone 1")


def test_what_the_gate_does_not_carry_is_cut_off_and_harmonics_give_thd():
    x = np.geomspace(50, 5000, 40)
    lines = curve_lines({"response": Response(x, np.full(40, 80.0), floor_hz=200.0)})
    assert lines["response"][0][0] >= 200.0
    lines = curve_lines({"d": Distortion(x, harmonics={2: np.full(40, 3.0), 3: np.full(40, 4.0)})})
    assert lines["thd"][1] == pytest.approx(5.0)
    assert set(lines) == {"thd", "hd2", "hd3"}
