"""Backups put back, archives unpacked, damaged stores rescued: all by clicking."""

from __future__ import annotations

import sqlite3
import struct

import pytest

from experiments.ledger import Ledger
from tests.bench_page import OURS
from tests.optimiser.page.test_begin import nowhere  # noqa: F401
from tests.pages import Page

pytestmark = pytest.mark.usefixtures("still")


def run(browser):
    """Do the long work."""
    work = browser.desk.work
    for job in [*work._jobs.values(), *list(work._loose.values())]:
        job.run()


def sent(browser, path, name, content, status=303):
    files = [(name, ("../../x <b>.bin", content, "application/octet-stream"))]
    return browser.send(path, files=files, status=status)


def looked(browser, content):
    path = sent(browser, "/files/restore", "backup", content).headers["location"]
    browser.get(path)
    run(browser)
    return path, browser.get(path)


def damage(folder):
    """Change one value in the file, as no act of ours does."""
    store = folder / "experiment.db"
    content = store.read_bytes()
    assert content.count(struct.pack(">d", 0.7)) == 1
    store.write_bytes(content.replace(struct.pack(">d", 0.7), struct.pack(">d", 0.9)))


def test_a_backup_is_put_back_after_every_change_was_seen_and_that_can_be_undone(browser, ours):
    content = browser.client.get("/files/backup").content
    with browser.ledger as ledger:
        ledger.failed(1, why="warped")
        ledger.add({"process": "filament", "wall": 0.9})
    path, page = looked(browser, content)
    assert "../../x <b>.bin" not in page.text
    assert "x <b>.bin: not put back yet" in page.text
    assert "from 5 cones to 4" in page.text
    assert "no longer there" in page.text
    told = browser.told(path, do="take")
    assert "Restored backup.db" in told.text
    assert str(browser.folder) not in told.text
    with browser.ledger as ledger:
        assert [cone.status for cone in ledger.cones()] == [
            "planned",
            "planned",
            "printed",
            "failed",
        ]
    (kept,) = [
        each["value"] for _, each in browser.get("/files").tags if each.get("name") == "kept"
    ]
    path = browser.send("/files/kept", kept=kept).headers["location"]
    browser.get(path)
    run(browser)
    assert "there again" in browser.get(path).text
    assert "put back in place" in browser.get("/history").text
    browser.told(path, do="take")
    with browser.ledger as ledger:
        assert len(ledger.cones()) == 5
    assert list(ours.iterdir()) == []


def test_what_changed_after_the_look_is_looked_at_again(browser):
    content = browser.client.get("/files/backup").content
    with browser.ledger as ledger:
        ledger.failed(1, why="warped")
    path, _ = looked(browser, content)
    with browser.ledger as ledger:
        ledger.note("meanwhile", cone=1)
    answer = browser.send(path, do="take")
    assert "changed meanwhile" in browser.get(answer.headers["location"]).text
    with browser.ledger as ledger:
        assert ledger.cone(1).status == "failed"


def test_a_backup_with_anything_but_data_is_refused(browser, tmp_path):
    evil = tmp_path / "evil.db"
    evil.write_bytes(browser.client.get("/files/backup").content)
    store = sqlite3.connect(evil)
    store.execute("CREATE TRIGGER t AFTER DELETE ON cones BEGIN DELETE FROM cones; END")
    store.commit()
    store.close()
    for content, words in (
        (evil.read_bytes(), "trigger t"),
        (b"no database", "found"),
        (b"PK", "found"),
    ):
        path, page = looked(browser, content)
        assert words in page.text
        assert "Put it back" not in page.text
        assert "/coneloop-" not in page.text
        browser.send(path, do="take", status=303)
    with browser.ledger as ledger:
        assert len(ledger.cones()) == 4


@pytest.mark.parametrize("kept", ["", "../experiment.db", "/etc/passwd", "experiment.db"])
def test_only_copies_that_are_listed_can_be_chosen(browser, kept):
    (browser.folder / "backups").mkdir()
    link = browser.folder / "backups" / "2026-01-01_000000_before_import.db"
    link.symlink_to(browser.folder / "experiment.db")
    assert "not kept any more" in browser.told("/files/kept", kept=kept).text
    assert "not kept any more" in browser.told("/files/kept", kept=link.name).text


def test_an_archive_goes_into_a_new_folder_beside_this_one(browser, ours):
    content = browser.client.get("/files/archive").content
    for name in ("bench-unpacked", "bench-unpacked-2"):
        path = sent(browser, "/files/unpack", "archive", content).headers["location"]
        page = browser.get(path)
        assert "experiment.db" in page.text
        assert "kB would be written" in page.text.replace("\xa0", " ")
        assert not (browser.folder.parent / name).exists()
        browser.send(path, do="take")
        run(browser)
        assert f"new folder {name}" in browser.get(path).text
        with Ledger.open(browser.folder.parent / name) as ledger:
            assert len(ledger.cones()) == 4
    assert list(ours.iterdir()) == []
    bad = sent(browser, "/files/unpack", "archive", content[:-30], status=200)
    assert "archive.zip" in Page(bad.text).text
    assert "/coneloop-" not in bad.text


def test_an_experiment_begins_with_an_archive(nowhere, browser):  # noqa: F811
    content = browser.client.get("/files/archive").content
    token = nowhere.client.get("/").text.split('name="token" value="')[1].split('"')[0]
    files = [("archive", ("x.zip", content, "application/zip"))]
    given = {"headers": OURS, "follow_redirects": False}
    data = {"token": token}
    path = nowhere.client.post("/files/unpack", data=data, files=files, **given).headers[
        "location"
    ]
    assert "this folder" in nowhere.get(path).text
    assert not nowhere.folder.exists()
    nowhere.client.post(path, data={**data, "do": "take"}, **given)
    run(nowhere)
    assert "The experiment has begun." in nowhere.get(path).text
    assert "window-sill radio" in nowhere.get("/").text


def test_a_store_that_is_damaged_while_it_is_open_is_never_shown_and_can_be_rescued(browser):
    browser.get("/cones")
    assert "nothing to rescue" in browser.told("/files/rescue").text
    token = browser.token()
    damage(browser.folder)
    page = browser.get("/cones", status=503)
    assert "cannot be used" in page.text
    assert "bench-rescued" in page.text
    given = {"headers": OURS, "follow_redirects": False}
    path = browser.client.post("/files/rescue", data={"token": token}, **given).headers["location"]
    run(browser)
    page = browser.get(path)
    assert "lost: 1 × setting" in page.text
    assert "coneloop page --in ../bench-rescued" in page.text
    with Ledger.open(browser.folder.parent / "bench-rescued") as ledger:
        assert len(ledger.cones()) == 4
    assert browser.get("/", status=503)


def test_a_backup_mends_a_damaged_store(browser):
    content = browser.client.get("/files/backup").content
    token = browser.token()
    damage(browser.folder)
    given = {"headers": OURS, "follow_redirects": False}
    files = [("backup", ("b.db", content, "x/y"))]
    data = {"token": token}
    path = browser.client.post("/files/restore", data=data, files=files, **given).headers[
        "location"
    ]
    browser.get(path)
    run(browser)
    assert "which cannot be used now" in browser.get(path).text
    browser.client.post(path, data={**data, "do": "take"}, **given)
    assert "0.7" in browser.get("/cones").text
    assert list((browser.folder / "backups").glob("*_damaged*"))


@pytest.mark.parametrize("gone", ["experiment.toml", "experiment.db"])
def test_a_lost_file_is_told_with_the_ways_out(browser, gone):
    (browser.folder / gone).unlink()
    page = browser.get("/", status=503)
    assert gone in page.text
    assert "Put a backup back" in page.text
    assert ("Rescue it" in page.text) == (gone == "experiment.toml")


def test_an_archive_of_nothing_is_told_at_the_files(browser):
    for path in ("/files/restore", "/files/unpack"):
        assert "Choose one" in browser.send(path, status=200).text


def test_another_browser_does_not_get_what_waits(browser):
    paths = [
        sent(browser, f"/files/{act}", name, browser.client.get(f"/files/{made}").content)
        for act, name, made in (("restore", "backup", "backup"), ("unpack", "archive", "archive"))
    ]
    browser.client.cookies.clear()
    for path in (answer.headers["location"] for answer in paths):
        assert "nothing that waits here" in browser.get(path, status=422).text
        browser.send(path, status=422, do="take")
    assert not list(browser.folder.parent.glob("*-unpacked"))
