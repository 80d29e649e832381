"""How fast *try* answers a moved knob: ``python tests/benchmarks/page_speed.py``.

The store has 40 measured cones of the demo's physics: 11 variables, at most 9 of them in one
recipe, 7 metrics, three foretold curves. From the slider's event to the new numbers, and to the
new curves, in a real browser: the server, the browser and the way between them. Prints median and
95th percentile in ms, and the machine's load, without which the figures say little.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # run as a script

from tests.page_browser import chromium, served, visit
from tests.page_stores import fill

__all__ = ["moves", "tell"]

MOVES = """async (count) => {
  const replaced = (id) => new Promise((resolve) => {
    const watch = new MutationObserver((seen) => {
      if (!seen.some((one) => [...one.addedNodes].some((node) => node.id === id))) return;
      watch.disconnect();
      resolve(performance.now());
    });
    watch.observe(document.body, { childList: true, subtree: true });
  });
  const all = [...document.querySelectorAll("input[type=range]")];
  const sliders = all.filter((one) => one.offsetParent);
  const found = [];
  for (let turn = 0; turn < 5 * count && found.length < count; turn += 1) {
    const slider = sliders[turn % sliders.length];
    const waiting = [replaced("numbers"), replaced("curves")];
    slider.value = Number(slider.min) + ((0.37 * turn) % 1) * (slider.max - slider.min);
    const start = performance.now();
    slider.dispatchEvent(new Event("input", { bubbles: true }));
    const [numbers, curves] = await Promise.all(waiting);
    // A recipe that cannot be printed has no curves, and is answered too soon to count.
    if (document.querySelector("#curves svg")) found.push([numbers - start, curves - start]);
    await new Promise((resolve) => setTimeout(resolve, 30));
  }
  return found;
}"""


def moves(folder: Path, count: int) -> npt.NDArray[np.float64]:
    """Move knobs of *try*, one after the other.

    Returns
    -------
    numpy.ndarray, shape (count, 2)
        Milliseconds until the numbers, and until the curves, stood there.
    """
    with served(folder) as address, chromium() as browser:
        me = visit(browser, address)
        me.go("/try")
        me.page.evaluate(MOVES, 3)  # what is loaded on the first need
        found = np.array(me.page.evaluate(MOVES, count))
        assert not me.told, me.told
    return found


def tell(times: npt.NDArray[np.float64]) -> str:
    """Say how long numbers and curves took."""
    told = [
        f"{name}: median {np.median(each):.0f} ms, 95 % within {np.quantile(each, 0.95):.0f} ms"
        for name, each in zip(("numbers", "curves"), times.T, strict=True)
    ]
    return f"{len(times)} moves; {'; '.join(told)}; load {os.getloadavg()[0]:.1f}"


def main() -> None:
    """Build the store, move the knobs and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cones", type=int, default=40)
    parser.add_argument("--moves", type=int, default=100)
    parser.add_argument("--store", type=Path, help="an experiment to use instead of a new one")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        store = given.store or Path(folder) / "radio"
        if given.store is None:
            fill(store, given.cones)
        print(tell(moves(store, given.moves)))


if __name__ == "__main__":
    main()
