"""What is taken along: the table, copies of the whole; nothing stays behind on the disk."""

from __future__ import annotations

import shutil
import sqlite3

import pytest

from experiments.ledger import Ledger
from experiments.unpacking import unpack

pytestmark = pytest.mark.usefixtures("still")


def test_the_room_offers_every_way(browser):
    page = browser.get("/files")
    for path in ("/files/table?as=csv", "/files/table?as=comma", "/files/table?as=workbook",
                 "/files/backup", "/files/archive", "/files/listen", "/files/tone"):  # fmt: skip
        assert path in page.fetched
        assert browser.client.get(path).status_code == 200
    for act in ("/files", "/files/restore", "/files/unpack"):
        assert act in page.fetched


def test_the_table_leaves_as_csv_and_as_a_workbook(browser, ours):
    with browser.ledger as ledger:
        ledger.note("=cmd()", cone=3)
    plain = browser.client.get("/files/table?as=csv")
    assert plain.headers["content-disposition"] == 'attachment; filename="table.csv"'
    assert plain.text.startswith("cone,")
    assert ",=" not in plain.text
    comma = browser.client.get("/files/table?as=comma").text
    assert "0,5" in comma
    assert ";" in comma
    book = browser.client.get("/files/table?as=workbook")
    assert book.content[:2] == b"PK"
    assert "table.xlsx" in book.headers["content-disposition"]
    assert list(ours.iterdir()) == []


@pytest.mark.parametrize("asked", ["", "..%2F..%2Fetc%2Fpasswd", "/etc/passwd", "table.csv"])
def test_no_path_of_a_request_is_taken(browser, asked):
    assert browser.client.get(f"/files/table?as={asked}").status_code == 404


def test_a_backup_can_be_opened_and_an_archive_unpacked(browser, ours, tmp_path):
    (tmp_path / "back").mkdir()
    (tmp_path / "back" / "experiment.db").write_bytes(browser.client.get("/files/backup").content)
    shutil.copy(browser.folder / "experiment.toml", tmp_path / "back")
    with Ledger.open(tmp_path / "back") as ledger:
        assert [cone.number for cone in ledger.cones()] == [1, 2, 3, 4]
    archive = tmp_path / "given.zip"
    archive.write_bytes(browser.client.get("/files/archive").content)
    unpack(archive, tmp_path / "given")
    with Ledger.open(tmp_path / "given") as ledger:
        assert len(ledger.cones()) == 4
    assert list(ours.iterdir()) == []
    assert browser.client.head("/files/backup").status_code == 200
    assert list(ours.iterdir()) == []


def test_a_table_that_cannot_be_written_is_told_and_leaves_nothing(browser, ours):
    with browser.ledger as ledger:
        ledger.measure(3, session="monday", values={"loss": 2.0})
    plan = browser.folder / "experiment.toml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text.replace('[metrics.loss]\nfrom = "hand"\nunit = "%"',
                                 '[metrics.loss]\nfrom = "hand"\nunit = "g"'))  # fmt: skip
    assert "loss" in browser.get("/files/table?as=csv", status=422).text
    assert list(ours.iterdir()) == []


def test_a_download_that_breaks_off_leaves_nothing(browser, ours, monkeypatch):
    monkeypatch.setattr(
        sqlite3, "connect", lambda *_a, **_k: (_ for _ in ()).throw(OSError("full"))
    )
    assert browser.client.get("/files/backup").status_code in (422, 500)
    assert list(ours.iterdir()) == []
