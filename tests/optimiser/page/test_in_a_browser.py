"""A first day at the page in a real browser, by clicking alone; and a look at every room."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Browser

from tests.page_browser import Visitor, chromium, served, visit
from tests.page_stores import fill


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


@pytest.mark.slow
def test_the_page_opens_and_an_experiment_begins(chrome, tmp_path):
    with served(tmp_path) as address:
        me = visit(chrome, address)
        me.go("/")
        me.press("Begin")
        assert "The experiment has begun." in me.text
        me.room("Plan")
        assert "wall thickness" in me.text
        assert me.told == []
        me.page.context.close()


def measure(me: Visitor, cone: int, file: bytes) -> None:
    """Record a cone as printed and drop its file on it."""
    me.room("Where we are")
    me.follow(f"Cone {cone}")
    me.unfold("It is printed")
    me.fill("Mass", f"{1.5 + cone / 5:.1f}".replace(".", ","))
    me.fill("Print time", "an hour")
    me.press("Record as printed")
    assert "'an hour' is no number" in me.text
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
        rooms = me.page.get_by_role("navigation").get_by_role("link").all_inner_texts()
        assert len(rooms) > 7
        for room in rooms:
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


@pytest.mark.slow
def test_the_keyboard_alone_does_it(chrome: Browser, tmp_path: Path) -> None:
    fill(tmp_path / "radio", 6)
    with served(tmp_path / "radio") as address:
        me = visit(chrome, address)
        press = me.page.keyboard.press
        me.go("/")
        press("Tab")
        assert focused(me) == "Skip to the content"
        press("Enter")
        assert me.page.url.endswith("#main")
        me.go("/cones/1")
        summary = me.page.locator("summary", has_text="Write a note")
        summary.focus()
        press("Enter")  # opens it
        press("Tab")
        me.page.keyboard.type("smooth edge")
        press("Tab")
        press("Enter")
        me.page.get_by_role("status").filter(has_text="Undo").wait_for()
        assert "smooth edge" in me.text
        me.page.go_back()
        assert me.page.url.endswith("/cones/1")
        me.go("/next")
        me.page.get_by_label("Cones on the plate").focus()
        press("Enter")  # sends the form
        me.settle()
        assert me.page.locator("article.pick").count() == 1
        me.page.go_back()
        assert me.page.url.endswith("/next")
        me.go("/try")
        slider = me.page.get_by_role("slider", name="wall thickness")
        slider.focus()
        before = slider.get_attribute("aria-valuetext") or ""
        numbers = me.page.locator("#numbers").element_handle()
        press("ArrowRight")
        after = slider.get_attribute("aria-valuetext") or ""
        assert (before.split()[1], after.split()[1]) == ("mm", "mm")
        assert float(after.split()[0]) == pytest.approx(float(before.split()[0]) + 0.05)
        assert numbers is not None
        numbers.wait_for_element_state("hidden")  # others have taken their place
        assert me.page.locator("#numbers td").count() > 5
        assert me.told == []
        me.page.context.close()


@pytest.mark.slow
def test_whatever_the_keyboard_reaches_shows_it(chrome: Browser, tmp_path: Path) -> None:
    fill(tmp_path / "radio", 4)
    with served(tmp_path / "radio") as address:
        me = visit(chrome, address)
        for path in ("/", "/cones", "/cones/1", "/next", "/plan", "/report"):
            me.go(path)
            seen = []
            for _ in range(200):
                me.page.keyboard.press("Tab")
                at = me.page.evaluate(FOCUS)
                if at is None or at in seen:  # beyond the last one, or at the first again
                    break
                seen.append(at)
            assert len(seen) > 8, path
            assert [each for each in seen if not each["outline"]] == [], path
            places = [each["place"] for each in seen]
            assert places == sorted(places), path  # in the order of the page
        me.page.context.close()


FOCUS = """() => {
  const at = document.activeElement;
  if (!at || at === document.body) return null;
  const place = [...document.querySelectorAll("*")].indexOf(at);
  const outline = parseFloat(getComputedStyle(at).outlineWidth) >= 2;
  return { place, outline, html: at.outerHTML.slice(0, 90) };
}"""


def focused(me: Visitor) -> str:
    """The words of what the keyboard is at."""
    return str(me.page.evaluate("() => document.activeElement.textContent"))
