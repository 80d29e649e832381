"""The invented files, read back by libraries that know nothing of us."""

from __future__ import annotations

import io

import numpy as np
import pandas as pd
import pytest
import soundfile

from demo_trials import rig, writers
from demo_trials.history import CONES
from demo_trials.physics import build


@pytest.fixture(scope="module")
def traces() -> rig.Traces:
    return rig.clean(build(CONES[0].settings))


def test_tabs_read_back(traces: rig.Traces) -> None:
    files = writers.tabs(traces, "a title")
    assert set(files) == {"response.txt", "distortion.txt"}
    response = np.genfromtxt(io.BytesIO(files["response.txt"]), comments="*")
    np.testing.assert_allclose(response[:, 0], rig.RESPONSE_GRID, atol=0.0051)
    np.testing.assert_allclose(response[:, 1], traces.level, atol=0.0051)
    np.testing.assert_allclose(response[:, 2], traces.phase, atol=0.051)
    table = pd.read_csv(io.BytesIO(files["distortion.txt"]), sep="\t", comment="*")
    assert list(table) == ["Hz", "THD %", "HD2 %", "HD3 %", "HD4 %", "HD5 %"]
    np.testing.assert_allclose(table.iloc[:, 2:].to_numpy().T, traces.percent, atol=0.00051)
    total = np.sqrt(np.nansum(traces.percent**2, axis=0))
    np.testing.assert_allclose(table["THD %"], total, atol=0.00051)
    assert table["HD5 %"].isna().sum() == np.count_nonzero(rig.DISTORTION_GRID > 4000.0)


@pytest.mark.parametrize("encoding", ["latin-1", "utf-8-sig"])
def test_semicolons_read_back(traces: rig.Traces, encoding: str) -> None:
    files = writers.semicolons(traces, "a title", encoding)
    assert set(files) == {"response.csv", "distortion.csv"}

    def table(name: str) -> pd.DataFrame:
        return pd.read_csv(
            io.BytesIO(files[name]), sep=";", decimal=",", comment="#", encoding=encoding,
            na_values=["---"],
        )  # fmt: skip

    response = table("response.csv")
    np.testing.assert_allclose(
        response["frequency (kHz)"] * 1000.0, rig.RESPONSE_GRID, atol=0.0051
    )
    np.testing.assert_allclose(response["level (dB)"], traces.level, atol=0.0051)
    np.testing.assert_allclose(response["phase (°)"], traces.phase, atol=0.051)
    distortion = table("distortion.csv")
    np.testing.assert_allclose(distortion["fundamental (dB)"], traces.fundamental, atol=0.0051)
    # -40 dB is 1 %.
    percent = 100.0 * 10.0 ** (distortion.iloc[:, 2:].to_numpy().T / 20.0)
    np.testing.assert_allclose(percent, traces.percent, rtol=0.0006)


def test_first_lines_say_invented(traces: rig.Traces) -> None:
    files = writers.tabs(traces, "t") | writers.semicolons(traces, "t", "utf-8-sig")
    for content in files.values():
        first = content.decode("utf-8-sig").splitlines()[0]
        assert first[0] in "*#"
        assert "invented" in first


def test_wav_reads_back_to_half_a_step(traces: rig.Traces) -> None:
    content = writers.wav(traces.samples)
    info = soundfile.info(io.BytesIO(content))
    assert (info.samplerate, info.channels, info.subtype) == (48000, 1, "PCM_24")
    samples, _ = soundfile.read(io.BytesIO(content), dtype="float64")
    np.testing.assert_allclose(samples, traces.samples, rtol=0, atol=0.5001 * 2.0**-23)
    assert 0.05 < np.max(np.abs(samples)) < 0.9


def test_wav_stops_at_full_scale() -> None:
    samples, _ = soundfile.read(io.BytesIO(writers.wav(np.array([2.0, -2.0, 0.5]))))
    assert samples.tolist() == [1.0 - 2.0**-23, -1.0, 0.5]
