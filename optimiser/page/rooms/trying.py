"""Trying recipes: move the knobs and see at once what is expected, another one pinned beside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

import numpy as np
import pandas as pd
from starlette.responses import Response

from experiments.errors import RecipeError
from optimiser import wording
from optimiser.chances import chance_to_print
from optimiser.contenders import distance
from optimiser.page.asking import Knowledge, knowledge_of
from optimiser.page.call import Call
from optimiser.page.forms import Form
from optimiser.page.recipes import SET, knobs_of, typed_settings
from optimiser.page.sketches import TITLES, sketch

if TYPE_CHECKING:
    from experiments.ledger import Ledger
    from experiments.plan import Plan
    from optimiser.answers import Settings
    from optimiser.page.pictures import Picture

__all__ = ["show"]

PIN = "pin-"
NEAR = 3
"""Known cones that are named."""


@dataclass(frozen=True)
class Tried:
    """What is expected of a recipe.

    Parameters
    ----------
    settings : dict
    rows : list of (str, str)
        Score and metrics, each with its interval for one new measurement.
    facts : list of (str, str)
        The chance that it prints, and effort.
    near : list of (str, str)
        Known cones and in what the recipe departs from them.
    bands : dict
        Foretold curves.
    """

    settings: Settings
    rows: list[tuple[str, str]]
    facts: list[tuple[str, str]]
    near: list[tuple[str, str]]
    bands: dict[str, Any] = field(repr=False)


def show(call: Call) -> Response:
    """Show the room; with ``?part=curves`` or ``?part=numbers`` the script asks for less."""
    given = {key: text.strip() for key, text in call.request.query_params.items()}
    with call.desk.ledger() as ledger, ledger.snapshot():
        plan, state = ledger.plan, call.desk.state(ledger)
        like = _like(ledger, given.get("like", ""))
    (job,) = call.settle(knowledge_of(call.desk, state))
    known: Knowledge | None = job.result if job.told else None
    start = like or _start(plan, known)
    form = Form({**_typed(plan, start), **given})
    part = given.get("part", "")
    now = pinned = None
    if known is not None:
        now = _try(known, _active(known, form.values, SET), form, part)
        if typed_settings(given, PIN):
            pinned = _try(known, _active(known, given, PIN), Form(), part)
    return call.page(
        "try_part" if part else "try",
        part=part,
        form=form,
        job=job,
        knobs=knobs_of(plan, start),
        prefix=SET,
        steps=_steps(plan),
        now=now,
        pinned=pinned,
        rows=_beside(now, pinned),
        pictures=_pictures(now, pinned),
        pin=_address(now, now),
        unpin=_address(now, None),
        against=_against(now, pinned),
        inactive=_inactive(plan, now),
        pins={PIN + name: wording.setting(value) for name, value in pinned.settings.items()}
        if pinned
        else {},
    )


def _like(ledger: Ledger, number: str) -> Settings:
    """Give the recipe of a cone; none where there is no such cone, or none was asked for."""
    found = (cone.settings for cone in ledger.cones() if str(cone.number) == number)
    return next(found, {}) if number else {}


def _start(plan: Plan, known: Knowledge | None) -> Settings:
    """Give the recipe to start from: the best one so far, else one that can be printed."""
    if known is None:
        return {}
    leader = known.model.leader()
    if leader is not None:
        return leader.settings
    space = known.model.evidence.space
    return space.settings(space.frame(space.sample_codes(1, plan.seed)).iloc[0])


def _typed(plan: Plan, settings: Mapping[str, Any]) -> dict[str, str]:
    return {
        SET + name: wording.setting(settings[name]) for name in plan.variables if name in settings
    }


def _active(known: Knowledge, values: Mapping[str, str], prefix: str) -> dict[str, str]:
    """Give the typed settings of the knobs that the recipe has; others are passed over."""
    typed = typed_settings(values, prefix)
    plan = known.plan
    kept: dict[str, str] = {}
    for name, variable in plan.variables.items():
        parents = variable.only_when.items()
        if name in typed and all(
            kept.get(parent) in {wording.setting(level) for level in levels}
            for parent, levels in parents
        ):
            kept[name] = typed[name]
    return kept


def _try(known: Knowledge, typed: Mapping[str, str], form: Form, part: str) -> Tried | None:
    """Foretell a recipe or one part of it; None where it cannot be made, which the form says."""
    plan, space = known.plan, known.model.evidence.space
    try:
        settings = space.complete(typed)
    except RecipeError as error:
        form.blame(error, {name: SET + name for name in plan.variables})
        return None
    bands = known.curves.predict(settings) if part != "numbers" else {}
    if part == "curves":
        return Tried(settings, [], [], [], bands)
    recipe = space.rows([settings])
    expected = known.model.expected(recipe)[0]
    rows = _scored(known, recipe) + [
        (metric.label, wording.interval(expected[name], metric.unit))
        for name, metric in plan.metrics.items()
        if name in expected and expected[name].known
    ]
    return Tried(settings, rows, _facts(known, recipe), _near(known, recipe), bands)


def _scored(known: Knowledge, recipe: pd.DataFrame) -> list[tuple[str, str]]:
    """Give the score, unless that is one of the metrics."""
    plan, score = known.plan, known.model.predict_score(recipe)[0]
    if not score.known or wording.score_name(plan) in plan.metrics:
        return []
    return [("score", wording.interval(score, wording.score_unit(plan)))]


def _facts(known: Knowledge, recipe: pd.DataFrame) -> list[tuple[str, str]]:
    plan, model = known.plan, known.model
    space = model.evidence.space
    rows = []
    if model.printability.failures_:
        (chance,) = model.printability.estimate(model.encoding(recipe))
        rows.append(("prints with a chance of", chance_to_print(chance.mean, chance)))
    effort = space.effort(recipe).iloc[0]
    if effort["minutes"] == effort["minutes"]:
        rows.append(("print time by the plan", wording.duration(float(effort["minutes"]))))
    if effort["money"] == effort["money"]:
        rows.append(("cost", f"{effort['money']:.2f} {plan.effort.currency}".strip()))
    return rows


def _near(known: Knowledge, recipe: pd.DataFrame) -> list[tuple[str, str]]:
    """Name the nearest measured cones, and what differs."""
    plan, evidence = known.plan, known.model.evidence
    space = evidence.space
    cones = evidence.measured.drop_duplicates("cone")
    if cones.empty:
        return []
    names = list(plan.variables)
    away = distance(plan, pd.concat([recipe[names], cones[names]], ignore_index=True), 0)[1:]
    here, found = space.settings(recipe.iloc[0]), []
    for place in np.argsort(away, kind="stable")[:NEAR]:
        there = space.settings(cones.iloc[place])
        changes = [
            f"{variable.label} {wording.with_unit(wording.setting(there[name]), variable.unit)}"
            if name in there
            else f"no {variable.label}"
            for name, variable in plan.variables.items()
            if there.get(name) != here.get(name)
        ]
        found.append((str(cones["cone"].iloc[place]), ", ".join(changes) or "the same recipe"))
    return found


def _beside(now: Tried | None, pinned: Tried | None) -> list[tuple[str, str, str]]:
    """Lay what is expected side by side."""
    if now is None:
        return []
    other = dict([*pinned.rows, *pinned.facts]) if pinned else {}
    return [(label, text, other.get(label, "")) for label, text in [*now.rows, *now.facts]]


def _pictures(now: Tried | None, pinned: Tried | None) -> dict[str, Picture]:
    if now is None:
        return {}
    return {
        name: sketch(name, now.bands[name], pinned.bands.get(name) if pinned else None)
        for name in TITLES
        if name in now.bands
    }


def _steps(plan: Plan) -> dict[str, dict[str, float]]:
    """Give the ends and steps of the knobs that a slider can move."""
    return {
        SET + name: {"low": float(one.grid[0]), "high": float(one.grid[-1]),
                     "step": float(one.step or 1)}
        for name, one in plan.variables.items()
        if one.numeric and one.levels is None
    }  # fmt: skip


def _address(now: Tried | None, pinned: Tried | None) -> str:
    """Give the address of a recipe, with another one pinned."""
    query: dict[str, str] = {}
    for prefix, tried in ((SET, now), (PIN, pinned)):
        if tried is not None:
            query |= {prefix + n: wording.setting(v) for n, v in tried.settings.items()}
    return f"/try?{urlencode(query)}"


def _against(now: Tried | None, pinned: Tried | None) -> str:
    """Give the address that compares the two."""
    if now is None or pinned is None or now.settings == pinned.settings:
        return ""
    sides = (
        ",".join(f"{name}={wording.setting(value)}" for name, value in each.settings.items())
        for each in (now, pinned)
    )
    return f"/answers/compare?{urlencode(dict(zip('ab', sides, strict=True)))}"


def _inactive(plan: Plan, now: Tried | None) -> list[str]:
    """Name the fields that the recipe does not have."""
    return [SET + name for name in plan.variables if now is not None and name not in now.settings]
