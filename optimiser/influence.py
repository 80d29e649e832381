"""Which knobs matter: Sobol indices and main effects of a metric or of the score."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.errors import Problem, TrialsError
from experiments.formulas import Formulas
from experiments.plan import Plan, Variable
from optimiser.answers import Estimate, Knob, Pair, Sensitivity
from optimiser.fitting import fit
from optimiser.interplay import EVERY, pairs
from optimiser.paths import DrawnFunctions
from optimiser.sobol import Function, Indices, Sample, draw_sample, sobol_indices
from optimiser.surrogate import Model, Progress, estimate, unknown
from optimiser.threads import one_thread
from optimiser.wording import many

__all__ = ["sensitivity"]

Floats = npt.NDArray[np.float64]

_SIZE = 768
_EFFECT_BASE = 24
_EFFECT_SETTINGS = 13
_NAMED = 3  # pairs that a sentence names at most
_MATTERS = 0.05  # share of the variance from which a knob counts
_STRONG = 3.0  # log Bayes factor from which evidence is called strong (Kass & Raftery 1995)
_AGAINST = -1.0


@one_thread
def sensitivity(
    plan: Plan,
    trials: pd.DataFrame,
    metric: str = "score",
    seed: int = 0,
    *,
    model: Model | None = None,
    progress: Progress | None = None,
) -> Sensitivity:
    """Say which variables move a metric or the score.

    Parameters
    ----------
    plan : Plan
    trials : DataFrame
        One row a measurement (see `Ledger.table`).
    metric : str
        A metric of the plan, or ``'score'``.
    seed : int
        Repeats exactly on the same versions.
    model : Model, optional
        From `fit` on the same plan and trials.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    Sensitivity
        First-order, second-order and total Sobol indices with 90 % intervals over functions drawn
        from the model's posterior, and main effects. NaN and 'cannot tell yet' while there is
        no model.

    Raises
    ------
    TrialsError
        Unknown metric, or a table that does not fit the plan.
    """
    if metric != "score" and metric not in plan.metrics:
        known = ", ".join([*plan.metrics, "score"])
        raise TrialsError(Problem("metric", repr(metric), f"one of {known}"))
    if model is None:
        model = fit(plan, trials, seed, progress=progress)
    unit = model.goals.unit if metric == "score" else plan.metrics[metric].unit
    ready = model.scorable if metric == "score" else metric in model.metrics
    if not ready:
        return _cannot_tell(model, metric, unit)
    value = _valued(model, metric, seed)

    if progress:
        progress(0.5, f"how {metric} depends on the knobs")
    sample = draw_sample(model.evidence.space, _SIZE, seed)
    indices = sobol_indices(value, sample, seed=seed)
    cones = _cones(model, metric)
    metrics = model.goals.needed if metric == "score" else [metric]
    knobs = []
    for place, name in enumerate(plan.variables):
        if progress:
            progress(0.6 + 0.3 * place / len(plan.variables), f"weighing the evidence for {name}")
        evidence = _evidence(model, metrics, name)
        knobs.append(_knob(sample, place, indices, value, cones, evidence))
    if progress:
        progress(0.9, "weighing pairs of knobs")
    some = _valued(model, metric, seed, every=EVERY)
    together = pairs(model.evidence.space, value, some, cones, seed)
    knobs.sort(key=lambda knob: -np.nan_to_num(knob.total.mean))
    notes = list(model.notes)
    if not np.isfinite(indices.total).any():
        notes.append(f"{metric} does not vary over the printable recipes: nothing to share out.")
    return Sensitivity(
        metric, unit, knobs, cones, model.calibration(), notes,
        _text(plan, metric, knobs, cones) + _pair_text(plan, together), together,
    )  # fmt: skip


def _valued(model: Model, metric: str, seed: int, every: int = 1) -> Function:
    """Give drawn functions of codes; all of them, or one in so many."""
    functions = DrawnFunctions(model, metric, seed=seed, every=every)
    return lambda codes: np.nan_to_num(functions(model.encoding.of_codes(codes)))


def _cones(model: Model, metric: str) -> int:
    """Measured cones behind the answer: those of the metric with fewest."""
    names = model.goals.needed if metric == "score" else [metric]
    return min(model.metrics[name].cones for name in names)


def _knob(
    sample: Sample, place: int, indices: Indices, value: Function, cones: int, evidence: float
) -> Knob:
    """Gather one variable's indices, main effect and verdict."""
    variable = list(sample.space.plan.variables.values())[place]
    active = sample.recipes()[:, place] >= 0
    # Shares by definition; a finite sample may overshoot.
    first = estimate(np.clip(indices.first_active[:, place], 0.0, 1.0), cones)
    total = estimate(np.clip(indices.total_active[:, place], 0.0, 1.0), cones)
    return Knob(
        variable=variable.name,
        unit=variable.unit,
        first=first,
        total=total,
        effect=_main_effect(sample, place, variable, value),
        verdict=_verdict(total, evidence),
        share_active=float(active.mean()) if len(active) else float("nan"),
        evidence=evidence,
    )


def _verdict(total: Estimate, evidence: float) -> str:
    """Judge by the evidence for the variable, and by how much it would move if it did.

    The index alone would not do: what a model believes of a knob that nothing is known about is
    not zero.
    """
    if not total.known:
        return "cannot tell yet"
    if evidence >= _STRONG and total.low > _MATTERS:
        return "matters"
    return "no effect seen" if total.high < _MATTERS or evidence < _AGAINST else "may matter"


def _evidence(model: Model, metrics: list[str], variable: str) -> float:
    """Give the largest metric's log Bayes factor for a variable and all that hangs on it."""
    without = _hangs_on(model.plan, variable)
    processes = [model.metrics[name].process for name in metrics]
    return max(process.log_evidence() - process.log_evidence(without) for process in processes)


def _hangs_on(plan: Plan, variable: str) -> set[str]:
    """Name a variable, those that exist only with it, and what is derived from any of them."""
    names = {variable}
    for name, child in plan.variables.items():
        if names & set(child.only_when):
            names.add(name)
    for name, expression in Formulas(plan).derived.items():
        if names & expression.names:
            names.add(name)
    return names


def _main_effect(sample: Sample, place: int, variable: Variable, value: Function) -> pd.DataFrame:
    """Mean over all other settings, at each setting of one variable, where it is active."""
    space = sample.space
    base = sample.codes[sample.recipes()[:, place] >= 0][:_EFFECT_BASE]
    grid = variable.grid
    shown = np.unique(
        np.linspace(0, len(grid) - 1, min(len(grid), _EFFECT_SETTINGS)).round().astype(np.int32)
    )
    codes = np.tile(base, (len(shown), 1))
    codes[:, place] = np.repeat(shown, len(base))
    codes = np.asarray(space.active_codes(codes))
    codes = codes[space.printable_codes(codes)]
    values, rows = value(codes), []
    for code in np.unique(codes[:, place]):
        means = values[:, codes[:, place] == code].mean(axis=1)
        low, high = np.quantile(means, [0.05, 0.95])
        rows.append((grid[code], float(means.mean()), float(low), float(high)))
    return pd.DataFrame(rows, columns=["setting", "mean", "low", "high"])


def _cannot_tell(model: Model, metric: str, unit: str) -> Sensitivity:
    """Answer while there is no model."""
    blank = unknown(model.cones)
    effect = pd.DataFrame(columns=["setting", "mean", "low", "high"], dtype=float)
    knobs = [
        Knob(variable.name, variable.unit, blank, blank, effect, "cannot tell yet")
        for variable in model.plan.variables.values()
    ]
    found = many(model.cones, "measured cone")
    text = f"Cannot tell yet which knobs move {metric}: {found}."
    return Sensitivity(
        metric, unit, knobs, model.cones, model.calibration(), list(model.notes), text
    )


def _text(plan: Plan, metric: str, knobs: list[Knob], cones: int) -> str:
    """One plain sentence."""
    goal = plan.metrics[metric].label if metric in plan.metrics else metric
    words = {
        "matters": ("{} matters for the " + goal, "{} matter for the " + goal),
        "may matter": ("{} may matter", "{} may matter"),
        "no effect seen": ("no effect seen of {}", "no effect seen of {}"),
        "cannot tell yet": ("cannot tell yet about {}", "cannot tell yet about {}"),
    }
    parts = []
    for verdict, (one, several) in words.items():
        names = [plan.variables[k.variable].label for k in knobs if k.verdict == verdict]
        if names:
            parts.append((one if len(names) == 1 else several).format(", ".join(names)))
    return f"From {cones} cones: {'; '.join(parts)}."


def _pair_text(plan: Plan, together: list[Pair]) -> str:
    """Name the pairs that act together, the strongest first."""
    labels = {name: variable.label for name, variable in plan.variables.items()}
    seen = [f"{labels[p.a]} with {labels[p.b]}" for p in together if p.verdict == "seen"]
    return f" Acting together: {', '.join(seen[:_NAMED])}." if seen else ""
