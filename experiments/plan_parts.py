"""The parts of a plan: variables, derived quantities, metrics, effort, sessions.

Plain frozen records. They are made by `experiments.plan.Plan.from_toml` and
`experiments.plan.Plan.from_dict`, which check them; a record built by hand is not checked.
"""

from __future__ import annotations

import operator
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, ClassVar, Literal, NoReturn

import numpy as np
import numpy.typing as npt

from experiments.grammar import suggest
from experiments.grids import levels_grid, stepless_grid, stepped_grid

__all__ = [
    "Age",
    "Derived",
    "Effort",
    "FrozenDict",
    "Limit",
    "Metric",
    "Sessions",
    "Value",
    "Variable",
    "as_word",
    "is_number",
    "near_values",
    "on_grid",
]

Value = str | float
"""One setting: a word or a number."""


class FrozenDict(dict[str, Any]):
    """A dict that refuses changes, so that a plan stays what its digest says."""

    def _refuse(self, *_args: Any, **_kwargs: Any) -> NoReturn:
        raise TypeError("a plan cannot be changed; make a new one with Plan.from_dict")

    __setitem__ = __delitem__ = __ior__ = _refuse
    clear = pop = popitem = setdefault = update = _refuse

    def __reduce__(self) -> tuple[type[FrozenDict], tuple[dict[str, Any]]]:
        return FrozenDict, (dict(self),)


def _shown_name(label: str, name: str) -> str:
    return label or name.replace("_", " ")


@dataclass(frozen=True)
class Variable:
    """A knob that may move.

    Parameters
    ----------
    name : str
        How the plan, the table and formulas call it.
    kind : {'continuous', 'integer', 'ordered', 'choice'}
        How its values relate.
    unit : str
        Unit of its numbers; may be empty.
    low, high : float, optional
        Ends of a continuous or integer variable, both printable.
    step : float, optional
        Distance of printable values, counted from `low`.
    levels : tuple, optional
        The values of an ordered variable (words or rising numbers) or a choice (words).
    scale : {'linear', 'log'}
        How the model sees its numbers.
    only_when : dict of str to tuple
        It is active only when every named parent has one of the given values.
    before : str or float, optional
        What cones had that were made before the variable joined.
    setup_minutes : float
        What changing it between plates costs, in minutes.
    label, note : str
        The name to show, and a remark.
    per : {'cone', 'plate'}
        Whether each cone may have its own value or a whole plate shares one.
    cautions : dict of str to {'resin', 'filament', 'other'}
        Which safety cautions a level calls for.
    was : str
        The name under which earlier cones hold it in the store; empty if never renamed.
    were : dict of str to str
        For each level that was renamed, its old name, which earlier cones hold in the store.
    tolerance : float
        Standard deviation, in its unit, of what the printer really does about a setting; 0 for
        a printer that is exact. Without effect on words.
    """

    name: str
    kind: Literal["continuous", "integer", "ordered", "choice"]
    unit: str = ""
    low: float | None = None
    high: float | None = None
    step: float | None = None
    levels: tuple[Value, ...] | None = None
    scale: Literal["linear", "log"] = "linear"
    only_when: dict[str, tuple[Value, ...]] = field(default_factory=FrozenDict)
    before: Value | None = None
    setup_minutes: float = 0.0
    label: str = ""
    note: str = ""
    per: Literal["cone", "plate"] = "cone"
    cautions: dict[str, str] = field(default_factory=FrozenDict)
    was: str = ""
    were: dict[str, str] = field(default_factory=FrozenDict)
    tolerance: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "label", _shown_name(self.label, self.name))

    def __hash__(self) -> int:
        return hash((self.name, self.kind, self.low, self.high, self.step, self.levels))

    @cached_property
    def grid(self) -> npt.NDArray[Any]:
        """Every printable value in order, shape (values,), read-only.

        float64 where `numeric`, else an object array of str. A continuous variable without a
        step has 101 values.
        """
        grid = self._make_grid()
        grid.flags.writeable = False
        return grid

    def _make_grid(self) -> npt.NDArray[Any]:
        if self.levels is not None:
            return levels_grid(self.levels, numeric=self.numeric)
        assert self.low is not None
        assert self.high is not None
        step = self.step or (1.0 if self.kind == "integer" else None)
        if step is None:
            return stepless_grid(self.low, self.high, log=self.scale == "log")
        return stepped_grid(self.low, self.high, step)

    @property
    def numeric(self) -> bool:
        """Whether its values are numbers."""
        if self.levels is None:
            return True
        return self.kind == "ordered" and not isinstance(self.levels[0], str)

    @property
    def words(self) -> tuple[str, ...] | None:
        """Its levels where they are words, else None."""
        if self.numeric or self.levels is None:
            return None
        return tuple(str(level) for level in self.levels)


@dataclass(frozen=True)
class Derived:
    """A quantity computed from variables, which the model may use as an extra input.

    Parameters
    ----------
    name, unit : str
        Name and unit.
    formula : str
        Arithmetic over variables and over derived quantities that stand above it.
    label, note : str
        The name to show, and a remark.
    """

    name: str
    unit: str
    formula: str
    label: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "label", _shown_name(self.label, self.name))


@dataclass(frozen=True)
class Limit:
    """A hard limit on a metric, such as ``>= 4.0``.

    Parameters
    ----------
    op : {'>=', '<=', '>', '<'}
        How the metric must compare with `value`.
    value : float
        In the metric's unit.
    """

    op: Literal[">=", "<=", ">", "<"]
    value: float

    _COMPARE: ClassVar[Mapping[str, Callable[[Any, Any], Any]]] = {
        ">=": operator.ge,
        "<=": operator.le,
        ">": operator.gt,
        "<": operator.lt,
    }

    def __str__(self) -> str:
        return f"{self.op} {self.value:.12g}"

    def holds(self, values: npt.ArrayLike) -> npt.NDArray[np.bool_]:
        """Tell which values keep the limit; NaN does not.

        Parameters
        ----------
        values : array_like
            In the metric's unit.
        """
        kept = self._COMPARE[self.op](np.asarray(values, dtype=np.float64), self.value)
        return np.asarray(kept, dtype=bool)


@dataclass(frozen=True)
class Metric:
    """A number that judges a cone.

    Parameters
    ----------
    name : str
        How the plan and the table call it.
    source : {'response', 'distortion', 'impulse', 'sweep', 'hand'}
        Which kind of measurement gives it (``from`` in the plan file).
    measure : str
        What is computed, as the catalogue of measures calls it in full; its own name by hand.
    options : dict
        Options of the measure, such as ``drop_db``; ``band`` is a pair of frequencies in Hz.
    unit : str
        The unit of its values in the table, of `poor`, `good` and `limit`.
    goal : {'maximise', 'minimise', 'target', 'watch'}
        What is wanted; 'watch' is only recorded.
    poor : float, tuple of two floats, or None
        Where desirability is 0. For a target: both ends, or the distance from the target.
    good : float or None
        Where desirability is 1. For a target: the target itself.
    weight : float
        Weight in the score.
    limit : Limit or None
        A hard limit.
    shape : float
        Exponent of the desirability (Derringer & Suich 1980): 1 straight, above 1 stricter.
    label, note : str
        The name to show, and a remark.
    was : str
        Its old name, under which the store may hold values; empty if never renamed.
    """

    name: str
    source: Literal["response", "distortion", "impulse", "sweep", "hand"]
    measure: str
    options: dict[str, Any] = field(default_factory=FrozenDict)
    unit: str = ""
    goal: Literal["maximise", "minimise", "target", "watch"] = "watch"
    poor: float | tuple[float, float] | None = None
    good: float | None = None
    weight: float = 1.0
    limit: Limit | None = None
    shape: float = 1.0
    label: str = ""
    note: str = ""
    was: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "label", _shown_name(self.label, self.name))

    def __hash__(self) -> int:
        return hash((self.name, self.source, self.measure, self.unit, self.goal))


@dataclass(frozen=True)
class Effort:
    """What a recipe costs.

    Parameters
    ----------
    minutes, money : str or None
        Formulas over variables, derived quantities and `assume`.
    currency : str
        What `money` counts.
    assume : dict of str to float
        Numbers for names that are known only after printing, such as the mass.
    """

    minutes: str | None = None
    money: str | None = None
    currency: str = ""
    assume: dict[str, float] = field(default_factory=FrozenDict)

    def __hash__(self) -> int:
        return hash((self.minutes, self.money, self.currency))


@dataclass(frozen=True)
class Sessions:
    """How sittings at the test platform are tied together.

    Parameters
    ----------
    reference_cone : int or None
        Number of the kept cone that is measured again in every session.
    """

    reference_cone: int | None = None


@dataclass(frozen=True)
class Age:
    """The age at which cones are judged.

    Parameters
    ----------
    clock : {'light_hours', 'age_days'}
        What it is counted in: a column of the table of trials.
    at : float
        How much of it.
    """

    clock: str
    at: float


def is_number(value: Any) -> bool:
    """Tell whether a value is a finite number; true and false are not."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return abs(value) <= sys.float_info.max  # false for NaN; whole numbers can be larger still


def as_word(value: Any) -> str:
    """Write a level as a word: 0.4 becomes '0.4' and 2.0 becomes '2'."""
    return f"{value:.12g}" if is_number(value) else str(value)


def on_grid(variable: Variable, value: Any) -> Value | None:
    """Find the printable value that a user means; None if there is none.

    Parameters
    ----------
    variable : Variable
        Whose value it should be.
    value : object
        As it stands in a plan or a recipe: a number, or a word.
    """
    if variable.words is not None:
        if is_number(value):
            value = as_word(value)
        return value if value in variable.words else None
    if not is_number(value):
        return None
    grid, value = variable.grid, float(value)
    place = int(np.abs(grid - value).argmin())
    spacing = float(np.abs(np.diff(grid)).min()) if len(grid) > 1 else abs(grid[0])
    # A millionth of a step is rounding, anything more is another value.
    return float(grid[place]) if abs(grid[place] - value) <= 1e-6 * spacing else None


def near_values(variable: Variable, value: Any) -> str:
    """Say which printable values are nearest, as a sentence."""
    if variable.words is not None:
        return suggest(str(value), variable.words) or f"Levels: {', '.join(variable.words)}."
    if not is_number(value):
        return f"Write a number, such as {variable.grid[0]:.12g}."
    place = int(np.searchsorted(variable.grid, float(value)))
    near = variable.grid[max(0, place - 1) : place + 1]
    return f"Nearest: {' and '.join(f'{v:.12g}' for v in near)}."
