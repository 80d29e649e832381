"""Verb: sweep."""

from __future__ import annotations

import math
import tomllib

import numpy as np
import pytest
import soundfile


def test_what_is_written_can_be_listened_to(run, tmp_path):
    """The excitation itself, recorded by a wire, has a gain of 1 at every frequency."""
    file = tmp_path / "play.wav"
    told = run("sweep", file, "--seconds", 2, "--level", "-20", "--loopback")
    assert told.status == 0
    assert "hearing" in told.out
    assert "Mains" in told.out
    samples, rate = soundfile.read(file)
    assert samples.shape == (round(3.5 * rate), 2)
    assert np.max(np.abs(samples)) == pytest.approx(0.1, rel=1e-3)
    heard = run("listen", file, "--excitation", file, "--band", "40:18000", "--json")
    assert heard.status == 0
    (entry,) = heard.json["files"]
    assert entry["kind"] == "sweep"
    assert entry["metrics"]["level_db"]["value"] == pytest.approx(0.0, abs=0.01)
    assert entry["metrics"]["deviation_db"]["value"] < 0.05


def test_the_sidecar_states_what_was_asked_for(run, tmp_path):
    file = tmp_path / "play.wav"
    told = run(
        "sweep", file, "--from", "50", "--to", "8000", "--seconds", "1,5", "--rate", 44100,
        "--level", "-6", "--fade", "0.1:0.02", "--silence", "0,2:0.3", "--synchronised", "--json",
    )  # fmt: skip
    assert told.status == 0
    stated = tomllib.loads((tmp_path / "play.sweep.toml").read_text(encoding="utf-8"))["sweep"]
    length = round(50 * 1.5 / math.log(160)) / 50  # Novak's rule
    assert told.json["seconds"] == pytest.approx(length * math.log(160))
    assert told.json["cautions"]
    del stated["sha256"]
    assert stated.pop("amplitude") == pytest.approx(10 ** (-6 / 20))
    assert stated == {
        "file": "play.wav", "start_hz": 50, "stop_hz": 8000, "seconds": 1.5, "fade_in": 0.1,
        "fade_out": 0.02, "law": "synchronised", "rate": 44100, "silence_before": 0.2,
        "silence_after": 0.3, "channels": 1,
    }  # fmt: skip
    assert soundfile.info(file).samplerate == 44100


def test_only_files_of_our_making_are_overwritten(run, tmp_path):
    file = tmp_path / "song.wav"
    file.write_bytes(b"somebody's song")
    told = run("sweep", file, "--seconds", 1)
    assert told.status == 2
    assert file.read_bytes() == b"somebody's song"
    assert not (tmp_path / "song.sweep.toml").exists()
    assert run("sweep", file, "--seconds", 1, "--force").status == 0
    assert run("sweep", file, "--seconds", 1, "--level", "-20").status == 0
    edited = tmp_path / "song.sweep.toml"
    edited.write_text(edited.read_text(encoding="utf-8") + "# mine\n", encoding="utf-8")
    assert run("sweep", file, "--seconds", 1).status == 2
    (tmp_path / "other.sweep.toml").write_text("mine = 1\n", encoding="utf-8")
    assert run("sweep", tmp_path / "other.wav", "--seconds", 1).status == 2
    assert not (tmp_path / "other.wav").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--to", 24000), "less than half of 48000"),
        (("--from", 0), "start_hz"),
        (("--from", 500, "--to", 400), "a start below the stop"),
        (("--seconds", 0.01), "more low periods"),
        (("--seconds", 1e9), "samples"),
        (("--level", 1), "0 dBFS or less"),
        (("--fade", "0.1"), "--fade"),
        (("--fade", "5:5"), "quarter"),
        (("--silence", "a:b"), "--silence"),
        (("--silence", "-1:0"), "silence"),
    ],
)
def test_what_cannot_be_played_is_refused(run, tmp_path, words, said):
    told = run("sweep", tmp_path / "play.wav", *words)
    assert told.status == 2
    assert said in told.err
    assert not list(tmp_path.iterdir())


def test_a_name_that_is_no_wav_is_refused(run, tmp_path):
    assert run("sweep", tmp_path / "play.mp3").status == 2


def test_settings_and_file_of_an_excitation_exclude_each_other(run, tmp_path):
    told = run("listen", "a.wav", "--sweep", "20:20000:3", "--excitation", "b.wav")
    assert told.status == 2
    assert "one of the two" in told.err
