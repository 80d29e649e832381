"""From the raw tables of a plan to its parts, finding everything that is wrong in one pass.

Each ``read_*`` function appends to a list of problems and returns what is usable. A part that is
broken stays known by name, so that one slip does not make every line that mentions it look wrong.
"""

from __future__ import annotations

import codecs
import keyword
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, cast

import numpy as np

from experiments.acoustics import catalogue
from experiments.errors import Problem
from experiments.expressions import Expression, ExpressionError
from experiments.grammar import FUNCTIONS, is_plain_name, nearest
from experiments.grids import MAX_VALUES, steps_between
from experiments.plan_parts import (
    Derived,
    Effort,
    FrozenDict,
    Limit,
    Metric,
    Sessions,
    Value,
    Variable,
    as_word,
    is_number,
    near_values,
    on_grid,
)
from experiments.plan_schema import (
    DerivedKeys,
    EffortKeys,
    FileKeys,
    MetricKeys,
    PlanKeys,
    RigKeys,
    SessionsKeys,
    VariableKeys,
    read,
    show,
)

__all__ = ["RESERVED", "Parts", "build"]

RESERVED = frozenset({"cone", "status", "plate", "session", "age_days", "light_hours", "score"})
"""Columns of the table of trials, which no variable, metric or derived quantity may take."""

CAUTIONS = ("resin", "filament", "other")
_LIMIT = re.compile(r"\s*(>=|<=|>|<|≥|≤)\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*")
_NAME = re.compile(r"[^\W\d_]\w*")


@dataclass
class Parts:
    """What a plan consists of, as far as it could be read."""

    name: str = ""
    seed: int = 0
    note: str = ""
    variables: dict[str, Variable] = field(default_factory=dict)
    derived: dict[str, Derived] = field(default_factory=dict)
    rules: dict[str, str] = field(default_factory=dict)
    metrics: dict[str, Metric] = field(default_factory=dict)
    effort: Effort = field(default_factory=Effort)
    sessions: Sessions = field(default_factory=Sessions)
    rig: dict[str, dict[str, Any]] = field(default_factory=dict)


def build(data: Mapping[str, Any]) -> tuple[Parts, list[Problem]]:
    """Read a whole plan.

    Parameters
    ----------
    data : mapping
        The keys of a plan file.

    Returns
    -------
    Parts
        Usable only if there are no problems.
    list of Problem
        Everything that is wrong, in the order of the plan's sections.
    """
    builder = _Builder(data)
    builder.run()
    return builder.parts, builder.problems


class _Builder:
    def __init__(self, data: Mapping[str, Any]) -> None:
        self.data = data
        self.parts = Parts()
        self.problems: list[Problem] = []
        # Sections that hold a name: 'variables' -> every name written there, broken or not.
        self.written: dict[str, list[str]] = {}

    def run(self) -> None:
        top = read(PlanKeys, self.data, "", self.problems)
        if top is not None:
            self.parts.name, self.parts.seed, self.parts.note = top.name, top.seed, top.note
        self._names()
        self._variables()
        self._derived()
        self._rules()
        self._metrics()
        self._effort()
        sessions = read(SessionsKeys, self._section("sessions"), "sessions", self.problems)
        if sessions is not None:
            self.parts.sessions = Sessions(sessions.reference_cone)
        self._rig()

    def problem(self, where: str, found: str, expected: str, remedy: str = "") -> None:
        self.problems.append(Problem(where, found, expected, remedy))

    def _section(self, name: str) -> Mapping[str, Any]:
        section = self.data.get(name, {})
        return section if isinstance(section, Mapping) else {}

    # -- names -----------------------------------------------------------------------------

    def _names(self) -> None:
        homes: dict[str, str] = {}
        for section in ("variables", "derived", "metrics"):
            names = list(self._section(section))
            self.written[section] = names
            for name in names:
                where = f"{section}.{name}"
                self._name(where, name)
                if name in homes:
                    self.problem(
                        where,
                        f"'{name}'",
                        "a name of its own",
                        f"{homes[name]} has the same name.",
                    )
                homes.setdefault(name, where)
        for section in ("variables", "metrics"):
            if section in self.data and not self.written[section]:
                self.problem(section, "nothing in it", f"at least one of {section}.NAME")

    def _name(self, where: str, name: str) -> None:
        if not isinstance(name, str) or not _NAME.fullmatch(name) or not is_plain_name(name):
            plain = re.sub(r"\W+", "_", str(name)).strip("_")
            self.problem(
                where,
                f"the name {show(name)}",
                "letters, digits and underscores, a letter first",
                f"Write {plain}." if _NAME.fullmatch(plain) else "",
            )
        elif name in RESERVED:
            self.problem(
                where,
                f"the name '{name}'",
                "another name",
                "The table has a column of that name already.",
            )
        elif keyword.iskeyword(name) or name in FUNCTIONS:
            self.problem(
                where,
                f"the name '{name}'",
                "another name",
                "It has a meaning of its own in formulas.",
            )
        elif len(name) > 60:
            self.problem(where, f"a name of {len(name)} characters", "at most 60")

    # -- variables -------------------------------------------------------------------------

    def _variables(self) -> None:
        for name, raw in self._section("variables").items():
            keys = read(VariableKeys, raw, f"variables.{name}", self.problems)
            if keys is not None:
                before = len(self.problems)
                variable = self._variable(name, keys)
                if variable is not None and len(self.problems) == before:
                    self.parts.variables[name] = variable
        if self.written.get("variables"):
            self._conditions()

    def _variable(self, name: str, keys: VariableKeys) -> Variable | None:
        where = f"variables.{name}"
        start = len(self.problems)
        levels = None
        if keys.kind in ("continuous", "integer"):
            self._range(where, keys)
        else:
            levels = self._levels(where, keys)
        if len(self.problems) > start:
            return None
        step = 1.0 if keys.kind == "integer" and keys.step is None else keys.step
        variable = Variable(
            name=name,
            kind=keys.kind,
            unit=keys.unit,
            low=keys.low,
            high=keys.high,
            step=step,
            levels=levels,
            scale=keys.scale,
            setup_minutes=keys.setup_minutes,
            label=keys.label,
            note=keys.note,
            per=keys.per,
            cautions=FrozenDict(keys.cautions),
        )
        if np.any(np.diff(variable.grid) <= 0) if variable.numeric else False:
            self.problem(
                where,
                f"values from {show(keys.low)} to {show(keys.high)}",
                "a wider range",
                "The values are too close to be told apart.",
            )
            return None
        self._cautions(where, variable)
        return self._before(where, variable, keys.before)

    def _range(self, where: str, keys: VariableKeys) -> None:
        if keys.levels is not None:
            self.problem(
                f"{where}.levels",
                "levels",
                f'low and high for kind "{keys.kind}"',
                'Levels belong to kind "ordered" or "choice".',
            )
        for end, value in (("low", keys.low), ("high", keys.high)):
            if value is None:
                self.problem(f"{where}.{end}", "nothing", f'a number for kind "{keys.kind}"')
            elif keys.kind == "integer" and not float(value).is_integer():
                self.problem(f"{where}.{end}", show(value), "a whole number")
        if keys.kind == "integer" and keys.step is not None and not keys.step.is_integer():
            self.problem(
                f"{where}.step",
                show(keys.step),
                "a whole number",
                'Use kind = "continuous" for steps with decimals.',
            )
            return
        if keys.low is None or keys.high is None:
            return
        if keys.low >= keys.high:
            self.problem(
                f"{where}.low",
                f"low = {show(keys.low)}, high = {show(keys.high)}",
                "low below high",
                "Swap them, or drop a knob that does not move.",
            )
        elif not math.isfinite(keys.high - keys.low):
            self.problem(f"{where}.high", show(keys.high), "a smaller range")
        else:
            self._step(where, keys, keys.low, keys.high)

    def _step(self, where: str, keys: VariableKeys, low: float, high: float) -> None:
        if keys.scale == "log" and low <= 0:
            self.problem(f"{where}.low", show(low), 'a number above 0 for scale = "log"')
        step = 1.0 if keys.kind == "integer" and keys.step is None else keys.step
        if step is None:
            return
        count = steps_between(low, high, step)
        ratio = (high - low) / step
        if count is None and ratio < 1:
            self.problem(f"{where}.step", show(step), f"at most high - low = {show(high - low)}")
        elif count is None:
            below, above = (low + step * f(ratio) for f in (math.floor, math.ceil))
            self.problem(
                f"{where}.step",
                f"step = {show(step)} from low = {show(low)}",
                f"steps that reach high = {show(high)}",
                f"High could be {below:.12g} or {above:.12g}, or change the step.",
            )
        elif count + 1 > MAX_VALUES:
            self.problem(
                f"{where}.step",
                f"{count + 1:,} printable values",
                f"at most {MAX_VALUES:,}",
                "Use a larger step.",
            )

    def _levels(self, where: str, keys: VariableKeys) -> tuple[Value, ...] | None:
        for key in ("low", "high", "step"):
            if getattr(keys, key) is not None:
                self.problem(
                    f"{where}.{key}",
                    key,
                    f'levels for kind "{keys.kind}"',
                    'Use kind = "continuous" or "integer" for a range.',
                )
        if not keys.levels:
            found = "nothing" if keys.levels is None else "an empty list"
            self.problem(f"{where}.levels", found, f'a list of levels for kind "{keys.kind}"')
            return None
        levels: list[Value] = []
        for place, level in enumerate(keys.levels):
            if isinstance(level, bool) or not isinstance(level, str | int | float):
                remedy = 'Write words, such as "yes" and "no".' if isinstance(level, bool) else ""
                self.problem(f"{where}.levels.{place}", show(level), "a word or a number", remedy)
            elif isinstance(level, str) and (not level.strip() or level != level.strip()):
                self.problem(
                    f"{where}.levels.{place}", show(level), "a word without spaces at its ends"
                )
            elif not isinstance(level, str) and not math.isfinite(level):
                self.problem(f"{where}.levels.{place}", show(level), "a finite number")
            else:
                levels.append(self._level(level, keys.kind))
        self._level_set(where, keys, levels)
        return tuple(levels)

    @staticmethod
    def _level(level: Value, kind: str) -> Value:
        """Give a choice's levels as words, whatever they were written as."""
        if isinstance(level, str):
            return level
        return as_word(level) if kind == "choice" else float(level)

    def _level_set(self, where: str, keys: VariableKeys, levels: list[Value]) -> None:
        seen: set[Value] = set()
        for place, level in enumerate(levels):
            if level in seen:
                self.problem(f"{where}.levels.{place}", f"{show(level)} twice", "each level once")
            seen.add(level)
        words = sum(isinstance(level, str) for level in levels)
        if words and words < len(levels):
            self.problem(f"{where}.levels", show(levels), "only words or only numbers")
        elif not words and sorted(levels, key=float) != levels:
            self.problem(f"{where}.levels", show(levels), "numbers from low to high", "Sort them.")
        if keys.scale == "log" and (words or any(cast("float", v) <= 0 for v in levels)):
            self.problem(
                f"{where}.scale", '"log"', '"linear"', "Only numbers above 0 have a logarithm."
            )

    def _cautions(self, where: str, variable: Variable) -> None:
        for level, caution in variable.cautions.items():
            path = f"{where}.cautions.{level}"
            if variable.words is None or level not in variable.words:
                levels = variable.words or ()
                self.problem(
                    path,
                    f"the level {show(level)}",
                    f"one of {', '.join(levels)}" if levels else "a variable with words",
                    nearest(level, levels).capitalize(),
                )
            if caution not in CAUTIONS:
                self.problem(path, show(caution), '"resin", "filament" or "other"')

    def _before(self, where: str, variable: Variable, value: Any) -> Variable | None:
        if value is None:
            return variable
        found = on_grid(variable, value)
        if found is None:
            self.problem(
                f"{where}.before",
                show(value),
                f"a printable value of {variable.name}",
                near_values(variable, value),
            )
            return None
        return replace(variable, before=found)

    # -- conditions ------------------------------------------------------------------------

    def _conditions(self) -> None:
        for name, raw in self._section("variables").items():
            given = raw.get("only_when") if isinstance(raw, Mapping) else None
            if not isinstance(given, Mapping):
                continue
            matched = {}
            for parent, values in given.items():
                where = f"variables.{name}.only_when.{parent}"
                listed = values if isinstance(values, list) else [values]
                matched[parent] = self._condition(where, name, parent, listed)
            if name in self.parts.variables:
                only_when = FrozenDict(matched)
                self.parts.variables[name] = replace(
                    self.parts.variables[name], only_when=only_when
                )
        self._cycles()

    def _condition(
        self, where: str, name: str, parent: str, values: Sequence[Any]
    ) -> tuple[Value, ...]:
        if parent == name or parent not in self.written["variables"]:
            found = "the variable itself" if parent == name else f"'{parent}'"
            hint = nearest(parent, set(self.written["variables"]) - {name})
            self.problem(where, found, "another variable of this plan", hint.capitalize())
            return ()
        holder = self.parts.variables.get(parent)
        if holder is None:  # its own problems are listed already
            return ()
        if holder.kind == "continuous":
            self.problem(
                where, f"'{parent}', which is continuous", "a choice, ordered or integer variable"
            )
            return ()
        if not values:
            self.problem(where, "an empty list", f"values of {parent}")
        matched: list[Value] = []
        for value in values:
            found_value = on_grid(holder, value)
            if found_value is None:
                self.problem(
                    where, show(value), f"a value of {parent}", near_values(holder, value)
                )
            elif found_value in matched:
                self.problem(where, f"{show(value)} twice", "each value once")
            else:
                matched.append(found_value)
        return tuple(matched)

    def _cycles(self) -> None:
        variables = self.parts.variables
        settled: set[str] = set()
        for start in variables:
            trail = _circle(start, variables)
            if trail and not settled & set(trail):
                self.problem(
                    f"variables.{start}.only_when",
                    " -> ".join(trail),
                    "conditions that do not go round in a circle",
                    "Drop one of them.",
                )
                settled |= set(trail)
        if not settled:
            for name in variables:
                self._reachable(name)

    def _reachable(self, name: str) -> None:
        """Find a variable whose conditions can never hold together."""
        allowed: dict[str, set[Value]] = {}
        waiting = [name]
        while waiting:
            variable = self.parts.variables.get(waiting.pop())
            if variable is None:
                continue
            for parent, values in variable.only_when.items():
                known = allowed.get(parent)
                both = set(values) if known is None else known & set(values)
                if known and values and not both:
                    self.problem(
                        f"variables.{name}.only_when",
                        f"conditions on '{parent}' that exclude each other",
                        "conditions that can hold together",
                        f"As it stands '{name}' is never active.",
                    )
                    return
                if both != known:
                    allowed[parent] = both
                    waiting.append(parent)

    # -- formulas --------------------------------------------------------------------------

    def _known(self) -> dict[str, Sequence[str] | None]:
        known: dict[str, Sequence[str] | None] = {
            name: variable.words for name, variable in self.parts.variables.items()
        }
        return known | dict.fromkeys(self.parts.derived)

    def _formula(
        self,
        where: str,
        text: Any,
        known: dict[str, Sequence[str] | None],
        broken: set[str],
        *,
        rule: bool = False,
    ) -> bool:
        what = "a comparison in quotes" if rule else "a formula in quotes"
        if not isinstance(text, str):
            self.problem(where, show(text), what)
            return False
        # A name whose own line is broken may be of any kind.
        names = known | dict.fromkeys(broken - set(known), "any")
        try:
            expression = Expression(text, names)
        except ExpressionError as error:
            self.problem(where, show(text), what, f"{_sentence(str(error))}.")
            return False
        if rule and expression.kind not in ("truth", "any"):
            self.problem(where, show(text), 'a comparison, such as "a >= 2 * b"')
            return False
        if rule and not expression.names:
            self.problem(where, show(text), "a rule that names at least one variable")
            return False
        if not rule and expression.kind == "truth":
            self.problem(
                where, show(text), "a formula that gives a number", "Write: 1 if ... else 0."
            )
            return False
        return True

    def _broken(self) -> set[str]:
        written = {*self.written["variables"], *self.written["derived"]}
        return written - set(self._known())

    def _derived(self) -> None:
        waiting = set(self.written["derived"])
        for name, raw in self._section("derived").items():
            where = f"derived.{name}"
            keys = read(DerivedKeys, raw, where, self.problems)
            if keys is None:
                continue
            broken = set(self.written["variables"]) - set(self.parts.variables)
            broken |= set(self.written["derived"]) - waiting - set(self.parts.derived)
            waiting.discard(name)
            if self._formula(f"{where}.formula", keys.formula, self._known(), broken):
                self.parts.derived[name] = Derived(
                    name, keys.unit, keys.formula, keys.label, keys.note
                )

    def _rules(self) -> None:
        for name, text in self._section("rules").items():
            if self._formula(f"rules.{name}", text, self._known(), self._broken(), rule=True):
                self.parts.rules[name] = text

    def _effort(self) -> None:
        keys = read(EffortKeys, self._section("effort"), "effort", self.problems)
        if keys is None:
            return
        known = self._known()
        for name in keys.assume:
            if name in known:
                self.problem(
                    f"effort.assume.{name}",
                    f"'{name}'",
                    "a name that is no variable",
                    "A variable's value is known; drop this line.",
                )
            elif not _NAME.fullmatch(name) or keyword.iskeyword(name) or name in FUNCTIONS:
                self._name(f"effort.assume.{name}", name)
        by_hand = {name for name, m in self.parts.metrics.items() if m.source == "hand"}
        known |= dict.fromkeys(keys.assume) | dict.fromkeys(by_hand)
        formulas: dict[str, str | None] = {"minutes": None, "money": None}
        for what in formulas:
            text = getattr(keys, what)
            if isinstance(text, int | float) and not isinstance(text, bool):
                text = repr(text)  # a constant effort may be written as a number
            broken = self._broken() | (set(self.written["metrics"]) - set(self.parts.metrics))
            if text is not None and self._formula(f"effort.{what}", text, known, broken):
                formulas[what] = text
        self.parts.effort = Effort(
            formulas["minutes"], formulas["money"], keys.currency, FrozenDict(keys.assume)
        )

    # -- metrics ---------------------------------------------------------------------------

    def _metrics(self) -> None:
        for name, raw in self._section("metrics").items():
            keys = read(MetricKeys, raw, f"metrics.{name}", self.problems)
            if keys is not None:
                before = len(self.problems)
                metric = self._metric(name, keys)
                if metric is not None and len(self.problems) == before:
                    self.parts.metrics[name] = metric
        if self.written["metrics"] and len(self.parts.metrics) == len(self.written["metrics"]):
            self._goals()

    def _metric(self, name: str, keys: MetricKeys) -> Metric | None:
        where = f"metrics.{name}"
        source = self._source(where, name, keys)
        if source is None:
            return None
        kind, measure, unit = source
        return Metric(
            name=name,
            source=cast("Any", kind),
            measure=measure,
            options=FrozenDict(self._options(where, keys, kind, measure)),
            unit=unit,
            goal=self._goal(where, keys),
            poor=self._poor(where, keys),
            good=keys.good,
            weight=keys.weight,
            limit=self._limit(where, keys.limit),
            shape=keys.shape,
            label=keys.label,
            note=keys.note,
        )

    def _source(self, where: str, name: str, keys: MetricKeys) -> tuple[str, str, str] | None:
        """Find where a metric comes from: its kind of file, full measure name and unit."""
        measure = _resolve(keys.measure or name)
        if keys.measure is None and (
            keys.source == "hand" or (measure is None and not keys.source)
        ):
            return "hand", name, keys.unit or ""
        if measure is None:
            hint = nearest(keys.measure or name, catalogue.MEASURES)
            self.problem(
                f"{where}.measure",
                show(keys.measure) if keys.measure else "nothing",
                "a measure of the catalogue",
                hint.capitalize() or f"Known: {', '.join(catalogue.MEASURES)}.",
            )
            return None
        kind = keys.source or measure.kinds[0]
        if kind not in measure.kinds:
            self.problem(
                f"{where}.from",
                show(kind),
                f"{' or '.join(show(k) for k in measure.kinds)} for {measure.name}",
            )
            return None
        if keys.unit is None:
            return kind, measure.name, measure.unit
        try:
            catalogue.convert(1.0, measure.unit, keys.unit)
        except ValueError:
            self.problem(
                f"{where}.unit",
                show(keys.unit),
                f"{show(measure.unit)} or a unit that it converts to",
            )
        return kind, measure.name, keys.unit

    def _options(self, where: str, keys: MetricKeys, kind: str, measure: str) -> dict[str, Any]:
        given = {
            option: getattr(keys, option)
            for option in catalogue.OPTION_NAMES
            if getattr(keys, option) is not None
        }
        takes = () if kind == "hand" else catalogue.MEASURES[measure].options
        for option in given:
            if option not in takes:
                self.problem(
                    f"{where}.{option}",
                    f"the option '{option}'",
                    f"only {', '.join(takes)}" if takes else "no options",
                    f"{measure} does not depend on it.",
                )
        if "band" in given:
            given["band"] = self._pair(f"{where}.band", given["band"], "frequencies in Hz")
            if given["band"] is not None and given["band"][0] <= 0:
                self.problem(f"{where}.band", show(keys.band), "frequencies above 0")
        return given

    def _pair(self, where: str, value: Any, what: str) -> tuple[float, float] | None:
        good = isinstance(value, list) and len(value) == 2 and all(map(is_number, value))
        if not good or value[0] >= value[1]:
            self.problem(where, show(value), f"two {what}, [low, high]")
            return None
        return float(value[0]), float(value[1])

    def _goal(self, where: str, keys: MetricKeys) -> Any:
        if keys.goal is not None:
            return keys.goal
        if keys.poor is not None or keys.good is not None:
            self.problem(
                f"{where}.goal",
                "nothing",
                '"maximise", "minimise", "target" or "watch"',
                "poor and good mean nothing without a goal.",
            )
        return "watch"

    def _poor(self, where: str, keys: MetricKeys) -> float | tuple[float, float] | None:
        poor, good, path = keys.poor, keys.good, f"{where}.poor"
        if keys.goal == "target":
            return self._target(where, poor, good)
        if (poor is None) != (good is None) and keys.goal is not None:
            missing = "poor" if poor is None else "good"
            self.problem(f"{where}.{missing}", "nothing", "both poor and good, or neither")
            return None
        if poor is None:
            return None
        if not is_number(poor):
            self.problem(path, show(poor), "a number")
            return None
        if good is not None and keys.goal in ("maximise", "minimise"):
            up = keys.goal == "maximise"
            if (poor >= good) if up else (poor <= good):
                self.problem(
                    path,
                    f"poor = {show(poor)}, good = {show(good)}",
                    f'poor {"below" if up else "above"} good for goal = "{keys.goal}"',
                    "Swap them, or change the goal.",
                )
        return float(poor)

    def _target(
        self, where: str, poor: Any, good: float | None
    ) -> float | tuple[float, float] | None:
        if good is None or poor is None:
            missing = "good" if good is None else "poor"
            text = "the target" if good is None else "[low, high] or the distance from the target"
            self.problem(f"{where}.{missing}", "nothing", text)
            return None
        if isinstance(poor, list):
            pair = self._pair(f"{where}.poor", poor, "numbers")
            if pair is not None and not pair[0] < good < pair[1]:
                self.problem(
                    f"{where}.poor",
                    show(poor),
                    f"one number below and one above good = {show(good)}",
                )
            return pair
        if not is_number(poor) or poor <= 0:
            self.problem(f"{where}.poor", show(poor), "[low, high], or a distance above 0")
            return None
        return float(poor)

    def _limit(self, where: str, text: Any) -> Limit | None:
        if text is None:
            return None
        found = _LIMIT.fullmatch(text) if isinstance(text, str) else None
        if found is None or not math.isfinite(float(found[2])):
            self.problem(
                f"{where}.limit",
                show(text),
                'a comparison such as ">= 4.0"',
                "In the metric's unit, decimals with a point.",
            )
            return None
        op = {"≥": ">=", "≤": "<="}.get(found[1], found[1])
        return Limit(cast("Any", op), float(found[2]))

    def _goals(self) -> None:
        wanted = {n: m for n, m in self.parts.metrics.items() if m.goal != "watch"}
        if not wanted:
            self.problem(
                "metrics",
                'only metrics to "watch"',
                "at least one with a goal",
                'Give one goal = "maximise", "minimise" or "target".',
            )
        if len(wanted) < 2:
            return
        for name, metric in wanted.items():
            for key in ("poor", "good"):
                if getattr(metric, key) is None:
                    self.problem(
                        f"metrics.{name}.{key}",
                        "nothing",
                        "a number, because several metrics have a goal",
                        "Desirability is 0 at poor and 1 at good.",
                    )

    # -- the rig ---------------------------------------------------------------------------

    def _rig(self) -> None:
        keys = read(RigKeys, self._section("rig"), "rig", self.problems)
        for kind, raw in (keys.files if keys else {}).items():
            where = f"rig.files.{kind}"
            if kind not in catalogue.KINDS:
                self.problem(
                    where,
                    f"'{kind}'",
                    f"one of {', '.join(catalogue.KINDS)}",
                    nearest(kind, catalogue.KINDS).capitalize(),
                )
                continue
            read_keys = read(FileKeys, raw, where, self.problems)
            if read_keys is None:
                continue
            if read_keys.encoding is not None and not _is_encoding(read_keys.encoding):
                self.problem(
                    f"{where}.encoding",
                    show(read_keys.encoding),
                    'a text encoding, such as "utf-8" or "latin-1"',
                )
            given = read_keys.model_dump(exclude_none=True)
            self.parts.rig[kind] = FrozenDict(given)


def _circle(start: str, variables: Mapping[str, Variable]) -> list[str]:
    """Follow parents from `start`; the way back to it, or nothing."""
    waiting = [[start]]
    seen = set()
    while waiting:
        trail = waiting.pop()
        holder = variables.get(trail[-1])
        for parent in holder.only_when if holder else ():
            if parent == start:
                return [*trail, start]
            if parent not in seen:
                seen.add(parent)
                waiting.append([*trail, parent])
    return []


def _resolve(name: str) -> catalogue.Measure | None:
    try:
        return catalogue.resolve(name)
    except KeyError:
        return None


def _is_encoding(name: str) -> bool:
    try:
        codecs.lookup(name)
    except (LookupError, ValueError):
        return False
    return True


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
