"""A test tone as files; what `listen` makes of them is tested with the verb `sweep`."""

from __future__ import annotations

import tomllib

import pytest

from experiments.errors import CurveError
from experiments.outputs import is_sealed
from experiments.raw_files import listen_sent
from experiments.sweeps import design_sweep, sweep_files, sweep_words


def test_the_files_are_sealed_and_the_sidecar_is_found_among_what_was_sent():
    excitation = design_sweep(seconds=1.0, level_dbfs=-20.0, synchronised=True)
    files = sweep_files(excitation, "my.play.wav")
    assert list(files) == ["my.play.wav", "my.play.sweep.toml"]
    assert all(map(is_sealed, files.values()))
    stated = tomllib.loads(files["my.play.sweep.toml"].decode())["sweep"]
    assert (stated["law"], stated["fade_in"], stated["fade_out"]) == ("synchronised", 0.05, 0.01)
    assert sweep_words(excitation).startswith("synchronised sweep from 20 to 20000 Hz in ")
    (heard,) = listen_sent(list(files.items()))
    assert heard.kind == "sweep"
    assert heard.notes[-1] == "excitation as my.play.sweep.toml says"
    # Recorded by a wire, its gain is 1; 20 Hz and 20 kHz are its ends.
    assert heard.metrics["level_db"].value == pytest.approx(0.0, abs=0.1)


def test_what_cannot_be_is_refused():
    with pytest.raises(CurveError, match="full scale"):
        design_sweep(level_dbfs=1e9)
    alone = list(sweep_files(design_sweep(seconds=2.0), "play.wav").items())[:1]
    with pytest.raises(CurveError, match=r"send the \.sweep\.toml along"):
        listen_sent(alone)
    with pytest.raises(CurveError, match="no raw file"):
        listen_sent([("a.sweep.toml", b"")])
    with pytest.raises(CurveError) as caught:
        listen_sent([("a.txt", b"what"), ("b.txt", b"is this")])
    assert len({str(one)[:5] for one in caught.value.problems}) == 2
