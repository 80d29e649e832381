"""The tables of a report: rows of text, ready for the template."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import compress
from typing import TYPE_CHECKING, Any

import numpy as np

from experiments.acoustics.catalogue import MEASURES
from experiments.trials import is_mass
from optimiser import wording
from optimiser.answers import Estimate
from optimiser.document import Term
from optimiser.material import Material
from optimiser.text_table import Table

if TYPE_CHECKING:
    from experiments.plan import Metric, Plan, Variable

__all__ = [
    "cone_table",
    "definitions",
    "expectations",
    "lost_table",
    "measurement_table",
    "metric_table",
    "variable_table",
]


def _head(label: str, unit: str) -> str:
    return f"{label} ({unit})" if unit else label


def _range(variable: Variable) -> str:
    """Say which values a variable may take."""
    if variable.levels is not None:
        return ", ".join(wording.setting(level) for level in variable.levels)
    ends = f"{wording.setting(variable.low)} to {wording.setting(variable.high)}"
    return f"{ends} in steps of {wording.setting(variable.step)}" if variable.step else ends


def variable_table(plan: Plan) -> Table:
    """List the variables."""
    rows = []
    for variable in plan.variables.values():
        when = "; ".join(
            f"{parent.replace('_', ' ')} is {' or '.join(map(wording.setting, values))}"
            for parent, values in variable.only_when.items()
        )
        strays = variable.tolerance if variable.numeric else 0.0
        rows.append(
            [
                _head(variable.label, variable.unit),
                variable.kind,
                _range(variable),
                when or "always",
                wording.with_unit(wording.setting(strays), variable.unit) if strays else "",
                f"{variable.setup_minutes:g} min" if variable.setup_minutes else "",
                "all cones of a plate" if variable.per == "plate" else "",
                variable.note,
            ]
        )
    heads = [
        "variable", "kind", "values", "used when", "strays by (sd)", "set-up", "shared by",
        "remark",
    ]  # fmt: skip
    told = [any(row[place] for row in rows) or place < 4 for place in range(len(heads))]
    heads, *rows = (list(compress(row, told)) for row in (heads, *rows))
    return Table(f"Variables ({len(rows)})", heads, rows)


def _ends(metric: Metric) -> tuple[str, str]:
    """Write a metric's poor and good values."""
    if isinstance(metric.poor, tuple):
        poor = " and ".join(wording.setting(end) for end in metric.poor)
    else:
        poor = wording.setting(metric.poor)
    return poor, wording.setting(metric.good)


def metric_table(plan: Plan) -> Table:
    """List the metrics and what is good and bad."""
    rows = []
    for metric in plan.metrics.values():
        options = ", ".join(f"{key} {_option(value)}" for key, value in metric.options.items())
        rows.append(
            [
                _head(metric.label, metric.unit),
                f"{metric.measure}{f' ({options})' if options else ''}",
                metric.source,
                metric.goal,
                *_ends(metric),
                wording.setting(metric.weight) if metric.goal != "watch" else wording.UNKNOWN,
                str(metric.limit) if metric.limit else wording.UNKNOWN,
            ]
        )
    heads = ["metric", "measure", "from", "goal", "poor (0)", "good (1)", "weight", "limit"]
    return Table(f"Metrics ({len(rows)})", heads, rows)


def _option(value: Any) -> str:
    if isinstance(value, list | tuple):
        return " to ".join(wording.setting(each) for each in value)
    return wording.setting(value)


def cone_table(material: Material) -> Table:
    """Show every cone's recipe, the leader's row emphasised."""
    plan, trials = material.plan, material.trials
    cones = trials.drop_duplicates("cone") if len(trials) else trials
    heads = ["cone", "status", *(_head(v.label, v.unit) for v in plan.variables.values())]
    best = _best(material)
    rows: list[list[str]] = []
    marked: set[int] = set()
    for index, (_, trial) in enumerate(cones.iterrows()):
        cone = wording.setting(trial.get("cone"))
        if cone == best:
            marked.add(index)
        settings = [wording.setting(trial[name]) for name in plan.variables]
        rows.append([cone, str(trial["status"]), *settings])
    title = f"Recipes of {wording.many(len(rows), 'cone')}"
    return Table(title, heads, rows, frozenset(marked), narrow=True)


def measurement_table(material: Material) -> Table:
    """Show every measurement, the leader's rows emphasised."""
    plan = material.plan
    measured = (material.trials["status"] == "measured").to_numpy(dtype=bool)
    trials, scores = material.trials[measured], material.scores[measured]
    sessions = "session" in trials and trials["session"].notna().any()
    heads = ["cone", *(["session"] if sessions else [])]
    heads += [_head(m.label, m.unit) for m in plan.metrics.values()]
    scored = wording.score_name(plan) not in plan.metrics
    heads += ["score"] if scored else []
    numbers = [wording.column(trials[name]) for name in plan.metrics]
    numbers += [wording.column(scores)] if scored else []
    best = _best(material)
    rows: list[list[str]] = []
    marked: set[int] = set()
    for index, (_, trial) in enumerate(trials.iterrows()):
        cone = wording.setting(trial.get("cone"))
        if cone == best:
            marked.add(index)
        session = [str(trial["session"]) if _given(trial["session"]) else "–"] if sessions else []
        rows.append([cone, *session, *(cells[index] for cells in numbers)])
    title = wording.many(len(rows), "measurement")
    return Table(title, heads, rows, frozenset(marked), narrow=True)


def lost_table(material: Material) -> Table:
    """List the cones that failed or were set aside, and why."""
    rows = [
        [str(each.cone), each.status, each.why or "nobody wrote down why",
         wording.recipe_line(material.plan, each.settings)]
        for each in material.findings.lost
    ]  # fmt: skip
    return Table("Failed or set aside", ["cone", "status", "why", "recipe"], rows)


def _best(material: Material) -> str | None:
    return str(material.leader.cone) if material.leader is not None else None


def _given(value: Any) -> bool:
    return isinstance(value, str) and bool(value)


def expectations(
    plan: Plan,
    expected: Mapping[str, Estimate],
    score: Estimate,
    measured: Mapping[str, float] | None = None,
) -> Table:
    """List what is expected of a cone, and what was measured where that is known."""
    rows = []
    if score.known and wording.score_name(plan) not in plan.metrics:
        rows.append(["score", wording.interval(score), _seen("score", measured, score)])
    for name, each in expected.items():
        metric = plan.metrics.get(name)
        if each.known and metric is not None:
            cells = [metric.label, wording.interval(each, metric.unit)]
            rows.append([*cells, _seen(name, measured, each)])
    heads = ["metric", "another such cone, measured once (90 %)", "measured, mean"]
    if measured is None:
        heads = ["metric", "one measurement (90 %)"]
        return Table("Expected", heads, [row[:2] for row in rows])
    return Table("Expected of another such cone, and measured on this one", heads, rows)


def _seen(name: str, measured: Mapping[str, float] | None, near: Estimate) -> str:
    value = (measured or {}).get(name, np.nan)
    return wording.beside(value, near)


def definitions(plan: Plan) -> list[Term]:
    """Give every measure's definition, those that the plan uses first."""
    used: dict[str, list[str]] = {}
    for metric in plan.metrics.values():
        full = "mass_g" if is_mass(metric) else metric.measure
        used.setdefault(full, []).append(metric.label)
    return [
        Term(
            label=each.label,
            name=each.name,
            unit=each.unit,
            used=", ".join(used.get(each.name, [])),
            definition=each.definition,
            source=f"Source: {each.standard}"
            + (f" Not meant: {each.other_readings}" if each.other_readings else ""),
        )
        for each in sorted(MEASURES.values(), key=lambda each: each.name not in used)
    ]
