"""The test tone: cautions first, then one archive that `listen` understands."""

from __future__ import annotations

import io
import zipfile

import pytest

from experiments.raw_files import listen_sent

pytestmark = pytest.mark.usefixtures("still")

ASKED = "start_hz=40&stop_hz=18000&seconds=1,5&level_dbfs=-20"


def test_cautions_stand_before_the_download(browser):
    assert "/files/tone/file" not in browser.get("/files/tone").source
    page = browser.get(f"/files/tone?{ASKED}")
    assert page.source.index("damage hearing") < page.source.index("/files/tone/file?")
    assert "exponential sweep from 40 to 18000 Hz in 1.5 s" in page.text.replace("Ex", "ex")


def test_what_is_downloaded_can_be_listened_to(browser):
    answer = browser.client.get(f"/files/tone/file?{ASKED}&loopback=yes&fade_in=0,1&fade_out=0.1")
    assert answer.headers["content-type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        files = [(name, archive.read(name)) for name in archive.namelist()]
    assert [name for name, _ in files] == ["sweep-40-18000-Hz.wav", "sweep-40-18000-Hz.sweep.toml"]
    (heard,) = listen_sent(files)
    # Its own recording by a wire: a gain of 1 everywhere.
    assert heard.kind == "sweep"


FAULTS = [
    ("start_hz=0", "start_hz"),
    ("start_hz=900&stop_hz=90", "start_hz"),
    ("start_hz=20&stop_hz=30000", "stop_hz"),
    ("start_hz=20&seconds=-1", "seconds"),
    ("start_hz=20&seconds=1e9", "seconds"),
    ("start_hz=20&seconds=300", "seconds"),
    ("start_hz=20&level_dbfs=1", "level_dbfs"),
    ("start_hz=20&level_dbfs=1e9", "level_dbfs"),
    ("start_hz=20&level_dbfs=-1e9", "level_dbfs"),
    ("start_hz=20&rate=10", "rate"),
    ("start_hz=20&rate=44100,5", "rate"),
    ("start_hz=20&before=900", "before"),
    ("start_hz=20&fade_in=1", "fade_out"),
    ("start_hz=20&fade_in=9&fade_out=0", "fade_in"),
    ("start_hz=<b>", "start_hz"),
]


def test_a_fault_stands_beside_its_field_and_nothing_is_made(browser):
    for asked, wrong in FAULTS:
        for path in ("/files/tone", "/files/tone/file"):
            page = browser.get(f"{path}?{asked}", status=200)
            assert f"{wrong}-fault" in page.ids
            assert "/files/tone/file?" not in page.source
