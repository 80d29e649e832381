"""Listening without saving: any files, any options, nothing recorded."""

from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile

from experiments.acoustics import Sweep
from experiments.acoustics.excitation import Excitation, to_wav
from experiments.sweeps import design_sweep, sweep_files
from tests.bench_page import response_text
from tests.optimiser.page.test_hostile import SCRIPT, harmless

pytestmark = pytest.mark.usefixtures("still")

RAW = ("r.txt", response_text(6000), "text/plain")


def tone(level=-20.0):
    """A calibrator's second and a half at 1 kHz."""
    time = np.arange(72000) / 48000
    out = io.BytesIO()
    samples = 10 ** (level / 20) * np.sin(2 * np.pi * 1000 * time)
    soundfile.write(out, samples, 48000, "PCM_24", format="WAV")
    return out.getvalue()


def sent(browser, *files, status=303, calibrator=None, **fields):
    given = [("files", each) for each in files]
    given += [("calibrator", ("cal.wav", calibrator, "audio/wav"))] if calibrator else []
    answer = browser.send("/files/listen", files=given, status=status, **fields)
    return answer if status != 303 else answer.headers["location"]


def looked(browser, path):
    browser.get(path)
    for upload in browser.desk.uploads._waiting.values():
        upload.content.job.run()
    return browser.get(path)


def test_metrics_curves_and_notes_without_recording_anything(browser):
    page = looked(browser, sent(browser, RAW, ("second.txt", response_text(3000), "text/plain")))
    # Second order, 10 dB down at fc 9^(1/4).
    assert "10392\xa0Hz" in page.text
    assert "second.txt (response)" in page.text
    assert "figure" in {tag for tag, _ in page.tags}
    with browser.ledger as ledger:
        assert ledger.measurements() == []


def test_options_are_heard_and_can_be_changed(browser):
    path = sent(browser, RAW, band_low="200", band_high="5000", drop_db="6")
    six = looked(browser, path).text
    browser.send(path, do="hear", drop_db="10,0")
    ten = looked(browser, path).text
    assert six != ten
    data = browser.client.get(f"{path}?data=heard")
    assert data.headers["content-type"].startswith("text/csv")
    assert "forgotten" in browser.told(path, do="drop").text
    assert "nothing that waits here" in browser.get(path, status=422).text


def test_a_sweep_with_its_sidecar_and_a_calibrator(browser):
    excitation = design_sweep(seconds=1.0, level_dbfs=-20.0)
    files = [(name, content, "audio/wav")
             for name, content in sweep_files(excitation, "play.wav").items()]  # fmt: skip
    page = looked(browser, sent(browser, *files, calibrator=tone(), calibrator_db="114"))
    assert "play.wav (sweep)" in page.text
    assert "94 dB SPL would read -40.00 dBFS" in page.text
    # -20 dBFS re -20 dBFS at 114 dB: the sine of the sweep is as loud as the calibrator's.
    assert "114\xa0dB" in page.text


FAULTS = [
    ({"band_low": "200"}, "band_high"),
    ({"band_low": "5000", "band_high": "200"}, "band_low"),
    ({"smooth": "1000"}, "smooth"),
    ({"drop_db": "little"}, "drop_db"),
    ({"channel": "1,5"}, "channel"),
    ({"channel": "0"}, "channel"),
    ({"calibrator_db": "loud"}, "calibrator_db"),
    ({"sweep_from": "500", "sweep_to": "20", "sweep_seconds": "1"}, "sweep_from"),
    ({"sweep_from": "20", "sweep_to": "500", "sweep_seconds": "-1"}, "sweep_seconds"),
]


def test_a_fault_stands_beside_its_field(browser):
    for fields, wrong in FAULTS:
        answer = sent(browser, RAW, status=200, **fields)
        assert f'id="{wrong}-fault"' in answer.text
        assert "--" not in answer.text.split(f'id="{wrong}-fault">')[1].split("</p>")[0]


def test_hostile_files_are_told_as_text(browser):
    assert 'id="files-fault"' in sent(browser, status=200).text
    names = (f"../../{SCRIPT}.txt", "..", "=1+1.txt")
    files = [(name, b"what is this", "text/plain") for name in names]
    harmless(looked(browser, sent(browser, *files, RAW)))
    silent = sent(browser, RAW, calibrator=b"RIFFnothing", thd_of=SCRIPT, status=200)
    assert "<script>alert" not in silent.text
    page = looked(browser, sent(browser, RAW, calibrator=b"RIFFnothing"))
    assert "cal.wav" in page.text


def test_a_file_that_was_played_fills_in_the_sweep_or_is_told_at_its_field(browser):
    played = to_wav(Excitation(Sweep(50, 12000, 2, "exponential"), 48000))
    for content, words in ((played, 'value="12000"'), (b"RIFF", "excitation.wav")):
        given = [("files", RAW), ("excitation", ("../x.wav", content, "audio/wav"))]
        answer = browser.send("/files/listen", files=given, status=303 if "=" in words else 200)
        if answer.status_code == 303:
            answer = browser.client.get(answer.headers["location"])
        assert words in answer.text
        assert "/coneloop-" not in answer.text
    both = [("files", RAW), ("excitation", ("x.wav", played, "audio/wav"))]
    answer = browser.send("/files/listen", files=both, status=200, sweep_from="50")
    assert "not both" in answer.text
