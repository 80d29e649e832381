"""Experiments for the page to be measured on: cones of the demo's invented physics."""

from __future__ import annotations

from pathlib import Path

from demo_trials import rig, truth, writers
from demo_trials.make_demo import minutes
from demo_trials.physics import build
from demo_trials.truth import true_metrics
from experiments.ledger import Ledger
from experiments.measuring import measure_contents
from tests.curve_workshops import demo_recipes

__all__ = ["fill"]

_PLAN = Path(truth.__file__).with_name("experiment.toml")
_SITTING = 8  # cones heard in one session


def fill(folder: Path, cones: int, *, curves: int | None = None, seed: int = 3) -> None:
    """Begin the demo's experiment anew with so many measured cones, the first with raw files.

    Parameters
    ----------
    folder : Path
        Must not hold an experiment.
    cones : int
        Cones, each measured once.
    curves : int, optional
        How many of them have raw files, all if not given; the others have values alone.
    seed : int
        Decides recipes and noise.
    """
    heard = cones if curves is None else curves
    with Ledger.create(folder, _PLAN.read_text(encoding="utf-8")) as ledger:
        for place, recipe in enumerate(demo_recipes(cones, seed)):
            session = place // _SITTING
            room = rig.session_rig(rig.stream(seed, 2, session))
            cone = build(recipe, rig.print_spread(rig.stream(seed, 1, place)), warmer=room.warmer)
            number = ledger.add(recipe, mass=1000 * float(cone.mass), minutes=minutes(recipe))
            hand = {"mass": 1000 * float(cone.mass)}
            if place >= heard:
                ledger.measure(number, session=f"evening-{session}", values=true_metrics(cone))
                continue
            traces = rig.observe(cone, room, rig.stream(seed, 3, session, place))
            written = writers.tabs(traces, f"cone {number}")
            files = [*written.items(), ("impulse.wav", writers.wav(traces.samples))]
            measured = measure_contents(ledger.plan, files, hand=hand)
            ledger.measure(
                number, session=f"evening-{session}", curves=measured.curves,
                values=measured.values, warnings=measured.warnings, by_hand=measured.by_hand,
            )  # fmt: skip
