"""The first page of a report: all that is needed to decide, and nothing else."""

from __future__ import annotations

import math

from optimiser import wording
from optimiser.answers import Front, Pick, Variant
from optimiser.chances import chance_to_print
from optimiser.document import Block, Card, Cards, Pictures, Section, Text
from optimiser.material import Coming, Material
from optimiser.report_pictures import front_pictures, history_picture, outlook_picture

__all__ = ["best_line", "effort_rows", "summary_section", "title_of"]

_KNOBS = 3  # that are told
_LINES = 4  # a card, of what there may be many


def summary_section(material: Material) -> Section:
    """Give what leads, what comes next, whether to go on, what matters and what is not known."""
    blocks: list[Block] = []
    if material.plan.note:
        blocks.append(Text(_short(material.plan.note, 200)))
    trades = material.plan.goal == "trade"
    cards = [
        _front_card(material.findings.front) if trades else _best_card(material),
        _next_card(material),
        _verdict_card(material),
        _knob_card(material),
        _dead_card(material),
        _open_card(material),
    ]
    front = front_pictures(material) if trades else []
    blocks += [
        Cards(cards),
        Pictures(front or [history_picture(material), outlook_picture(material)]),
    ]
    return Section("summary", "Summary", blocks)


def _short(text: str, most: int) -> str:
    """Cut a text at a word, so that the page stays one page."""
    if len(text) <= most:
        return text
    return f"{text[:most].rsplit(' ', 1)[0].rstrip(',;:')} …"


def best_line(material: Material) -> str:
    """Say what the leader's recipe is expected to score."""
    leader = material.leader
    assert leader is not None
    plan = material.plan
    name, unit = wording.score_name(plan), wording.score_unit(plan)
    return (
        f"its recipe is expected to have a {wording.describe(plan)[name]} of "
        f"{wording.interval(leader.score, unit)} on average, from "
        f"{wording.many(leader.score.cones, 'cone')}"
    )


def _best_card(material: Material) -> Card:
    if material.leader is None:
        lines = ["No cone has a score: measure one with every metric that counts."]
        return Card("Best so far", "Cannot tell yet", lines)
    line = best_line(material)
    recipe = wording.recipe_line(material.plan, material.leader.settings)
    asides = [_short(recipe, 300), *_production_lines(material)]
    return Card(
        "Best so far",
        f"Cone {material.leader.cone}",
        [f"{line[:1].upper()}{line[1:]}."],
        asides,
    )


def _production_lines(material: Material) -> list[str]:
    """Name the recipe for production, as far as there is one."""
    answer, plan = material.findings.recommendation, material.plan
    if answer is None or answer.recipe is None:
        return []
    made = wording.interval(answer.recipe.made, wording.score_unit(plan), most=3)
    name = wording.describe(plan)[wording.score_name(plan)]
    recipe = _short(wording.recipe_line(plan, answer.recipe.settings), 300)
    return [f"For production now: {recipe}; expected {name} {made}."]


def _front_card(front: Front | None) -> Card:
    """Tell which recipes no other one beats, and how much they cover."""
    if front is None or not front.members:
        return Card("The front so far", "Cannot tell yet", [front.text if front else ""])
    cones = [each.cones[0] for each in front.members if each.chance >= 0.5]
    named = ", ".join(cones[:8]) + (" …" if len(cones) > 8 else "")
    answer = f"Cone{'s' * (len(cones) > 1)} {named}" if cones else "Cannot tell yet"
    return Card("The front so far", answer, [_short(front.text, 420)])


def title_of(coming: Coming) -> str:
    """Name a cone to come."""
    if coming.cone is None:
        return "Proposed"
    return f"Cone {coming.cone} ({coming.status})"


def effort_rows(material: Material, pick: Pick) -> list[tuple[str, str]]:
    """Give the effort and the chance of printing, where known."""
    plan = material.plan
    time = wording.pick_time(plan, pick)
    rows = [("time, by the plan", time)] if time else []
    if math.isfinite(pick.money):
        rows.append(("cost, by the plan", f"{pick.money:.2f} {plan.effort.currency}".strip()))
    if math.isfinite(pick.prints):
        rows.append(("chance that it prints", chance_to_print(pick.prints, pick.printing)))
    return rows


def _next_card(material: Material) -> Card:
    if not material.coming:
        return Card("Print next", "None planned", ["Ask for one: coneloop next."])
    first, plan = material.coming[0], material.plan
    lines = [_short(wording.recipe_line(plan, first.pick.settings), 300)]
    if first.pick.score.known and plan.goal != "trade":
        name, unit = wording.describe(plan)[wording.score_name(plan)], wording.score_unit(plan)
        lines.append(
            f"One measurement of it: {name} {wording.interval(first.pick.score, unit)}, from "
            f"{wording.many(first.pick.score.cones, 'cone')}."
        )
    asides = [_short(first.pick.why, 330)] if first.pick.why else []
    asides += [f"{name}: {value}" for name, value in effort_rows(material, first.pick)[:1]]
    if len(material.coming) > 1:
        asides.append(f"And {len(material.coming) - 1} more, below.")
    return Card("Print next", title_of(first), lines, asides)


def _verdict_card(material: Material) -> Card:
    """Say whether to go on; a front has no best cone, so it gets numbers and no verdict."""
    look = material.outlook
    if material.plan.goal == "trade":
        return Card("Outlook of the front", _added(material), [look.text])
    return Card("Outlook", look.verdict.capitalize(), [look.text])


def _added(material: Material) -> str:
    added = material.outlook.added
    return f"+ {wording.interval(added, most=3)}" if added.known else "Cannot tell yet"


def _knob_card(material: Material) -> Card:
    """Tell the knobs with the largest share, and where each is at its best."""
    answer, labels = material.knobs, wording.describe(material.plan)
    known = [knob for knob in answer.knobs if knob.total.known]
    known = [knob for knob in known if knob.verdict != "no effect seen"][:_KNOBS]
    if not known:
        none = any(knob.total.known for knob in answer.knobs)
        told = "None seen" if none else "Cannot tell yet"
        return Card("Main knobs", told, [_short(answer.text, 300)])
    best = {each.variable: each for each in material.findings.optima}
    shares = wording.intervals([knob.total for knob in known], most=2)
    lines = []
    for knob, share in zip(known, shares, strict=True):
        line = f"{labels[knob.variable]}: {share}, {knob.verdict}"
        found = best.get(knob.variable)
        if found is not None and found.setting is not None and found.low is not None:
            at = wording.with_unit(wording.setting(found.setting), found.unit)
            line += f"; best {at} ({wording.ends(found.low, found.high)})"
        elif found is not None:
            line += "; its best setting: cannot tell yet"
        lines.append(f"{line}.")
    shown = labels.get(answer.metric, answer.metric)
    aside = (
        f"Share of the variance of the {shown}{_whose(material)}, 90 %, from "
        f"{wording.many(answer.cones, 'cone')}."
    )
    return Card("Main knobs", ", ".join(labels[knob.variable] for knob in known), lines, [aside])


def _whose(material: Material) -> str:
    """Say of a score in a plan that trades whose it is."""
    return " by the plan's weights" if material.plan.goal == "trade" else ""


def _dead_card(material: Material) -> Card:
    """Tell what can be given up, and what that may cost."""
    ends, plan = material.findings.dead_ends, material.plan
    if ends is None or not any(math.isfinite(each.probability) for each in ends.variants):
        return Card("Dead ends", "Cannot tell yet", [ends.text] if ends else [])
    dead = [each for each in ends.variants if each.verdict == "drop"]
    if not dead:
        return Card("Dead ends", "None yet", [_short(ends.text, 300)])
    unit = wording.score_unit(plan)
    lines = [_dead_line(each, wording.describe(plan), unit) for each in dead[:_LINES]]
    if len(dead) > _LINES:
        lines.append(f"And {len(dead) - _LINES} more, below.")
    name = wording.describe(plan)[wording.score_name(plan)]
    of = f" of {name}{_whose(material)}"
    aside = f"From {wording.many(ends.cones, 'cone')}; loss{of}, at 90 %."
    return Card("Dead ends", f"{len(dead)} to give up", lines, [aside])


def _dead_line(variant: Variant, labels: dict[str, str], unit: str) -> str:
    loss = wording.interval(variant.loss, unit, most=3)
    chance = wording.percent(variant.probability)
    return f"{labels[variant.variable]} {variant.where}: best there {chance}, loss {loss}."


def _open_card(material: Material) -> Card:
    """Tell what cannot be told yet, and how many cones would tell it."""
    lines = _open_lines(material)
    if not lines:
        return Card("Cannot be told yet", "Nothing of the main questions")
    more = len(lines) - _LINES
    shown = [_short(line, 230) for line in lines[:_LINES]]
    asides = [f"And {more} more, below."] if more > 0 else []
    return Card("Cannot be told yet", wording.many(len(lines), "question"), shown, asides)


def _open_lines(material: Material) -> list[str]:
    """List the questions that these cones leave open."""
    plan, found = material.plan, material.findings
    labels = wording.describe(plan)
    lines = [] if material.leader else ["Which cone is best: none has a score yet."]
    if doubt := wording.not_foretold(material.calibration, labels):
        lines.append(doubt)
    nowhere = [labels[each.variable] for each in found.optima if each.setting is None]
    if nowhere:
        lines.append(f"The best setting of {_listed(nowhere)}.")
    unsure = {"may matter", "cannot tell yet"}
    maybe = [labels[k.variable] for k in material.knobs.knobs if k.verdict in unsure]
    if maybe:
        lines.append(f"Whether {_listed(maybe)} matters.")
    for answer in found.levels:
        if answer.score.known and 0.05 < answer.probability < 0.95 and answer.equivalence >= 0.05:
            a, b = wording.sides(plan, answer.a, answer.b)
            many = answer.replicates
            told = f"about {many} cones of each would tell" if many else "over 50 cones of each"
            lines.append(f"Whether {a} or {b} is better; {told}.")
    return lines


def _listed(names: list[str]) -> str:
    return " or ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else names[0]
