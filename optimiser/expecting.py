"""What a recipe is expected to measure: metrics, score and whole curves."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from experiments.errors import Problem, RecipeError
from experiments.plan import Plan
from experiments.space import Space
from optimiser.curve_checking import check_curves
from optimiser.curve_metrics import agreements
from optimiser.curve_model import CurveModel, fit_curves
from optimiser.curve_readings import CurveReadings
from optimiser.curve_wording import tell_expectation
from optimiser.fitting import fit
from optimiser.partial import read_settings
from optimiser.records.estimates import Settings
from optimiser.records.expectations import CurveBand, Expectation
from optimiser.surrogate import Model
from optimiser.wording import recipe_line

__all__ = ["expect"]

Progress = Callable[[float, str], None]


def expect(
    plan: Plan,
    trials: pd.DataFrame,
    readings: CurveReadings,
    recipe: Mapping[str, Any] | None = None,
    *,
    cone: int | str | None = None,
    seed: int = 0,
    model: Model | None = None,
    curves: CurveModel | None = None,
    progress: Progress | None = None,
) -> Expectation:
    """Foretell metrics and curves of a recipe, or of a cone as if it had never been made.

    Parameters
    ----------
    plan : Plan
    trials : DataFrame
        One row a measurement with its number in ``measurement`` (see `Ledger.wide_table`).
    readings : CurveReadings
        From `read_curves`.
    recipe : mapping, optional
        Whole settings, inactive variables absent. A number may lie off its steps, within the
        limits or what was measured, and rules may be broken, as of a print that came out
        otherwise; a note says so.
    cone : int or str, optional
        Instead of a recipe: a cone of the table. Everything is learnt without it.
    seed : int
        Repeats exactly on the same versions.
    model, curves : Model, CurveModel, optional
        From `fit` and `fit_curves` on the same trials, to save learning again; not used for a
        cone.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    Expectation

    Raises
    ------
    RecipeError
        The recipe is not whole or lies outside the limits, or there is no such cone.
    TrialsError
        The table does not fit the plan.
    """
    tell = progress or (lambda _share, _text: None)
    space = Space(plan)
    own = _rows_of(trials, cone)
    if cone is not None:
        model, curves = None, None
        recipe = space.settings(own.iloc[0])
    settings = space.complete(recipe or {}, off_grid=True)
    others = trials.drop(index=own.index)
    tell(0.0, "learning the metrics")
    model = model or fit(plan, others, seed=seed)
    if cone is None:
        read_settings(model, "recipe", settings)
    curves = curves or fit_curves(
        plan, others, readings, seed,
        encoding=model.encoding,
        progress=lambda share, said: tell(0.3 + 0.4 * share, said),
    )  # fmt: skip
    tell(0.7, "foretelling the curves")
    rows = space.rows([settings])
    expected = model.expected(rows)[0]
    bands = curves.predict(settings)
    (printing,) = model.printability.estimate(model.encoding(rows))
    heard = own[own["status"] == "measured"]
    bands = _with_measured(bands, curves, readings, list(heard.get("measurement", ())))
    heard = heard.head(1)
    tell(0.8, "reading metrics from the curves")
    answer = Expectation(
        settings=settings,
        cone=str(cone) if cone is not None else None,
        prints=printing.mean,
        printing=printing,
        expected=expected,
        measured=_values(plan, heard),
        score=model.predict_score(rows)[0],
        seen_score=float(model.scores(heard)[0]) if len(heard) else float("nan"),
        curves=bands,
        agreements=agreements(plan, expected, bands),
        checks=check_curves(curves),
        cones=model.cones,
        text="",
        calibration=model.calibration(),
        notes=[*model.notes, *curves.notes, *_unprintable(space, settings)],
    )
    told = [_silent(own), tell_expectation(plan, answer)]
    return replace(answer, text=" ".join(filter(None, told)))


def _rows_of(trials: pd.DataFrame, cone: int | str | None) -> pd.DataFrame:
    """Give the rows of a cone; none of None."""
    if cone is None:
        return trials.iloc[:0]
    labels = trials["cone"].map(str) if "cone" in trials else pd.Series("", trials.index)
    own = trials[labels == str(cone)]
    if not len(own):
        raise RecipeError(Problem("cone", str(cone), "a cone of the table"))
    return own


def _with_measured(
    bands: Mapping[str, CurveBand],
    curves: CurveModel,
    readings: CurveReadings,
    numbers: Sequence[int],
) -> dict[str, CurveBand]:
    """Lay the first curve of each kind that a cone gave beside its band."""
    own = [line for line in readings.curves if line.measurement in numbers]
    own.sort(key=lambda line: numbers.index(line.measurement), reverse=True)
    seen = curves.put(own)  # of several curves of one kind the last one stays
    return {name: replace(band, measured=seen.get(name)) for name, band in bands.items()}


def _unprintable(space: Space, settings: Settings) -> list[str]:
    """Say why the plan would not have a recipe printed."""
    try:
        space.complete(settings)
    except RecipeError as error:
        found = [each for each in error.problems if isinstance(each, Problem)]
        why = [_why(space.plan, settings, each.where) for each in found]
        return [f"By the plan this recipe could not be printed: {'; '.join(why)}."]
    return []


def _why(plan: Plan, settings: Settings, where: str) -> str:
    """Name what keeps a recipe from being printed: a setting off its steps, or a rule."""
    if where in settings:
        return f"{recipe_line(plan, {where: settings[where]})} is off its steps"
    return f"it breaks the rule '{where.removeprefix('rules.').replace('_', ' ')}'"


def _values(plan: Plan, heard: pd.DataFrame) -> dict[str, float]:
    """Give the metrics of a cone's first measurement."""
    if not len(heard):
        return {}
    columns = {name: pd.to_numeric(heard[name], errors="coerce") for name in plan.metrics}
    return {name: float(column.iloc[0]) for name, column in columns.items()}


_STANDS = {
    "failed": "failed, so nothing was heard of it",
    "planned": "is planned and not printed yet",
    "printed": "is printed and not measured yet",
    "set aside": "was set aside, so what it gave does not count",
}


def _silent(own: pd.DataFrame) -> str:
    """Say why a cone has nothing to be compared with; empty where it has."""
    if not len(own) or (own["status"] == "measured").any():
        return ""
    return f"Cone {own['cone'].iloc[0]} {_STANDS[own['status'].iloc[0]]}: foretold without it."
