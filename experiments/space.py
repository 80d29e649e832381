"""The recipes of a plan: which exist, what they are near, what they cost.

A recipe has three forms. As *settings* it is a dict without the inactive variables. In a *frame*
it is a row with one column a variable, NaN or None where inactive. As *codes* it is a row of whole
numbers, each the place of a value on its variable's grid, -1 where inactive: the fast form.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.completing import complete
from experiments.counting import Count, Rule, TooMany, count_free, estimate, walk
from experiments.errors import Problem, RecipeError
from experiments.expressions import Column
from experiments.formulas import Formulas
from experiments.neighbours import around_codes
from experiments.plan import Plan
from experiments.recipe_columns import exact_codes, nearest_codes, read_column
from experiments.sampling import Sampler, points
from experiments.tree import Bools, Codes, Tree

__all__ = ["Count", "Space"]

_ESTIMATE_POINTS = 1 << 16
_FEW_HITS = 100
"""Fewer hits than this make a poor estimate (10 % standard error)."""
_FEW_HITS_WALK = 2_000_000
"""Combinations gone through for an exact count before a poor estimate is given."""


class Space:
    """Everything that a plan allows to print.

    Parameters
    ----------
    plan : Plan
        A checked plan.
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.formulas = Formulas(plan)
        self.tree = Tree(plan.variables)
        self.rules = tuple(self.rule(name) for name in plan.rules)
        self._sampler = Sampler(self.tree, self.rules)
        self._counts: dict[int, Count] = {}

    def __repr__(self) -> str:
        return f"Space({self.plan.name!r}, {len(self.tree.names)} variables)"

    def rule(self, name: str, *, speaking: bool = False) -> Rule:
        """Make a function of codes from a rule.

        Parameters
        ----------
        name : str
            As the plan calls it.
        speaking : bool
            It shall hold only where it says something, not where what it touches is inactive.
        """
        needs = self.formulas.needs(name)
        judge = self.formulas.is_true if speaking else self.formulas.holds

        def holds(codes: Codes) -> Bools:
            return judge(name, self._columns_of_codes(codes, needs))

        return Rule(name, frozenset(self.tree.place[variable] for variable in needs), holds)

    # -- how many --------------------------------------------------------------------------

    def count(self, limit: int = 2_000_000) -> Count:
        """Count the printable recipes.

        Parameters
        ----------
        limit : int
            Up to so many combinations are gone through where rules stand in the way.

        Returns
        -------
        Count
            Exact without rules, and with rules where the variables that they tie together have
            at most `limit` combinations; otherwise an unbiased estimate.
        """
        if limit not in self._counts:
            self._counts[limit] = self._count_now(limit)
        return self._counts[limit]

    def _count_now(self, limit: int) -> Count:
        components = self.tree.components(rule.columns for rule in self.rules)
        parts = [self._count_part(columns, limit) for columns in components]
        number = math.prod(part.number for part in parts)
        empty = any(part.exact and part.number == 0 for part in parts)
        return Count(number, empty or all(part.exact for part in parts))

    def _count_part(self, columns: list[int], limit: int) -> Count:
        rules = [rule for rule in self.rules if rule.columns <= set(columns)]
        try:
            free = count_free(self.tree, columns)
        except TooMany:
            free = limit + 1
        else:
            if not rules:
                return Count(_as_float(free), exact=True)
        if free <= limit:
            return Count(float(self._walked(rules, columns, 100 * limit)), exact=True)
        rng = np.random.default_rng(0)
        unit = points(_ESTIMATE_POINTS, len(self.tree.names), rng)
        number, hits = estimate(self.tree, rules, columns, unit)
        if hits < _FEW_HITS:
            try:
                most = max(limit, _FEW_HITS_WALK)
                return Count(float(self._walked(rules, columns, most)), exact=True)
            except TooMany:
                pass
        return Count(number, exact=False)

    def _walked(self, rules: list[Rule], columns: list[int], most: int) -> int:
        return sum(len(rows) for rows in walk(self.tree, rules, columns, most))

    def enumerate_codes(self, limit: int) -> Codes:
        """Give every printable recipe, in order of the plan's variables and their grids.

        Parameters
        ----------
        limit : int
            Most recipes to give.

        Returns
        -------
        ndarray of int32, shape (n, d)

        Raises
        ------
        RecipeError
            If there are more, or if finding out would take too long.
        """
        found: list[Codes] = [np.zeros((0, len(self.tree.names)), dtype=np.int32)]
        number = 0
        columns = range(len(self.tree.names))
        try:
            for rows in walk(self.tree, self.rules, columns, max(5_000_000, 10 * limit)):
                found.append(rows)
                number += len(rows)
                if number > limit:
                    raise TooMany
        except TooMany:
            raise RecipeError(
                Problem(
                    "variables",
                    f"more than {number if number <= limit else limit:,} printable recipes",
                    f"at most {limit:,}",
                    "Use larger steps, or draw a sample instead.",
                )
            ) from None
        codes = np.vstack(found)
        return np.asarray(codes[np.argsort(self.tree.keys(codes), kind="stable")])

    def enumerate(self, limit: int) -> pd.DataFrame:
        """Give every printable recipe as a frame; see `enumerate_codes`."""
        return self.frame(self.enumerate_codes(limit))

    # -- drawing ---------------------------------------------------------------------------

    def sample_codes(self, n: int, seed: int) -> Codes:
        """Draw different printable recipes, evenly spread and balanced over choices.

        Parameters
        ----------
        n : int
            How many; as many as there are if that is fewer.
        seed : int
            The same seed draws the same recipes.

        Returns
        -------
        ndarray of int32, shape (m, d)

        Raises
        ------
        RecipeError
            If no recipe keeps every rule, or none could be found.
        """
        codes = self._sampler.draw(n, seed)
        if n > 0 and not len(codes):
            raise self._nothing_printable()
        return codes

    def sample(self, n: int, seed: int) -> pd.DataFrame:
        """Draw different printable recipes as a frame; see `sample_codes`."""
        return self.frame(self.sample_codes(n, seed))

    def _nothing_printable(self) -> RecipeError:
        unit = points(1 << 12, len(self.tree.names), np.random.default_rng(0))
        columns = range(len(self.tree.names))
        never = [r.name for r in self.rules if not estimate(self.tree, [r], columns, unit)[1]]
        listed = ", ".join(never or [rule.name for rule in self.rules])
        return RecipeError(
            Problem(
                "rules",
                "no recipe that keeps every rule",
                "at least one",
                f"Look at {listed}: {'it leaves' if len(never) == 1 else 'together they leave'} "
                "nothing that was found.",
            )
        )

    # -- near ------------------------------------------------------------------------------

    def neighbour_codes(self, codes: Codes, reach: float = 0.0) -> Codes:
        """Give the printable recipes one move away from any of the given ones.

        Parameters
        ----------
        codes : ndarray of int, shape (n, d)
            Well-formed recipes.
        reach : float
            Length of a move of a number as a share of its range; one grid step at least.

        Returns
        -------
        ndarray of int32, shape (m, d)
            Different rows: one move either way of each active number, and each other level
            of each active variable with words. A variable that becomes active takes the middle of
            its grid.
        """
        around = around_codes(self.tree, np.asarray(codes, dtype=np.int32), reach)
        return np.asarray(around[self.printable_codes(around)])

    def neighbours(self, recipe: Mapping[str, Any]) -> pd.DataFrame:
        """Give the printable recipes one move away; see `neighbour_codes`.

        Parameters
        ----------
        recipe : mapping
            Settings.

        Raises
        ------
        RecipeError
            If the recipe itself is not complete.
        """
        settings = complete(self.plan, self.formulas, recipe, off_grid=True)
        row = pd.DataFrame([settings]).reindex(columns=list(self.tree.names))
        return self.frame(self.neighbour_codes(self.codes(row)))

    # -- forms -----------------------------------------------------------------------------

    def codes(self, frame: pd.DataFrame) -> Codes:
        """Turn recipes into codes; a number off the grid becomes the nearest grid value.

        Parameters
        ----------
        frame : DataFrame
            One column a variable; other columns are ignored.

        Returns
        -------
        ndarray of int32, shape (n, d)
            -1 where the frame has no value.

        Raises
        ------
        RecipeError
            If a column is missing, or holds a word that is no level or text that is no number.
        """
        codes = np.empty((len(frame), len(self.tree.names)), dtype=np.int32)
        for place, variable in enumerate(self.tree.variables):
            column = read_column(frame, variable)
            codes[:, place] = (
                nearest_codes(variable.grid, column.values) if variable.numeric else column.values
            )
        return codes

    def frame(self, codes: Codes) -> pd.DataFrame:
        """Turn codes into a frame: float64 numbers, objects of str; NaN and None where inactive.

        Parameters
        ----------
        codes : ndarray of int, shape (n, d)
            Recipes.
        """
        columns = {}
        for place, (name, grid) in enumerate(zip(self.tree.names, self.tree.grids, strict=True)):
            column = np.asarray(codes)[:, place]
            empty = np.nan if grid.dtype == np.float64 else None
            values = np.append(grid, np.array([empty], dtype=grid.dtype))[column]
            columns[name] = pd.Series(values, dtype=grid.dtype)
        return pd.DataFrame(columns, columns=list(self.tree.names))

    def settings(self, row: Mapping[str, Any] | pd.Series[Any]) -> dict[str, Any]:
        """Turn one row of a frame into settings: Python numbers and str, inactive ones absent.

        Parameters
        ----------
        row : mapping or Series
            One column a variable; other columns are ignored.
        """
        found: dict[str, Any] = {}
        for name, variable in self.plan.variables.items():
            value = row.get(name)
            if value is None or pd.isna(value):
                continue
            if not variable.numeric:
                found[name] = str(value)
            else:
                number = float(value)
                whole = variable.kind == "integer" and number.is_integer()
                found[name] = int(number) if whole else number
        return found

    def rows(self, recipes: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
        """Give recipes as a frame, the inverse of `settings`.

        Parameters
        ----------
        recipes : sequence of mapping
            Checked settings, inactive variables absent.
        """
        columns = {}
        for name, variable in self.plan.variables.items():
            values = [recipe.get(name) for recipe in recipes]
            kind = np.float64 if variable.numeric else object
            columns[name] = pd.Series(values, dtype=kind)
        return pd.DataFrame(columns)

    def complete(self, settings: Mapping[str, Any], *, off_grid: bool = False) -> dict[str, Any]:
        """Check one recipe as a user gives it.

        Parameters
        ----------
        settings : mapping
            Numbers, words, or numbers as text; None and empty text count as absent.
        off_grid : bool
            Accept numbers off the grid and broken rules: a print that came out differently.

        Returns
        -------
        dict
            Settings in plan order, with Python numbers and str.

        Raises
        ------
        RecipeError
            With every problem: unknown or missing variable, inactive variable given, value that
            cannot be printed, rule broken.
        """
        return complete(self.plan, self.formulas, settings, off_grid=off_grid)

    # -- properties of recipes -------------------------------------------------------------

    def active_codes(self, codes: Codes) -> Codes:
        """Give codes with inactive variables set to -1, whatever stood there."""
        return self.tree.settle(np.asarray(codes, dtype=np.int32))

    def printable_codes(self, codes: Codes) -> Bools:
        """Tell which recipes can be printed: on the grid, rightly active, no rule broken.

        Parameters
        ----------
        codes : ndarray of int, shape (n, d)
            Recipes.

        Returns
        -------
        ndarray of bool, shape (n,)
        """
        codes = np.asarray(codes, dtype=np.int32)
        good = self.tree.well_formed(codes)
        good[good] = self._sampler.keeps_rules(codes[good])
        return good

    def printable(self, frame: pd.DataFrame) -> Bools:
        """Tell which recipes of a frame can be printed; a number off the grid cannot."""
        codes = self.codes(frame)
        good = self.printable_codes(codes)
        for place, variable in enumerate(self.tree.variables):
            if variable.numeric:
                given = read_column(frame, variable).values
                good &= exact_codes(variable.grid, given) == codes[:, place]
        return good

    def active(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Tell which variables are active in each recipe, from the values of their parents."""
        codes = self._parent_codes(frame)
        active = np.ones(codes.shape, dtype=bool)
        for column in self.tree.order:
            active[:, column] = self.tree.is_active(codes, column)
            codes[~active[:, column], column] = -1
        return pd.DataFrame(active, index=frame.index, columns=list(self.tree.names))

    def _parent_codes(self, frame: pd.DataFrame) -> Codes:
        """Give the codes of parents; a value off the grid becomes -1, which allows no child."""
        codes = np.zeros((len(frame), len(self.tree.names)), dtype=np.int32)
        for place, variable in enumerate(self.tree.variables):
            if self.tree.children[place]:
                column = read_column(frame, variable)
                codes[:, place] = (
                    exact_codes(variable.grid, column.values)
                    if variable.numeric
                    else column.values
                )
        return codes

    def derived(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Compute the derived quantities: one float column each, NaN where not defined."""
        columns = self.formulas.with_derived(self._columns(frame))
        values = {
            name: np.where(columns[name].inactive, np.nan, columns[name].values)
            for name in self.formulas.derived
        }
        return pd.DataFrame(values, index=frame.index, columns=list(self.formulas.derived))

    def derived_of_codes(
        self, codes: Codes, names: Sequence[str]
    ) -> dict[str, npt.NDArray[np.float64]]:
        """Compute some derived quantities of recipes given as codes; see `derived`."""
        variables = self._columns_of_codes(codes, self.tree.names)
        columns = self.formulas.with_derived(variables, frozenset(names))
        return {
            name: np.where(columns[name].inactive, np.nan, columns[name].values) for name in names
        }

    def effort(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Compute minutes and money of each recipe; NaN without a formula.

        Parameters
        ----------
        frame : DataFrame
            Recipes. A column with a hand metric that an effort formula uses, such as the mass,
            takes the place of what the plan assumes.
        """
        extra = {
            name: Column.of(pd.to_numeric(frame[name]).to_numpy(dtype=np.float64, na_value=np.nan))
            for name in (*self.formulas.by_hand, *self.formulas.assume)
            if name in frame
        }
        columns = self._columns(frame)
        costs = {
            what: self.formulas.costs(what, columns, extra, len(frame))
            for what in ("minutes", "money")
        }
        return pd.DataFrame(costs, index=frame.index, columns=["minutes", "money"])

    def broken_rules(self, settings: Mapping[str, Any]) -> list[str]:
        """Name the rules that a recipe breaks.

        Parameters
        ----------
        settings : mapping
            A complete recipe.
        """
        row = pd.DataFrame([dict(settings)]).reindex(columns=list(self.tree.names))
        columns = self._columns(row)
        return [name for name in self.formulas.rules if not self.formulas.holds(name, columns)[0]]

    # -- columns ---------------------------------------------------------------------------

    def _columns_of_codes(self, codes: Codes, names: Iterable[str]) -> dict[str, Column]:
        columns = {}
        for name in names:
            place = self.tree.place[name]
            variable, column = self.tree.variables[place], codes[:, place]
            values = variable.grid[column] if variable.numeric else column
            columns[name] = Column(values, column < 0, variable.words)
        return columns

    def _columns(self, frame: pd.DataFrame) -> dict[str, Column]:
        return {variable.name: read_column(frame, variable) for variable in self.tree.variables}


def _as_float(number: int) -> float:
    try:
        return float(number)
    except OverflowError:
        return math.inf
