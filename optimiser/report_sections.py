"""The answers of a report: each with its sentence, its table and its picture."""

from __future__ import annotations

from optimiser import wording
from optimiser.ageing_tables import ageing_tables
from optimiser.answer_tables import (
    EVIDENCE,
    FRONT_RULE,
    RULE,
    SAVED,
    dead_end_table,
    front_table,
    knob_table,
    level_table,
    optimum_table,
    outlook_table,
)
from optimiser.curve_tables import expectation_tables
from optimiser.document import Beside, Block, Heading, Pairs, Pictures, Section, Text
from optimiser.material import Material
from optimiser.production_tables import recommendation_tables
from optimiser.report_pictures import (
    ageing_picture,
    comparison_pictures,
    dead_end_pictures,
    foretold_picture,
    front_pictures,
    index_picture,
    knob_pictures,
    optimum_pictures,
    outlook_picture,
    recommendation_picture,
)
from optimiser.report_summary import best_line, effort_rows, title_of
from optimiser.report_tables import expectations

__all__ = ["answer_sections"]

_CANNOT = Text("Cannot tell yet.")
_CLOCKS = {"light_hours": "Over hours of light", "age_days": "Over days of age"}


def answer_sections(material: Material) -> list[Section]:
    """Give the sections of all answers, in the order in which a maker asks."""
    traded = [_front(material)] if material.findings.front else []
    return [
        _best(material),
        _next(material),
        _foretold(material),
        *traded,
        _knobs(material),
        _optima(material),
        _comparison(material),
        _dead_ends(material),
        _outlook(material),
        _production(material),
        _ageing(material),
    ]


def _best(material: Material) -> Section:
    """Say which cone leads, what its recipe is expected to score and what was measured."""
    leader, plan, trials = material.leader, material.plan, material.trials
    if leader is None:
        return Section("best", "The best cone", [_CANNOT], "Best cone")
    own = (trials["cone"].astype(float) == float(leader.cone)).to_numpy()
    measured = {name: float(trials.loc[own, name].astype(float).mean()) for name in plan.metrics}
    scores = material.scores[own]
    scores = scores[scores == scores]
    if scores.size:
        measured["score"] = float(scores.mean())
    told = expectations(plan, leader.expected, material.findings.again or leader.score, measured)
    text = Text(
        f"Cone {leader.cone}: {best_line(material)}. It is the best by the model's expected "
        "score, not by its luckiest measurement. The table tells what another cone of this "
        f"recipe, measured once, would show: {wording.aim(material.knobs.cones)}."
    )
    recipe = Pairs(wording.recipe_rows(plan, leader.settings))
    return Section("best", "The best cone", [text, recipe, told], "Best cone")


def _next(material: Material) -> Section:
    """Describe the cones to print, and those that wait to be measured."""
    plan = material.plan
    blocks: list[Block] = []
    for place, coming in enumerate(material.coming):
        told = expectations(plan, coming.pick.expected, coming.pick.score)
        if told.rows and not place:
            aim = wording.aim(material.knobs.cones)
            blocks.append(Text(f"What one measurement of the cone would show: {aim}.", quiet=True))
        nothing = "Nothing can be foretold yet: the first cones are there to learn from."
        rows = [*wording.recipe_rows(plan, coming.pick.settings)]
        blocks += [
            Heading(title_of(coming)),
            Text(coming.pick.why or "Nobody wrote down why."),
            Pairs([*rows, *effort_rows(material, coming.pick)]),
            told if told.rows else Text(nothing, quiet=True),
        ]
    return Section("next", "Next", blocks or [Text("No cone is planned.")])


def _front(material: Material) -> Section:
    """Show the front of a plan that trades its metrics."""
    answer, plan = material.findings.front, material.plan
    assert answer is not None
    told = front_table(
        answer, {m.name: m.unit for m in plan.metrics.values()}, wording.describe(plan)
    )
    blocks: list[Block] = [
        Text(
            f"{answer.text} A recipe is on the front if no other measured one is as good in all "
            "traded metrics and better in one."
        )
    ]
    if told.rows:
        blocks.append(Beside([told], front_pictures(material), "left"))
    return Section("front", "The front", blocks, "Front")


def _knobs(material: Material) -> Section:
    answer = material.knobs
    left: list[Block] = [index_picture(material)]
    if any(knob.total.known for knob in answer.knobs):
        told = knob_table(answer, wording.describe(material.plan))
        left += [told, Text(EVIDENCE, quiet=True)]
    blocks: list[Block] = [Text(answer.text), Beside(left, knob_pictures(material), "left")]
    return Section("knobs", "Knobs", blocks)


def _optima(material: Material) -> Section:
    optima = [each for each in material.findings.optima if len(each.curve)]
    numbers = any(each.kind != "choice" for each in material.plan.variables.values())
    blocks: list[Block] = [_CANNOT if numbers else Text("The plan has no number knob.")]
    if optima:
        blocks = [
            Text("Each number knob by itself, all other settings at their best."),
            optimum_table(optima, wording.describe(material.plan)),
            Pictures(optimum_pictures(material), small=True),
        ]
    return Section("optimum", "Where the best settings lie", blocks, "Optimum")


def _comparison(material: Material) -> Section:
    plan, levels = material.plan, material.findings.levels
    choices = any(each.kind == "choice" for each in plan.variables.values())
    blocks: list[Block] = [_CANNOT if choices else Text("The plan has no choice to compare.")]
    if levels:
        called = [wording.sides(plan, each.a, each.b) for each in levels]
        name = wording.describe(plan)[wording.score_name(plan)]
        blocks = [
            Text(
                "The level that is best on average against each other one: each side at the best "
                "of its other settings, and averaged over the same other settings."
            ),
            level_table(levels, called, name, wording.score_unit(plan)),
            Pictures(comparison_pictures(material), small=True),
        ]
    return Section("comparison", "Comparison", blocks)


def _dead_ends(material: Material) -> Section:
    ends, plan = material.findings.dead_ends, material.plan
    blocks: list[Block] = [Text(ends.text) if ends else _CANNOT]
    if ends and any(each.loss.known for each in ends.variants):
        labels, name = wording.describe(plan), wording.score_name(plan)
        told = dead_end_table(ends, labels, labels[name], wording.score_unit(plan))
        blocks += [Text(SAVED, quiet=True), Beside([told], dead_end_pictures(material), "table")]
    return Section("deadends", "Dead ends", blocks)


def _outlook(material: Material) -> Section:
    """Show what more cones may bring: to the score, or to the front of a plan that trades."""
    look, plan = material.outlook, material.plan
    told = outlook_table(look, wording.score_unit(plan))
    if plan.goal == "trade":
        pictures, rule = front_pictures(material), Text(FRONT_RULE, quiet=True)
    else:
        pictures, rule = [outlook_picture(material)], Text(RULE, quiet=True)
    blocks: list[Block] = [Text(look.text), Beside([told, rule], pictures)]
    return Section("outlook", "Outlook", blocks)


def _foretold(material: Material) -> Section:
    """Show the whole curves that are expected of the first cone to come."""
    answer, picture = material.findings.foretold, foretold_picture(material)
    blocks: list[Block] = [Text("Cannot tell yet: too few cones have curves.")]
    if answer is not None and picture is not None:
        told = expectation_tables(material.plan, answer)
        heading = Heading(title_of(material.coming[0]))
        blocks = [heading, Text(answer.text), Beside(told, [picture], "left")]
    return Section("foretold", "Expected curves", blocks)


def _production(material: Material) -> Section:
    """Show the recipe to make many of, and the run that confirms it."""
    answer, plan = material.findings.recommendation, material.plan
    blocks: list[Block] = [Text(answer.text) if answer else _CANNOT]
    picture = recommendation_picture(material)
    if answer is not None and picture is not None:
        told = recommendation_tables(answer, plan, wording.describe(plan))
        blocks.append(Beside(told, [picture], "left"))
    return Section("production", "Recipe for production", blocks, "Production")


def _ageing(material: Material) -> Section:
    """Show how kept cones drift, by each clock that tells something."""
    plan = material.plan
    name = wording.describe(plan)[wording.score_name(plan)]
    blocks: list[Block] = []
    for answer in material.findings.ageing:
        told = ageing_tables(answer, name, wording.score_unit(plan))
        blocks += [
            Heading(_CLOCKS.get(answer.by, answer.by)),
            Text(answer.text),
            Beside(told, [ageing_picture(material, answer)], "left"),
        ]
    none = Text(
        "Cannot tell yet: no cone was heard at two ages. Keep some and measure them again later, "
        "with their hours of light or their days."
    )
    return Section("ageing", "Ageing", blocks or [none])
