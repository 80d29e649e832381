"""The answers of a report: each verb's own function, asked of one fitted model."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from optimiser import ageing, dead_ends, expect, front, optimum, recommend
from optimiser.ageing_records import Ageing
from optimiser.answers import Estimate, Optimum
from optimiser.comparing import compare_levels
from optimiser.curve_readings import read_curves
from optimiser.drift import rig_drift
from optimiser.material import Coming, Findings, Lost
from optimiser.records.expectations import Expectation
from optimiser.spread import estimate_spread

if TYPE_CHECKING:
    import pandas as pd

    from experiments.ledger import Ledger
    from experiments.plan import Plan
    from optimiser.surrogate import Model

__all__ = ["gather_findings"]

Progress = Callable[[float, str], None]


def gather_findings(
    ledger: Ledger,
    model: Model,
    seed: int,
    *,
    coming: Sequence[Coming] = (),
    progress: Progress | None = None,
) -> Findings:
    """Ask where optima lie, what is a dead end, how levels compare, what to make, what ages.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    model : Model
        From `fit` on its present trials; its drawn functions are shared by all answers.
    seed : int
        Where random steps start.
    coming : list of Coming, optional
        What is printed next; the first one's curves are foretold.
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
    tell(0.3, "comparing levels")
    levels = compare_levels(plan, trials, seed, model=model)
    tell(0.5, "looking for dead ends")
    ends = dead_ends(plan, trials, seed=seed, model=model)
    tell(0.6, "seeking the recipe for production")
    production = recommend(plan, trials, seed, model=model)
    tell(0.7, "foretelling curves")
    foretold = _foretold(ledger, model, seed, coming)
    tell(0.8, "comparing the kept cones' ages")
    aged = _ageing(ledger, seed)
    tell(0.9, "splitting the spread")
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
        recommendation=production,
        ageing=aged,
        foretold=foretold,
    )


def _foretold(
    ledger: Ledger, model: Model, seed: int, coming: Sequence[Coming]
) -> Expectation | None:
    """Foretell the curves of the first cone to come; none of one that left its card's steps."""
    if not coming or not model.metrics:
        return None
    recipe, space = coming[0].pick.settings, model.evidence.space
    if not space.printable(space.rows([recipe])).all():
        return None
    trials, readings = ledger.wide_table(strict=True), read_curves(ledger)
    return expect(ledger.plan, trials, readings, recipe, seed=seed, model=model)


def _ageing(ledger: Ledger, seed: int) -> list[Ageing]:
    """Tell how kept cones drift, by each clock by which some was heard at two ages."""
    plan, trials = ledger.plan, ledger.wide_table(strict=True)
    at = {} if plan.age is None else {plan.age.clock: plan.age.at}
    found = [
        ageing(plan, trials, by, at=at.get(by), seed=seed) for by in ("light_hours", "age_days")
    ]
    return [each for each in found if each.cones]


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
