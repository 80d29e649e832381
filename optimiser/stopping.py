"""When to stop: what one more cone is expected to gain, against what repeats."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.plan import Plan
from optimiser.acquisition import NoisyImprovement
from optimiser.answers import Estimate, Outlook, Pick, Settings
from optimiser.continuation import PLATE, continuation
from optimiser.fitting import fit
from optimiser.fronts import standing
from optimiser.goals import Goals
from optimiser.hardly_tried import LITTLE, hardly_tried, warning
from optimiser.paths import DrawnFunctions
from optimiser.pool import dense_pool, repeatability
from optimiser.proposals import first_cones, most_promising
from optimiser.surrogate import Model, Progress, estimate, unknown
from optimiser.threads import one_thread
from optimiser.trading import VolumeImprovement
from optimiser.wording import covered, duration, interval, many, number, percent, with_unit

__all__ = ["outlook"]

Floats = npt.NDArray[np.float64]

_ENDING = ("stop", "nearly there")


@one_thread
def outlook(
    plan: Plan,
    trials: pd.DataFrame,
    seed: int = 0,
    *,
    model: Model | None = None,
    progress: Progress | None = None,
) -> Outlook:
    """Say whether another cone is worth printing.

    Parameters
    ----------
    plan : Plan
    trials : DataFrame
        One row a measurement (see `Ledger.table`).
    seed : int
        Repeats exactly on the same versions.
    model : Model, optional
        From `fit` on the same plan and trials.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    Outlook
        'stop' when the best cone is within 5 % of the best printable recipe with probability
        0.9 and the best next cone is expected to gain less than a quarter of the repeatability;
        'nearly there' when it cannot be told from the best (within 5 % or the repeatability,
        whichever is more) with probability 0.6, and the gain is under half the repeatability.
        Cones planned or printed count as not there: what they may bring is still to be gained.
        Where the plan trades its metrics, what the next cone adds to the front; history,
        continuation and chances are those of the score all the same, which no text tells.

    Raises
    ------
    TrialsError
        A table that does not fit the plan.
    """
    if model is None:
        model = fit(plan, trials, seed, progress=progress)
    if plan.goal == "trade":
        return _traded(model, seed, progress)
    return _of_score(model, seed, progress)


def _of_score(model: Model, seed: int, progress: Progress | None) -> Outlook:
    """Say what one more cone brings to the score."""
    plan = model.plan
    model = _none_pending(model)
    history = _history(model)
    leader = model.leader()
    if leader is None or model.cones < first_cones(plan) // 2 + 1:
        text = f"Cannot tell yet: {many(model.cones, 'measured cone')}; more are needed."
        return Outlook(
            unknown(model.cones), float("nan"), {}, "cannot tell yet", None, history,
            model.cones, model.calibration(), list(model.notes), text,
        )  # fmt: skip
    if progress:
        progress(0.4, "valuing one more cone")
    gain, pick = _next_gain(model, seed)
    spread, why = repeatability(model), _assumed(model)
    gap, best = _behind(model, leader.settings, seed)
    within = {share: float(np.mean(gap <= share * np.abs(best))) for share in (0.01, 0.02, 0.05)}
    alike = float(np.mean(gap <= np.maximum(0.05 * np.abs(best), spread)))
    verdict = _outlook_verdict(gain, spread, within, alike)
    few = hardly_tried(model, first_cones(plan)) if verdict in _ENDING else []
    if progress:
        progress(0.8, "following the best score over more cones")
    ahead = _follow(model, seed)
    plate = _plate_gain(ahead, model.cones)
    return Outlook(
        gain=gain,
        repeatability=spread,
        within=within,
        verdict=verdict,
        best=int(float(leader.cone)) if leader.cone.replace(".", "").isdigit() else None,
        history=history,
        cones=model.cones,
        calibration=model.calibration(),
        notes=[*model.notes, *why, *warning(few)],
        text=_outlook_text(
            model, verdict, gain, spread, within, alike, leader.cone, assumed=bool(why)
        )
        + _plate_text(model, plate, pick),
        alike=alike,
        plate=plate,
        minutes=pick.minutes if pick else float("nan"),
        money=pick.money if pick else float("nan"),
        continuation=ahead,
        assumed=bool(why),
    )


def _assumed(model: Model) -> list[str]:
    """Say that the repeatability was never measured; empty where some recipe was printed twice."""
    measured = model.evidence.measured
    recipes = model.evidence.recipes(measured).assign(cone=measured["cone"].astype(str))
    prints = recipes.drop_duplicates().drop(columns="cone")
    if prints.duplicated().any():
        return []
    heard = measured["cone"].duplicated().any()
    seen = "No recipe was printed twice" + ("" if heard else " and no cone heard twice")
    return [
        f"{seen}, so nothing shows how well one repeats: the repeatability is what the model "
        "takes for scatter about its curve. Another print of the best cone would tell."
    ]


def _traded(model: Model, seed: int, progress: Progress | None) -> Outlook:
    """Say what one more cone adds to the front; the score is followed beside it."""
    plan = replace(model.plan, goal="score")
    scored = replace(model, plan=plan, goals=Goals(plan, model.metrics))
    answer = _of_score(scored, seed, progress)
    now = standing(_none_pending(model))
    pick = most_promising(_none_pending(model), seed)
    if now is None or pick is None or answer.verdict == "cannot tell yet":
        return replace(answer, verdict="cannot tell yet")
    known = now.model.encoding(now.model.evidence.known)
    row = now.model.encoding(now.model.evidence.space.rows([pick.settings]))
    gain = VolumeImprovement(now.model, known, seed=seed).gain(row)[:, 0]
    added = estimate(gain, model.cones) if pick.kind != "first" else unknown(model.cones)
    text = (
        f"The front covers {covered(now.volume, most=3)}; the best next cone is expected to add "
        f"{interval(added, most=3)} (90 %, {many(model.cones, 'cone')})."
    )
    return replace(
        answer, verdict="no verdict", text=text + _cost_text(model, pick), volume=now.volume,
        added=added, minutes=pick.minutes, money=pick.money, notes=list(model.notes),
    )  # fmt: skip


def _none_pending(model: Model) -> Model:
    """Count cones that are planned or printed as not there."""
    evidence = replace(model.evidence, pending=model.evidence.pending.iloc[:0])
    return replace(model, evidence=evidence)


def _next_gain(model: Model, seed: int) -> tuple[Estimate, Pick | None]:
    """Estimate the gain of the best next cone, and give that cone."""
    pick = most_promising(model, seed)
    if pick is not None and pick.kind == "first":
        return unknown(model.cones), pick
    if pick is None or pick.kind == "confirm":
        return Estimate(0.0, 0.0, 0.0, model.cones), pick
    row = model.evidence.space.rows([pick.settings])
    acquisition = NoisyImprovement(model, model.encoding(model.evidence.known), seed=seed)
    return estimate(acquisition.gain(model.encoding(row))[:, 0], model.cones), pick


def _follow(model: Model, seed: int) -> pd.DataFrame:
    """Follow the best score over coming cones."""
    functions = DrawnFunctions(model, seed=seed)
    codes, utility = dense_pool(model, functions, seed=seed)
    drawn = model.goals.sign * functions(model.encoding(model.evidence.known))
    known = np.where(np.isnan(drawn), utility.min(axis=1, keepdims=True), drawn)
    return continuation(model, codes, utility, known, seed)


def _plate_gain(ahead: pd.DataFrame, cones: int) -> Estimate:
    """Give what a plate of cones gains."""
    row = ahead.loc[ahead["more"] == PLATE].iloc[0]
    return Estimate(float(row["gain"]), float(row["gain_low"]), float(row["gain_high"]), cones)


def _plate_text(model: Model, plate: Estimate, pick: Pick | None) -> str:
    """Say what a plate gains, and what the next cone costs."""
    text = (
        f" A plate of {PLATE} chosen now is expected to gain "
        f"{interval(plate, model.goals.unit, most=3)}."
    )
    return text if pick is None else text + _cost_text(model, pick)


def _cost_text(model: Model, pick: Pick) -> str:
    """Say what the next cone costs; empty where the plan does not tell."""
    costs = [duration(pick.minutes)] if np.isfinite(pick.minutes) else []
    if np.isfinite(pick.money):
        costs.append(with_unit(f"{pick.money:.2f}", model.plan.effort.currency))
    return f" The best next cone takes {' and '.join(costs)}." if costs else ""


def _behind(model: Model, settings: Settings, seed: int) -> tuple[Floats, Floats]:
    """Give how far the leader is behind the best printable recipe, and that best, a draw."""
    functions = DrawnFunctions(model, seed=seed)
    _, utility = dense_pool(model, functions, seed=seed)
    row = model.evidence.space.rows([settings])
    own = np.nan_to_num(model.goals.sign * functions(model.encoding(row))[:, 0], nan=-np.inf)
    best = np.maximum(utility.max(axis=1), own)
    return best - own, best


def _outlook_verdict(
    gain: Estimate, spread: float, within: dict[float, float], alike: float
) -> str:
    if not gain.known:
        return "go on"
    if within[0.05] >= 0.9 and gain.mean < LITTLE * spread:
        return "stop"
    if alike >= 0.6 and gain.mean < 0.5 * spread:
        return "nearly there"
    return "go on"


def _outlook_text(
    model: Model,
    verdict: str,
    gain: Estimate,
    spread: float,
    within: dict[float, float],
    alike: float,
    cone: str,
    *,
    assumed: bool,
) -> str:
    """One plain sentence."""
    unit = model.goals.unit
    gain_text = (
        f"the best next cone is expected to gain {interval(gain, unit, most=3)} at 90 %"
        if gain.known
        else "the first cones are not all measured, so the next one's gain is not known"
    )
    slow = verdict == "go on" and gain.known and gain.mean < 0.5 * spread
    coarse = f", and within what repeats with {percent(alike)}" if alike > within[0.05] else ""
    known = f"{'an assumed' if assumed else 'a'} repeatability"
    return (
        f"{verdict.capitalize()}: {gain_text}, against {known} of "
        f"{with_unit(number(spread, spread), unit)}; cone {cone} is within 5 % of the best "
        f"printable recipe with probability {percent(within[0.05])}{coarse} ({model.cones} cones)."
        + (
            " No single cone is likely to show a gain: print several, or stop if what may still "
            "be gained is not worth them."
            if slow
            else ""
        )
    )


def _history(model: Model) -> pd.DataFrame:
    """Best measured score after each cone, in the order of the table."""
    measured = model.evidence.measured
    scores = model.scores(measured) if len(measured) and model.scorable else np.empty(0)
    table = pd.DataFrame({"cone": measured["cone"].to_numpy()[: len(scores)], "score": scores})
    by_cone = table.dropna().groupby("cone", sort=False)["score"].mean()
    sign = model.goals.sign
    best = sign * np.maximum.accumulate(sign * by_cone.to_numpy(dtype=float))
    numbers = np.arange(1, len(by_cone) + 1)
    return pd.DataFrame({"cones": numbers, "cone": by_cone.index, "best": best})
