"""What the answers of a report stand on: data, checks, cautions, definitions, methods, sources."""

from __future__ import annotations

import platform
from importlib.metadata import PackageNotFoundError, version

from optimiser import wording
from optimiser.answer_tables import check_table
from optimiser.cautions import for_plan
from optimiser.document import (
    Beside,
    Block,
    Caution,
    Heading,
    Item,
    Items,
    Pairs,
    Pictures,
    Section,
    Terms,
    Text,
)
from optimiser.material import Material
from optimiser.report_methods import METHODS
from optimiser.report_pictures import calibration_picture, curve_pictures, drift_pictures
from optimiser.report_tables import (
    cone_table,
    definitions,
    lost_table,
    measurement_table,
    metric_table,
    variable_table,
)
from optimiser.rig_tables import (
    chart_table,
    offset_table,
    sitting_table,
    spread_table,
    within,
)

__all__ = ["ground_sections", "versions"]


def ground_sections(material: Material) -> list[Section]:
    """Give the sections below the answers, sources last."""
    return [
        Section("curves", "Curves", [Pictures(curve_pictures(material))]),
        _table(material),
        _plan(material),
        _spread(material),
        _drift(material),
        _calibration(material),
        _unsaid(material),
        Section(
            "cautions", "Cautions", [Caution(c.topic, c.lines) for c in for_plan(material.plan)]
        ),
        Section("definitions", "Definitions", [Terms(definitions(material.plan))]),
        _methods(material),
    ]


def _table(material: Material) -> Section:
    cones, measurements = cone_table(material), measurement_table(material)
    lost = lost_table(material)
    blocks: list[Block] = [cones if cones.rows else Text("No cone has been recorded yet.")]
    if measurements.rows:
        blocks.append(measurements)
    nothing = Text("No cone failed or was set aside.")
    blocks += [Heading("Failed cones", "failures"), lost if lost.rows else nothing]
    return Section("table", "Table", blocks)


def _plan(material: Material) -> Section:
    plan = material.plan
    blocks: list[Block] = [variable_table(plan), metric_table(plan)]
    rules = [Item(name.replace("_", " "), rule) for name, rule in plan.rules.items()]
    derived = [
        Item(f"{each.label or name}{f' ({each.unit})' if each.unit else ''}", each.formula)
        for name, each in plan.derived.items()
    ]
    money = f"money ({plan.effort.currency})" if plan.effort.currency else "money"
    effort = [
        Item(name, formula)
        for name, formula in (("minutes", plan.effort.minutes), (money, plan.effort.money))
        if formula
    ]
    for title, items in (("Rules", rules), ("Derived quantities", derived), ("Effort", effort)):
        if items:
            blocks += [Heading(title), Items(items)]
    goal = f"The goal is the best {wording.describe(plan)[wording.score_name(plan)]}."
    if plan.goal == "trade":
        goal = "The plan trades its metrics: it seeks the front between them."
    if plan.age is not None:
        goal += f" Metrics are judged at {plan.age.at:g} {plan.age.clock.replace('_', ' ')}."
    blocks.insert(0, Text(goal))
    return Section("plan", "Plan", blocks)


def _spread(material: Material) -> Section:
    spread = material.findings.spread
    blocks: list[Block] = [Text(spread.text if spread else "Cannot tell yet.")]
    if spread and any(each.combined.sd.known for each in spread.metrics):
        told = (
            "measurement: the same cone mounted again; print: the same recipe printed again; "
            "session: another evening; one new print: all of them together. %: of the metric's "
            "value; df: independent comparisons; n: measurements."
        )
        blocks += [spread_table(spread), Text(told, quiet=True)]
        if rows := within(spread):
            title = "Nine of ten measurements of new prints lie within ± of their recipe's mean"
            blocks += [Heading(title), Pairs(rows)]
    return Section("spread", "Repeatability and spread", blocks, "Repeatability")


def _drift(material: Material) -> Section:
    drift = material.findings.drift
    if not drift:
        return Section("drift", "Rig drift", [Text("Cannot tell yet.")])
    offsets = offset_table(drift, wording.describe(material.plan))
    tables = [each for each in (sitting_table(drift), chart_table(drift.charts)) if each.rows]
    blocks: list[Block] = [Text(drift.text), Beside(drift_pictures(material), tables)]
    return Section("drift", "Rig drift", [*blocks, offsets] if offsets.rows else blocks)


def _calibration(material: Material) -> Section:
    labels = wording.describe(material.plan)
    text = (
        "Each cone is left out in turn and foretold from the others. About nine in ten should "
        "fall inside their 90 % interval; with few cones that count itself is uncertain."
    )
    blocks: list[Block] = [Text(text)]
    if doubt := wording.not_foretold(material.calibration, labels):
        blocks.append(Text(doubt))
    checks = check_table(material.calibration, labels)
    if checks.rows:
        blocks.append(checks)
    blocks.append(Pictures([calibration_picture(material)]))
    return Section("calibration", "Calibration", blocks)


def _cautions(material: Material) -> Section:
    blocks = [Caution(each.topic, each.lines) for each in for_plan(material.plan)]
    return Section("cautions", "Cautions", blocks)


def _unsaid(material: Material) -> Section:
    notes = _notes(material)
    block = Items([Item(note) for note in notes]) if notes else Text("Nothing was left out.")
    return Section("unsaid", "What could not be said", [block])


def _notes(material: Material) -> list[str]:
    """Gather every note once, in the order met."""
    found = material.findings
    answers = [found.dead_ends, found.front, found.recommendation, found.spread, found.drift]
    every = [
        material.notes,
        material.curves.notes,
        material.knobs.notes,
        material.outlook.notes,
        *(answer.notes for answer in found.optima),
        *(answer.notes for answer in (*answers, found.foretold, *found.ageing) if answer),
    ]
    return list(dict.fromkeys(note for notes in every for note in notes))


def _methods(material: Material) -> Section:
    digest = f"Plan digest {material.plan.digest[:16]}"
    if material.data_digest:
        digest += f", data digest {material.data_digest[:16]}"
    found = ", ".join(f"{name} {text}" for name, text in versions().items())
    blocks: list[Block] = [
        Items([Item(line) for line in METHODS]),
        Text(f"{digest}. Versions: {found}.", quiet=True),
    ]
    return Section("methods", "Methods and sources", blocks, "Methods")


def versions() -> dict[str, str]:
    """Give the versions that a result depends on."""
    found = {"python": platform.python_version()}
    for name in ("coneloop", "numpy", "scipy", "scikit-learn", "pandas"):
        try:
            found[name] = version(name)
        except PackageNotFoundError:  # run from a checkout that is not installed
            found[name] = "not installed"
    return found
