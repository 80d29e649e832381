"""Recipes as coordinates that a kernel can compare.

Every input (a variable or a derived quantity) owns one length scale:

* a number is placed on 0..1, on a log scale where the plan says so;
* a number that exists only in some recipes lies on an arc of length 1 while active and at the
  arc's centre while not, so that distances stay Euclidean and the kernel positive definite
  (Hutter & Osborne 2013, A kernel for hierarchical parameter spaces);
* a choice is compared as same or different; 'not there' is a level of its own.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.plan import Plan, Variable
from experiments.space import Space

__all__ = ["ORIGIN", "Encoding", "Points"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

ORIGIN = "(experiment)"
"""The input that tells an earlier experiment's recipes from ours; no variable has such a name."""

_HALF_ANGLE = np.pi / 4
_RADIUS = 1 / (2 * _HALF_ANGLE)  # so that the arc is 1 long, as the unconditional axis is


@dataclass(frozen=True)
class Points:
    """Encoded recipes.

    Parameters
    ----------
    numbers : ndarray of shape (n, p)
        Coordinates of the numeric inputs.
    levels : ndarray of shape (n, c)
        Level index of each choice.
    """

    numbers: Floats
    levels: Ints

    def __len__(self) -> int:
        return len(self.numbers)

    def take(self, rows: npt.NDArray[np.intp] | slice) -> Points:
        """Give the chosen rows."""
        return Points(self.numbers[rows], self.levels[rows])

    def parts(self, least: int, most: int) -> list[Points]:
        """Split into an even number of parts of at most so many rows, below `least` not at all."""
        if len(self) < least:
            return [self]
        ends = np.linspace(0, len(self), 2 * -(-len(self) // (2 * most)) + 1).astype(int)
        return [self.take(slice(a, b)) for a, b in pairwise(ends)]

    def of_experiment(self, place: int) -> Points:
        """Add the choice `ORIGIN`: 0 for this experiment, 1 for an earlier one."""
        column = np.full((len(self), 1), place, dtype=np.intp)
        return Points(self.numbers, np.hstack([self.levels, column]))

    def __add__(self, other: Points) -> Points:
        return Points(
            np.concatenate([self.numbers, other.numbers]),
            np.concatenate([self.levels, other.levels]),
        )


@dataclass(frozen=True)
class _Axis:
    """How one numeric input reaches 0..1."""

    name: str
    low: float
    high: float
    log: bool
    conditional: bool
    order: tuple[str, ...] = ()

    def unit(self, values: pd.Series) -> Floats:
        """Place values on 0..1; NaN stays NaN."""
        if self.order:
            rank = {word: place for place, word in enumerate(self.order)}
            numbers = np.array([rank.get(value, np.nan) for value in values], dtype=float)
        else:
            numbers = pd.to_numeric(values, errors="coerce").to_numpy(dtype=float)
        if self.log:
            with np.errstate(divide="ignore", invalid="ignore"):
                numbers = np.log(numbers)
        return (numbers - self.low) / (self.high - self.low)

    def coordinates(self, values: pd.Series) -> Floats:
        """Give one column, or the two of the arc."""
        unit = self.unit(values)
        if not self.conditional:
            return np.nan_to_num(unit, nan=0.5)[:, None]
        angle = (2 * np.nan_to_num(unit) - 1) * _HALF_ANGLE
        arc = _RADIUS * np.column_stack([np.sin(angle), np.cos(angle)])
        arc[np.isnan(unit)] = 0.0
        return arc


class Encoding:
    """The coordinates that a plan's recipes get.

    Parameters
    ----------
    space : Space
        The plan's printable recipes. Variables and derived quantities that never change are
        left out, and derived quantities that repeat another input: a straight line in it, or of
        logarithms.

    Attributes
    ----------
    inputs : list of str
        Names in the order of their length scales: numeric inputs first, then choices.
    owner : ndarray of shape (p,)
        Index of the input that each numeric coordinate belongs to.
    level_counts : list of int
        Number of levels of each choice, 'not there' included.
    base : Encoding
        This one without the choice `ORIGIN`.
    """

    def __init__(self, space: Space) -> None:
        self.space = space
        self.plan: Plan = space.plan
        self.base = self
        self._axes = [
            axis for variable in self.plan.variables.values() if (axis := _axis_of(variable))
        ] + self._derived_axes()
        self._choices = [
            variable
            for variable in self.plan.variables.values()
            if variable.kind == "choice" and len(variable.grid) > 1
        ]
        self.inputs = [axis.name for axis in self._axes] + [v.name for v in self._choices]
        width = [2 if axis.conditional else 1 for axis in self._axes]
        self.owner: Ints = np.repeat(np.arange(len(self._axes)), width)
        self.level_counts = [len(variable.grid) + 1 for variable in self._choices]

    def with_origin(self) -> Encoding:
        """Give the same encoding with the choice `ORIGIN` after all others."""
        other = copy(self)
        other.inputs = [*self.inputs, ORIGIN]
        other.level_counts = [*self.level_counts, 2]
        return other

    def _derived_axes(self) -> list[_Axis]:
        """Scale derived quantities by the range they span over printable recipes.

        One that repeats another input is left out: the same knob would count twice.
        """
        if not self.plan.derived:
            return []
        recipes = self.space.sample(512, seed=0)
        values = self.space.derived(recipes)
        others = [
            recipes[variable.name].to_numpy(dtype=float)
            for variable in self.plan.variables.values()
            if variable.numeric
        ]
        axes = []
        for name in self.plan.derived:
            numbers = values[name].to_numpy(dtype=float)
            finite = numbers[np.isfinite(numbers)]
            if len(finite) < 2 or np.ptp(finite) == 0:
                continue
            if any(_repeats(numbers, other) for other in others):
                continue
            others.append(numbers)
            log = bool(finite.min() > 0 and finite.max() > 20 * finite.min())
            ends = np.log([finite.min(), finite.max()]) if log else (finite.min(), finite.max())
            conditional = len(finite) < len(numbers)
            axes.append(_Axis(name, float(ends[0]), float(ends[1]), log, conditional))
        return axes

    def __call__(self, recipes: pd.DataFrame) -> Points:
        """Encode recipes.

        Parameters
        ----------
        recipes : DataFrame of shape (n, variables)
            One column a variable, NaN or None where inactive.

        Returns
        -------
        Points
        """
        frame = recipes
        if self.plan.derived:
            frame = recipes[list(self.plan.variables)].join(self.space.derived(recipes))
        columns = [axis.coordinates(frame[axis.name]) for axis in self._axes]
        numbers = np.hstack(columns) if columns else np.zeros((len(frame), 0))
        levels = [_level_index(frame[variable.name], variable) for variable in self._choices]
        codes = np.column_stack(levels) if levels else np.zeros((len(frame), 0), dtype=np.intp)
        return Points(numbers, codes)

    def of_codes(self, codes: npt.NDArray[np.int32]) -> Points:
        """Encode recipes given as grid codes (see `Space.codes`), from tables of the grids."""
        names = list(self.plan.variables)
        places = dict(zip(names, codes.T, strict=True))
        computed = [axis.name for axis in self._axes if axis.name not in places]
        derived = self.space.derived_of_codes(codes, computed) if computed else {}
        numbers = [np.zeros((len(codes), 0))]
        for axis in self._axes:
            if axis.name in derived:
                numbers.append(axis.coordinates(pd.Series(derived[axis.name])))
            else:
                numbers.append(self._tables[axis.name][places[axis.name]])
        levels = np.zeros((len(codes), len(self._choices)), dtype=np.intp)
        for column, variable in enumerate(self._choices):
            place = places[variable.name]
            levels[:, column] = np.where(place < 0, len(variable.grid), place)
        return Points(np.hstack(numbers), levels)

    @cached_property
    def _tables(self) -> dict[str, Floats]:
        """Coordinates of each setting of each number, and last of one that is not there."""
        variables = self.plan.variables
        tables = {}
        for axis in self._axes:
            if axis.name in variables:
                grid = variables[axis.name].grid
                absent = np.nan if variables[axis.name].numeric else None
                tables[axis.name] = axis.coordinates(pd.Series([*grid, absent], dtype=grid.dtype))
        return tables


_STRAIGHT = 1e-6  # departure from a straight line, as a share of the range, that counts as none


def _repeats(one: Floats, other: Floats) -> bool:
    """Whether one quantity is a straight line in the other, either of them as a logarithm or not.

    Powers and ratios to a constant are among these. Both must exist in the same recipes.
    """
    known = np.isfinite(one)
    if not np.array_equal(known, np.isfinite(other)):
        return False
    return any(
        _straight(a, b) for a in _plain_and_log(one[known]) for b in _plain_and_log(other[known])
    )


def _plain_and_log(values: Floats) -> list[Floats]:
    return [values, np.log(values)] if np.all(values > 0) else [values]


def _straight(a: Floats, b: Floats) -> bool:
    """Whether a straight line through b gives a."""
    if np.ptp(b) == 0:
        return False
    b = (b - np.mean(b)) / np.ptp(b)
    slope = b @ (a - np.mean(a)) / (b @ b)
    return bool(np.max(np.abs(a - np.mean(a) - slope * b)) <= _STRAIGHT * np.ptp(a))


def _axis_of(variable: Variable) -> _Axis | None:
    """Give the numeric axis of a variable, or None for a choice or a constant."""
    if variable.kind == "choice" or len(variable.grid) < 2:
        return None
    conditional = bool(variable.only_when)
    if not variable.numeric:
        order = tuple(str(word) for word in variable.grid)
        return _Axis(variable.name, 0.0, len(order) - 1.0, False, conditional, order)
    low, high = float(np.min(variable.grid)), float(np.max(variable.grid))
    log = variable.scale == "log"
    if log:
        low, high = float(np.log(low)), float(np.log(high))
    return _Axis(variable.name, low, high, log, conditional)


def _level_index(values: pd.Series, variable: Variable) -> Ints:
    """Give each value's place among the levels; the place after the last is 'not there'."""
    places = {str(word): place for place, word in enumerate(variable.grid)}
    absent = len(places)
    return np.array([places.get(str(value), absent) for value in values], dtype=np.intp)
