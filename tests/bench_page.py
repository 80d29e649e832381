"""The bench page without sockets: a small experiment, and a browser that sends its forms."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from starlette.testclient import TestClient

from experiments.ledger import Ledger
from optimiser.page.app import build_app
from optimiser.page.desk import Desk
from optimiser.page.visitors import Visitors
from tests.pages import Page

HOST = "127.0.0.1:8712"
OURS = {"Origin": f"http://{HOST}"}
"""What a browser adds to a form of this page."""

PLAN = """
name = "window-sill radio"
seed = 3

[variables.process]
kind = "choice"
levels = ["resin", "filament"]
cautions = { resin = "resin", filament = "filament" }

[variables.wall]
kind = "continuous"
unit = "mm"
low = 0.3
high = 1.2
step = 0.1

[variables.cure_time]
kind = "continuous"
unit = "min"
low = 0
high = 40
step = 0.5
only_when = { process = ["resin"] }

[metrics.upper_limit]
from = "response"
unit = "kHz"
goal = "maximise"
poor = 4.0
good = 14.0

[metrics.loss]
from = "hand"
unit = "%"
goal = "minimise"
poor = 6.0
good = 0.5
"""


@dataclass
class Browser:
    """What a person would do, one request at a time."""

    client: TestClient
    desk: Desk
    folder: Path

    def get(self, path: str, status: int = 200, **headers: str) -> Page:
        """Open a page, which has to be well formed and to fetch nothing but what is ours."""
        answer = self.client.get(path, headers=headers)
        assert answer.status_code == status, answer.text
        page = Page(answer.text)
        assert all(each.startswith(("/", "<")) or not each for each in page.fetched), page.fetched
        assert len(page.ids) == len(set(page.ids))
        assert not [tag for tag, given in page.tags if "style" in given]
        return page

    def send(self, path: str, *, files: Any = None, status: int = 303, **fields: Any) -> Any:
        """Send a form with the session's token, as a browser does."""
        data = {"token": self.token(), **fields}
        answer = self.client.post(
            path, data=data, files=files, headers=OURS, follow_redirects=False
        )
        assert answer.status_code == status, answer.text
        return answer

    def told(self, path: str, **given: Any) -> Page:
        """Send a form and follow to the page that comes after."""
        return self.get(self.send(path, **given).headers["location"])

    def token(self) -> str:
        """Take the token out of a form."""
        found = re.search(r'name="token" value="(\w+)"', self.client.get("/history").text)
        assert found
        return found[1]

    @property
    def ledger(self) -> Ledger:
        """The experiment as another process sees it; close it."""
        return Ledger.open(self.folder)


def response_text(limit_hz: float) -> bytes:
    """A raw response file: second-order low pass with its fall near `limit_hz`; invented."""
    frequency = np.geomspace(50, 20000, 240)
    level = 85 - 10 * np.log10(1 + (frequency / limit_hz) ** 4)
    lines = [f"{f:.2f}\t{v:.3f}" for f, v in zip(frequency, level, strict=True)]
    return "\n".join(["* invented", "Hz\tdB", *lines]).encode()


def opened(folder: Path, **given: Any) -> Iterator[Browser]:
    """Open the page of a folder."""
    desk = Desk(folder)
    app = build_app(desk, given.pop("visitors", Visitors()), [HOST], **given)
    client = TestClient(app, base_url=f"http://{HOST}")
    yield Browser(client, desk, folder)
    desk.close()
