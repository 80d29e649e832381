"""The plan's formulas over many recipes: derived quantities, rules, effort."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from experiments.expressions import Column, Expression
from experiments.plan import Plan

__all__ = ["Formulas"]

Columns = Mapping[str, Column]


class Formulas:
    """Every formula of a plan, parsed once.

    Parameters
    ----------
    plan : Plan
        A checked plan, so that no formula fails to parse.
    """

    def __init__(self, plan: Plan) -> None:
        known = {name: variable.words for name, variable in plan.variables.items()}
        numbers = known | dict.fromkeys(plan.derived)
        self.derived = {n: Expression(d.formula, numbers) for n, d in plan.derived.items()}
        self.rules = {name: Expression(text, numbers) for name, text in plan.rules.items()}
        self.assume = dict(plan.effort.assume)
        self.by_hand = [name for name, m in plan.metrics.items() if m.source == "hand"]
        with_hand = numbers | dict.fromkeys((*self.assume, *self.by_hand))
        self.effort = {
            what: Expression(text, with_hand)
            for what, text in (("minutes", plan.effort.minutes), ("money", plan.effort.money))
            if text is not None
        }

    def needs(self, rule: str) -> frozenset[str]:
        """Name the variables that a rule rests on, directly or through derived quantities."""
        found = set(self.rules[rule].names)
        for name in reversed(list(self.derived)):  # later ones may rest on earlier ones
            if name in found:
                found = (found - {name}) | self.derived[name].names
        return frozenset(found)

    def with_derived(self, columns: Columns, wanted: frozenset[str] | None = None) -> Columns:
        """Add derived quantities to the variables' columns.

        Parameters
        ----------
        columns : mapping of str to Column
            The variables.
        wanted : frozenset of str, optional
            Names that will be used; by default every derived quantity is added.
        """
        needed = set(self.derived if wanted is None else wanted)
        for name in reversed(list(self.derived)):
            if name in needed:
                needed |= self.derived[name].names
        full = dict(columns)
        for name, expression in self.derived.items():
            if name in needed:
                full[name] = expression.column(full)
        return full

    def holds(self, rule: str, columns: Columns) -> npt.NDArray[np.bool_]:
        """Tell for each recipe whether a rule holds, or touches an inactive variable.

        Parameters
        ----------
        rule : str
            Its name.
        columns : mapping of str to Column, each of shape (n,)
            The variables that the rule `needs`, at least.
        """
        expression = self.rules[rule]
        return np.asarray(expression.evaluate(self.with_derived(columns, expression.names)))

    def is_true(self, rule: str, columns: Columns) -> npt.NDArray[np.bool_]:
        """Tell as `holds`, but False where the rule says nothing about a recipe."""
        expression = self.rules[rule]
        truth = expression.column(self.with_derived(columns, expression.names))
        return np.asarray(truth.values.astype(bool) & ~truth.inactive)

    def costs(
        self, what: str, columns: Columns, extra: Columns, rows: int
    ) -> npt.NDArray[np.float64]:
        """Evaluate an effort formula, in which an inactive number counts as 0.

        Parameters
        ----------
        what : {'minutes', 'money'}
            Which formula.
        columns : mapping of str to Column, each of shape (rows,)
            The variables.
        extra : mapping of str to Column
            Hand metrics that are known; unknown ones count as the plan assumes, else the result
            is NaN.
        rows : int
            How many recipes.
        """
        expression = self.effort.get(what)
        if expression is None:
            return np.full(rows, np.nan)
        unknown: list[npt.NDArray[np.bool_]] = []
        full = dict(self.with_derived(columns, expression.names))
        for name in expression.names & {*self.assume, *self.by_hand}:
            known = extra.get(name, Column.of(np.full(rows, np.nan)))
            values = np.where(known.inactive, self.assume.get(name, np.nan), known.values)
            unknown.append(np.isnan(values))
            full[name] = Column(values, np.zeros(rows, dtype=bool))
        costs = expression.evaluate(full, inactive=0.0)
        return np.where(np.any(unknown, axis=0), np.nan, costs) if unknown else costs
