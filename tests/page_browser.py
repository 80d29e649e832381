"""The bench page in a real browser: its server as a process of its own, and all that it did."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import axe_playwright_python
import pytest
from playwright.sync_api import Browser, Page, sync_playwright

PATIENCE = 90_000.0
"""Milliseconds to wait for long work."""

SWITCHES = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

# What WCAG 2.2 AA asks and axe can check.
_RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
_FAULTS = """async (rules) => (await axe.run(document, {
    runOnly: rules, resultTypes: ['violations'],
})).violations.flatMap(one => one.nodes.map(node => `${one.id}: ${node.html.slice(0, 160)}`))"""


@contextmanager
def chromium() -> Iterator[Browser]:
    """Start the distribution's browser; where there is none, skip, but fail where CI is set."""
    path = shutil.which("chromium") or shutil.which("google-chrome")
    if path is None:
        missing = "no chromium here: install it to test the page as a person sees it"
        if os.environ.get("CI"):
            pytest.fail(missing)
        pytest.skip(missing)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=path, args=SWITCHES)
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def served(folder: Path) -> Iterator[str]:
    """Run `coneloop page` on a folder; gives its address."""
    with serving(folder) as (address, _):
        yield address


@contextmanager
def serving(folder: Path) -> Iterator[tuple[str, int]]:
    """Run `coneloop page` on a folder; gives its address and the number of its process."""
    command = [sys.executable, "-c", "from optimiser.command import main; main()"]
    command += ["page", "--no-open", "--in", str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout
            address = server.stdout.readline().strip()
            assert address.startswith("http://127.0.0.1:"), address
            yield address.rstrip("/"), server.pid
        finally:
            server.terminate()


@contextmanager
def shared(folder: Path) -> Iterator[tuple[str, Callable[[], str]]]:
    """Run `coneloop page --share`; gives its address, and what waits for the next access code."""
    command = [sys.executable, "-c", "from optimiser.command import main; main()"]
    command += ["page", "--share", "--no-open", "--in", str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:

        def code() -> str:
            assert server.stdout
            lines = (
                line.partition("access code for the next browser: ") for line in server.stdout
            )
            return next(code.strip() for _, said, code in lines if said)

        try:
            assert server.stdout
            yield server.stdout.readline().strip().rstrip("/"), code
        finally:
            server.terminate()


@dataclass
class Visitor:
    """A person at one window, and what its browser noticed.

    Attributes
    ----------
    told : list of str
        Errors and warnings of the console, failed scripts and requests to other places.
    """

    page: Page
    address: str
    told: list[str] = field(default_factory=list)

    def go(self, path: str) -> None:
        """Open an address and wait until nothing is being worked out."""
        self.page.goto(self.address + path)
        self.settle()

    def settle(self) -> None:
        """Wait until no part of the page is being worked out."""
        self.page.locator("[data-work]").first.wait_for(state="detached", timeout=PATIENCE)

    def follow(self, name: str) -> None:
        """Click a link by its words, as far as they go."""
        self.page.get_by_role("link", name=name).first.click()
        self.settle()

    def room(self, name: str) -> None:
        """Click a room."""
        self.page.get_by_role("navigation").get_by_role("link", name=name, exact=True).click()
        self.settle()

    def press(self, name: str) -> None:
        """Click a button by its words."""
        self.page.get_by_role("button", name=name, exact=True).click()
        self.settle()

    def unfold(self, name: str) -> None:
        """Open what is folded."""
        self.page.locator("summary", has_text=name).click()

    def fill(self, label: str, text: str) -> None:
        """Type into a field that can be seen, by its label."""
        self.page.get_by_label(label).locator("visible=true").first.fill(text)

    @property
    def text(self) -> str:
        """The words of the room."""
        return self.page.locator("main").inner_text()

    def faults(self) -> list[str]:
        """Ask axe in both colour schemes; also what is wider than the window."""
        found = []
        for scheme in ("light", "dark"):
            self.page.emulate_media(color_scheme=scheme)
            found += [f"{scheme}: {each}" for each in self.page.evaluate(_FAULTS, _RULES)]
        wide = self.page.evaluate("() => document.documentElement.scrollWidth - innerWidth")
        return [*found, *([f"{wide} px too wide"] if wide > 0 else [])]


def visit(browser: Browser, address: str, width: int = 1280, **given: Any) -> Visitor:
    """Open a window with axe in it, at no page yet."""
    context = browser.new_context(viewport={"width": width, "height": 860}, **given)
    # Put there by the driver, which the policy of the page does not bind.
    context.add_init_script(_axe())
    visitor = Visitor(context.new_page(), address)
    page, told = visitor.page, visitor.told
    page.on("console", lambda each: told.append(each.text) if each.type != "log" else None)
    page.on("pageerror", lambda each: told.append(str(each)))
    ours = address + "/"
    page.on("request", lambda each: None if each.url.startswith(ours) else told.append(each.url))
    return visitor


@cache
def _axe() -> str:
    return Path(axe_playwright_python.__file__).with_name("axe.min.js").read_text(encoding="utf-8")
