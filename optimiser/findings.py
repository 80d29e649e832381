"""The answers of a report: each verb's own function, asked of one fitted model."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from optimiser import dead_ends, front, optimum
from optimiser.answers import Estimate, Optimum
from optimiser.comparing import compare_levels
from optimiser.drift import rig_drift
from optimiser.material import Findings, Lost
from optimiser.spread import estimate_spread

if TYPE_CHECKING:
    import pandas as pd

    from experiments.ledger import Ledger
    from experiments.plan import Plan
    from optimiser.surrogate import Model

__all__ = ["gather_findings"]

Progress = Callable[[float, str], None]


def gather_findings(
    ledger: Ledger, model: Model, seed: int, *, progress: Progress | None = None
) -> Findings:
    """Ask where the optimum lies, what is a dead end, how levels compare, how things scatter.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    model : Model
        From `fit` on its present trials; its drawn functions are shared by all answers.
    seed : int
        Where random steps start.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    Findings
    """
    tell = progress or (lambda _share, _text: None)
    plan, trials = ledger.plan, ledger.table()
    tell(0.0, "seeking each knob's optimum")
    optima = _optima(plan, trials, model, seed)
    tell(0.4, "comparing levels")
    levels = compare_levels(plan, trials, seed, model=model)
    tell(0.7, "looking for dead ends")
    ends = dead_ends(plan, trials, seed=seed, model=model)
    tell(0.8, "splitting the spread")
    return Findings(
        again=_again(model),
        optima=optima,
        levels=levels,
        dead_ends=ends,
        front=front(plan, trials, seed=seed, model=model) if plan.goal == "trade" else None,
        spread=estimate_spread(plan, trials),
        drift=rig_drift(plan, ledger.wide_table()),
        lost=[
            Lost(cone.number, cone.status, cone.settings, cone.why)
            for cone in ledger.cones()
            if cone.status in ("failed", "set aside")
        ],
    )


def _optima(plan: Plan, trials: pd.DataFrame, model: Model, seed: int) -> list[Optimum]:
    """Seek the optimum of each number knob; levels are compared instead."""
    return [
        optimum(plan, trials, variable=name, seed=seed, model=model)
        for name, variable in plan.variables.items()
        if variable.kind != "choice"
    ]


def _again(model: Model) -> Estimate | None:
    """Foretell the score of another cone of the leader's recipe, measured once."""
    leader = model.leader()
    if leader is None:
        return None
    return model.predict_score(model.evidence.space.rows([leader.settings]))[0]
