"""The answers as a page shows them: the question asked, then its sentence, tables and pictures.

Each function below asks one question and draws what came of it; that may take seconds, so it
runs as a job (`optimiser.page.work`) and is kept for the state of the experiment it was asked in.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd

import optimiser
from experiments.entries import typed_number
from experiments.ledger import Ledger
from experiments.plan import Plan
from optimiser import figures, wording
from optimiser import report_alternatives as words
from optimiser.ageing_tables import ageing_tables
from optimiser.answer_tables import (
    EVIDENCE,
    FRONT_RULE,
    RULE,
    SAVED,
    Table,
    chart_table,
    check_table,
    comparison_tables,
    dead_end_table,
    front_table,
    knob_table,
    offset_table,
    optimum_table,
    outlook_table,
    pair_tables,
    shift_table,
    sitting_table,
    spread_table,
    traded_note,
)
from optimiser.answers import Comparison, DeadEnds, Front, Optimum, Sensitivity
from optimiser.drift import rig_drift
from optimiser.page.pictures import Picture, picture
from optimiser.page.recipes import HOLD, typed_settings
from optimiser.page.work import Tell
from optimiser.production_tables import recommendation_tables
from optimiser.sides import bare_cones, name_sides, read_side, unmeasured
from optimiser.spread import estimate_spread
from optimiser.surrogate import Model

__all__ = ["BETWEEN", "QUESTIONS", "Answered", "Ground", "Question"]

BETWEEN = ("first", "second", "third")
"""Fields that name the metrics of a front."""

_LEAST = 3  # cones below which leaving one out says nothing


@dataclass(frozen=True)
class Answered:
    """What a page shows of an answer.

    Parameters
    ----------
    text : str
        The plain sentences.
    tables : list of Table
    pictures : list of Picture
    remarks : list of str
        What the tables' words mean.
    notes : list of str
        What could not be said.
    """

    text: str
    tables: list[Table] = field(default_factory=list)
    pictures: list[Picture] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Ground:
    """What an answer stands on.

    Parameters
    ----------
    ledger : Ledger
        Only for what is asked of single cones; the table is that of the state.
    plan : Plan
    trials : DataFrame
        One row a measurement; where there is no model, with everything that was recorded of it
        (`Ledger.wide_table`).
    model : Model or None
        The fitted model; None for questions that need none.
    tell : callable
        Takes the progress.
    """

    ledger: Ledger
    plan: Plan
    trials: pd.DataFrame
    model: Model | None
    tell: Tell

    @property
    def common(self) -> dict[str, Any]:
        """What every question to the model is given."""
        return {"seed": self.plan.seed, "model": self.model, "progress": self.tell}

    @property
    def labels(self) -> dict[str, str]:
        """Words for the names of variables and metrics."""
        return wording.describe(self.plan)

    @property
    def score(self) -> str:
        """The name of what is optimised."""
        return wording.score_name(self.plan)

    @property
    def unit(self) -> str:
        """Its unit."""
        return wording.score_unit(self.plan)

    @property
    def units(self) -> dict[str, str]:
        """The units of score and metrics."""
        metrics = {name: metric.unit for name, metric in self.plan.metrics.items()}
        return {"score": self.unit, **metrics}


Asked = Mapping[str, str]


def _knobs(ground: Ground, asked: Asked) -> Answered:
    plan, model, labels = ground.plan, ground.model, ground.labels
    metric = asked.get("metric") or "score"
    answer = optimiser.sensitivity(plan, ground.trials, metric=metric, **ground.common)
    own = metric in ("score", ground.score) and model is not None
    values = model.scores(ground.trials) if own and model is not None else None
    drawn = [
        picture(
            figures.draw_effects(answer, ground.trials, values, labels=labels),
            "effects",
            "Main effects: the expected value along each knob, all others averaged; rings are "
            "cones.",
            words.effect_words(answer, labels),
        ),
        picture(
            figures.draw_interactions(answer, labels=labels, units=_knob_units(plan)),
            "pairs",
            "What two knobs do together beyond what each does alone, and the two strongest pairs.",
            words.interaction_words(answer, labels),
        ),
    ]
    known = any(knob.evidence == knob.evidence for knob in answer.knobs)
    tables = [knob_table(answer, labels), *pair_tables(answer, labels)]
    return _answered(answer, tables, drawn, ground, [EVIDENCE] if known else [])


def _optimum(ground: Ground, asked: Asked) -> Answered:
    plan, labels = ground.plan, ground.labels
    answer = optimiser.optimum(
        plan,
        ground.trials,
        variable=asked.get("variable") or next(iter(plan.variables)),
        hold=typed_settings(asked, HOLD),
        **ground.common,
    )
    assert ground.model is not None
    trials = ground.trials.assign(score=ground.model.scores(ground.trials))
    drawn = figures.draw_optimum(
        answer, labels=labels, metric=ground.score, trials=trials, units=ground.units
    )
    told = ""
    if len(answer.curve):
        told = words.optimum_words(
            answer, labels, ground.score, ground.unit, minimise=wording.minimises(plan)
        )
    caption = "The score, then each metric, along the knob; all others at their best or held."
    tables = [optimum_table([answer], labels)] if answer.setting is not None else []
    tables += [shift_table(answer, labels)] if answer.shifts else []
    return _answered(answer, tables, [picture(drawn, "optimum", caption, told)], ground)


def _compare(ground: Ground, asked: Asked) -> Answered:
    texts = (asked.get("a", ""), asked.get("b", ""))
    sides = (read_side(ground.ledger, texts[0], "A"), read_side(ground.ledger, texts[1], "B"))
    called = name_sides(ground.plan, texts, sides)
    answer = optimiser.compare(
        ground.plan, ground.trials, a=sides[0], b=sides[1], names=called,
        cones=bare_cones(texts), **ground.common,
    )  # fmt: skip
    answer = replace(answer, notes=[*unmeasured(ground.ledger, texts), *answer.notes])
    drawn = picture(
        figures.draw_comparison(
            answer, a=called[0], b=called[1], units=ground.units, labels=ground.labels
        ),
        "comparison",
        "The difference of each metric, with its 90 % interval.",
        words.comparison_words(answer, called, ground.units, ground.labels),
    )
    tables = comparison_tables(answer, called, ground.units, ground.labels)
    return _answered(answer, tables, [drawn], ground)


def _deadends(ground: Ground, _asked: Asked) -> Answered:
    answer = optimiser.dead_ends(ground.plan, ground.trials, **ground.common)
    drawn = picture(
        figures.draw_dead_ends(answer, labels=ground.labels),
        "deadends",
        "The chance that the best printable recipe has this setting.",
        words.dead_end_words(answer, ground.labels),
    )
    name = ground.labels.get(ground.score, ground.score)
    table = dead_end_table(answer, ground.labels, name, ground.unit)
    return _answered(answer, [table], [drawn], ground, [SAVED])


def _outlook(ground: Ground, _asked: Asked) -> Answered:
    answer = optimiser.outlook(ground.plan, ground.trials, **ground.common)
    if answer.volume.known:
        told = optimiser.front(ground.plan, ground.trials, **ground.common)
        tables = [outlook_table(answer, ground.unit)]
        return _answered(answer, tables, [_front_picture(ground, told)], ground, [FRONT_RULE])
    drawn = picture(
        figures.draw_outlook(answer, metric=ground.score, unit=ground.unit),
        "outlook",
        "The best score after each cone, and as expected over more; the chance that the best "
        "cone is near what is possible.",
        words.outlook_words(answer, ground.score, ground.unit),
    )
    return _answered(answer, [outlook_table(answer, ground.unit)], [drawn], ground, [RULE])


def _front(ground: Ground, asked: Asked) -> Answered:
    between = [asked[key] for key in BETWEEN if key in asked]
    answer = optimiser.front(ground.plan, ground.trials, between=between, **ground.common)
    tables = [front_table(answer, ground.units, ground.labels)] if answer.members else []
    return _answered(answer, tables, [_front_picture(ground, answer)], ground)


def _front_picture(ground: Ground, answer: Front) -> Picture:
    return picture(
        figures.draw_front(answer, ground.plan.metrics, labels=ground.labels),
        "front",
        "The measured recipes in the metrics that pull apart; diamonds are on the front.",
        words.front_words(answer, ground.units, ground.labels),
    )


def _recommend(ground: Ground, _asked: Asked) -> Answered:
    answer = optimiser.recommend(
        ground.plan, ground.trials, ground.plan.seed, model=ground.model, progress=ground.tell
    )
    drawn = picture(
        figures.draw_recommendation(answer, metric=ground.score, unit=ground.unit),
        "recommendation",
        "The recommended recipe and its rivals, and what the confirmation run would show.",
        answer.text,
    )
    tables = recommendation_tables(answer, ground.plan, ground.labels)
    return _answered(answer, tables, [drawn], ground)


def _ageing(ground: Ground, asked: Asked) -> Answered:
    by, at = asked.get("by") or "light_hours", asked.get("at")
    answer = optimiser.ageing(
        ground.plan, ground.trials, by, at=typed_number(at, "after so long") if at else None,
        seed=ground.plan.seed, progress=ground.tell,
    )  # fmt: skip
    drawn = picture(
        figures.draw_ageing(answer, labels=ground.labels),
        "ageing",
        "The kept cones' metrics, and their mean drift with its 90 % band.",
        answer.text,
    )
    score = ground.labels.get(ground.score, ground.score)
    tables = ageing_tables(answer, score, ground.unit)
    return Answered(answer.text, tables, [drawn], [], list(answer.notes))


def _drift(ground: Ground, _asked: Asked) -> Answered:
    answer = rig_drift(ground.plan, ground.trials, progress=ground.tell)
    drawn = picture(
        figures.draw_drift(answer, labels=ground.labels),
        "drift",
        "Offsets of the sessions and the reference cone within its limits.",
        words.drift_words(answer),
    )
    tables = [sitting_table(answer)] if answer.sittings else []
    tables += [chart_table(answer.charts)] if answer.charts else []
    tables.append(offset_table(answer, ground.labels))
    return Answered(answer.text, tables, [drawn], [], list(answer.notes))


def _spread(ground: Ground, _asked: Asked) -> Answered:
    answer = estimate_spread(ground.plan, ground.trials, progress=ground.tell)
    alike: dict[tuple[str, str], list[str]] = {}
    for metric in answer.metrics:
        for each in metric.components:
            if each.remark:
                alike.setdefault((each.source, each.remark), []).append(metric.label)
    remarks = ["df: independent comparisons; n: measurements"]
    for (source, remark), labels in alike.items():
        whose = "every metric" if len(labels) == len(answer.metrics) > 1 else ", ".join(labels)
        remarks.append(f"{source} of {whose}: {remark}")
    return Answered(answer.text, [spread_table(answer)], [], [], [*remarks, *answer.notes])


@dataclass(frozen=True)
class Question:
    """One question that the page can be asked.

    Parameters
    ----------
    title, line : str
        What it is called, and what it tells.
    answer : callable
        Asks it.
    modelled : bool
        Whether it needs the fitted model.
    """

    title: str
    line: str
    answer: Callable[[Ground, Asked], Answered]
    modelled: bool = True


QUESTIONS = {
    "knobs": Question("Knobs", "which ones matter, alone and together", _knobs),
    "optimum": Question("Optimum", "where the best setting of one knob lies", _optimum),
    "deadends": Question("Dead ends", "which levels and regions can be given up", _deadends),
    "compare": Question("Compare", "whether one cone, recipe or level beats another", _compare),
    "outlook": Question("Outlook", "whether another cone is worth printing", _outlook),
    "front": Question("Front", "how far metrics pull apart", _front),
    "recommend": Question("Recommend", "which recipe to put into production", _recommend),
    "spread": Question("Repeatability", "how far prints and mountings scatter", _spread, False),
    "drift": Question("Rig drift", "whether the rig moves between sessions", _drift, False),
    "ageing": Question("Ageing", "how kept cones drift with light or days", _ageing, False),
}


def _answered(
    answer: Any,
    tables: list[Table],
    pictures: list[Picture],
    ground: Ground,
    remarks: list[str] | None = None,
) -> Answered:
    """Put an answer together with the check of the model behind it."""
    checks = [check for check in answer.calibration if check.cones >= _LEAST]
    tables = [*tables, *([check_table(checks, ground.labels)] if checks else [])]
    stands = f"Stands on {wording.many(answer.cones, 'measured cone')}."
    by_score = isinstance(answer, Sensitivity | Optimum | Comparison | DeadEnds)
    notes = [*answer.notes, *(traded_note(ground.plan) if by_score else [])]
    return Answered(f"{answer.text} {stands}", tables, pictures, remarks or [], notes)


def _knob_units(plan: Plan) -> dict[str, str]:
    return {name: variable.unit for name, variable in plan.variables.items()}
