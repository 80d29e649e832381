"""The plan's metrics: from the keys of the file to checked records."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any, cast

from experiments.acoustics import catalogue
from experiments.grammar import suggest
from experiments.plan_parts import FrozenDict, Limit, Metric, is_number
from experiments.plan_schema import MetricKeys, Problems, read_each, show

__all__ = ["MOST_TRADED", "read_metrics"]

MOST_TRADED = 3
"""Metrics that can be traded: the surface between four is nothing that anybody can look at."""

_LIMIT = re.compile(r"\s*(>=|<=|>|<|≥|≤)\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*")


def read_metrics(
    section: Mapping[str, Any], problems: Problems, *, trade: bool = False
) -> dict[str, Metric]:
    """Read ``[metrics]``.

    Parameters
    ----------
    section : mapping
        Names and their keys.
    problems : Problems
        Whatever is wrong is added.
    trade : bool
        Whether the plan has ``goal = "trade"``.

    Returns
    -------
    dict of str to Metric
        The sound ones, in plan order.
    """
    metrics = read_each(MetricKeys, section, "metrics", problems, _metric)
    if metrics:
        _old_names(section, metrics, problems)
        _goals(metrics, len(metrics) == len(section), problems, trade)
    return metrics


def _old_names(
    section: Mapping[str, Any], metrics: Mapping[str, Metric], problems: Problems
) -> None:
    """Refuse an old name that two metrics claim, or that still is a metric's own."""
    claimed = [metric.was for metric in metrics.values()]
    for name, metric in metrics.items():
        if metric.was and (metric.was in section or claimed.count(metric.was) > 1):
            problems.note(
                f"metrics.{name}.was",
                show(metric.was),
                "a name that no metric of the plan has any more, once",
            )


def _metric(problems: Problems, name: str, keys: MetricKeys) -> Metric | None:
    where = f"metrics.{name}"
    source = _source(problems, where, name, keys)
    goal, poor = _goal(problems, where, keys), _poor(problems, where, keys)
    limit = _limit(problems, where, keys.limit)
    if source is None:
        return None
    kind, measure, unit = source
    return Metric(
        name=name,
        source=cast("Any", kind),
        measure=measure,
        options=FrozenDict(_options(problems, where, keys, kind, measure)),
        unit=unit,
        goal=goal,
        poor=poor,
        good=keys.good,
        weight=keys.weight,
        limit=limit,
        shape=keys.shape,
        label=keys.label,
        note=keys.note,
        was=keys.was or "",
    )


def _source(
    problems: Problems, where: str, name: str, keys: MetricKeys
) -> tuple[str, str, str] | None:
    """Find where a metric comes from: its kind of file, full measure name and unit."""
    measure = _resolve(keys.measure or name)
    if keys.measure is None and (keys.source == "hand" or (measure is None and not keys.source)):
        return "hand", name, keys.unit or ""
    if measure is None:
        hint = suggest(keys.measure or name, catalogue.MEASURES)
        problems.note(
            f"{where}.measure",
            show(keys.measure) if keys.measure else "nothing",
            "a measure of the catalogue",
            hint or f"Known: {', '.join(catalogue.MEASURES)}.",
        )
        return None
    kind = keys.source or measure.kinds[0]
    if kind not in measure.kinds:
        problems.note(
            f"{where}.from",
            show(kind),
            f"{' or '.join(show(k) for k in measure.kinds)} for {measure.name}",
        )
        return None
    return kind, measure.name, _unit(problems, where, keys.unit, measure.unit)


def _unit(problems: Problems, where: str, given: str | None, own: str) -> str:
    if given is None:
        return own
    try:
        catalogue.convert(1.0, own, given)
    except ValueError:
        expected = f"{show(own)} or a unit that it converts to"
        problems.note(f"{where}.unit", show(given), expected)
    return given


def _options(
    problems: Problems, where: str, keys: MetricKeys, kind: str, measure: str
) -> dict[str, Any]:
    given = {
        option: getattr(keys, option)
        for option in catalogue.OPTION_NAMES
        if getattr(keys, option) is not None
    }
    takes = () if kind == "hand" else catalogue.MEASURES[measure].options
    for option in given:
        if option not in takes:
            problems.note(
                f"{where}.{option}",
                f"the option '{option}'",
                f"only {', '.join(takes)}" if takes else "no options",
                f"{measure} does not depend on it.",
            )
    if "band" in given:
        given["band"] = _pair(problems, f"{where}.band", given["band"], "frequencies in Hz")
        if given["band"] is not None and given["band"][0] <= 0:
            problems.note(f"{where}.band", show(keys.band), "frequencies above 0")
    return given


def _pair(problems: Problems, where: str, value: Any, what: str) -> tuple[float, float] | None:
    good = isinstance(value, list) and len(value) == 2 and all(map(is_number, value))
    if not good or value[0] >= value[1]:
        problems.note(where, show(value), f"two {what}, [low, high]")
        return None
    return float(value[0]), float(value[1])


def _goal(problems: Problems, where: str, keys: MetricKeys) -> Any:
    if keys.goal is not None:
        return keys.goal
    if keys.poor is not None or keys.good is not None:
        problems.note(
            f"{where}.goal",
            "nothing",
            '"maximise", "minimise", "target" or "watch"',
            "poor and good mean nothing without a goal.",
        )
    return "watch"


def _poor(problems: Problems, where: str, keys: MetricKeys) -> float | tuple[float, float] | None:
    poor, good, path = keys.poor, keys.good, f"{where}.poor"
    if keys.goal == "target":
        return _target(problems, where, poor, good)
    if (poor is None) != (good is None) and keys.goal is not None:
        missing = "poor" if poor is None else "good"
        problems.note(f"{where}.{missing}", "nothing", "both poor and good, or neither")
        return None
    if poor is None:
        return None
    if not is_number(poor):
        problems.note(path, show(poor), "a number")
        return None
    if good is not None and keys.goal in ("maximise", "minimise"):
        up = keys.goal == "maximise"
        if (poor >= good) if up else (poor <= good):
            problems.note(
                path,
                f"poor = {show(poor)}, good = {show(good)}",
                f'poor {"below" if up else "above"} good for goal = "{keys.goal}"',
                "Swap them, or change the goal.",
            )
    return float(poor)


def _target(
    problems: Problems, where: str, poor: Any, good: float | None
) -> float | tuple[float, float] | None:
    if good is None or poor is None:
        missing = "good" if good is None else "poor"
        text = "the target" if good is None else "[low, high] or the distance from the target"
        problems.note(f"{where}.{missing}", "nothing", text)
        return None
    if isinstance(poor, list):
        pair = _pair(problems, f"{where}.poor", poor, "numbers")
        if pair is not None and not pair[0] < good < pair[1]:
            problems.note(
                f"{where}.poor",
                show(poor),
                f"one number below and one above good = {show(good)}",
            )
        return pair
    if not is_number(poor) or poor <= 0:
        problems.note(f"{where}.poor", show(poor), "[low, high], or a distance above 0")
        return None
    return float(poor)


def _limit(problems: Problems, where: str, text: Any) -> Limit | None:
    if text is None:
        return None
    found = _LIMIT.fullmatch(text) if isinstance(text, str) else None
    if found is None or not math.isfinite(float(found[2])):
        problems.note(
            f"{where}.limit",
            show(text),
            'a comparison such as ">= 4.0"',
            "In the metric's unit, decimals with a point.",
        )
        return None
    op = {"≥": ">=", "≤": "<="}.get(found[1], found[1])
    return Limit(cast("Any", op), float(found[2]))


def _goals(metrics: Mapping[str, Metric], complete: bool, problems: Problems, trade: bool) -> None:
    """Check the goals together; `complete` tells that every metric is sound."""
    wanted = {n: m for n, m in metrics.items() if m.goal != "watch"}
    if complete and not wanted:
        problems.note(
            "metrics",
            'only metrics to "watch"',
            "at least one with a goal",
            'Give one goal = "maximise", "minimise" or "target".',
        )
    if trade and (len(wanted) > MOST_TRADED or (complete and len(wanted) < 2)):
        listed = f": {', '.join(wanted)}" if wanted else ""
        problems.note(
            "goal",
            f'"trade" with {len(wanted)} metric{"s" * (len(wanted) != 1)} to trade{listed}',
            "two or three metrics with a goal other than watch",
            'Give the others goal = "watch".' if len(wanted) > MOST_TRADED else "",
        )
    if len(wanted) < 2 and not trade:
        return
    several = "the plan trades metrics" if trade else "several metrics have a goal"
    for name, metric in wanted.items():
        for key in ("poor", "good"):
            if getattr(metric, key) is None:
                problems.note(
                    f"metrics.{name}.{key}",
                    "nothing",
                    f"a number, because {several}",
                    "Desirability is 0 at poor and 1 at good.",
                )


def _resolve(name: str) -> catalogue.Measure | None:
    try:
        return catalogue.resolve(name)
    except KeyError:
        return None
