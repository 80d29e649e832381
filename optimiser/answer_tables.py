"""Answers as tables of text: the same rows in the terminal and in the report."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from optimiser import wording
from optimiser.answers import (
    UNTOLD,
    Calibration,
    Comparison,
    DeadEnds,
    Estimate,
    Front,
    Optimum,
    Outlook,
    Sensitivity,
)
from optimiser.rig_tables import (
    chart_table,
    offset_table,
    sitting_table,
    spread_table,
    within,
)
from optimiser.text_table import Table, shown

if TYPE_CHECKING:
    from experiments.plan import Plan

__all__ = [
    "EVIDENCE",
    "FRONT_RULE",
    "RULE",
    "SAVED",
    "Table",
    "chart_table",
    "check_table",
    "comparison_tables",
    "dead_end_table",
    "difference_table",
    "front_table",
    "knob_table",
    "level_table",
    "offset_table",
    "optimum_table",
    "outlook_table",
    "pair_tables",
    "shift_table",
    "sitting_table",
    "spread_table",
    "traded_note",
    "verdict_table",
    "within",
]


def check_table(checks: Sequence[Calibration], labels: Mapping[str, str]) -> Table:
    """List how well each metric's model foretells cones that it was not shown."""
    rows = [
        [
            shown(labels, check.metric),
            f"{check.inside} of {check.cones}",
            wording.with_unit(wording.number(check.error, check.error), check.unit),
            wording.with_unit(wording.number(check.spread, check.spread), check.unit),
        ]
        for check in checks
    ]
    heads = ["metric", "inside 90 % interval", "typical miss", "spread of the cones"]
    return Table("Each cone foretold without itself", heads, rows)


def knob_table(answer: Sensitivity, labels: Mapping[str, str]) -> Table:
    """List the Sobol indices with their intervals."""
    alone = wording.intervals([knob.first for knob in answer.knobs], most=2)
    in_all = wording.intervals([knob.total for knob in answer.knobs], most=2)
    rows = [
        [shown(labels, knob.variable), first, total, _evidence(knob.evidence), knob.verdict]
        for knob, first, total in zip(answer.knobs, alone, in_all, strict=True)
    ]
    called = shown(labels, answer.metric)
    title = f"What moves {called} (share of its variance, 90 % intervals)"
    return Table(title, ["variable", "alone", "in all", "evidence", "verdict"], rows, narrow=True)


_LISTED = 6  # pairs that the table of the strongest ones lists


def pair_tables(answer: Sensitivity, labels: Mapping[str, str]) -> list[Table]:
    """List the second-order indices: all pairs as a matrix, the strongest with their intervals."""
    known = [pair for pair in answer.pairs if pair.index.known]
    if not known:
        return []
    acting = {name for pair in known for name in (pair.a, pair.b)}
    names = [knob.variable for knob in answer.knobs if knob.variable in acting]
    cells = {frozenset((p.a, p.b)): f"{100 * p.index.mean:.0f}" for p in known}
    rows = [
        [
            f"{place + 1} {shown(labels, row)}",
            *(cells.get(frozenset((row, column)), wording.UNKNOWN) for column in names[:place]),
            *[""] * (len(names) - 1 - place),
        ]
        for place, row in enumerate(names)
    ]
    heads = ["with", *(str(place + 1) for place in range(len(names) - 1))]
    matrix = Table("What two knobs do together, in % of the variance", heads, rows, narrow=True)
    top = known[:_LISTED]
    shares = wording.intervals([pair.index for pair in top], most=2)
    strongest = [
        [f"{shown(labels, p.a)} with {shown(labels, p.b)}", share, p.verdict]
        for p, share in zip(top, shares, strict=True)
    ]
    heads = ["pair", "together", "verdict"]
    title = "The strongest pairs (share of the variance, 90 % intervals)"
    return [matrix, Table(title, heads, strongest)]


# Kass & Raftery 1995 call a natural logarithm of 1 to 3 positive evidence, and over 3 strong.
_STRONG, _SOME = 3.0, 1.0

EVIDENCE = (
    "Evidence tells whether a knob does anything: the table is about 20 times likelier with it in "
    "the model than without (strong), 3 times (some), as likely (none), or likelier without it "
    "(against). A knob matters with strong evidence and a share in all surely over 5 %; no "
    "effect is seen with evidence against it or a share surely under 5 %. A knob that only some "
    "recipes have is judged among those."
)


def _evidence(bayes: float) -> str:
    """Name a natural logarithm of a Bayes factor."""
    if not math.isfinite(bayes):
        return wording.UNKNOWN
    if abs(bayes) < _SOME:
        return "none"
    return "against" if bayes < 0 else "strong" if bayes >= _STRONG else "some"


def optimum_table(answers: Sequence[Optimum], labels: Mapping[str, str]) -> Table:
    """List where the best setting of each variable lies."""
    rows = []
    for answer in answers:
        best, between = "cannot tell yet", wording.UNKNOWN
        if answer.setting is not None:
            best = wording.with_unit(wording.setting(answer.setting), answer.unit)
        if answer.low is not None and answer.high is not None:
            between = wording.with_unit(wording.ends(answer.low, answer.high), answer.unit)
        good = wording.runs(answer.as_good, list(answer.curve["setting"])) or wording.UNKNOWN
        edge = "at the end of its range" if answer.at_edge else ""
        good = wording.with_unit(good, answer.unit)
        rows.append([shown(labels, answer.variable), best, between, good, edge])
    heads = ["variable", "best", "it lies in (90 %)", "as good as best", ""]
    if not any(row[-1] for row in rows):
        heads, rows = heads[:-1], [row[:-1] for row in rows]
    return Table("Best settings, all others at their best", heads, rows)


def shift_table(answer: Optimum, labels: Mapping[str, str]) -> Table:
    """List where the best setting lies under the levels of each choice."""
    columns = [
        wording.intervals([getattr(each, name) for each in answer.shifts], answer.unit)
        for name in ("at_a", "at_b", "difference")
    ]
    rows = [
        [
            shown(labels, each.variable),
            f"{each.a}: {at_a}",
            f"{each.b}: {at_b}",
            apart,
            "differs" if each.told else "cannot tell yet",
        ]
        for each, at_a, at_b, apart in zip(answer.shifts, *columns, strict=True)
    ]
    title = f"Best {shown(labels, answer.variable)} by level, 90 % intervals"
    return Table(title, ["choice", "at one level", "at another", "difference", "verdict"], rows)


def comparison_tables(
    answer: Comparison,
    called: tuple[str, str],
    units: Mapping[str, str],
    labels: Mapping[str, str],
) -> list[Table]:
    """Give the tables of a comparison; of two cones of one recipe, what they gave."""
    if not answer.same:
        unit = units.get("score", "")
        return [difference_table(answer, called, units, labels), verdict_table(answer, unit)]
    rows = [
        [
            shown(labels, each.metric),
            *(
                wording.with_unit(wording.number(value, each.usual), units.get(each.metric, ""))
                for value in (each.difference, each.usual)
            ),
        ]
        for each in answer.twins
    ]
    heads = ["metric", "difference", "nine of ten such pairs within ±"]
    table = Table(f"{called[0]} minus {called[1]}, as measured: one recipe", heads, rows)
    return [table] if rows else []


def difference_table(
    answer: Comparison,
    called: tuple[str, str],
    units: Mapping[str, str],
    labels: Mapping[str, str],
) -> Table:
    """List the differences of two recipes, metric by metric."""
    columns = [answer.rows]
    heads = ["metric", "difference of the recipes, 90 % interval"]
    if answer.paired is not None:
        columns.append({"score": answer.paired.score, **answer.paired.difference})
        heads = ["metric", "each at its best, 90 % interval", "over the same other settings"]
    rows = [
        [
            shown(labels, name),
            *(wording.interval(each[name], units.get(name, "")) for each in columns),
        ]
        for name in columns[0]
    ]
    return Table(f"{called[0]} minus {called[1]}", heads, rows)


def verdict_table(answer: Comparison, unit: str) -> Table:
    """List how sure a comparison is: who is ahead, whether they are equal, what would tell."""
    if not answer.score.known:
        return Table("How sure that is", ["", ""], [["anything", "cannot tell yet"]])
    rows = [
        ["the first is ahead", wording.percent(answer.probability)],
        ["over the repeatability apart, up or down", wording.percent(answer.equivalence)],
    ]
    if answer.paired is not None:
        paired = answer.paired
        rows += [
            [
                f"of {paired.profiles} equal other settings, first ahead in",
                wording.interval(paired.share, most=2),
            ],
            ["worth of settings of its own", wording.interval(paired.contrast, unit, most=3)],
        ]
    rows += [
        [f"{wording.many(count, 'cone')} of each would tell", wording.percent(chance)]
        for count, chance in answer.power.items()
    ]
    return Table("How sure that is", ["", ""], rows)


def level_table(
    answers: Sequence[Comparison], called: Sequence[tuple[str, str]], name: str, unit: str
) -> Table:
    """List comparisons, one a row: the first of each pair against the second."""
    over = [each.paired.score if each.paired else UNTOLD for each in answers]
    columns = [
        wording.intervals(column, unit, most=3)
        for column in ([each.score for each in answers], over)
    ]
    rows = [
        [
            a,
            b,
            at_best,
            wording.percent(answer.probability),
            "over 50" if answer.replicates is None else str(answer.replicates),
            same,
        ]
        for answer, at_best, same, (a, b) in zip(answers, *columns, called, strict=True)
    ]
    heads = [
        "first", "second", "each at its best", "first beats second", "cones of each to tell",
        "over the same other settings",
    ]  # fmt: skip
    return Table(f"Levels of each choice: {name}, first less second", heads, rows, narrow=True)


def dead_end_table(
    answer: DeadEnds, labels: Mapping[str, str], name: str, unit: str = ""
) -> Table:
    """List each variant's chance of holding the best recipe; a variable is named once."""
    rows, before = [], ""
    losses = wording.intervals([each.loss for each in answer.variants], unit, most=3)
    saved = [_saved(each.saves) for each in answer.variants]
    for variant, loss, saves in zip(answer.variants, losses, saved, strict=True):
        called = shown(labels, variant.variable)
        rows.append(
            [
                "" if called == before else called,
                variant.where,
                wording.percent(variant.probability),
                loss,
                saves,
                variant.verdict,
            ]
        )
        before = called
    heads = ["variable", "where", "chance", f"{name} lost without it", "of 10 cones", "verdict"]
    return Table("Where the best recipe can still lie", heads, rows, narrow=True)


SAVED = (
    "Of 10 cones: how many of the next ten would go there if it were not given up, were cones "
    "spent as often as the best may lie there (90 % limits in brackets). An estimate from the "
    "chance alone: how the choice learns from each cone is not simulated."
)


def _saved(saves: Estimate) -> str:
    if not saves.known:
        return "cannot tell"
    return f"{saves.mean:.1f} ({saves.low:.0f} to {saves.high:.0f})"


_HARDLY = 0.05  # chance of being on the front below which a recipe is not listed
_LIKELY = 0.5  # and from which it is marked


def front_table(answer: Front, units: Mapping[str, str], labels: Mapping[str, str]) -> Table:
    """List the recipes that may be on the front, the best in the first metric first."""
    listed = [each for each in answer.members if each.chance >= _HARDLY]
    columns = [
        wording.intervals([each.expected[name] for each in listed], units.get(name, ""))
        for name in answer.metrics
    ]
    rows = [
        [", ".join(each.cones), *cells, wording.percent(each.chance)]
        for each, *cells in zip(listed, *columns, strict=True)
    ]
    heads = ["cone", *(shown(labels, name) for name in answer.metrics), "on the front"]
    rest = len(answer.members) - len(listed)
    out = f"; {wording.many(rest, 'other')} under 5 %" if rest else ""
    title = f"Recipes that may be on the front, 90 % intervals{out}"
    likely = frozenset(place for place, each in enumerate(listed) if each.chance >= _LIKELY)
    return Table(title, heads, rows, marked=likely, narrow=True)


RULE = (
    "Stop: the best cone is within 5 % of what is possible with a probability of 90 %, and one "
    "more is expected to gain under a quarter of the repeatability. Nearly there: it is within "
    "5 % or the repeatability, whichever is more, with 60 %, and one more is expected to gain "
    "under half the repeatability. Else: go on."
)


def traded_note(plan: Plan) -> list[str]:
    """Say, where the plan trades its metrics, that an answer judges by the score all the same."""
    if plan.goal != "trade":
        return []
    return ["The plan trades its metrics; this answer judges by the score, with their weights."]


FRONT_RULE = (
    "Of the box from all poor to all good. A front has no single best cone, so no rule says when "
    "to stop: go on while what a cone adds is worth its time."
)


def outlook_table(answer: Outlook, unit: str = "") -> Table:
    """List what one more cone may bring: to the score, or to the front of traded metrics."""
    if answer.volume.known:
        rows = [
            ["the front covers", wording.covered(answer.volume, most=3)],
            ["one more cone is expected to add", wording.interval(answer.added, most=3)],
            ["from", wording.many(answer.cones, "cone")],
        ]
        if math.isfinite(answer.minutes):
            rows.append(["time for one more", wording.duration(answer.minutes)])
        return Table("Outlook of the front", ["", ""], rows)
    rows = [["verdict", answer.verdict]]
    if answer.best is not None:
        rows.append(["best so far", f"cone {answer.best}"])
    rows.append(["expected gain of one more", wording.interval(answer.gain, unit, most=3)])
    rows.append(["expected gain of a plate of 4", wording.interval(answer.plate, unit, most=3)])
    if math.isfinite(answer.minutes):
        rows.append(["time for one more", wording.duration(answer.minutes)])
    repeat = wording.number(answer.repeatability, answer.repeatability)
    assumed = ", assumed" if answer.assumed else ""
    rows.append([f"repeatability (sd){assumed}", wording.with_unit(repeat, unit)])
    rows += [
        [f"best within {100 * share:g} % of what is possible", wording.percent(chance)]
        for share, chance in sorted(answer.within.items())
    ]
    if math.isfinite(answer.alike):
        rows.append(["best within 5 % or the repeatability", wording.percent(answer.alike)])
    return Table("Outlook", ["", ""], rows)
