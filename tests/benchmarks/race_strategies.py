"""Ways to choose the next cone, raced against each other.

Each strategy is made for one run, is asked `propose(trials)` for settings and at the end
`recommend(trials)` for the row that it would keep. `trials` has a row a cone (reference cones
apart) with the measured `utility`, NaN where the print failed.
"""

from __future__ import annotations

import warnings
from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.plan import Plan
from experiments.space import Space
from optimiser import fit, propose
from optimiser.dimensions import dimensions, point, recipe
from optimiser.search import best_codes
from tests.benchmarks.race_problems import RaceProblem, Settings, space_of, utility

Codes = npt.NDArray[np.int32]

__all__ = ["STRATEGIES", "Strategy"]


class Strategy(ABC):
    """Base: what all share.

    Parameters
    ----------
    problem : RaceProblem
    seed : int
    first : int
        First cones, the same for all strategies of a seed.
    budget : int
    """

    own_start = False
    """Whether it begins by itself instead of with the shared first cones."""
    ours = False

    def __init__(self, problem: RaceProblem, seed: int, first: int, budget: int) -> None:
        self.problem, self.seed, self.first, self.budget = problem, seed, first, budget
        self.plan: Plan = problem.plan
        self.space: Space = space_of(problem.name)
        self.rng = np.random.default_rng([seed, 77])
        self._pool: Codes | None = None

    @abstractmethod
    def propose(self, trials: pd.DataFrame) -> Settings:
        """Give the settings of the next cone."""

    def recommend(self, trials: pd.DataFrame) -> int:
        """Give the row to keep: the best measured one."""
        return int(np.nanargmax(trials["utility"].to_numpy(dtype=float)))

    def imputed(self, trials: pd.DataFrame) -> npt.NDArray[np.float64]:
        """Utility with failures as bad as the worst seen."""
        values = trials["utility"].to_numpy(dtype=float)
        worst = float(np.nanmin(values)) if np.isfinite(values).any() else 0.0
        return np.where(np.isnan(values), worst, values)

    def settings(self, codes: Codes) -> Settings:
        """Give the settings of one row of codes."""
        return self.space.settings(self.space.frame(codes[None, :]).iloc[0])

    def open_candidates(self, trials: pd.DataFrame) -> pd.DataFrame:
        """Rows of the shortlist that were not measured."""
        assert self.problem.candidates is not None
        names = list(self.plan.variables)
        done = set(map(tuple, trials[names].to_numpy(dtype=float))) if len(trials) else set()
        table = self.problem.candidates
        keep = [tuple(row) not in done for row in table[names].to_numpy(dtype=float)]
        return table[keep].reset_index(drop=True)

    def nearest(self, wanted: Settings, trials: pd.DataFrame) -> Settings:
        """Give the nearest printable recipe, or the nearest open row of the shortlist."""
        target = self.coordinates(pd.DataFrame([wanted]))[0]
        if self.problem.candidates is not None:
            table = self.open_candidates(trials)
            distance = ((self.coordinates(table) - target) ** 2).sum(axis=1)
            return self.space.settings(table.iloc[int(np.argmin(distance))])
        row = pd.DataFrame([wanted]).reindex(columns=list(self.plan.variables))
        codes = self.space.codes(row)
        if self.space.printable_codes(codes)[0]:
            return self.settings(codes[0])
        if self._pool is None:
            self._pool = self.space.sample_codes(4096, 12345)

        def value(field: Codes) -> npt.NDArray[np.float64]:
            return -((self.coordinates(self.space.frame(field)) - target) ** 2).sum(axis=1)

        best = self._pool[[int(np.argmax(value(self._pool)))]]
        while True:
            around = self.space.neighbour_codes(best)
            heights = value(around)
            if not len(around) or heights.max() <= value(best)[0] + 1e-12:
                return self.settings(best[0])
            best = around[[int(np.argmax(heights))]]

    def anything(self, trials: pd.DataFrame) -> Settings:
        """Give any printable recipe, or any open row of the shortlist."""
        if self.problem.candidates is not None:
            table = self.open_candidates(trials)
            return self.space.settings(table.iloc[int(self.rng.integers(len(table)))])
        return self.settings(self.space.sample_codes(1, int(self.rng.integers(2**31)))[0])

    def coordinates(self, frame: pd.DataFrame) -> npt.NDArray[np.float64]:
        """One-hot choices and numbers on 0..1 (log where the plan says so), inactive at 0.5."""
        columns = []
        for name, variable in self.plan.variables.items():
            values = frame[name] if name in frame else pd.Series([None] * len(frame))
            if not variable.numeric:
                columns += [
                    (values.astype(object) == level).to_numpy(dtype=float)
                    for level in variable.grid
                ]
                continue
            change = np.log if variable.scale == "log" else np.asarray
            ends = change(variable.grid.astype(float)[[0, -1]])
            number = change(pd.to_numeric(values).to_numpy(dtype=float))
            unit = (number - ends[0]) / max(ends[1] - ends[0], 1e-12)
            columns.append(np.nan_to_num(unit, nan=0.5))
        return np.column_stack(columns)


class Random(Strategy):
    """Any printable recipe."""

    def propose(self, trials: pd.DataFrame) -> Settings:
        return self.anything(trials)


class Sobol(Strategy):
    """A scrambled Sobol design over printable recipes, in order."""

    def propose(self, trials: pd.DataFrame) -> Settings:
        if self._pool is None:
            self._pool = self.space.sample_codes(self.budget - self.first, self.seed + 1000)
        place = (len(trials) - self.first) % len(self._pool)
        wanted = self.settings(self._pool[place])
        return wanted if self.problem.candidates is None else self.nearest(wanted, trials)


class OneKnob(Strategy):
    """One knob at a time as a maker does it.

    From mid range, each knob in turn at 4 settings (all levels of a choice, at most 4) with the
    others at the best so far; keep the best; next knob, in an order that the seed draws. Each
    further round spans half the range around the best. A common practice, no source.
    """

    own_start = True

    def __init__(self, problem: RaceProblem, seed: int, first: int, budget: int) -> None:
        super().__init__(problem, seed, first, budget)
        self.queue: deque[tuple[str, Any]] = deque()
        self.turn = 0
        self.order = self.rng.permutation(list(self.plan.variables)).tolist()

    def propose(self, trials: pd.DataFrame) -> Settings:
        names = list(self.plan.variables)
        known = trials["utility"].notna().any() if len(trials) else False
        if not known:
            middle = self.settings(
                self.space.active_codes(
                    np.array(
                        [[(len(v.grid) - 1) // 2 for v in self.plan.variables.values()]], np.int32
                    )
                )[0]
            )
            if not len(trials):
                return self.nearest(middle, trials)
            return self.anything(trials)  # the start failed
        base = self.space.settings(trials[names].iloc[self.recommend(trials)])
        done = {tuple(sorted(self.space.settings(r).items())) for _, r in trials[names].iterrows()}
        for _ in range(6 * len(names)):
            while self.queue:
                name, value = self.queue.popleft()
                found = self.nearest(self._with(base, name, value), trials)
                if tuple(sorted(found.items())) not in done:
                    return found
            self._next_knob(base)
        return self.anything(trials)

    def _next_knob(self, base: Settings) -> None:
        tour, place = divmod(self.turn, len(self.order))
        name = self.order[place]
        self.turn += 1
        if name not in base:
            return
        variable = self.plan.variables[name]
        grid = variable.grid
        if variable.numeric:
            here = int(np.argmin(np.abs(grid.astype(float) - float(base[name]))))
            half = (len(grid) - 1) / 2 ** (tour + 1)
            ends = (0.0, len(grid) - 1.0) if tour == 0 else (here - half, here + half)
            places = np.clip(np.round(np.linspace(*ends, 4)), 0, len(grid) - 1).astype(int)
        else:
            places = np.arange(min(len(grid), 4))
        self.queue.extend((name, grid[place]) for place in dict.fromkeys(places.tolist()))

    def _with(self, base: Settings, name: str, value: Any) -> Settings:
        """Change one knob; knobs that become active start mid range."""
        codes = [
            (len(v.grid) - 1) // 2
            if other not in {**base, name: value}
            else int(_place(v.grid, v.numeric, value if other == name else base[other]))
            for other, v in self.plan.variables.items()
        ]
        return self.settings(self.space.active_codes(np.array([codes], dtype=np.int32))[0])


def _place(grid: npt.NDArray[Any], numeric: bool, value: Any) -> int:
    if numeric:
        return int(np.argmin(np.abs(grid.astype(float) - float(value))))
    return [str(level) for level in grid].index(str(value))


class OneKnobFromFirst(OneKnob):
    """The same from the best of the shared first cones."""

    own_start = False


class ScikitOptimize(Strategy):
    """scikit-optimize's defaults: gp_hedge on its own dimensions, repaired to printable."""

    def __init__(self, problem: RaceProblem, seed: int, first: int, budget: int) -> None:
        super().__init__(problem, seed, first, budget)
        from skopt import Optimizer

        self.told = 0
        self.peer = Optimizer(dimensions(self.plan), random_state=seed, n_initial_points=first)

    def propose(self, trials: pd.DataFrame) -> Settings:
        names = list(self.plan.variables)
        values = (-self.imputed(trials)).tolist()[self.told :]
        rows = trials[names].iloc[self.told :]
        points = [point(self.plan, self.space.settings(row)) for _, row in rows.iterrows()]
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            self.peer.tell(points, values)
            wanted = recipe(self.space, self.peer.ask())
        self.told = len(trials)
        return self.nearest(wanted, trials)


class Botorch(Strategy):
    """BoTorch's default single-task model with log noisy expected improvement.

    Choices one-hot, inactive numbers imputed at mid range, failures as bad as the worst seen;
    the acquisition is maximised over printable recipes by the search that ours uses.
    """

    def propose(self, trials: pd.DataFrame) -> Settings:
        import torch
        from botorch.acquisition.logei import qLogNoisyExpectedImprovement
        from botorch.fit import fit_gpytorch_mll
        from botorch.models import SingleTaskGP
        from gpytorch.mlls import ExactMarginalLogLikelihood

        torch.set_num_threads(1)
        torch.manual_seed(1000 * self.seed + len(trials))
        names = list(self.plan.variables)
        x = torch.tensor(self.coordinates(trials[names]), dtype=torch.double)
        y = torch.tensor(self.imputed(trials)[:, None], dtype=torch.double)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            model = SingleTaskGP(x, y)
            fit_gpytorch_mll(ExactMarginalLogLikelihood(model.likelihood, model))
            improvement = qLogNoisyExpectedImprovement(model, x, prune_baseline=True)

            def worth(frame: pd.DataFrame) -> npt.NDArray[np.float64]:
                points = torch.tensor(self.coordinates(frame), dtype=torch.double)
                with torch.no_grad():
                    parts = [improvement(part[:, None, :]) for part in points.split(512)]
                return np.asarray(torch.cat(parts).numpy())

            if self.problem.candidates is not None:
                table = self.open_candidates(trials)
                return self.space.settings(table.iloc[int(np.argmax(worth(table)))])
            order = np.argsort(-self.imputed(trials), kind="stable")
            best = best_codes(
                self.space,
                lambda codes: worth(self.space.frame(codes)),
                self.space.codes(trials[names].iloc[order]),
                seed=self.seed + len(trials),
                exclude=np.zeros((0, len(names)), dtype=np.int32),
                onto=lambda codes: codes,
            )
        assert best is not None
        return self.settings(best)


class Ours(Strategy):
    """Every metric modelled, then scored."""

    ours = True

    def table(self, trials: pd.DataFrame) -> tuple[Plan, pd.DataFrame]:
        """Give the plan and table that the chooser sees."""
        return self.plan, trials.drop(columns="utility")

    def propose(self, trials: pd.DataFrame) -> Settings:
        plan, table = self.table(self._with_reference(trials))
        return dict(propose(plan, table, 1, self.seed, self.problem.candidates)[0].settings)

    def recommend(self, trials: pd.DataFrame) -> int:
        """Give the row that the model holds to be the leader."""
        plan, table = self.table(self._with_reference(trials))
        leader = fit(plan, table, self.seed).leader()
        assert leader is not None
        rows = np.flatnonzero((trials["cone"].astype(str) == leader.cone).to_numpy())
        return int(rows[0]) if len(rows) else super().recommend(trials)

    def _with_reference(self, trials: pd.DataFrame) -> pd.DataFrame:
        """Add the reference cone's measurement of each session."""
        if self.problem.reference is None:
            return trials
        rows = []
        for session in range(self.problem.session(max(len(trials), 1)) + 1):
            heard = self.problem.measure_reference(self.seed, session)
            rows.append(
                self.problem.reference
                | heard
                | {
                    "status": "measured", "cone": 0, "session": f"s{session}",
                    "utility": utility(self.plan, heard),
                }
            )  # fmt: skip
        return pd.concat([trials, pd.DataFrame(rows)], ignore_index=True)


class OursDirect(Ours):
    """Only the score modelled."""

    def table(self, trials: pd.DataFrame) -> tuple[Plan, pd.DataFrame]:
        data = self.plan.to_dict()
        data["metrics"] = {"worth": {"from": "hand", "goal": "maximise"}}
        table = trials.drop(columns=list(self.plan.metrics)).rename(columns={"utility": "worth"})
        return Plan.from_dict(data), table


STRATEGIES: dict[str, Callable[[RaceProblem, int, int, int], Strategy]] = {
    "ours": Ours,
    "ours-direct": OursDirect,
    "botorch": Botorch,
    "skopt": ScikitOptimize,
    "one-knob": OneKnob,
    "one-knob-first": OneKnobFromFirst,
    "sobol": Sobol,
    "random": Random,
}
