"""The recommendation as tables of text: the same rows in the terminal and in the report."""

from __future__ import annotations

import math
from collections.abc import Mapping

from experiments.plan import Plan
from optimiser import wording
from optimiser.answer_tables import Table
from optimiser.chances import chance_to_print
from optimiser.production_words import best_allowed
from optimiser.records.production import Candidate, Recommendation

__all__ = ["candidate_table", "confirmation_table", "recipe_table", "recommendation_tables"]

_SURELY = 0.995  # where nearly every print of all rivals is of use, no column says so


def recommendation_tables(
    answer: Recommendation, plan: Plan, labels: Mapping[str, str]
) -> list[Table]:
    """Give every table of the answer; none while nothing can be told."""
    if answer.recipe is None:
        return []
    return [
        recipe_table(answer, plan, labels),
        candidate_table(answer, plan),
        confirmation_table(answer, plan, labels),
    ]


def recipe_table(answer: Recommendation, plan: Plan, labels: Mapping[str, str]) -> Table:
    """List the recipe, what is expected of it, and the cones that stand near."""
    assert answer.recipe is not None
    rows = [
        [name, _strays(value, plan, variable)]
        for (name, value), variable in zip(
            wording.recipe_rows(plan, answer.recipe.settings),
            [name for name in plan.variables if name in answer.recipe.settings],
            strict=True,
        )
    ]
    units = {name: metric.unit for name, metric in plan.metrics.items()}
    rows += [
        [f"{labels[name]} of a new cone", wording.interval(each, units[name])]
        for name, each in answer.expected.items()
        if each.known
    ]
    rows += [
        [
            f"a print keeps {labels[name]} "
            f"{wording.with_unit(str(plan.metrics[name].limit), units[name])}",
            wording.percent(chance),
        ]
        for name, chance in answer.recipe.limits.items()
    ]
    if math.isfinite(answer.recipe.prints):
        chance = chance_to_print(answer.recipe.prints, answer.recipe.printing)
        rows.append(["comes off the printer", chance])
    if any(variable.tolerance > 0 for variable in plan.variables.values() if variable.numeric):
        rows.append(["prints beyond low or high", wording.percent(answer.outside)])
        if plan.rules:
            rows.append(["prints across a rule", wording.percent(answer.over_rules)])
    rows += [
        [f"within {100 * share:g} % of {best_allowed(answer.recipe)}", wording.percent(chance)]
        for share, chance in sorted(answer.within.items())
    ]
    rows += [[f"near: cone {each.cone}", _changes(each.changes, plan)] for each in answer.nearest]
    return Table("The recipe for production, 90 % intervals", ["", ""], rows)


def _strays(value: str, plan: Plan, name: str) -> str:
    """Write a setting with its tolerance."""
    variable = plan.variables[name]
    if not variable.numeric or variable.tolerance == 0:
        return value
    return f"{value}, sd {wording.with_unit(wording.setting(variable.tolerance), variable.unit)}"


def _changes(changes: Mapping[str, tuple[object, object]], plan: Plan) -> str:
    if not changes:
        return "the same recipe"
    return ", ".join(
        f"{plan.variables[name].label} {wording.setting(there)} for {wording.setting(here)}"
        for name, (there, here) in changes.items()
    )


def candidate_table(answer: Recommendation, plan: Plan) -> Table:
    """List the recommended recipe and its rivals."""
    assert answer.recipe is not None
    name, unit = _scored(plan), wording.score_unit(plan)
    listed = [answer.recipe, *answer.others]
    made = wording.intervals([each.made for each in listed], unit, most=3)
    exact = wording.intervals([each.exact for each in listed], unit, most=3)
    told = any(each.sound < _SURELY for each in listed)
    rows = [
        [
            _role(each),
            "as above"
            if each is answer.recipe
            else wording.sides(plan, each.settings, answer.recipe.settings)[0],
            as_made,
            as_set,
            *([wording.percent(each.sound)] if told else []),
            wording.percent(each.beats),
        ]
        for each, as_made, as_set in zip(listed, made, exact, strict=True)
    ]
    heads = ["recipe", "where it differs", f"{name} as made"]
    heads += [f"{name} if exact", *([_sound(plan)] if told else []), "better than recommended"]
    return Table("Beside its rivals, 90 % intervals", heads, rows, marked=frozenset({0}))


def _sound(plan: Plan) -> str:
    """Head the share of the prints that are of use."""
    limited = any(metric.limit for metric in plan.metrics.values())
    return "comes off, keeps limits" if limited else "comes off the printer"


def _scored(plan: Plan) -> str:
    return wording.describe(plan)[wording.score_name(plan)]


def _role(each: Candidate) -> str:
    cones = f", cone{'s' * (len(each.cones) > 1)} {', '.join(each.cones)}" if each.cones else ""
    return f"{each.role}{cones}"


def confirmation_table(answer: Recommendation, plan: Plan, labels: Mapping[str, str]) -> Table:
    """List what the confirmation run must show, and how often it errs."""
    run = answer.confirmation
    assert run is not None
    name, unit = _scored(plan), wording.score_unit(plan)
    raw = plan.metrics.get(wording.score_name(plan))
    rising = raw is None or raw.goal != "minimise"

    def told(value: float) -> str:
        return wording.with_unit(wording.number(value, run.sd), unit)

    rows = [
        ["cones to print and measure", str(run.cones)],
        [f"their mean {name}", f"{'at least' if rising else 'at most'} {told(run.threshold)}"],
        ["expected sd of one cone", wording.with_unit(wording.number(run.sd, run.sd), unit)],
    ]
    for proof in run.limits:
        scale = " of the logarithms" if proof.log else ""
        metric = plan.metrics[proof.metric]
        bar = wording.with_unit(wording.number(proof.bar), metric.unit)
        rows.append(
            [
                f"{labels[proof.metric]} {wording.with_unit(str(proof.limit), metric.unit)}",
                f"the mean{scale} keeps it by {proof.factor:.2f} of the cones' own sd: about "
                f"{bar} if they scatter as expected; passes with {wording.percent(proof.passes)}",
            ]
        )
    rows.append(["passes if the model is right", wording.percent(run.passes)])
    rows.append([f"fails with 95 % at a true {name} of", told(run.caught)])
    if math.isfinite(run.fails):
        as_good = f"fails if it is as the runner-up, {told(run.rival)}"
        rows.append([as_good, wording.percent(run.fails)])
    if run.limits:
        rows.append(["fails if nine of ten prints keep a limit", wording.percent(0.95)])
    return Table("Its confirmation run", ["", ""], rows)
