"""Whether a changed drive is noticed, and honest differences are not."""

from __future__ import annotations

import math

import numpy as np
import pytest
import soundfile

from experiments.acoustics.options import Sweep
from experiments.acoustics.stimulus import generate
from experiments.drive import DRIVE_DIFFERS, drive_cautions
from experiments.ledger import Ledger
from experiments.measuring import measure_files

PLAN = """
name = "t"
[variables.wall]
kind = "continuous"
low = 0.2
high = 1.0
step = 0.1
[metrics.level]
from = "response"
band = [200, 2000]
goal = "maximise"
poor = 70
good = 90
"""
RIG = '[rig.files.sweep]\nsweep = "50:20000:1"\nloopback = 2\n'


def write(path, level):
    f = np.geomspace(50, 10000, 100)
    lines = [f"{a:.3f}\t{level:.3f}" for a in f]
    path.write_text("\n".join(["Hz\tdB", *lines]), encoding="utf-8")
    return path


@pytest.fixture
def ledger(tmp_path):
    with Ledger.create(tmp_path / "x", PLAN + RIG, who="tester") as made:
        yield made


def heard(ledger, file, session, cone=None):
    """Measure one more cone; give what is said about its drive."""
    cone = cone or ledger.add({"wall": 0.5})
    measured = measure_files(ledger.plan, [file])
    cautions = drive_cautions(ledger, cone, session, measured)
    ledger.measure(
        cone, session=session, curves=measured.curves, values=measured.values, warnings=cautions
    )
    return cautions


def test_a_level_far_outside_the_sessions_is_told(ledger, tmp_path):
    for level in (84.0, 84.8, 85.0, 85.4, 86.0):
        assert heard(ledger, write(tmp_path / "r.txt", level), "june") == []
    (caution,) = heard(ledger, write(tmp_path / "r.txt", 79.0), "june")
    assert caution.code == DRIVE_DIFFERS
    # Median 85.0; median deviation 0.4, times 1.4826.
    assert "6.0 dB below the median of the session's 5 other cones" in caution.text
    assert "spread by 0.6 dB" in caution.text
    assert [one.code for one in ledger.measurements()[-1].warnings] == [DRIVE_DIFFERS]


@pytest.mark.parametrize("level", [82.2, 87.8])
def test_a_cone_that_is_merely_better_is_not_accused(ledger, tmp_path, level):
    for other in (84.9, 85.0, 85.1, 85.0):
        heard(ledger, write(tmp_path / "r.txt", other), "june")
    assert heard(ledger, write(tmp_path / "r.txt", level), "june") == []


def test_a_wide_spread_excuses_more(ledger, tmp_path):
    for other in (78.0, 81.0, 85.0, 88.0, 92.0):
        heard(ledger, write(tmp_path / "r.txt", other), "june")
    assert heard(ledger, write(tmp_path / "r.txt", 76.0), "june") == []


def test_few_cones_another_session_or_the_same_cone_say_nothing(ledger, tmp_path):
    for _ in range(3):
        heard(ledger, write(tmp_path / "r.txt", 85.0), "june")
    low = write(tmp_path / "low.txt", 70.0)
    assert heard(ledger, low, "june") == []
    assert heard(ledger, low, "july") == []
    for level in (84.8, 84.9, 85.1, 85.2):
        assert heard(ledger, write(tmp_path / "r.txt", level), "august", cone=1) == []
    assert heard(ledger, low, "august", cone=1) == []


def record(path, drive_db, mark=0.02):
    """A flat cone, and the stimulus on the second channel; both follow the drive."""
    x = 10 ** (drive_db / 20) * generate(Sweep(50, 20000, 1, "exponential"), 48000)
    x = np.concatenate((np.zeros(2400), x, np.zeros(24000)))
    soundfile.write(path, np.stack([0.5 * x + mark * x**2, 0.3 * x], axis=1), 48000, "FLOAT")
    return path


def test_another_drive_on_the_loopback_channel_is_told(ledger, tmp_path):
    """One recording before it is enough: no cone can change the loopback."""
    assert heard(ledger, record(tmp_path / "a.wav", 0.0), "june") == []
    assert heard(ledger, record(tmp_path / "b.wav", 0.4), "june") == []
    (caution,) = heard(ledger, record(tmp_path / "c.wav", -6.0), "june")
    assert caution.code == DRIVE_DIFFERS
    # The median of 0.0 and 0.4 dB.
    assert "6.2 dB below that of the session's other recordings (2 compared)" in caution.text
    assert heard(ledger, record(tmp_path / "d.wav", -6.0), "july") == []
    assert math.isfinite(ledger.measurements()[-1].values["level"])
