"""The plan of an experiment: what may move, what counts, what it costs.

Read from a TOML file or a dict, checked as a whole, then frozen. Nothing in a plan is executed:
formulas are checked here and evaluated by `experiments.expressions`.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from experiments.errors import PlanError, Problem
from experiments.plan_checks import RESERVED, Parts, build, sound_parts
from experiments.plan_parts import (
    Age,
    Derived,
    Effort,
    FrozenDict,
    Limit,
    Metric,
    Sessions,
    Variable,
)
from experiments.plan_text import parse_toml

__all__ = [
    "RESERVED",
    "Age",
    "Derived",
    "Effort",
    "Limit",
    "Metric",
    "Plan",
    "Sessions",
    "Variable",
    "read_plan_text",
]

MAX_BYTES = 1_000_000
"""Largest plan file. A plan is a page of text."""


@dataclass(frozen=True, eq=False)
class Plan:
    """The definition of an experiment. Make one with `from_toml` or `from_dict`.

    Parameters
    ----------
    name : str
        What is being designed.
    seed : int
        Where every random step of this experiment starts.
    note : str
        A remark.
    goal : {'score', 'trade'}
        Whether the next cone is to raise the score, or to push the front of two or three metrics
        that pull apart.
    variables, derived, metrics : dict of str to Variable, Derived, Metric
        In plan order.
    rules : dict of str to str
        What the printer or the part cannot do: each must hold for a recipe to be printable.
    effort : Effort
        What a recipe costs.
    sessions : Sessions
        The reference cone.
    age : Age or None
        At which the metrics of a cone are judged; None for as measured.
    rig : dict of str to dict
        For each kind of measurement file, how the rig writes it.
    """

    name: str
    variables: dict[str, Variable]
    metrics: dict[str, Metric]
    seed: int = 0
    note: str = ""
    goal: str = "score"
    derived: dict[str, Derived] = field(default_factory=FrozenDict)
    rules: dict[str, str] = field(default_factory=FrozenDict)
    effort: Effort = field(default_factory=Effort)
    sessions: Sessions = field(default_factory=Sessions)
    age: Age | None = None
    rig: dict[str, dict[str, Any]] = field(default_factory=FrozenDict)

    @classmethod
    def from_toml(cls, path: str | Path) -> Plan:
        """Read a plan file.

        Parameters
        ----------
        path : str or Path
            A TOML file in UTF-8.

        Raises
        ------
        PlanError
            With every problem of the plan, or the one reason why the file cannot be read.
        """
        path = Path(path)
        return cls.from_text(read_plan_text(path), source=path.name)

    @classmethod
    def from_text(cls, text: str, source: str = "") -> Plan:
        """Read a plan from TOML text; see `from_toml`.

        Parameters
        ----------
        text : str
            The TOML document.
        source : str
            The file that messages name, if it is one.
        """
        plan, problems = cls.examine(text, source)
        if problems or plan is None:
            raise PlanError(*problems)
        return plan

    @classmethod
    def examine(cls, text: str, source: str = "") -> tuple[Plan | None, list[Problem]]:
        """Read as much of a plan as is sound, and find everything that is wrong with it.

        Parameters
        ----------
        text : str
            The TOML document.
        source : str
            The file that messages name, if it is one.

        Returns
        -------
        Plan or None
            The plan; with problems one of its sound parts only, without what rests on the
            others. None if no variable or no metric is sound.
        list of Problem
            Everything that is wrong.
        """
        if not text.strip():
            remedy = "Start one with: coneloop start FOLDER"
            return None, [Problem(source or "plan", "an empty file", "a plan", remedy)]
        data, problems = parse_toml(text, source or "plan")
        if data is None:
            return None, problems
        data = _plain(data)
        parts, more = build(data)
        problems += [replace(one, file=source) for one in more]
        if problems:
            parts = sound_parts(parts, data, problems)
        if problems and not (parts.variables and parts.metrics):
            return None, problems
        return cls._of(parts), problems

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], source: str = "plan") -> Plan:
        """Make a plan from the keys of a plan file.

        Parameters
        ----------
        data : mapping
            As `tomllib` would give it; tuples and numpy numbers are welcome too.
        source : str
            What to call it in messages.

        Raises
        ------
        PlanError
            With every problem at once, each with its field path.
        """
        if not isinstance(data, Mapping):
            raise PlanError(Problem(source, f"a {type(data).__name__}", "a table of plan keys"))
        parts, problems = build(_plain(data))
        if problems:
            raise PlanError(*problems)
        return cls._of(parts)

    @classmethod
    def _of(cls, parts: Parts) -> Plan:
        return cls(
            name=parts.name,
            seed=parts.seed,
            note=parts.note,
            goal=parts.goal,
            variables=FrozenDict(parts.variables),
            derived=FrozenDict(parts.derived),
            rules=FrozenDict(parts.rules),
            metrics=FrozenDict(parts.metrics),
            effort=parts.effort,
            sessions=parts.sessions,
            age=parts.age,
            rig=FrozenDict(parts.rig),
        )

    def to_dict(self) -> dict[str, Any]:
        """Give the plan as the keys of a plan file; `from_dict` gives an equal plan back."""
        tables: dict[str, Any] = {
            "name": self.name,
            "seed": self.seed,
            "note": self.note,
            "goal": "" if self.goal == "score" else self.goal,
            "variables": {name: _variable_keys(v) for name, v in self.variables.items()},
            "derived": {name: _derived_keys(d) for name, d in self.derived.items()},
            "rules": dict(self.rules),
            "metrics": {name: _metric_keys(m) for name, m in self.metrics.items()},
            "effort": _given(
                minutes=self.effort.minutes,
                money=self.effort.money,
                currency=self.effort.currency,
                assume=dict(self.effort.assume),
            ),
            "sessions": _given(reference_cone=self.sessions.reference_cone),
            "ageing": {} if self.age is None else {self.age.clock: self.age.at},
            "rig": {"files": {k: dict(v) for k, v in self.rig.items()}} if self.rig else {},
        }
        return {key: value for key, value in tables.items() if value not in ("", {})}

    @cached_property
    def digest(self) -> str:
        """SHA-256 of the content, as 64 hexadecimal digits; comments and layout do not count."""
        text = json.dumps(self.to_dict(), ensure_ascii=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()

    def __eq__(self, other: object) -> bool:
        return self.digest == other.digest if isinstance(other, Plan) else NotImplemented

    def __hash__(self) -> int:
        return hash(self.digest)


def read_plan_text(path: Path) -> str:
    """Read the text of a plan file; a PlanError says why it cannot be read."""
    try:
        if path.is_dir():
            raise PlanError(Problem(str(path), "a folder", "a plan file"))
        with path.open("rb") as file:
            raw = file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise PlanError(
            Problem(
                str(path), "no such file", "a plan file", "Start one with: coneloop start FOLDER"
            )
        ) from None
    except OSError as error:
        reason = error.strerror or str(error)
        raise PlanError(Problem(str(path), reason, "a readable plan file")) from None
    if len(raw) > MAX_BYTES:
        raise PlanError(Problem(path.name, "a very large file", f"at most {MAX_BYTES:,} bytes"))
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise PlanError(
            Problem(
                f"{path.name}:{line}",
                "bytes that are not UTF-8",
                "a text file in UTF-8",
                "Save it as UTF-8 in your editor.",
            )
        ) from None


def _plain(value: Any, depth: int = 0) -> Any:
    """Turn tuples into lists and numpy numbers into Python's, so that one check serves all."""
    if depth > 20:
        raise PlanError(Problem("plan", "tables nested too deeply", "a plan"))
    if isinstance(value, Mapping):
        return {str(key): _plain(item, depth + 1) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item, depth + 1) for item in value]
    if type(value).__module__ == "numpy" and hasattr(value, "tolist"):
        return value.tolist()
    return value


def _number(value: Any) -> Any:
    """Write whole numbers without a point, so that equal plans have equal text."""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return int(value)
    return value


def _given(**keys: Any) -> dict[str, Any]:
    return {
        key: [_number(v) for v in value] if isinstance(value, tuple) else _number(value)
        for key, value in keys.items()
        if value is not None and value != "" and value != {}
    }


def _variable_keys(variable: Variable) -> dict[str, Any]:
    return _given(
        kind=variable.kind,
        unit=variable.unit,
        low=variable.low,
        high=variable.high,
        step=variable.step,
        levels=variable.levels,
        scale=variable.scale if variable.scale != "linear" else None,
        only_when={
            parent: [_number(value) for value in values]
            for parent, values in sorted(variable.only_when.items())
        },
        before=variable.before,
        was=variable.was,
        were=dict(sorted(variable.were.items())),
        setup_minutes=variable.setup_minutes or None,
        tolerance=variable.tolerance or None,
        per=variable.per if variable.per != "cone" else None,
        cautions=dict(sorted(variable.cautions.items())),
        label=_own_label(variable.label, variable.name),
        note=variable.note,
    )


def _derived_keys(derived: Derived) -> dict[str, Any]:
    return _given(
        unit=derived.unit,
        formula=derived.formula,
        label=_own_label(derived.label, derived.name),
        note=derived.note,
    )


def _metric_keys(metric: Metric) -> dict[str, Any]:
    by_hand = metric.source == "hand" and metric.measure == metric.name
    keys = {
        "from": metric.source,
        "measure": None if by_hand else metric.measure,
        **dict(sorted(metric.options.items())),
        "goal": metric.goal,
        "poor": metric.poor,
        "good": metric.good,
        "weight": metric.weight if metric.weight != 1 else None,
        "limit": str(metric.limit) if metric.limit else None,
        "shape": metric.shape if metric.shape != 1 else None,
        "label": _own_label(metric.label, metric.name),
        "note": metric.note,
        "was": metric.was,
    }
    # The unit stays even when empty: left out, it would become the measure's own.
    return _given(**keys) | {"unit": metric.unit}


def _own_label(label: str, name: str) -> str:
    return "" if label == name.replace("_", " ") else label
