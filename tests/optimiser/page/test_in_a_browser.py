"""A first day at the page in a real browser, by clicking alone; and a look at every room."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Browser

from tests.page_browser import Visitor, chromium, served, visit


@pytest.fixture(scope="module")
def chrome() -> Iterator[Browser]:
    with chromium() as browser:
        yield browser


def response(limit: float, peak: float) -> bytes:
    """A raw file: level with an octave's roll-off from `limit` on and a resonance at `peak`."""
    frequency = np.geomspace(40, 20000, 400)
    level = 84 - 10 * np.log10(1 + (frequency / limit) ** 6)
    level += 7 * np.exp(-((np.log(frequency / peak) / 0.06) ** 2))
    rows = [f"{hertz:.2f};{db:.2f}" for hertz, db in zip(frequency, level, strict=True)]
    return "\n".join(["# invented", "Frequency [Hz];SPL [dB]", *rows]).encode()


def test_the_page_opens_and_an_experiment_begins(chrome, tmp_path):
    with served(tmp_path) as address:
        me = visit(chrome, address)
        me.go("/")
        me.press("Begin")
        assert "The experiment has begun." in me.text
        me.room("Plan")
        assert me.faults() == []
        assert me.told == []
        me.page.context.close()


def measure(me: Visitor, cone: int, file: bytes) -> None:
    """Record a cone as printed and drop its file on it."""
    me.room("Where we are")
    me.follow(f"Cone {cone}")
    me.unfold("It is printed")
    me.fill("Mass", f"{1.5 + cone / 5:.1f}".replace(".", ","))
    me.fill("Print time", "75")
    me.press("Record as printed")
    assert f"Cone {cone} printed." in me.text
    me.room("Measure")
    me.follow(f"Measure cone {cone}")
    assert me.faults() == []
    me.page.get_by_label("Raw files").set_input_files(
        [{"name": f"cone {cone}.txt", "mimeType": "text/plain", "buffer": file}]
    )
    me.fill("Session", "Monday")
    me.press("Look at it")
    assert "upper limit" in me.text
    assert me.faults() == []
    me.press("Save")
    assert "Measured" in me.text
    assert me.faults() == []


def ask_everything(me: Visitor) -> None:
    """Open every answer."""
    me.room("Answers")
    names = me.page.locator("main li a").all_inner_texts()
    assert len(names) >= 9
    for name in names:
        me.room("Answers")
        me.page.locator("main li a", has_text=name).click()
        if name == "Compare":
            me.fill("This", "process=resin")
            me.fill("against that", "process=filament")
            me.press("Ask")
        me.settle()
        assert "fault of its own" not in me.text
        assert me.faults() == [], name


@pytest.mark.slow
@pytest.mark.parametrize("width", [1280, 390])
def test_a_first_day_by_clicking(chrome: Browser, tmp_path: Path, width: int) -> None:
    touch = {"has_touch": True, "is_mobile": True} if width < 500 else {}
    with served(tmp_path) as address:
        me = visit(chrome, address, width, **touch)
        me.go("/")
        assert me.faults() == []
        me.press("Begin")
        assert me.faults() == []
        me.room("Next")
        me.fill("Cones on the plate", "4")
        me.press("Propose")
        assert me.page.locator("article.pick").count() == 4
        assert me.faults() == []
        me.press("Take them into the plan")
        assert "Planned cones 1, 2, 3, 4 as plate 1" in me.text
        me.follow("Cone 2")
        me.unfold("It failed")
        me.fill("Why it failed", "came off the plate at layer 40")
        me.press("Record as failed")
        assert me.faults() == []
        for cone, limit in ((1, 7000.0), (3, 9000.0), (4, 12000.0)):
            measure(me, cone, response(limit, 0.55 * limit))
        for room in ("Where we are", "Cones", "Try", "Plan", "Measure", "Report"):
            me.room(room)
            assert me.faults() == [], room
        ask_everything(me)
        me.room("Next")
        me.fill("Cones on the plate", "2")
        me.press("Propose")
        me.press("Take them into the plan")
        assert "Planned cones 5, 6 as plate 2" in me.text
        me.room("Report")
        me.press("Write the report")
        assert me.faults() == []
        with me.page.expect_download() as waiting:
            me.page.get_by_role("link", name="Download it").click()
        report = Path(waiting.value.path()).read_text(encoding="utf-8")
        assert "small radio, 65 mm cone" in report
        assert me.told == []
        me.page.context.close()
