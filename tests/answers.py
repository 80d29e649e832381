"""Invented answers, for the tests of what prints and draws them. Nothing here is computed."""

from __future__ import annotations

import numpy as np
import pandas as pd

from experiments.plan import Plan
from optimiser.answers import (
    Calibration,
    Comparison,
    DeadEnds,
    Estimate,
    Front,
    Knob,
    Member,
    Optimum,
    Outlook,
    Pair,
    Paired,
    Pick,
    Sensitivity,
    Shift,
    Variant,
)
from optimiser.figures import Line
from optimiser.material import Coming, Curves, Findings, Lost, Material
from optimiser.surrogate import Leader
from optimiser.uncertainty import (
    Chart,
    Component,
    Drift,
    MetricSpread,
    Offset,
    Sitting,
    Spread,
)

NAN = float("nan")
UNKNOWN = Estimate(NAN, NAN, NAN, 0)

PLAN = {
    "name": "kitchen radio",
    "note": "Invented data.",
    "variables": {
        "process": {
            "kind": "choice",
            "levels": ["resin", "filament"],
            "cautions": {"resin": "resin", "filament": "filament"},
        },
        "wall": {"kind": "continuous", "unit": "mm", "low": 0.3, "high": 1.2, "step": 0.1},
        "cure_time": {
            "kind": "continuous",
            "unit": "min",
            "low": 0,
            "high": 40,
            "step": 1,
            "only_when": {"process": ["resin"]},
        },
    },
    "rules": {"wall_stands": "wall >= 0.3"},
    "metrics": {
        "upper_limit": {
            "from": "response", "unit": "kHz", "goal": "maximise", "poor": 5, "good": 14,
        },
        "decay": {"from": "impulse", "unit": "ms", "goal": "minimise", "poor": 5, "good": 1},
        "mass": {"from": "hand", "unit": "g", "goal": "watch"},
    },
    "effort": {"minutes": "60 + cure_time", "money": "1.5", "currency": "EUR"},
}  # fmt: skip

RESIN = {"process": "resin", "wall": 0.6, "cure_time": 12.0}
TRIALS = pd.DataFrame(
    {
        "cone": [1, 2, 3, 4, 5],
        "status": ["measured", "measured", "measured", "failed", "planned"],
        "session": ["may", "may", "june", None, None],
        "process": ["resin", "filament", "resin", "resin", "resin"],
        "wall": [0.6, 0.8, 0.4, 0.3, 0.7],
        "cure_time": [12.0, NAN, 20.0, 0.0, 30.0],
        "upper_limit": [9.0, 7.5, 10.2, NAN, NAN],
        "decay": [2.0, 2.5, 1.8, NAN, NAN],
        "mass": [2.1, 2.6, 1.9, NAN, NAN],
    }
)
SCORES = np.array([0.55, 0.40, 0.66, NAN, NAN])


def plan(**changes: object) -> Plan:
    """The plan, some of its keys changed."""
    return Plan.from_dict({**PLAN, **changes})


LONG = "thickness of the second coat of lacquer"
"""A name of 39 letters."""


def long_plan(**changes: object) -> Plan:
    """The plan with labels of 39 letters and a unit as long as units get."""
    labelled = {
        part: {
            name: {**each, "label": f"{LONG[:-1]}{place}"}
            for place, (name, each) in enumerate(PLAN[part].items())
        }
        for part in ("variables", "metrics")
    }
    labelled["variables"]["wall"]["unit"] = "mJ/cm² a pass"
    return plan(**{**labelled, **changes})


def calibration(metric: str = "upper_limit", unit: str = "kHz", cones: int = 6) -> Calibration:
    """A check in which exactly one cone falls outside."""
    seen = np.arange(cones, dtype=float)
    mean = seen + np.where(np.arange(cones) == 0, 2.0, 0.2)
    table = pd.DataFrame(
        {"cone": np.arange(cones) + 1, "observed": seen, "mean": mean}
        | {"low": mean - 0.5, "high": mean + 0.5}
    )
    return Calibration(metric, unit, cones, cones - 1, 0.84, 1.87, table)


CHECKS = [calibration(), calibration("decay", "ms")]


def _knob(name: str, unit: str, settings: list, total: float, verdict: str) -> Knob:
    mean = np.linspace(0.4, 0.6, len(settings))
    effect = pd.DataFrame(
        {"setting": settings, "mean": mean, "low": mean - 0.05, "high": mean + 0.05}
    )
    return Knob(
        name,
        unit,
        Estimate(total / 2, total / 3, total, 3),
        Estimate(total, total / 2, min(1.0, 2 * total), 3),
        effect,
        verdict,
    )


def sensitivity() -> Sensitivity:
    knobs = [
        _knob("wall", "mm", [0.3, 0.6, 0.9, 1.2], 0.6, "matters"),
        _knob("process", "", ["resin", "filament"], 0.3, "may matter"),
        _knob("cure_time", "min", [0.0, 20.0, 40.0], 0.05, "no effect seen"),
    ]
    effect = pd.DataFrame(
        {"a": ["resin", "filament"] * 2, "b": [0.3, 0.3, 1.2, 1.2], "mean": [0.4, 0.5, 0.6, 0.4]}
    )
    effect = effect.assign(low=effect["mean"] - 0.1, high=effect["mean"] + 0.1)
    pairs = [
        Pair("process", "wall", Estimate(0.21, 0.11, 0.32, 3), "seen", effect),
        Pair("wall", "cure_time", Estimate(0.02, 0.0, 0.08, 3), "cannot tell yet", effect[:0]),
    ]
    notes = ["Cone 9 has no decay."]
    return Sensitivity("score", "", knobs, 3, CHECKS, notes, "Wall matters.", pairs)


def no_sensitivity() -> Sensitivity:
    return Sensitivity("score", "", [], 1, [], ["Too few cones."], "Cannot tell yet.")


def optimum(*, wordy: bool = False) -> Optimum:
    settings: list = ["resin", "filament"] if wordy else [0.0, 10.0, 20.0, 30.0, 40.0]
    mean = np.linspace(0.6, 0.4, len(settings))
    curve = pd.DataFrame(
        {"setting": settings, "mean": mean, "low": mean - 0.1, "high": mean + 0.1}
        | {"probability": np.full(len(settings), 1 / len(settings))}
    )
    ends = (None, None) if wordy else (0.0, 20.0)
    name, unit = ("process", "") if wordy else ("cure_time", "min")
    band = curve.drop(columns="probability")
    shift = Shift(
        "resin", "tough", "stiff", Estimate(12, 8, 16, 3), Estimate(20, 17, 24, 3),
        Estimate(-8, -13, -3, 3), True,
    )  # fmt: skip
    return Optimum(
        name, unit, settings[0], *ends, settings[:1], curve, True, 3, CHECKS, [], "It lies here.",
        metrics={"decay": band.assign(mean=2.0, low=1.5, high=2.5)}, shifts=[shift],
    )  # fmt: skip


def comparison() -> Comparison:
    return Comparison(
        RESIN,
        {"process": "filament", "wall": 0.8},
        {"upper_limit": Estimate(1.3, 0.2, 2.4, 3), "decay": Estimate(-0.1, -0.9, 0.8, 3)},
        Estimate(0.1, -0.02, 0.2, 3),
        0.93,
        4,
        3,
        CHECKS,
        [],
        "A beats B.",
    )


def paired() -> Paired:
    return Paired(
        69, {"upper_limit": Estimate(0.5, 0.1, 0.9, 3), "decay": UNKNOWN},
        Estimate(0.05, -0.01, 0.1, 3), Estimate(0.7, 0.5, 0.9, 3), 0.2, {"wall": 0.6},
        {"wall": 0.8}, Estimate(0.1, 0.05, 0.15, 3), True,
    )  # fmt: skip


def dead_ends() -> DeadEnds:
    variants = [
        Variant("process", "resin", ("resin",), 0.97, Estimate(0, 0, 0.03, 3), "keep", 2),
        Variant(
            "process", "filament", ("filament",), 0.03, Estimate(0.2, 0.1, 0.3), "drop", 1,
            Estimate(0.3, 0, 1, 3),
        ),
        Variant("wall", "0.3 to 0.6", (0.3, 0.6), 0.5, Estimate(0, 0, 0.1), "keep", 2),
    ]  # fmt: skip
    return DeadEnds(variants, 3, CHECKS, [], "Filament can be given up.")


def front(*, metrics: tuple[str, ...] = ("upper_limit", "decay")) -> Front:
    """Three recipes on the front, one that may be, one that is not."""
    means = {
        "upper_limit": [12.0, 9.0, 8.0, 7.0, 6.0],
        "decay": [4.0, 2.5, 2.6, 1.5, 3.0],
        "mass": [1.8, 2.1, 2.6, 2.2, 3.1],
    }
    chances = [0.97, 0.88, 0.2, 0.94, 0.004]

    def estimate(name: str, place: int) -> Estimate:
        value = means[name][place]
        return Estimate(value, 0.9 * value, 1.1 * value, 6)

    members = [
        Member(
            ["3", "9"] if place == 1 else [str(place + 1)],
            RESIN,
            {name: estimate(name, place) for name in metrics},
            {name: Estimate(0.5, 0.4, 0.6, 6) for name in metrics},
            chance,
        )
        for place, chance in enumerate(chances)
    ]
    text = "3 of 5 measured recipes are probably on the front: cones 1, 3 and 4."
    return Front(list(metrics), members, Estimate(0.45, 0.4, 0.5, 6), 6, CHECKS, [], text)


def no_front() -> Front:
    return Front(["upper_limit", "decay"], [], UNKNOWN, 1, [], ["Too few."], "Cannot tell yet.")


def spread() -> Spread:
    known = Component("measurement", Estimate(1.3, 0.8, 2.7, 3), 2, 10)
    lacking = Component("print", UNKNOWN, 0, 0, "Print a recipe again.")
    whole = Component("one new print", Estimate(1.4, 0.9, 2.8, 3), 2.2, 10)
    metric = MetricSpread(
        "decay", "decay", "%", True, [known, lacking], whole, 4.0, "Decay scatters."
    )
    return Spread([metric], 3, 10, 2, ["Reference cone 1 is young."], "One spread is told.")


def drift() -> Drift:
    sessions = [f"day {number}" for number in range(1, 6)]
    chart = Chart(
        "decay", "decay", "ms", sessions, [2.0, 2.1, 2.0, 2.1, 2.4], [1] * 5, 2.1, 1.9, 2.3,
        [NAN, 0.1, 0.1, 0.1, 0.3], 0.3, [False] * 4 + [True], [False] * 5, 0.08,
    )  # fmt: skip
    offsets = [Offset(each, "decay", "%", Estimate(0.5, -1.0, 2.0, 2), True) for each in sessions]
    sittings = [Sitting(each, "steady", "1 metric within the limits") for each in sessions[:4]]
    sittings.append(Sitting("day 5", "shifted", "decay +0.30 ms"))
    return Drift(1, [chart], offsets, sittings, 2, [], "The rig shifted on day 5.")


def findings() -> Findings:
    """Every answer beside knobs and outlook."""
    return Findings(
        again=Estimate(0.6, 0.42, 0.77, 3),
        optima=[optimum()],
        levels=[comparison()],
        dead_ends=dead_ends(),
        front=front(),
        spread=spread(),
        drift=drift(),
        lost=[Lost(4, "failed", {"process": "resin", "wall": 0.3}, "tore off the plate")],
    )


def outlook() -> Outlook:
    return Outlook(
        Estimate(0.02, 0.001, 0.08, 3),
        0.03,
        {0.01: 0.2, 0.02: 0.4, 0.05: 0.8},
        "go on",
        3,
        pd.DataFrame({"cones": [1, 2, 3], "best": [0.55, 0.55, 0.66]}),
        3,
        CHECKS,
        [],
        "One more cone is worth it.",
        plate=Estimate(0.05, 0.01, 0.1, 3),
        minutes=74.0,
        continuation=pd.DataFrame(
            {"more": [0, 1, 2, 3], "best": [0.6, 0.62, 0.63, 0.64], "low": 0.5, "high": 0.7}
            | {"ceiling": 0.7}
        ),
    )


def no_outlook() -> Outlook:
    history = pd.DataFrame({"cones": [], "best": []}, dtype=float)
    within = {0.01: NAN, 0.02: NAN, 0.05: NAN}
    return Outlook(
        UNKNOWN, NAN, within, "cannot tell yet", None, history, 0, [], ["No cone yet."], "?"
    )


def pick(**changes: object) -> Pick:
    values: dict = {
        "settings": RESIN,
        "expected": {
            "upper_limit": Estimate(9.43, 7.7, 11.2, 3),
            "decay": UNKNOWN,
            "mass": Estimate(2.1, 1.7, 2.6, 3),
        },
        "score": Estimate(0.61, 0.4, 0.74, 3),
        "why": "It changes the cure time of cone 3.",
        "kind": "improve",
        "prints": 0.93,
        "minutes": 184.0,
        "money": 1.25,
        "departs_from": 3,
        "changes": {"cure_time": (20.0, 12.0)},
    }
    return Pick(**{**values, **changes})


def curves() -> Curves:
    frequency = np.geomspace(50, 20000, 200)
    response = [Line(frequency, 80 + number + 0 * frequency, number) for number in (1, 2, 3)]
    distortion = [Line(frequency, 1 + 0.1 * number + 0 * frequency, number) for number in (1, 3)]
    time = np.arange(0, 10, 0.02)
    ringing = np.exp(-time) * np.sin(6 * time)
    return Curves(response, distortion, Line(time, ringing, 3), np.exp(-time))


def material(**changes: object) -> Material:
    values: dict = {
        "plan": plan(),
        "trials": TRIALS,
        "scores": SCORES,
        "leader": Leader("3", RESIN, Estimate(0.6, 0.5, 0.7, 3), pick().expected),
        "coming": [Coming(5, "planned", pick())],
        "knobs": sensitivity(),
        "outlook": outlook(),
        "calibration": CHECKS,
        "curves": curves(),
        "findings": findings(),
        "notes": ["Cone 9 has no decay."],
        "data_digest": "ab" * 32,
        "made": "2026-03-14",
    }
    return Material(**{**values, **changes})


def empty_material(**changes: object) -> Material:
    """An experiment in which nothing was printed yet."""
    values: dict = {
        "trials": TRIALS.iloc[:0],
        "scores": np.array([]),
        "leader": None,
        "coming": [],
        "knobs": no_sensitivity(),
        "outlook": no_outlook(),
        "calibration": [],
        "curves": Curves(),
        "findings": Findings(),
        "notes": [],
    }
    return material(**{**values, **changes})
