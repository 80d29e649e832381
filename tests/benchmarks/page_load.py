"""Many at the page at once: ``python tests/benchmarks/page_load.py --seconds 60``.

20 readers go from room to room that need no new fit; of 4 writers two send notes to the same
cone through the page, one adds cones there, and one adds cones beside it, as the command line
does. Each room is opened once before. Every added cone makes a new state, whose fit is asked for
too: a reader of its own opens *where we are*. Prints the times of the rooms and whether every
change is there.
"""

from __future__ import annotations

import argparse
import os
import re
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from dataclasses import dataclass, field
from http.client import HTTPConnection
from itertools import cycle
from pathlib import Path
from urllib.parse import urlencode, urlsplit

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # run as a script

from experiments.ledger import Ledger
from tests.page_browser import served
from tests.page_stores import fill

__all__ = ["READERS", "Crowd", "gather", "missing", "tell"]

READERS = 20
ROOMS = ("/cones", "/history", "/measure", "/plan", "/answers", "/cones/add", "/next")
CONE = 1
RECIPE = {
    "process": "filament", "profile": "straight", "wall_thickness": "0.9", "layer_height": "0.15",
    "coats": "1", "nozzle_temperature": "215", "line_width": "0.4",
}  # fmt: skip


class Line:
    """One browser's connection, without the browser."""

    def __init__(self, address: str) -> None:
        self.host = urlsplit(address).netloc
        self.line = HTTPConnection(self.host, timeout=60)
        self.cookie = ""

    def close(self) -> None:
        """Hang up."""
        self.line.close()

    def ask(self, path: str, fields: dict[str, str] | None = None) -> tuple[int, str]:
        """Open a page, or send a form; gives status and text."""
        headers = {"Cookie": self.cookie, "Origin": f"http://{self.host}"}
        if fields is None:
            self.line.request("GET", path, headers=headers)
        else:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
            self.line.request("POST", path, urlencode(fields), headers)
        answer = self.line.getresponse()
        given = answer.getheader("Set-Cookie")
        if given:
            self.cookie = given.partition(";")[0]
        return answer.status, answer.read().decode()


@dataclass
class Crowd:
    """What the crowd found.

    Attributes
    ----------
    times : list of float
        Seconds of each page that needs no new fit.
    asking : list of float
        Seconds of each look at *where we are*, which shows how far a new fit is.
    notes, cones : int
        Changes that were confirmed.
    wrong : list of str
        Answers that should not be.
    """

    times: list[float] = field(default_factory=list)
    asking: list[float] = field(default_factory=list)
    notes: int = 0
    cones: int = 0
    wrong: list[str] = field(default_factory=list)


def gather(folder: Path, seconds: float, *, pause: float = 0.5) -> Crowd:
    """Let the crowd in for some seconds; `pause` is what a reader looks at a page."""
    crowd, lock = Crowd(), threading.Lock()
    with ExitStack() as lines:
        address = lines.enter_context(served(folder))

        def dial() -> Line:
            with lock:
                return lines.enter_context(closing(Line(address)))

        first = dial()
        for room in (*ROOMS, "/"):  # what is loaded on the first need
            first.ask(room)
        end = time.monotonic() + seconds

        def read(rooms: Iterator[str], times: list[float]) -> None:
            line = dial()
            while time.monotonic() < end:
                room, start = next(rooms), time.perf_counter()
                status, text = line.ask(room)
                times.append(time.perf_counter() - start)
                if status != 200:
                    crowd.wrong.append(f"{room}: {status} {text[:80]}")
                time.sleep(pause)

        def note(mark: str) -> None:
            line, count = dial(), 0
            while time.monotonic() < end:
                _, page = line.ask(f"/cones/{CONE}")
                fields = dict(re.findall(r'name="(token|version)" value="(\w+)"', page))
                status, _ = line.ask(f"/cones/{CONE}/note", {**fields, "text": f"{mark}{count}"})
                if status == 303:
                    count += 1
                elif status != 409:  # somebody else was quicker: look again, send again
                    crowd.wrong.append(f"note: {status}")
                time.sleep(pause)
            with lock:
                crowd.notes += count

        def add() -> None:
            line, count = dial(), 0
            while time.monotonic() < end:
                _, page = line.ask("/cones/add")
                fields = dict(re.findall(r'name="(token)" value="(\w+)"', page))
                recipe = {f"set-{name}": value for name, value in RECIPE.items()}
                status, _ = line.ask("/cones/add", {**fields, **recipe, "state": "printed"})
                if status == 303:
                    count += 1
                else:
                    crowd.wrong.append(f"add: {status}")
                time.sleep(4 * pause)
            with lock:
                crowd.cones += count

        def beside() -> None:
            count = 0
            while time.monotonic() < end:
                with Ledger.open(folder) as ledger:
                    ledger.add(RECIPE)
                count += 1
                time.sleep(4 * pause)
            with lock:
                crowd.cones += count

        tasks: list[Callable[[], None]] = [
            *(lambda at=at: read(cycle(ROOMS[at % 7 :] + ROOMS[: at % 7]), crowd.times)
              for at in range(READERS)),
            lambda: read(cycle(["/"]), crowd.asking),
            lambda: note("first "), lambda: note("second "), add, beside,
        ]  # fmt: skip
        threads = [threading.Thread(target=task) for task in tasks]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    return crowd


def tell(crowd: Crowd) -> str:
    """Say what the crowd found."""
    parts = [
        f"{name}: {len(times)} pages, median {1000 * np.median(times):.0f} ms, "
        f"95 % within {1000 * np.quantile(times, 0.95):.0f} ms"
        for name, times in (("no new fit", crowd.times), ("where we are", crowd.asking))
    ]
    told = f"{crowd.notes} notes and {crowd.cones} cones written, {len(crowd.wrong)} errors"
    return f"{'; '.join(parts)}; {told}; load {os.getloadavg()[0]:.1f}"


def missing(folder: Path, crowd: Crowd, cones: int) -> int:
    """Count the confirmed changes that are not in the store, which held `cones` before."""
    with Ledger.open(folder) as ledger:
        notes = list(ledger.notes(CONE)["text"])
        written = len(ledger.cones()) - cones
    kept = len({each for each in notes if each.startswith(("first ", "second "))})
    return crowd.notes - kept + crowd.cones - written


def main() -> None:
    """Build the store, let the crowd in, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--pause", type=float, default=0.5)
    parser.add_argument("--cones", type=int, default=40)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        store = Path(folder) / "radio"
        fill(store, given.cones, curves=0)
        crowd = gather(store, given.seconds, pause=given.pause)
        print(tell(crowd))
        print(f"changes lost: {missing(store, crowd, given.cones)}")
        print(*crowd.wrong[:5], sep="\n")


if __name__ == "__main__":
    main()
