from __future__ import annotations

import numpy as np
import pytest

from experiments.acoustics import Options
from experiments.acoustics.reading import read
from experiments.errors import CurveError

NONE = Options()
ROWS = "\n".join(f"{f};{80 + f % 3}" for f in (100, 300, 900, 2700, 8100))
PERCENTS = "\n".join(f"{f};{f % 7}.5" for f in (100, 300, 900, 2700, 8100))


def kind_of(text, name="a.txt"):
    return read(text.encode(), name, None, NONE).kind


@pytest.mark.parametrize(
    ("head", "kind"),
    [("Hz;dB", "response"), ("Frequency;SPL", "response"), ("Hz;THD", "distortion"),
     ("Hz;%", "distortion"), ("Hz;HD2 (%)", "distortion")],
)  # fmt: skip
def test_kinds_by_heading(head, kind):
    rows = PERCENTS if head == "Hz;THD" else ROWS
    assert kind_of(f"{head}\n{rows}\n") == kind


@pytest.mark.parametrize(
    ("name", "kind"),
    [("cone.frd", "response"), ("cone_thd.txt", "distortion"), ("spl cone 3.csv", "response")],
)
def test_kinds_by_name(name, kind):
    assert kind_of(PERCENTS if kind == "distortion" else ROWS, name) == kind


def test_ambiguous_files_say_how_to_say_it():
    with pytest.raises(CurveError, match="--kind"):
        kind_of(PERCENTS)


@pytest.mark.parametrize(("rows", "kind"), [(ROWS, "response"), (PERCENTS, "distortion")])
def test_a_stated_kind_settles_it(rows, kind):
    assert read(rows.encode(), "a.txt", kind, NONE).kind == kind


@pytest.mark.parametrize("numbers", [False, True])
def test_a_stated_rate_makes_bare_samples_an_impulse_response(known, numbers):
    samples = [f"{value:.7f}" for value in known.mode(800.0, 6.0, seconds=0.1)]
    rows = [f"{i}\t{value}" for i, value in enumerate(samples)] if numbers else samples
    raw = "\n".join(rows).encode()
    found = read(raw, "a.txt", None, Options(rate=44100))
    assert (found.kind, found.curve.rate) == ("impulse", 44100)
    with pytest.raises(CurveError, match="--rate 48000"):
        read(raw, "a.txt", None, NONE)
    found = read(b"# sampling rate: 44100 Hz\n" + raw, "a.txt", None, NONE)
    assert (found.kind, found.curve.rate) == ("impulse", 44100)


def test_a_rate_stated_for_a_wav_file_is_noted(known):
    found = read(known.wav(known.mode(800.0, 6.0)), "a.wav", None, Options(rate=44100))
    assert found.curve.rate == 48000
    assert any("44100 Hz, is not used" in note for note in found.notes)


def test_an_impulse_in_a_wav_file(known):
    found = read(known.wav(known.mode(800.0, 6.0)), "a.wav", None, NONE)
    assert found.kind == "impulse"
    assert any("taken as impulse" in note for note in found.notes)


def test_a_steady_signal_is_not_an_impulse(known):
    raw = known.wav(np.sin(np.arange(48000) * 0.05))
    with pytest.raises(CurveError, match="--sweep"):
        read(raw, "a.wav", None, NONE)
    assert read(raw, "a.wav", "impulse", NONE).kind == "impulse"


def test_a_sweep_in_a_long_silence_is_not_an_impulse(known):
    from experiments.acoustics.options import Sweep
    from experiments.acoustics.stimulus import generate

    x = generate(Sweep(50, 10000, 1), 48000)
    raw = known.wav(np.concatenate((np.zeros(100_000), x, np.zeros(100_000))))
    with pytest.raises(CurveError, match="--sweep"):
        read(raw, "a.wav", None, NONE)


@pytest.mark.parametrize(
    ("text", "kind"),
    [("Time (s);Amplitude\n0;1\n1;2\n2;3\n", "response"), (f"Hz;dB\n{ROWS}\n", "impulse")],
)
def test_headings_that_contradict_the_stated_kind(text, kind):
    with pytest.raises(CurveError, match="headings"):
        read(text.encode(), "a.txt", kind, NONE)


def test_a_sweep_needs_its_settings(known):
    with pytest.raises(CurveError, match="--sweep"):
        read(known.wav(np.sin(np.arange(48000) * 0.05)), "a.wav", "sweep", NONE)


def test_a_wav_file_is_no_response(known):
    with pytest.raises(CurveError, match="text file"):
        read(known.wav(known.mode(800.0, 6.0)), "a.wav", "response", NONE)


def test_text_that_is_called_wav():
    with pytest.raises(CurveError, match="RIFF"):
        read(ROWS.encode(), "a.wav", None, NONE)


@pytest.mark.parametrize(
    "mark", [b"fLaC", b"OggS", b"ID3", b"FORM", b"\x1f\x8b", b"%PDF", b"SQLite format 3"]
)
def test_foreign_files_are_named(mark):
    with pytest.raises(CurveError) as caught:
        read(mark + b"\0" * 200, "a.bin", None, NONE)
    assert caught.value.problems[0].remedy


def test_quality_of_the_samples_is_looked_at(known):
    h = np.clip(3 * known.mode(200.0, 9.0), -1, 1)
    codes = [item.code for item in read(known.wav(h), "a.wav", "impulse", NONE).warnings]
    assert codes == ["clipping"]
