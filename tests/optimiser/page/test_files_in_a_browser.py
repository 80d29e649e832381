"""Files in a real browser, by clicking alone: taken along, edited, listened to, a test tone."""

from __future__ import annotations

from pathlib import Path

import pytest

import demo_trials
from tests.page_browser import Visitor, chromium, served, visit
from tests.page_stores import fill

RAW = Path(demo_trials.__file__).parent / "raw" / "cone_01"


def download(me: Visitor, name: str) -> Path:
    """Click a link that gives a file."""
    with me.page.expect_download() as waiting:
        me.page.get_by_role("link", name=name, exact=True).click()
    return Path(waiting.value.path())


def choose(me: Visitor, label: str, name: str, content: bytes) -> None:
    """Choose a file for a field."""
    file = {"name": name, "mimeType": "application/octet-stream", "buffer": content}
    me.page.get_by_label(label).set_input_files([file])


@pytest.mark.slow
@pytest.mark.parametrize("width", [1280, 390])
def test_files_by_clicking(tmp_path: Path, width: int) -> None:
    fill(tmp_path / "radio", 3, curves=1)
    with chromium() as chrome, served(tmp_path / "radio") as address:
        me = visit(chrome, address, width)
        me.go("/")
        me.room("Files")
        assert me.faults() == []
        table = download(me, "CSV").read_bytes()
        assert download(me, "Workbook (.xlsx)").read_bytes()[:2] == b"PK"
        assert download(me, "Backup (.db)").read_bytes()[:6] == b"SQLite"
        assert download(me, "Archive to give away (.zip)").read_bytes()[:2] == b"PK"
        choose(me, "Edited table", "edited.csv", table.replace(b"evening-0", b"saturday"))
        me.press("Show what would change")
        assert me.faults() == []
        me.press("Take it in")
        assert "Import of edited.csv: 3 changed cells." in me.text
        me.press("Undo")
        me.room("Files")
        me.follow("Listen to files")
        assert me.faults() == []
        file = RAW / "evening-1-response.txt"
        choose(me, "Raw files", file.name, file.read_bytes())
        me.fill("Band from", "200")
        me.fill("Band to", "5000,5")
        me.press("Listen")
        assert "break-up" in me.text
        assert me.faults() == []
        me.fill("Smooth by", "3")
        me.press("Listen again")
        me.press("Forget the files")
        me.room("Files")
        me.follow("Make a test tone")
        assert "damage hearing" in me.text
        me.press("Show it")
        assert me.faults() == []
        assert download(me, "Download it (.zip)").read_bytes()[:2] == b"PK"
        me.room("Plan")
        me.follow("Check everything")
        me.press("Check it")
        assert "Nothing is wrong." in me.text
        assert me.faults() == []
        assert me.told == []
        me.page.context.close()
