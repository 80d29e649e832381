"""Measuring: seen before it is saved, refused without losing anything."""

from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile

from optimiser.page import uploads as module
from tests.bench_page import response_text

pytestmark = pytest.mark.usefixtures("still")

RAW = ("cone 3 <b>.txt", response_text(6000), "text/plain")


def sent(browser, *files, status=303, **fields):
    given = [("files", each) for each in files or [RAW]]
    fields["session"] = "monday"
    answer = browser.send("/cones/3/measure", files=given, status=status, **fields)
    return answer.headers.get("location", ""), answer


def looked(browser, path):
    """The page once the files were heard."""
    browser.get(path)
    for upload in browser.desk.uploads._waiting.values():
        upload.content.job.run()
    return browser.get(path)


def test_metrics_and_warnings_show_before_anything_is_saved(browser):
    path, _ = sent(browser)
    page = looked(browser, path)
    assert "not saved yet" in page.text
    assert "cone 3 <b>.txt" in page.text
    # Second order, fc 6 kHz: 10 dB down at fc 9^(1/4).
    assert "10.39\xa0kHz" in page.text
    assert "Mains voltage" not in page.text
    assert "figure" in {tag for tag, _ in page.tags}
    with browser.ledger as ledger:
        assert ledger.measurements() == []


def test_it_is_saved_with_everything_that_was_typed(browser):
    path, _ = sent(browser, **{"value-loss": "1,5", "age_days": "2,5", "temperature_c": "21"})
    looked(browser, path)
    fields = {"session": "monday", "value-loss": "1,5", "age_days": "2,5", "temperature_c": "21"}
    page = browser.told(path, do="save", note="quiet", **fields)
    assert "Cone 3 measured in session monday." in page.text
    with browser.ledger as ledger:
        (one,) = ledger.measurements(3)
        (curve,) = ledger.curves(3)
    assert (one.age_days, one.temperature_c, one.note) == (2.5, 21.0, "quiet")
    assert one.values["loss"] == 1.5
    assert one.values["upper_limit"] == pytest.approx(10.39, rel=1e-3)
    assert (curve.name, curve.content) == ("cone 3 <b>.txt", RAW[1])
    assert browser.desk.uploads._waiting == {}
    assert "nothing that waits here" in browser.get(path, status=422).text


def test_a_changed_kind_or_value_is_heard_again_before_it_is_saved(browser):
    path, _ = sent(browser)
    looked(browser, path)
    answer = browser.send(path, do="save", session="monday", **{"kind-0": "distortion"})
    assert answer.headers["location"] == path
    page = looked(browser, path)
    assert "10.39" not in page.text
    with browser.ledger as ledger:
        assert ledger.measurements() == []


def test_files_that_cannot_be_read_are_kept_with_the_reason(browser):
    path, _ = sent(browser, ("what.txt", b"what is this", "text/plain"))
    page = looked(browser, path)
    assert "what.txt:1" in page.text
    assert "monday" in page.source
    browser.send(path, do="save", session="monday")
    with browser.ledger as ledger:
        assert ledger.measurements() == []
    gone = browser.told(path, do="drop")
    assert "Nothing was saved" in gone.text


def test_what_was_typed_wrong_is_told_at_once(browser):
    _, answer = sent(browser, status=200, **{"value-loss": "little", "note": "still here"})
    assert 'id="value-loss-fault"' in answer.text
    assert "still here" in answer.text
    nothing = browser.send("/cones/3/measure", status=200, session="")
    assert 'id="session-fault"' in nothing.text
    assert 'id="files-fault"' in nothing.text


def test_values_alone_are_enough(browser):
    answer = browser.send("/cones/3/measure", session="monday", **{"value-loss": "2"})
    path = answer.headers["location"]
    looked(browser, path)
    browser.told(path, do="save", session="monday", **{"value-loss": "2"})
    with browser.ledger as ledger:
        assert ledger.measurements(3)[0].values["loss"] == 2.0


def test_an_act_that_the_cones_state_forbids_is_refused_with_the_files_kept(browser):
    path, _ = sent(browser)
    looked(browser, path)
    with browser.ledger as ledger:
        ledger.set_aside(3, why="lent out")
    answer = browser.send(path, status=200, do="save", session="monday")
    assert "set aside" in answer.text
    assert browser.desk.uploads._waiting


def test_another_browser_does_not_get_what_waits(browser):
    path, _ = sent(browser)
    browser.client.cookies.clear()
    browser.get(path, status=422)
    assert module.MOST_BYTES < 1_000_000_000


def test_which_cones_wait_and_the_cautions_of_test_tones(browser):
    page = browser.get("/measure")
    assert "Measure cone 3" in page.text
    assert "damage hearing" in page.text
    assert "damage hearing" in browser.get("/cones/3/measure").text


def test_a_calibrators_recording_is_told_and_does_not_count_as_a_file(browser):
    time = np.arange(72000) / 48000
    out = io.BytesIO()
    soundfile.write(out, 0.1 * np.sin(2 * np.pi * 1000 * time), 48000, "PCM_24", format="WAV")
    files = [("files", RAW), ("calibrator", ("cal <b>.wav", out.getvalue(), "audio/wav"))]
    path = browser.send("/cones/3/measure", files=files, session="monday").headers["location"]
    page = looked(browser, path)
    # A sine of a tenth of full scale, at 94 dB if nothing is said.
    assert "94 dB SPL would read -20.00 dBFS" in page.text
    assert "Level of the calibrator in cal <b>.wav" in page.text
    answer = browser.send(path, do="save", session="monday", calibrator_db="114")
    assert answer.headers["location"] == path  # heard again before it is saved
    assert "94 dB SPL would read -40.00 dBFS" in looked(browser, path).text
    browser.send(path, status=200, do="save", session="monday", calibrator_db="loud")
    browser.told(path, do="save", session="monday", calibrator_db="114")
    with browser.ledger as ledger:
        assert [each.name for each in ledger.curves(3)] == [RAW[0]]


def test_a_file_that_the_cone_has_already_is_refused_when_it_is_saved(browser):
    path, _ = sent(browser)
    looked(browser, path)
    browser.told(path, do="save", session="monday")
    path, _ = sent(browser)
    looked(browser, path)
    answer = browser.send(path, do="save", session="tuesday", status=200)
    assert "byte for byte the file that cone 3 has from session monday" in answer.text
    with browser.ledger as ledger:
        assert len(ledger.measurements(3)) == 1
