"""Numbers and recipes in words: digits that the interval carries, units, labels."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from optimiser.answers import Calibration, Estimate, Pick

if TYPE_CHECKING:
    from experiments.plan import Plan

__all__ = [
    "FEW",
    "UNKNOWN",
    "aim",
    "beside",
    "capital",
    "column",
    "covered",
    "departure",
    "describe",
    "doubt",
    "duration",
    "ends",
    "interval",
    "intervals",
    "many",
    "minimises",
    "miss",
    "not_foretold",
    "number",
    "percent",
    "pick_time",
    "recipe_line",
    "recipe_rows",
    "runs",
    "score_name",
    "score_unit",
    "setting",
    "sides",
    "unbroken",
    "with_unit",
]

UNKNOWN = "–"


def number(value: float | None, width: float | None = None, *, most: int = 8) -> str:
    """Write a number with the digits that carry something.

    Parameters
    ----------
    value : float or None
        The number; None, NaN and infinities give a dash.
    width : float, optional
        Width of its interval; the last digit written is the second significant one of the
        width. Without it: four significant digits.
    most : int, optional
        Decimals at most, where finer ones mean nothing to anybody.

    Examples
    --------
    >>> number(9.13287, width=2.4), number(1234.56, width=87), number(0.5)
    ('9.1', '1235', '0.5')
    """
    if value is None or not math.isfinite(value):
        return UNKNOWN
    if width is None or not math.isfinite(width) or width <= 0:
        text = f"{value:.4g}"
        # An exponent is no help to somebody at a printer.
        if "e" in text or len(text.partition(".")[2]) > most:
            text = f"{value:.{0 if 'e+' in text else most}f}"
        return "0" if float(text) == 0 else text
    return _fixed(value, _decimals(width, most))


def _decimals(width: float, most: int) -> int:
    """Count the decimals that tell a hundredth to a tenth of a width."""
    return min(max(0, 1 - math.floor(math.log10(width))), most)


def _fixed(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def column(values: Iterable[float]) -> list[str]:
    """Write the numbers of one column with equal decimals: a hundredth of their range is told.

    But of numbers that hardly differ, no more than about four digits. Where all are above zero, a
    number of which that would leave nothing keeps three significant digits of its own.

    Examples
    --------
    >>> column([8.4, 10.25, float("nan")])
    ['8.40', '10.25', '–']
    >>> column([2.31, 2310])
    ['2.31', '2310']
    >>> column([3.50289, 3.50291])
    ['3.503', '3.503']
    """
    numbers = [float(value) for value in values]
    known = [value for value in numbers if math.isfinite(value)]
    span = max(known) - min(known) if known else 0.0
    largest = max(map(abs, known), default=1.0)
    width = max(span / 10, largest / 300) if span else largest / 100
    positive = min(known, default=0.0) > 0
    widths = (value / 10 if positive and value < width / 10 else width for value in numbers)
    return [number(value, one) for value, one in zip(numbers, widths, strict=True)]


def with_unit(text: str, unit: str) -> str:
    """Put the unit behind a number, with a space that does not break."""
    return f"{text}\N{NO-BREAK SPACE}{unit}" if unit and text != UNKNOWN else text


def unbroken(text: str) -> str:
    r"""Keep the brackets of an interval, and a number and its unit, on one line.

    Examples
    --------
    >>> unbroken("13 % of value (-30 to 95)") == "13\xa0% of value (-30\xa0to\xa095)"
    True
    """
    whole = re.sub(r"\([^ ()]+ to [^ ()]+\)", lambda found: found[0].replace(" ", "\xa0"), text)
    return re.sub(r"(?<=\d) (?=%|min\b|h\b)", "\xa0", whole)


def capital(text: str) -> str:
    """Begin with a capital letter and leave the rest alone: 'THD peak' stays what it is."""
    return f"{text[:1].upper()}{text[1:]}"


def interval(estimate: Estimate, unit: str = "", *, most: int = 8) -> str:
    r"""Write an estimate with its 90 % interval.

    Parameters
    ----------
    estimate : Estimate
        What to write; 'cannot tell yet' where the data do not carry it.
    unit : str, optional
        Its unit.
    most : int, optional
        Decimals at most.

    Examples
    --------
    >>> interval(Estimate(9.13, 7.9, 10.3), "kHz")
    '9.1\xa0kHz (7.9 to 10.3)'
    """
    return _interval(estimate, unit, most, None) if estimate.known else "cannot tell yet"


def covered(volume: Estimate, most: int = 8) -> str:
    """Write how much of the box the front covers, and how that can be more than all of it."""
    if volume.mean <= 1:
        return f"{interval(volume, most=most)} of the box from poor to good"
    return (
        f"{interval(volume, most=most)} times the box from poor to good, over 1 because some are "
        "better than good"
    )


def _interval(estimate: Estimate, unit: str, most: int, decimals: int | None) -> str:
    """Write a known estimate, with the decimals given or those that its own width carries."""
    if not math.isfinite(estimate.high - estimate.low):
        return with_unit(number(estimate.mean, most=most), unit)
    ends = (estimate.low, estimate.mean, estimate.high)
    if most < 8 and max(map(abs, ends)) < 0.5 * 10.0**-most:
        return with_unit(f"under {10.0**-most:g}", unit)
    low, mean, high = (
        beside(value, estimate, most=most) if decimals is None else _fixed(value, decimals)
        for value in ends
    )
    return f"{with_unit(mean, unit)} ({low} to {high})"


def intervals(
    column: Sequence[Estimate],
    unit: str = "",
    *,
    most: int = 8,
    unknown: str = "cannot tell yet",
    apart: Sequence[bool] = (),
) -> list[str]:
    """Write the estimates of one column with equal decimals, those that its middle row carries.

    More where a row that is `apart`, its interval leaving 0 out, would seem to reach 0.

    Examples
    --------
    >>> intervals([Estimate(0.31, 0.11, 0.62), Estimate(0.304, 0.261, 0.349)])
    ['0.31 (0.11 to 0.62)', '0.30 (0.26 to 0.35)']
    """
    widths = [2 * (each.high - each.low) for each in column if each.known]
    carried = sorted(_decimals(width, most) for width in widths if 0 < width < math.inf)
    decimals = carried[len(carried) // 2] if carried else None
    told = [each for each, clear in zip(column, apart, strict=False) if clear]
    while decimals is not None and decimals < most and any(_reaches(e, decimals) for e in told):
        decimals += 1
    return [_interval(each, unit, most, decimals) if each.known else unknown for each in column]


def _reaches(estimate: Estimate, decimals: int) -> bool:
    """Whether an end of an interval is 0 once it is rounded."""
    return 0.0 in (round(estimate.low, decimals), round(estimate.high, decimals))


def beside(value: float | None, estimate: Estimate, *, most: int = 8) -> str:
    """Write a value with the digits of an estimate: its interval is 5 to 50 of the last one.

    Examples
    --------
    >>> beside(0.5857, Estimate(0.58, 0.551, 0.609))
    '0.59'
    """
    width = estimate.high - estimate.low
    return number(value, 2 * width or abs(estimate.mean - estimate.low), most=most)


# Below six cones the 90 % intervals of simulated experiments held 78 % to 89 %.
FEW = 6


def aim(cones: int) -> str:
    """Say what a 90 % interval promises, by the number of cones that it stands on."""
    if cones >= FEW:
        return "about nine of ten such cones fall within the brackets"
    return (
        "the brackets aim at nine of ten such cones; from so few "
        f"({many(cones, 'cone')}) somewhat fewer fall within"
    )


def many(count: int, thing: str) -> str:
    """Write ``1 cone`` or ``7 cones``.

    Examples
    --------
    >>> many(1, "cone"), many(0, "measured cone")
    ('1 cone', '0 measured cones')
    """
    return f"{count} {thing}{'' if count == 1 else 's'}"


def miss(check: Calibration) -> str:
    """Write a model's typical miss beside what it would be without a model."""
    error, spread = (number(value, check.error) for value in (check.error, check.spread))
    return f"{error} of a spread of {with_unit(spread, check.unit)}"


def doubt(checks: Iterable[Calibration], metric: str) -> str:
    """Say that a metric's model misses by as much as the cones differ; empty if it does not."""
    check = next(each for each in checks if each.metric == metric)
    return "" if check.foretells else f"; not foretold yet: typical miss {miss(check)}"


def not_foretold(checks: Iterable[Calibration], labels: Mapping[str, str]) -> str:
    """Name the metrics whose model knows nothing yet; empty if there is none."""
    names = [labels.get(each.metric, each.metric) for each in checks if not each.foretells]
    if not names:
        return ""
    return (
        f"Not foretold yet, the miss being 0.9 of the spread or more: {', '.join(names)}; believe "
        "their intervals, not their means."
    )


def percent(probability: float) -> str:
    """Write a probability: whole percent, and never a certainty that no sample can carry."""
    if not math.isfinite(probability):
        return UNKNOWN
    if probability > 0.99:
        return "over 99\N{NO-BREAK SPACE}%"
    if probability < 0.01:
        return "under 1\N{NO-BREAK SPACE}%"
    return f"{100 * probability:.0f}\N{NO-BREAK SPACE}%"


def duration(minutes: float) -> str:
    """Write minutes as a workshop would: ``45 min``, ``3 h 20 min``."""
    if not math.isfinite(minutes):
        return UNKNOWN
    whole = round(minutes)
    if whole < 90:
        return f"{whole}\N{NO-BREAK SPACE}min"
    hours, rest = divmod(whole, 60)
    return f"{hours}\N{NO-BREAK SPACE}h {rest}\N{NO-BREAK SPACE}min" if rest else f"{hours} h"


def pick_time(plan: Plan, pick: Pick) -> str:
    """Write a pick's minutes: ``74 min, and 25 min of set-up (process)``; empty if unknown."""
    if not math.isfinite(pick.minutes):
        return ""
    if not pick.set_up > 0:
        return duration(pick.minutes)
    labels = describe(plan)
    changed = ", ".join(labels.get(name, name) for name in pick.set_ups)
    printing, set_up = duration(pick.minutes - pick.set_up), duration(pick.set_up)
    return f"{printing}, and {set_up} of set-up ({changed})"


def setting(value: Any) -> str:
    """Write one setting: a word as it is, a number without needless digits."""
    if isinstance(value, str):
        return value
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return UNKNOWN
    return f"{value:.6g}"


def ends(low: Any, high: Any) -> str:
    """Write a range of settings: ``0.5 to 0.7``, or ``0.5`` where both ends are the same."""
    return setting(low) if low == high else f"{setting(low)} to {setting(high)}"


def runs(some: Sequence[Any], every: Sequence[Any]) -> str:
    """Write settings out of a list: numbers that stand side by side in it as ranges.

    Examples
    --------
    >>> runs([7, 9, 10, 11], [6, 7, 8, 9, 10, 11, 12])
    '7, 9 to 11'
    """
    if any(isinstance(each, str) for each in some):
        return ", ".join(map(setting, some))
    order = list(every)
    parts: list[list[Any]] = []
    for each in some:
        if parts and each in order and order.index(each) == order.index(parts[-1][-1]) + 1:
            parts[-1].append(each)
        else:
            parts.append([each])
    return ", ".join(ends(part[0], part[-1]) for part in parts)


def recipe_rows(plan: Plan, settings: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Give (shown name, value with unit) for each active variable in plan order."""
    return [
        (variable.label, with_unit(setting(settings[name]), variable.unit))
        for name, variable in plan.variables.items()
        if name in settings
    ]


def recipe_line(plan: Plan, settings: Mapping[str, Any]) -> str:
    """Give a recipe on one line: ``process resin, cure time 12 min``."""
    return ", ".join(f"{label} {value}" for label, value in recipe_rows(plan, settings))


def sides(plan: Plan, a: Mapping[str, Any], b: Mapping[str, Any]) -> tuple[str, str]:
    """Name two recipes, whole or partial, by the settings in which they differ.

    Returns
    -------
    tuple of str
        Such as ``('process resin', 'process filament')``; the first three differences.
    """
    differ = [name for name in plan.variables if a.get(name) != b.get(name)]

    def name(side: Mapping[str, Any]) -> str:
        own = [each for each in differ if each in side]
        shown = own[:3] or list(side)
        text = recipe_line(plan, {each: side[each] for each in shown})
        return f"{text} and {len(own) - 3} more" if len(own) > 3 else text

    return name(a), name(b)


def score_name(plan: Plan) -> str:
    """Give the name of what is optimised: the score, or a single metric without poor and good."""
    goals = [metric for metric in plan.metrics.values() if metric.goal != "watch"]
    if len(goals) == 1 and (goals[0].poor is None or goals[0].good is None):
        return goals[0].name
    return "score"


def departure(plan: Plan, pick: Pick, name: str) -> str:
    """Say what the cone that a pick departs from has of a setting; empty where it is the same."""
    if pick.departs_from is None or name not in pick.changes:
        return ""
    there = setting(pick.changes[name][0])
    told = with_unit(there, plan.variables[name].unit) if there != UNKNOWN else "not used"
    return f"cone {pick.departs_from}: {told}"


def minimises(plan: Plan) -> bool:
    """Whether what is optimised is better the smaller it is."""
    metric = plan.metrics.get(score_name(plan))
    return metric is not None and metric.goal == "minimise"


def score_unit(plan: Plan) -> str:
    """Give the unit of what is optimised; the score has none."""
    name = score_name(plan)
    return plan.metrics[name].unit if name in plan.metrics else ""


def describe(plan: Plan) -> dict[str, str]:
    """Give the shown name of every variable and metric, and of the score."""
    variables = {name: each.label or name for name, each in plan.variables.items()}
    metrics = {name: each.label or name for name, each in plan.metrics.items()}
    return {"score": "score", **variables, **metrics}
