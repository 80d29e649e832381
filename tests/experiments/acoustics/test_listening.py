from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from experiments.acoustics import Distortion, Impulse, Options, Response, listen
from experiments.acoustics.listening import Value, measure
from experiments.errors import CurveError

CURVE_METRICS = [
    "level_db", "lower_limit_hz", "upper_limit_hz", "deviation_db", "deviation_sd_db",
    "breakup_hz", "breakup_q",
]  # fmt: skip


def test_response_file(known, tmp_path):
    path = tmp_path / "cone 7.txt"
    path.write_text(known.response_text(known.grid, known.cone(known.grid)))
    heard = listen(path, options=Options(band=(200, 3000)))
    assert heard.file == str(path)
    assert list(heard.metrics) == CURVE_METRICS
    f = np.geomspace(20, 20000, 200001)
    line = known.cone(f)
    inside = (f >= 200) & (f <= 3000)
    level = 10 * np.log10(np.mean(10 ** (line[inside] / 10)))
    assert heard.metrics["level_db"].value == pytest.approx(level, abs=0.01)
    spread = (np.max(line[inside]) - np.min(line[inside])) / 2
    assert heard.metrics["deviation_db"].value == pytest.approx(spread, abs=0.02)
    assert heard.metrics["breakup_hz"].value == pytest.approx(5000, rel=0.02)
    assert heard.metrics["breakup_q"].value == pytest.approx(8, rel=0.15)


def test_the_contract_of_json(known):
    raw = known.response_text(known.grid, known.cone(known.grid)).encode()
    heard = listen(raw, name="cone.txt")
    entry = json.loads(json.dumps(heard.to_dict()))
    assert list(entry) == ["file", "kind", "metrics", "warnings", "notes"]
    assert entry["file"] == "cone.txt"
    assert all(set(item) == {"value", "unit"} for item in entry["metrics"].values())
    assert all(set(item) == {"code", "text"} for item in entry["warnings"])
    assert entry["notes"] == heard.notes
    assert any("no band stated: everything measured" in note for note in entry["notes"])


def test_every_missing_value_has_a_warning(known):
    flat = known.response_text(known.grid, np.full(known.grid.size, 80.0)).encode()
    heard = listen(flat)
    missing = [name for name, item in heard.metrics.items() if item.value is None]
    assert missing == ["lower_limit_hz", "upper_limit_hz", "breakup_hz", "breakup_q"]
    assert {item.code for item in heard.warnings} == {"beyond_measured_range", "no_resonance"}


def test_impulse_and_response_of_one_mode(known):
    heard = listen(known.wav(known.mode(1200.0, 18.0), 48000, "PCM_24"), name="a.wav")
    assert list(heard.metrics) == [*CURVE_METRICS, "decay_ms"]
    assert heard.metrics["breakup_hz"].value == pytest.approx(1200, rel=0.01)
    assert heard.metrics["breakup_q"].value == pytest.approx(18, rel=0.02)
    assert heard.metrics["decay_ms"].value == pytest.approx(953.5712 * 18 / 1200, rel=0.03)
    assert any("decay of the band-passed" in note for note in heard.notes)


def test_impulse_under_noise_finds_the_mode_and_not_the_noise(known):
    h = known.mode(1200.0, 9.0, seconds=0.5)
    h = h + 0.003 * np.random.default_rng(0).standard_normal(h.size)
    heard = measure(listen(known.wav(h), kind="impulse").curve)
    assert heard.metrics["breakup_hz"].value == pytest.approx(1200, rel=0.02)
    assert heard.metrics["breakup_q"].value == pytest.approx(9, rel=0.05)


def test_a_clipped_impulse_has_no_decay(known):
    h = np.clip(known.mode(600.0, 12.0), -0.7, 0.7)
    heard = listen(known.wav(h, 48000, "PCM_16"), name="a.wav")
    assert heard.metrics["decay_ms"].value is None
    about = [item for item in heard.warnings if item.text.startswith("decay:")]
    assert [item.code for item in about] == ["clipping"]
    assert "clipped" in about[0].text
    assert measure(Impulse(h, 48000.0)).metrics["decay_ms"].value is None
    clean = listen(known.wav(0.9 * known.mode(600.0, 12.0), 48000, "PCM_16"), name="a.wav")
    assert clean.metrics["decay_ms"].value is not None


def test_an_impulse_of_few_printed_digits_is_not_clipped(known):
    """A slow crest rounded to thousandths keeps several equal samples."""
    h = np.round(known.mode(150.0, 6.0), 3)
    assert measure(Impulse(h, 48000.0)).metrics["decay_ms"].value is not None


def test_every_kind_says_over_which_frequencies_it_looked(known):
    f = np.geomspace(100, 5000, 60)
    thd = Distortion(f, 1 + np.exp(-((np.log(f / 900) / 0.3) ** 2)))
    notes = " ".join(measure(thd).notes)
    assert "THD peak sought over 100 Hz to 5 kHz (no band stated: everything measured)" in notes
    notes = " ".join(measure(thd, Options(band=(200, 2000))).notes)
    assert "THD peak sought over 200 Hz to 2 kHz (the band stated)" in notes


def test_notes_say_which_definitions_were_used(known):
    raw = known.response_text(known.grid, known.cone(known.grid)).encode()
    notes = " ".join(listen(raw, options=Options(smooth=6, drop_db=6)).notes)
    for words in ("no band stated", "1/6 octave", "6 dB below", "decimal point", "prominence"):
        assert words in notes


def test_a_band_that_is_not_covered_is_not_answered(known):
    raw = known.response_text(known.grid, known.cone(known.grid)).encode()
    heard = listen(raw, options=Options(band=(5, 3000)))
    assert heard.metrics["level_db"].value is None
    assert heard.metrics["deviation_db"].value is None
    assert heard.metrics["upper_limit_hz"].value is not None
    assert "band_not_covered" in [item.code for item in heard.warnings]


def test_the_fundamental_resonance_is_not_break_up(known):
    h = known.second_order(known.grid, 120.0, 2.5, 2)
    h = h * (1 + 1.5 * known.second_order(known.grid, 6000.0, 9.0, 1) / 4.5)
    curve = Response(known.grid, 80 + 20 * np.log10(np.abs(h)))
    assert measure(curve).metrics["breakup_hz"].value == pytest.approx(6000, rel=0.02)
    heard = measure(curve, Options(band=(50, 20000)))
    assert heard.metrics["breakup_hz"].value == pytest.approx(6000, rel=0.02)
    assert any("fundamental resonance" in note for note in heard.notes)


def test_peaks_below_the_band_are_passed_over_and_those_above_are_named(known):
    y = 80 + sum(8 * np.exp(-((np.log(known.grid / f) / 0.06) ** 2)) for f in (600.0, 4000.0))
    low = measure(Response(known.grid, y), Options(band=(100, 2000)))
    assert low.metrics["breakup_hz"].value == pytest.approx(600, rel=0.02)
    high = measure(Response(known.grid, y), Options(band=(1000, 3000)))
    assert high.metrics["breakup_hz"].value == pytest.approx(4000, rel=0.02)
    assert "outside_band" in [item.code for item in high.warnings]


def test_missing_data_in_the_middle_are_said(known):
    keep = (known.grid < 1000) | (known.grid > 1600)
    curve = Response(known.grid[keep], known.cone(known.grid)[keep])
    assert "gap" in [item.code for item in measure(curve).warnings]
    outside = measure(curve, Options(band=(2000, 9000)))
    assert "gap" not in [item.code for item in outside.warnings]


def test_a_limit_between_octave_points_has_no_more_digits_than_they_carry(tmp_path):
    """Points 100 % apart tell the place between two of them to about half of that."""
    path = tmp_path / "octaves.txt"
    path.write_text("Hz dB\n125 78\n250 82\n500 82\n1000 81\n2000 83\n4000 80\n8000 60\n")
    found = listen(path)
    limit = found.metrics["upper_limit_hz"]
    assert limit.known_to == pytest.approx(0.5)
    assert limit.rounded == 5000.0
    assert 4000 < limit.value < 8000
    assert found.to_dict()["metrics"]["upper_limit_hz"]["known_to"] == limit.known_to
    assert "known_to" not in found.to_dict()["metrics"]["level_db"]
    assert Value(0.0, "", 0.5).rounded == 0.0
    assert Value(12345.6, "Hz").rounded == 12345.6


def test_a_coarse_grid_is_said():
    f = 1000 * 10 ** (np.arange(-15, 13) / 10)
    curve = Response(f, 80 - 10 * np.log10(1 + (f / 4000) ** 4))
    assert "coarse_grid" in [item.code for item in measure(curve).warnings]


def test_the_same_answers_without_any_file(known):
    level = np.round(known.cone(known.grid), 6)
    grid = np.round(known.grid, 6)
    of_file = listen(known.response_text(grid, level).encode())
    of_array = measure(Response(grid, level))
    assert of_file.metrics == of_array.metrics


def test_paths_that_cannot_be_read(tmp_path):
    with pytest.raises(CurveError, match="no such file"):
        listen(tmp_path / "missing.txt")
    with pytest.raises(CurveError, match="a folder"):
        listen(tmp_path)
    with pytest.raises(CurveError, match="--kind"):
        listen(b"1;2", kind="noise")


def test_huge_text_files_are_refused_without_reading(tmp_path):
    path = Path(tmp_path / "huge.txt")
    with path.open("wb") as file:
        file.truncate(2_000_000_000)
    with pytest.raises(CurveError, match="MB"):
        listen(path)
