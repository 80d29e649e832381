"""From the raw tables of a plan to its parts, finding everything that is wrong in one pass.

A part that is broken stays known by name, so that one slip does not make every line that mentions
it look wrong.
"""

from __future__ import annotations

import codecs
import keyword
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from experiments.acoustics import catalogue
from experiments.acoustics.form import DELIMITERS
from experiments.acoustics.headings import role_of
from experiments.circumstances import CIRCUMSTANCES
from experiments.errors import Problem
from experiments.expressions import Expression, ExpressionError
from experiments.grammar import FUNCTIONS, is_plain_name, suggest
from experiments.plan_metrics import read_metrics
from experiments.plan_parts import Age, Derived, Effort, FrozenDict, Metric, Sessions, Variable
from experiments.plan_schema import (
    AgeingKeys,
    DerivedKeys,
    EffortKeys,
    FileKeys,
    PlanKeys,
    Problems,
    RigKeys,
    SessionsKeys,
    read,
    show,
)
from experiments.plan_variables import read_variables

__all__ = ["RESERVED", "Parts", "build", "sound_parts"]

RESERVED = frozenset(
    {"cone", "status", "plate", "session", "score", *CIRCUMSTANCES}
    | {"print_minutes", "why", "note", "remark", "measurement", "version"}
)
"""Columns of the table of trials, which no variable, metric or derived quantity may take."""

_NAME = re.compile(r"[^\W\d_]\w*")


@dataclass
class Parts:
    """What a plan consists of, as far as it could be read; see `experiments.plan.Plan`."""

    name: str = ""
    seed: int = 0
    note: str = ""
    goal: str = "score"
    variables: dict[str, Variable] = field(default_factory=dict)
    derived: dict[str, Derived] = field(default_factory=dict)
    rules: dict[str, str] = field(default_factory=dict)
    metrics: dict[str, Metric] = field(default_factory=dict)
    effort: Effort = field(default_factory=Effort)
    sessions: Sessions = field(default_factory=Sessions)
    age: Age | None = None
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
        Everything that is wrong.
    """
    builder = _Builder(data)
    builder.run()
    return builder.parts, builder.problems


def sound_parts(parts: Parts, data: Mapping[str, Any], problems: Sequence[Problem]) -> Parts:
    """Give the parts of a plan that nothing is wrong with, nor with what they rest on.

    Parameters
    ----------
    parts : Parts
        From `build`.
    data : mapping
        What they were built from.
    problems : sequence of Problem
        Everything that was found wrong.

    Returns
    -------
    Parts
        Without effort, and without the goal, which rests on all metrics.
    """
    places = [problem.where for problem in problems]

    def sound(where: str) -> bool:
        return not any(place == where or place.startswith(f"{where}.") for place in places)

    variables = {n: v for n, v in parts.variables.items() if sound(f"variables.{n}")}
    for _ in range(len(variables)):  # once round for each level of the tree
        variables = {
            name: variable
            for name, variable in variables.items()
            # A condition on a broken variable did not get into the record.
            if data["variables"][name].get("only_when", {}).keys() <= variables.keys()
        }
    known: dict[str, Sequence[str] | None] = {n: v.words for n, v in variables.items()}
    derived = {}
    for name, quantity in parts.derived.items():
        if sound(f"derived.{name}") and _parses(quantity.formula, known):
            derived[name] = quantity
            known[name] = None
    return Parts(
        name=parts.name,
        seed=parts.seed,
        note=parts.note,
        variables=variables,
        derived=derived,
        rules={n: text for n, text in parts.rules.items() if _parses(text, known)},
        metrics={n: m for n, m in parts.metrics.items() if sound(f"metrics.{n}")},
        sessions=parts.sessions,
        age=parts.age,
        rig=parts.rig,
    )


def _parses(text: str, names: Mapping[str, Sequence[str] | None]) -> bool:
    try:
        Expression(text, names)
    except ExpressionError:
        return False
    return True


class _Builder:
    """Holds what was read so far, because later sections refer to earlier ones."""

    def __init__(self, data: Mapping[str, Any]) -> None:
        self.data = data
        self.parts = Parts()
        self.problems = Problems()

    def run(self) -> None:
        top = read(PlanKeys, self.data, "", self.problems)
        if top is not None:
            self.parts.name, self.parts.seed, self.parts.note = top.name, top.seed, top.note
            self.parts.goal = top.goal
        self._names()
        self.parts.variables = read_variables(self._section("variables"), self.problems)
        self._derived()
        self._rules()
        self.parts.metrics = read_metrics(
            self._section("metrics"), self.problems, trade=self.parts.goal == "trade"
        )
        self._effort()
        sessions = read(SessionsKeys, self._section("sessions"), "sessions", self.problems)
        if sessions is not None:
            self.parts.sessions = Sessions(sessions.reference_cone)
        self._ageing()
        self._rig()

    def _ageing(self) -> None:
        keys = read(AgeingKeys, self._section("ageing"), "ageing", self.problems)
        given = {} if keys is None else keys.model_dump(exclude_none=True)
        if len(given) == 1:
            ((clock, at),) = given.items()
            self.parts.age = Age(clock, float(at))
        elif given:
            self.problems.note(
                "ageing", "light_hours and age_days", "one of them", "Leave the other out."
            )

    def _section(self, name: str) -> Mapping[str, Any]:
        section = self.data.get(name, {})
        return section if isinstance(section, Mapping) else {}

    # -- names -----------------------------------------------------------------------------

    def _names(self) -> None:
        homes: dict[str, str] = {}
        for section in ("variables", "derived", "metrics"):
            for name in self._section(section):
                where = f"{section}.{name}"
                self._name(where, name)
                if name in homes:
                    remedy = f"{homes[name]} has the same name."
                    self.problems.note(where, f"'{name}'", "a name of its own", remedy)
                homes.setdefault(name, where)
        for section in ("variables", "metrics"):
            if self.data.get(section) == {}:
                self.problems.note(section, "nothing in it", f"at least one {section}.NAME")

    def _name(self, where: str, name: Any) -> None:
        if not isinstance(name, str) or not _NAME.fullmatch(name) or not is_plain_name(name):
            plain = re.sub(r"\W+", "_", str(name)).strip("_")
            self.problems.note(
                where,
                f"the name {show(name)}",
                "letters, digits and underscores, a letter first",
                f"Write {plain}." if _NAME.fullmatch(plain) else "",
            )
        elif name in RESERVED:
            remedy = "The table of trials has a column of that name."
            self.problems.note(where, f"the name '{name}'", "another name", remedy)
        elif keyword.iskeyword(name) or name in FUNCTIONS:
            remedy = "It has a meaning of its own in formulas."
            self.problems.note(where, f"the name '{name}'", "another name", remedy)
        elif len(name) > 60:
            self.problems.note(where, f"a name of {len(name)} characters", "at most 60")

    # -- formulas --------------------------------------------------------------------------

    def _known(self) -> dict[str, Sequence[str] | None]:
        known: dict[str, Sequence[str] | None] = {
            name: variable.words for name, variable in self.parts.variables.items()
        }
        return known | dict.fromkeys(self.parts.derived)

    def _broken(self, *sections: str) -> dict[str, str]:
        """Names whose own line is broken: they may be of any kind."""
        sound = {*self.parts.variables, *self.parts.derived, *self.parts.metrics}
        written = {name for section in sections for name in self._section(section)}
        return dict.fromkeys(sorted(written - sound), "any")

    def _formula(
        self,
        where: str,
        text: Any,
        names: Mapping[str, Sequence[str] | None],
        *,
        rule: bool = False,
    ) -> bool:
        """Note what is wrong with a formula; tell whether nothing is."""
        what = "a comparison in quotes" if rule else "a formula in quotes"
        if not isinstance(text, str):
            self.problems.note(where, show(text), what)
            return False
        try:
            expression = Expression(text, names)
        except ExpressionError as error:
            reason = _sentence(str(error))
            self.problems.note(where, show(text), what, reason)
            return False
        if rule and expression.kind not in ("truth", "any"):
            self.problems.note(where, show(text), 'a comparison, such as "a >= 2 * b"')
        elif rule and not expression.names:
            self.problems.note(where, show(text), "a rule that names at least one variable")
        elif not rule and expression.kind == "truth":
            remedy = "Write: 1 if ... else 0."
            self.problems.note(where, show(text), "a formula that gives a number", remedy)
        else:
            return True
        return False

    def _derived(self) -> None:
        section = self._section("derived")
        above: dict[str, str] = {}  # broken derived quantities that stand above
        for name, raw in section.items():
            where = f"derived.{name}"
            keys = read(DerivedKeys, raw, where, self.problems)
            names = self._known() | self._broken("variables") | above
            if keys is not None and self._formula(f"{where}.formula", keys.formula, names):
                self.parts.derived[name] = Derived(
                    name, keys.unit, keys.formula, keys.label, keys.note
                )
            else:
                above[name] = "any"

    def _rules(self) -> None:
        names = self._known() | self._broken("variables", "derived")
        for name, text in self._section("rules").items():
            if self._formula(f"rules.{name}", text, names, rule=True):
                self.parts.rules[name] = text

    def _effort(self) -> None:
        keys = read(EffortKeys, self._section("effort"), "effort", self.problems)
        if keys is None:
            return
        for name in keys.assume:
            where = f"effort.assume.{name}"
            if name in self.parts.variables or name in self.parts.derived:
                remedy = "A variable's value is known; drop this line."
                self.problems.note(where, f"'{name}'", "a name that is no variable", remedy)
            else:
                self._name(where, name)
        by_hand = [name for name, m in self.parts.metrics.items() if m.source == "hand"]
        names = self._known() | dict.fromkeys((*keys.assume, *by_hand))
        names |= self._broken("variables", "derived", "metrics")
        minutes, money = (
            self._cost(f"effort.{what}", getattr(keys, what), names)
            for what in ("minutes", "money")
        )
        self.parts.effort = Effort(minutes, money, keys.currency, FrozenDict(keys.assume))

    def _cost(
        self, where: str, text: Any, names: Mapping[str, Sequence[str] | None]
    ) -> str | None:
        if isinstance(text, int | float) and not isinstance(text, bool):
            text = repr(text)  # a constant cost may be written as a number
        return text if text is not None and self._formula(where, text, names) else None

    # -- the rig ---------------------------------------------------------------------------

    def _rig(self) -> None:
        rig = read(RigKeys, self._section("rig"), "rig", self.problems)
        for kind, raw in (rig.files if rig else {}).items():
            where = f"rig.files.{kind}"
            if kind not in catalogue.KINDS:
                expected = f"one of {', '.join(catalogue.KINDS)}"
                self.problems.note(where, f"'{kind}'", expected, suggest(kind, catalogue.KINDS))
                continue
            keys = read(FileKeys, raw, where, self.problems)
            if keys is None:
                continue
            if keys.encoding is not None and not _is_encoding(keys.encoding):
                expected = 'a text encoding, such as "utf-8" or "latin-1"'
                self.problems.note(f"{where}.encoding", show(keys.encoding), expected)
            self._form(where, keys)
            self.parts.rig[kind] = FrozenDict(keys.model_dump(exclude_none=True))

    def _form(self, where: str, keys: FileKeys) -> None:
        """Check what is stated about the text of a kind of file."""
        mark = keys.delimiter
        if mark is not None and len(mark) > 1 and mark not in DELIMITERS:
            self.problems.note(
                f"{where}.delimiter", show(mark), 'one character, or "tab" or "space"'
            )
        if mark == keys.decimal == ",":
            self.problems.note(
                f"{where}.delimiter",
                '"," beside decimal = ","',
                "commas between cells or in numbers, not both",
                "No program can tell them apart: export with another delimiter.",
            )
        if keys.unit is not None and role_of(f"[{keys.unit}]").unit not in _FIRST_UNITS:
            expected = f"{', '.join(_FIRST_UNITS.values())}: the unit of the first column"
            self.problems.note(f"{where}.unit", show(keys.unit), expected)
        if keys.columns is not None and not keys.columns:
            self.problems.note(f"{where}.columns", "an empty list", "a name for each column")


_FIRST_UNITS = {"hz": "Hz", "khz": "kHz", "s": "s", "ms": "ms", "us": "us"}


def _is_encoding(name: str) -> bool:
    try:
        codecs.lookup(name)
    except (LookupError, ValueError):
        return False
    return True


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(("?", ".")) else ".")
