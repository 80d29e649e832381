"""The report: one self-contained page that says what was done, found and left open."""

from __future__ import annotations

import platform
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from experiments.outputs import MARK, seal, write_whole
from optimiser import wording
from optimiser.answer_tables import (
    EVIDENCE,
    RULE,
    SAVED,
    Table,
    chart_table,
    check_table,
    dead_end_table,
    front_table,
    knob_table,
    level_table,
    offset_table,
    optimum_table,
    outlook_table,
    sitting_table,
    spread_table,
    within,
)
from optimiser.answers import Pick
from optimiser.cautions import for_plan
from optimiser.material import Coming, Material
from optimiser.report_pictures import pictures
from optimiser.report_tables import (
    cone_table,
    definitions,
    expectations,
    lost_table,
    measurement_table,
    metric_table,
    variable_table,
)
from optimiser.templating import environment

__all__ = ["METHODS", "SECTIONS", "report_html", "versions", "write_report"]

SECTIONS = {
    "summary": "Summary",
    "plan": "Plan",
    "table": "Table",
    "curves": "Curves",
    "best": "Best cone",
    "next": "Next",
    "front": "Front",
    "knobs": "Knobs",
    "optimum": "Optimum",
    "comparison": "Comparison",
    "deadends": "Dead ends",
    "outlook": "Outlook",
    "spread": "Repeatability",
    "drift": "Rig drift",
    "calibration": "Calibration",
    "cautions": "Cautions",
    "definitions": "Definitions",
    "methods": "Methods",
    "unsaid": "What could not be said",
}

METHODS = (
    "Each metric has its own Gaussian process, averaged over hyperparameter sets drawn from their "
    "posterior, so that intervals stay honest with few cones (Rasmussen & Williams 2006; "
    "variables that a recipe does not use: Hutter & Osborne 2013).",
    "Metrics are combined into one score: weighted geometric mean of desirabilities "
    "(Derringer & Suich 1980). The score is computed from the metrics' models, not modelled "
    "itself (Astudillo & Frazier 2019).",
    "The next cone has the largest noisy expected improvement (Letham et al. 2019; in log form, "
    "Ament et al. 2023), times the probability that it prints. Only printable recipes are "
    "searched.",
    "Where the plan trades metrics, the next cone has the largest expected improvement of the "
    "hypervolume between the poor values and the front (Daulton, Balandat & Bakshy 2021), in "
    "units of the box from poor to good; weights and shapes play no part in it.",
    "Whether a recipe prints: a Gaussian process for classes, Laplace's approximation "
    "(Rasmussen & Williams 2006, 3.4), from failed and measured cones. A failed cone never enters "
    "a metric's model.",
    "Knobs: Sobol indices over the printable recipes (Sobol' 2001), the total ones by Jansen's "
    "estimator (1999); their intervals hold the model's own uncertainty.",
    "Calibration: closed-form leave-one-out residuals (Rasmussen & Williams 2006, 5.4.2), whole "
    "cones left out; the hyperparameters are not learnt anew.",
    "Optimum, comparison, dead ends: whole functions drawn from the models' posterior (Wilson et "
    "al. 2020) at printable recipes; each drawn function has its own best recipe.",
    "Repeatability and session offsets: a linear mixed model by restricted maximum likelihood; "
    "the reference cone on an individuals chart (NIST/SEMATECH e-Handbook, 6.3.2.2); an offset is "
    "told from 0 by an F test of the metric's sessions (false discovery rate over the metrics "
    "10 %, Benjamini & Hochberg 1995) and its own 90 % interval.",
    "Frequency bands: IEC 61260-1:2014; levels are energy means per logarithmic interval.",
    "Sweep recordings: Farina 2000; Novak, Lotton & Simon 2015.",
)


def versions() -> dict[str, str]:
    """Give the versions that a result depends on."""
    found = {"python": platform.python_version()}
    for name in ("coneloop", "numpy", "scipy", "scikit-learn", "pandas"):
        try:
            found[name] = version(name)
        except PackageNotFoundError:  # run from a checkout that is not installed
            found[name] = "not installed"
    return found


def report_html(material: Material) -> str:
    """Write the report.

    Parameters
    ----------
    material : Material
        What to show.

    Returns
    -------
    str
        HTML that fetches nothing; every text is escaped. Equal material gives equal text.
    """
    plan = material.plan
    found = ", ".join(f"{name} {text}" for name, text in versions().items())
    context: dict[str, Any] = {
        "plan": plan,
        "sections": [
            (key, title)
            for key, title in SECTIONS.items()
            if key != "front" or material.findings.front
        ],
        "counts": _counts(material),
        "made": material.made,
        "best": _best(material),
        "coming": [_coming(material, each) for each in material.coming],
        "outlook": material.outlook,
        "knobs": material.knobs,
        "evidence": EVIDENCE,
        "rule": RULE,
        "saved": SAVED,
        "not_foretold": wording.not_foretold(material.calibration, wording.describe(plan)),
        "findings": material.findings,
        "within": within(material.findings.spread) if material.findings.spread else [],
        "choices": any(each.kind == "choice" for each in plan.variables.values()),
        "numbers": any(each.kind != "choice" for each in plan.variables.values()),
        "aim": wording.aim(material.knobs.cones),
        "pictures": pictures(material),
        "tables": {
            "variables": variable_table(plan),
            "metrics": metric_table(plan),
            "cones": cone_table(material),
            "measurements": measurement_table(material),
            "lost": lost_table(material),
            **_answers(material),
        },
        "cautions": for_plan(plan),
        "definitions": definitions(plan),
        "methods": METHODS,
        "notes": _notes(material),
        "data_digest": material.data_digest,
        "versions": f"Versions: {found}.",
    }
    return environment().get_template("report.html.j2").render(context)


def _answers(material: Material) -> dict[str, Table | None]:
    """Give the answers' tables; None where nothing can be told."""
    plan, findings = material.plan, material.findings
    labels, name, unit = wording.describe(plan), wording.score_name(plan), wording.score_unit(plan)
    units = {each.name: each.unit for each in plan.metrics.values()}
    shown = labels.get(name, name)
    called = [wording.sides(plan, each.a, each.b) for each in findings.levels]
    ends, spread, drift = findings.dead_ends, findings.spread, findings.drift
    ends = ends if ends and any(each.loss.known for each in ends.variants) else None
    spread = spread if spread and any(each.combined.sd.known for each in spread.metrics) else None
    weighed = any(knob.total.known for knob in material.knobs.knobs)
    optima = [each for each in findings.optima if len(each.curve)]
    return {
        "knobs": knob_table(material.knobs, labels) if weighed else None,
        "optima": optimum_table(optima, labels) if optima else None,
        "front": front_table(findings.front, units, labels) if findings.front else None,
        "levels": level_table(findings.levels, called, shown, unit),
        "dead_ends": dead_end_table(ends, labels, shown, unit) if ends else None,
        "outlook": outlook_table(material.outlook, unit),
        "spread": spread_table(spread) if spread else None,
        "sittings": sitting_table(drift) if drift else None,
        "charts": chart_table(drift.charts) if drift else None,
        "offsets": offset_table(drift, labels) if drift else None,
        "checks": check_table(material.calibration, labels),
    }


def write_report(material: Material, path: Path) -> Path:
    """Write the report to a file; a reader never sees half of it."""
    page = f"{report_html(material)}<!-- {MARK} -->\n"
    return write_whole(path, seal(page.encode("utf-8")))


def _counts(material: Material) -> str:
    """Say how many cones there are in which state."""
    cones = material.trials.drop_duplicates("cone") if len(material.trials) else material.trials
    if not len(cones):
        return "no cone yet"
    counts = cones["status"].value_counts()
    order = ("measured", "printed", "planned", "failed", "set aside")
    parts = [f"{counts[status]} {status}" for status in order if status in counts]
    return f"{wording.many(len(cones), 'cone')}: {', '.join(parts)}"


def _best(material: Material) -> dict[str, Any] | None:
    """Say which cone leads, what its recipe is expected to score and what was measured."""
    leader = material.leader
    if leader is None:
        return None
    plan, trials = material.plan, material.trials
    name, unit = wording.score_name(plan), wording.score_unit(plan)
    rows = trials[trials["cone"].astype(float) == float(leader.cone)]
    measured = {metric: float(rows[metric].astype(float).mean()) for metric in plan.metrics}
    own = material.scores[(trials["cone"].astype(float) == float(leader.cone)).to_numpy()]
    own = own[own == own]
    if own.size:
        measured["score"] = float(own.mean())
    label = wording.describe(plan).get(name, name)
    return {
        "cone": leader.cone,
        "line": f"its recipe is expected to have a {label} of "
        f"{wording.interval(leader.score, unit)} on average, from "
        f"{wording.many(leader.score.cones, 'cone')}",
        "recipe": wording.recipe_line(plan, leader.settings),
        "rows": wording.recipe_rows(plan, leader.settings),
        "table": expectations(
            plan, leader.expected, material.findings.again or leader.score, measured
        ),
    }


def _coming(material: Material, coming: Coming) -> dict[str, Any]:
    """Describe a cone to print, or one that waits to be measured."""
    plan, pick = material.plan, coming.pick
    title = f"Cone {coming.cone} ({coming.status})" if coming.cone is not None else "Proposed"
    return {
        "title": title,
        "recipe": wording.recipe_line(plan, pick.settings),
        "why": pick.why or "Nobody wrote down why.",
        "rows": [*wording.recipe_rows(plan, pick.settings), *_effort(plan, pick)],
        "table": expectations(plan, pick.expected, pick.score),
    }


def _effort(plan: Any, pick: Pick) -> list[tuple[str, str]]:
    """Give the effort and the chance of printing, where known."""
    time = wording.pick_time(plan, pick)
    rows = [("time, by the plan", time)] if time else []
    if pick.money == pick.money:
        rows.append(("cost, by the plan", f"{pick.money:.2f} {plan.effort.currency}".strip()))
    if pick.prints == pick.prints:
        rows.append(("chance that it prints", wording.percent(pick.prints)))
    return rows


def _notes(material: Material) -> list[str]:
    """Gather every note once, in the order met."""
    found = material.findings
    every = [
        material.notes,
        material.curves.notes,
        material.knobs.notes,
        material.outlook.notes,
        *(answer.notes for answer in found.optima),
        *(
            answer.notes
            for answer in (found.dead_ends, found.front, found.spread, found.drift)
            if answer
        ),
    ]
    return list(dict.fromkeys(note for notes in every for note in notes))
