"""The optimum of a knob in plain sentences."""

from __future__ import annotations

from experiments.plan import Variable
from optimiser.answers import Optimum
from optimiser.surrogate import Model
from optimiser.wording import describe, interval, percent, recipe_line, with_unit
from optimiser.wording import setting as setting_text

__all__ = ["FEW_SWITCHES", "optimum_text"]

FEW_SWITCHES = 2
"""Changes of level along the range that are told and drawn."""


def optimum_text(model: Model, knob: Variable, answer: Optimum, share: float) -> str:
    """Say where the best setting lies, how sure that is, and what changes with it.

    Parameters
    ----------
    model : Model
    knob : Variable
        The knob that was asked for.
    answer : Optimum
        All but its text.
    share : float
        Probability that the setting with the best expected score is the best one.
    """
    return (
        _held_text(model, answer)
        + _best_text(knob, answer, share)
        + _shift_text(model, knob, answer)
        + _switch_text(model, knob, answer)
    )


def _held_text(model: Model, answer: Optimum) -> str:
    return f"With {recipe_line(model.plan, answer.hold)} held: " if answer.hold else ""


def _best_text(knob: Variable, answer: Optimum, share: float) -> str:
    """One plain sentence."""
    setting, as_good, cones = answer.setting, answer.as_good, answer.cones
    unit = f" {knob.unit}" if knob.unit else ""
    if setting is None:
        return (
            f"Cannot tell yet where the best {knob.label} lies: from {cones} cones, it may be "
            f"anywhere between {setting_text(answer.low)} and {setting_text(answer.high)}{unit}."
        )
    if knob.kind == "choice":
        others = [str(value) for value in as_good if value != setting]
        tail = f"; {', '.join(others)} cannot be told from it" if others else ""
        return (
            f"Best {knob.label}: {setting}, with probability {percent(share)} from {cones} "
            f"cones{tail}."
        )
    ends = f"{setting_text(answer.low)} and {setting_text(answer.high)}{unit}"
    equals = f"{setting_text(as_good[0])} to {setting_text(as_good[-1])}{unit}"
    if len(as_good) == 1:
        equals = "no other setting"
    text = (
        f"Best {knob.label}: {setting_text(setting)}{unit}; the best lies between {ends} "
        f"(90 %, {cones} cones); as good within the repeatability: {equals}."
    )
    if answer.at_edge:
        text += " It sits at the edge of the range: widen the range to find the true optimum."
    return text


def _shift_text(model: Model, knob: Variable, answer: Optimum) -> str:
    """Say between which levels the best setting differs, and where that cannot be told yet."""
    labels = describe(model.plan)
    told = [
        f" It differs between {labels[each.variable]} {each.a}, {interval(each.at_a, knob.unit)}, "
        f"and {each.b}, {interval(each.at_b, knob.unit)}: by "
        f"{interval(each.difference, knob.unit)} at 90 %."
        for each in answer.shifts
        if each.told
    ]
    open_ones = dict.fromkeys(labels[each.variable] for each in answer.shifts if not each.told)
    if open_ones:
        between = f"between {'other ' if told else ''}levels of {', '.join(open_ones)}"
        told.append(f" Whether it differs {between}: cannot tell yet.")
    return "".join(told)


def _switch_text(model: Model, knob: Variable, answer: Optimum) -> str:
    """Say where the best recipe changes a level along the range.

    Empty where it does not, or to and fro: levels that nobody can tell apart yet.
    """
    labels, switches = describe(model.plan), answer.switches
    if not 0 < len(switches) <= FEW_SWITCHES:
        return ""
    told = [
        f"{labels[each.variable]} from {each.before or 'none'} to {each.after or 'none'} between "
        f"{setting_text(each.last)} and {with_unit(setting_text(each.first), knob.unit)}"
        for each in switches
    ]
    return f" Along the range the best recipe changes {'; '.join(told)}."
