"""How well curves of cones that were never shown are foretold, on the demo's physical model.

``python tests/benchmarks/curve_error.py --cones 24 40 80 --seeds 3``; everything is invented.
Prints for each curve: the miss of 40 new cones, the spread of cones of one recipe (each printed
and heard anew in a session of its own), their ratio, and how much lies inside the 90 % bands.
With ``--own`` the shipped demo instead: each of its cones left out and everything learnt anew.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from demo_trials import rig, truth  # noqa: E402
from demo_trials.physics import build  # noqa: E402
from experiments.ledger import Ledger  # noqa: E402
from experiments.space import Space  # noqa: E402
from optimiser.command.demo_data import demo_folder, log_trials  # noqa: E402
from optimiser.curve_model import CurveModel, fit_curves  # noqa: E402
from optimiser.curve_readings import UNITS, CurveReading, read_curves  # noqa: E402
from tests.curve_workshops import demo_reading, demo_recipes, demo_workshop  # noqa: E402

__all__ = ["miss", "replicates"]


def miss(model: CurveModel, recipe: Any, lines: list[CurveReading]) -> dict[str, Any]:
    """Give each curve's mean square miss in dB² and the share inside the band."""
    found = {}
    seen = model.put(lines)
    for name, band in model.predict(recipe).items():
        if name not in seen:
            continue
        known = np.isfinite(seen[name])
        inside = (band.low <= seen[name]) & (seen[name] <= band.high)
        off = decibel(name, band.mean) - decibel(name, seen[name])
        found[name] = (float(np.mean(off[known] ** 2)), float(inside[known].mean()))
    return found


def decibel(name: str, values: Any) -> Any:
    """Give levels as they are, percentages in dB."""
    return values if UNITS[name] == "dB" else 20 * np.log10(values)


def replicates(model: CurveModel, recipe: Any, seed: int, count: int = 12) -> dict[str, float]:
    """Give each curve's variance over prints of one recipe, each in a session of its own, dB²."""
    gathered: dict[str, list[Any]] = {}
    for number in range(count):
        room = rig.session_rig(rig.stream(seed, 12, number))
        cone = build(recipe, rig.print_spread(rig.stream(seed, 11, number)), warmer=room.warmer)
        traces = rig.observe(cone, room, rig.stream(seed, 13, number))
        for name, y in model.put(demo_reading(traces, 0)).items():
            gathered.setdefault(name, []).append(decibel(name, y))
    return {n: float(np.nanmean(np.var(each, axis=0, ddof=1))) for n, each in gathered.items()}


def tell(title: str, misses: list[Any], spreads: list[Any]) -> None:
    """Print one table."""
    print(title)
    print("curve     miss  usual  prints  ratio  usual ratio  inside")
    for name in misses[0]:
        squares = np.array([one[name][0] for one in misses if name in one])
        inside = np.mean([one[name][1] for one in misses if name in one])
        prints = np.array([one[name] for one in spreads])
        error, spread = np.sqrt(squares.mean()), np.sqrt(prints.mean())
        usual = np.median(np.sqrt(squares))
        each = np.median(np.sqrt(squares / prints))
        print(
            f"{name:9} {error:4.2f}  {usual:5.2f}  {spread:6.2f}  {error / spread:5.2f}"
            f"  {each:11.2f}  {inside:6.3f}",
            flush=True,
        )


def own_demo() -> None:
    """Leave each cone of the shipped demo out and learn everything anew."""
    source = demo_folder()
    with tempfile.TemporaryDirectory() as folder:
        text = (source / "experiment.toml").read_text(encoding="utf-8")
        with Ledger.create(Path(folder) / "demo", text, who="benchmark") as ledger:
            log_trials(ledger, source, lambda _share, _text: None)
            plan, trials, readings = ledger.plan, ledger.wide_table(), read_curves(ledger)
    space = Space(plan)
    misses, spreads = [], []
    measured = trials[trials["status"] == "measured"].drop_duplicates("cone")
    for _, row in measured.iterrows():
        others = trials[trials["cone"] != row["cone"]]
        model = fit_curves(plan, others, readings, plan.seed)
        number = int(row["measurement"])
        lines = [line for line in readings.curves if line.measurement == number]
        recipe = space.settings(row)
        misses.append(miss(model, recipe, lines))
        spreads.append(replicates(model, recipe, int(row["cone"])))
    tell(f"the shipped demo, {len(measured)} cones left out in turn", misses, spreads)


def simulated(cones: int, seed: int, new: int = 40) -> tuple[list[Any], list[Any]]:
    """Learn from random recipes, foretell others."""
    plan = truth.plan()
    trials, readings = demo_workshop(demo_recipes(cones, seed), seed)
    model = fit_curves(plan, trials, readings, seed)
    recipes = demo_recipes(new, 1000 + seed)
    table, heard = demo_workshop(recipes, 1000 + seed)
    misses = []
    for _, row in table.drop_duplicates("cone").iterrows():
        number = row["measurement"]
        lines = [line for line in heard.curves if line.measurement == number]
        misses.append(miss(model, recipes[int(row["cone"]) - 1], lines))
    return misses, [
        replicates(model, one, seed * 1000 + place) for place, one in enumerate(recipes)
    ]


def main() -> None:
    """Run what was asked for."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--cones", type=int, nargs="+", default=[24, 40, 80])
    asked.add_argument("--seeds", type=int, default=2)
    asked.add_argument("--own", action="store_true")
    given = asked.parse_args()
    if given.own:
        own_demo()
        return
    for cones in given.cones:
        misses, spreads = [], []
        for seed in range(given.seeds):
            more, of = simulated(cones, seed)
            misses += more
            spreads += of
        tell(f"{cones} random cones, {given.seeds} seeds, 40 new cones each", misses, spreads)


if __name__ == "__main__":
    main()
