"""The recommendation in plain sentences."""

from __future__ import annotations

from optimiser import wording
from optimiser.answers import Estimate
from optimiser.confirmation import CONFIDENCE
from optimiser.contenders import RELIABLE
from optimiser.records.production import Candidate, Confirmation, Hinge, Recommendation
from optimiser.surrogate import Model
from optimiser.tolerance import strays
from optimiser.wording import interval, many, percent

__all__ = [
    "best_allowed",
    "cannot_tell",
    "confirmation_text",
    "hinge_text",
    "recommendation_text",
]


def recommendation_text(model: Model, answer: Recommendation) -> str:
    """Say what to produce, how sure that is, what would change it, how to confirm it."""
    recipe, unit, name = answer.recipe, model.goals.unit, _scored(model)
    assert recipe is not None
    assert answer.confirmation is not None
    allowed = " within the printer's tolerance" if strays(model.plan) else ""
    sentences = [
        f"{_head(recipe)}: {wording.recipe_line(model.plan, recipe.settings)}: expected "
        f"{name}{allowed} {interval(recipe.made, unit, most=3)} at 90 %, from "
        f"{many(model.cones, 'cone')}; within 5 % of {best_allowed(recipe)} with probability "
        f"{percent(answer.within[0.05])}.",
        _standing(recipe, answer, unit, name),
    ]
    if recipe.limits:
        sentences.append(
            f"Of its prints {_share(answer.kept)} keep every hard limit, scatter included (90 %)."
        )
    sentences += _beyond(answer)
    exact = _in_role(answer, "best if exact")
    if exact is not None:
        sentences.append(
            f"Were the printer exact, {_differs(model, exact, recipe)} would be best: robustness "
            f"costs {interval(answer.cost, unit, most=3)} and gains "
            f"{interval(answer.gain, unit, most=3)}."
        )
    rival = _in_role(answer, "runner-up")
    if rival is not None:
        sentences.append(
            f"Runner-up that clearly differs: {_differs(model, rival, recipe)}, better with "
            f"probability {percent(rival.beats)}."
        )
    if answer.hinge is not None:
        sentences.append(hinge_text(model, answer.hinge))
    return " ".join([*sentences, confirmation_text(model, answer.confirmation)])


def _head(recipe: Candidate) -> str:
    """Recommend the recipe, or say that none is fit for it."""
    if recipe.sound >= RELIABLE:
        return "Put into production"
    return (
        "No recipe is fit for production yet, for none is likely enough to come off the printer "
        f"and keep every hard limit; this one, with {percent(recipe.sound)} where "
        f"{percent(RELIABLE)} is asked for, comes nearest"
    )


def best_allowed(recipe: Candidate) -> str:
    """Name the recipe that the recommended one is held against: not just any printable one."""
    fit = recipe.sound >= RELIABLE
    return "the best recipe fit for production" if fit else "the best one nearly as likely to be"


def _in_role(answer: Recommendation, role: str) -> Candidate | None:
    return next((each for each in answer.others if each.role == role), None)


def _scored(model: Model) -> str:
    return "score" if model.goals.raw is None else model.goals.raw.label


def _share(kept: Estimate) -> str:
    if kept.low > 0.99 or kept.high < 0.01:
        return percent(kept.mean)
    return f"{percent(kept.mean)} ({percent(kept.low)} to {percent(kept.high)})"


_WORTH_TELLING = 0.05


def _beyond(answer: Recommendation) -> list[str]:
    """Say how many prints lie where nobody would have chosen them."""
    shares = [(answer.outside, "beyond low or high"), (answer.over_rules, "across a rule")]
    told = [f"{where} ({percent(share)})" for share, where in shares if share >= _WORTH_TELLING]
    if not told:
        return []
    return [
        f"By the tolerance some of its prints will lie {' and '.join(told)}: rules and limits of "
        "the plan bind what is chosen; if such prints are bad, narrow them by as much."
    ]


def _differs(model: Model, other: Candidate, recipe: Candidate) -> str:
    """Name another recipe by the settings in which it differs."""
    return wording.sides(model.plan, other.settings, recipe.settings)[0]


def _standing(recipe: Candidate, answer: Recommendation, unit: str, name: str) -> str:
    """Say whether it was printed already, and how it stands to the best that was."""
    best = _in_role(answer, "best measured")
    if recipe.cones:
        text = f"It was measured: cone{'s' * (len(recipe.cones) > 1)} {', '.join(recipe.cones)}."
        return text if best is None else f"{text} {_passed_over(best, recipe, unit, name)}"
    text = "No cone of just this recipe has been measured"
    if best is None:
        return f"{text}."
    if best.behind.mean < 0:
        return f"{text}. {_passed_over(best, recipe, unit, name)}"
    return (
        f"{text}: it is expected to be {interval(best.behind, unit, most=3)} better than the best "
        f"measured recipe (cone {best.cones[0]}), which is the better one with probability "
        f"{percent(best.beats)}."
    )


def _passed_over(best: Candidate, recipe: Candidate, unit: str, name: str) -> str:
    """Say why a measured recipe was not taken though a better score is expected of it."""
    behind = best.behind
    ahead = Estimate(-behind.mean, -behind.high, -behind.low, behind.cones)
    if best.sound < recipe.sound:
        useful = "come off the printer" + (" and keep every hard limit" if recipe.limits else "")
        asked = f", where {percent(RELIABLE)} is asked for" if recipe.sound >= RELIABLE else ""
        why = f"only {percent(best.sound)} of its prints are expected to {useful}{asked}"
    else:
        why = "it lies off the steps or rules of the plan"
    return (
        f"Cone {best.cones[0]} was passed over: its {name} is expected to be "
        f"{interval(ahead, unit, most=3)} better, but {why}."
    )


def hinge_text(model: Model, hinge: Hinge) -> str:
    """Say what would turn the choice."""
    metric = model.plan.metrics[hinge.metric]
    beyond = "above" if hinge.above else "below"
    whose = "the recommended recipe" if hinge.role == "recommended" else "the runner-up"
    value = wording.with_unit(wording.beside(hinge.threshold, hinge.expected), metric.unit)
    return (
        f"It hinges on {metric.label}: if the true one of {whose} is {beyond} {value} (expected "
        f"{interval(hinge.expected, metric.unit)}; probability {percent(hinge.probability)}), the "
        "runner-up is the better choice."
    )


def confirmation_text(model: Model, run: Confirmation) -> str:
    """Say how to confirm it, and how often that errs."""
    unit, name = model.goals.unit, _scored(model)
    sign = "at least" if model.goals.sign > 0 else "at most"
    threshold = wording.with_unit(wording.number(run.threshold, run.sd), unit)
    rival = wording.with_unit(wording.number(run.rival, run.sd), unit)
    text = (
        f"To confirm it print and measure {run.cones} cones of it; their mean {name} must be "
        f"{sign} {threshold}"
    )
    for proof in run.limits:
        metric = model.plan.metrics[proof.metric]
        limit = wording.with_unit(str(proof.limit), metric.unit)
        of = "mean logarithm" if proof.log else "mean"
        text += (
            f", and the {of} of {metric.label} must keep the limit {limit} by "
            f"{proof.factor:.2f} standard deviations of the cones"
        )
    text += f". If the model is right they pass with {percent(run.passes)}"
    caught = wording.with_unit(wording.number(run.caught, run.sd), unit)
    worse = "or less" if model.goals.sign > 0 else "or more"
    text += f"; if its true {name} is {caught} {worse}, they fail with 95\N{NO-BREAK SPACE}%"
    if run.limits:
        text += "; if only nine of ten prints keep a limit, they fail with 95\N{NO-BREAK SPACE}%"
    return f"{text}. {_against(run, name, rival)}".rstrip()


def _against(run: Confirmation, name: str, rival: str) -> str:
    """Say what the run tells of the runner-up and of the limits."""
    floor = "the threshold is what the recipe itself misses one time in twenty."
    if run.decides or run.fails >= CONFIDENCE:
        text = f"A true {name} of {rival} is what the runner-up is expected to reach."
    elif run.fails < CONFIDENCE:
        text = (
            "No run of up to 20 cones is likely to tell it from the runner-up, expected to reach "
            f"{rival} (this one fails such a recipe with {percent(run.fails)}); {floor}"
        )
    else:
        text = f"There is no runner-up to tell it from; {floor}"
    if run.proves:
        return text
    return f"{text} No run of up to 20 cones is likely to prove that the limits are kept."


def cannot_tell(model: Model, more: int) -> str:
    """Answer while there is too little to go by."""
    return (
        f"Cannot tell yet which recipe to put into production: "
        f"{many(model.cones, 'measured cone')}; about {many(more, 'more cone')} with a score "
        "would do for a first answer."
    )
