"""A recipe as fields of a form, and back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from experiments.entries import with_point
from experiments.plan import Plan
from experiments.plan_parts import Variable
from optimiser import wording
from optimiser.page.forms import Form

__all__ = ["HOLD", "SET", "Knob", "changed_settings", "knobs_of", "typed_settings"]

SET = "set-"
"""How the fields of settings begin."""

HOLD = "hold-"
"""How the fields of settings to keep begin."""


@dataclass(frozen=True)
class Knob:
    """One variable as a field.

    Parameters
    ----------
    name, label, unit : str
        Of the variable.
    value : str
        What stands in the field at first; empty where it does not apply.
    levels : list of str
        What can be chosen; empty for a number.
    hint : str
        Which values the plan has, and when it applies.
    """

    name: str
    label: str
    unit: str
    value: str
    levels: list[str]
    hint: str

    @property
    def options(self) -> list[tuple[str, str]]:
        """The levels as value and text of a choice."""
        return [(each, each) for each in self.levels]


def knobs_of(plan: Plan, settings: Mapping[str, Any] | None = None) -> list[Knob]:
    """Give the fields of a recipe, filled with `settings` where given."""
    given = settings or {}
    return [
        Knob(
            name,
            variable.label,
            variable.unit,
            wording.setting(given[name]) if name in given else "",
            [wording.setting(level) for level in variable.levels or ()],
            _hint(variable),
        )
        for name, variable in plan.variables.items()
    ]


def changed_settings(plan: Plan, form: Form, settings: Mapping[str, Any]) -> dict[str, Any]:
    """Give the settings that a form has otherwise than `settings`; None where one was emptied."""
    changes: dict[str, Any] = {}
    for knob in knobs_of(plan, settings):
        text = form.values.get(SET + knob.name)
        if text is not None and text.strip() != knob.value:
            changes[knob.name] = with_point(text) if text.strip() else None
    return changes


def typed_settings(values: Mapping[str, str], prefix: str) -> dict[str, str]:
    """Give the settings that fields with a prefix hold; empty ones left out."""
    return {
        name.removeprefix(prefix): with_point(text)
        for name, text in values.items()
        if name.startswith(prefix) and text.strip()
    }


def _hint(variable: Variable) -> str:
    """Say which values the plan has, and when it applies."""
    parts = []
    if variable.numeric and variable.levels is None:
        step = f", steps of {wording.setting(variable.step)}" if variable.step else ""
        ends = f"{wording.setting(variable.low)} to {wording.setting(variable.high)}"
        parts.append(f"{ends}{step}")
    parts += [
        f"only when {parent.replace('_', ' ')} is {' or '.join(map(wording.setting, values))}"
        for parent, values in variable.only_when.items()
    ]
    return "; ".join(parts)
