"""What a report shows comes from the ledger: the latest curves, the cones that wait."""

from __future__ import annotations

import io
import shutil
import wave
from pathlib import Path

import numpy as np
import pytest

from experiments.ledger import Ledger
from experiments.records import StoredCurve
from optimiser import fit
from optimiser.gathering import coming_cones, gather_curves, gather_material

PLAN = """
name = "shelf speaker"

[variables.wall]
kind = "continuous"
unit = "mm"
low = 0.3
high = 1.2
step = 0.1

[variables.process]
kind = "choice"
levels = ["resin", "filament"]

[metrics.upper_limit]
from = "response"
unit = "kHz"
goal = "maximise"

[effort]
minutes = "100 * wall"
"""


def response(level: float) -> bytes:
    lines = [f"{f:.1f}\t{level:.2f}" for f in np.geomspace(100, 10000, 60)]
    return "\n".join(["Hz\tdB", *lines]).encode()


def impulse(rate: int = 48000) -> bytes:
    """A decaying 1 kHz mode as 16-bit WAV."""
    time = np.arange(4800) / rate
    samples = 20000 * np.exp(-time / 2e-3) * np.sin(2 * np.pi * 1000 * time)
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes(samples.astype("<i2").tobytes())
    return out.getvalue()


@pytest.fixture(scope="module")
def speaker(tmp_path_factory):
    folder = tmp_path_factory.mktemp("gathered") / "speaker"
    with Ledger.create(folder, PLAN, who="tester") as opened:
        for number in range(1, 5):
            opened.add({"wall": 0.2 + 0.2 * number, "process": "resin"})
            curve = StoredCurve("r.txt", "response", response(70 + number))
            values = {"upper_limit": 5.0 + number}
            opened.measure(number, session="may", curves=[curve], values=values)
        opened.measure(
            2,
            session="june",
            curves=[
                StoredCurve("late.txt", "response", response(50)),
                StoredCurve("i.wav", "impulse", impulse()),
            ],
            values={"upper_limit": 7.1},
        )
    return folder


@pytest.fixture
def ledger(speaker, tmp_path: Path):
    """A copy that a test may change."""
    with Ledger.open(shutil.copytree(speaker, tmp_path / "speaker"), who="tester") as opened:
        yield opened


@pytest.fixture(scope="module")
def gathered(speaker):
    """The material, and the shares that were told meanwhile."""
    told: list[float] = []
    with Ledger.open(speaker) as ledger:
        return gather_material(
            ledger, seed=3, made="today", progress=lambda share, _: told.append(share)
        ), told


def test_each_cone_shows_its_latest_curve(ledger):
    curves = gather_curves(ledger, best=4)
    assert [line.cone for line in curves.response] == [1, 2, 3, 4]
    assert [float(line.y[0]) for line in curves.response] == [71, 50, 73, 74]
    assert curves.notes == []
    # Cone 4 has no impulse response, so that of the only cone that has one is drawn.
    assert curves.impulse is not None
    assert curves.impulse.cone == 2
    assert curves.envelope is not None
    assert curves.envelope.shape == curves.impulse.x.shape
    # A 1 kHz mode peaks a quarter period after its start, in ms.
    assert curves.impulse.x[np.argmax(curves.impulse.y)] == pytest.approx(0.25, abs=0.03)


def test_a_cone_set_aside_is_not_drawn(ledger):
    ledger.set_aside(3, why="dented")
    assert [line.cone for line in gather_curves(ledger, best=None).response] == [1, 2, 4]


def test_a_curve_that_cannot_be_read_is_told_and_the_rest_drawn(ledger):
    ledger.add({"wall": 0.5, "process": "resin"})
    broken = StoredCurve("b.txt", "response", b"no numbers here")
    ledger.measure(5, session="june", curves=[broken], values={})
    curves = gather_curves(ledger, best=None)
    assert [line.cone for line in curves.response] == [1, 2, 3, 4]
    assert len(curves.notes) == 1
    assert "Cone 5, b.txt" in curves.notes[0]


def test_without_waiting_cones_one_is_proposed_but_not_recorded(ledger):
    model = fit(ledger.plan, ledger.table())
    (coming,) = coming_cones(ledger, model, seed=0)
    assert (coming.cone, coming.status) == (None, "proposed")
    assert len(ledger.cones()) == 4


def test_waiting_cones_come_with_reason_effort_and_expectation(ledger):
    recipe = {"wall": 0.7, "process": "filament"}
    ledger.plan_cones([recipe], reason=["It is the other process."])
    ledger.add({"wall": 0.5, "process": "resin"})
    model = fit(ledger.plan, ledger.table())
    first, second = coming_cones(ledger, model, seed=0)
    assert (first.cone, first.status, first.pick.settings) == (5, "planned", recipe)
    assert first.pick.why == "It is the other process."
    assert first.pick.minutes == pytest.approx(70)
    assert first.pick.expected["upper_limit"].known
    assert (second.cone, second.status) == (6, "printed")
    assert "not proposed" in second.pick.why


def test_a_planned_cone_counts_the_set_up_after_the_one_before(tmp_path):
    plan = PLAN.replace(
        'levels = ["resin", "filament"]',
        """levels = ["resin", "filament"]
setup_minutes = 25""",
    )
    with Ledger.create(tmp_path / "speaker", plan, who="tester") as ledger:
        ledger.add({"wall": 0.5, "process": "resin"})
        ledger.plan_cones([{"wall": 0.7, "process": "filament"}])
        ledger.plan_cones([{"wall": 0.8, "process": "filament"}])
        printed, other, same = coming_cones(ledger, fit(ledger.plan, ledger.table()), seed=0)
    assert (printed.pick.minutes, printed.pick.set_ups) == (pytest.approx(50), [])
    assert (other.pick.minutes, other.pick.set_up) == (pytest.approx(95), 25)
    assert other.pick.set_ups == ["process"]
    assert (same.pick.minutes, same.pick.set_up) == (pytest.approx(80), 0)


def test_everything_at_once(gathered):
    material, told = gathered
    assert material.leader is not None
    assert material.leader.cone == "4"
    assert material.scores.tolist() == [6.0, 7.0, 7.1, 8.0, 9.0]
    assert len(material.data_digest) == 64
    assert material.knobs.metric == "score"
    assert told == sorted(told)
    assert all(0 <= share <= 1 for share in told)


def test_the_same_data_and_seed_give_the_same_material(ledger, gathered):
    first, second = gathered[0], gather_material(ledger, seed=3)
    assert first.outlook.gain == second.outlook.gain
    # NaN is not equal to itself, its text is.
    assert repr(first.coming) == repr(second.coming)
