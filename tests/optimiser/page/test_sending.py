"""A file that is streamed is gone afterwards, however that ended."""

from __future__ import annotations

import asyncio
import io
import zipfile
from pathlib import Path

import pytest

from optimiser.page.sending import attached, made, zipped

SCOPE = {"type": "http", "method": "GET", "headers": [], "asgi": {"spec_version": "2.4"}}


async def _nothing():
    return {"type": "http.disconnect"}


def test_it_is_gone_when_it_was_sent_and_when_the_browser_went_away():
    for fails in (False, True):
        places, sent = [], []

        def make(path, places=places):
            path.write_bytes(b"x" * 300_000)
            places.append(path)

        async def send(message, sent=sent, fails=fails):
            sent.append(message)
            if fails and message["type"] == "http.response.body":
                raise OSError("gone")

        response = made("table.csv", make)
        assert places[0].exists()
        try:
            asyncio.run(response(SCOPE, _nothing, send))
        except OSError:
            assert fails
        else:
            assert not fails
            assert sum(len(each.get("body", b"")) for each in sent) == 300_000
        assert not places[0].parent.exists()


def test_it_is_gone_where_it_could_not_be_made():
    places: list[Path] = []

    def make(path):
        places.append(path.parent)
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        made("backup.db", make)
    assert not places[0].exists()


def test_a_zip_holds_what_it_was_given_and_is_attached():
    files = {"a.wav": b"1", "pictures/b.png": b"2"}
    response = attached("both.zip", zipped(files))
    assert response.headers["content-disposition"] == 'attachment; filename="both.zip"'
    with zipfile.ZipFile(io.BytesIO(response.body)) as archive:
        assert {name: archive.read(name) for name in archive.namelist()} == files
