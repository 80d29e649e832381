"""What the cones of one plate have in common, and what setting up for it takes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

import numpy as np
import numpy.typing as npt

from experiments.errors import Problem, TrialsError
from experiments.grammar import suggest
from experiments.plan import Plan
from experiments.plan_parts import Variable, as_word, near_values, on_grid
from experiments.space import Space

__all__ = ["Plate", "SetUp", "places", "set_up", "set_up_minutes"]

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int32]


@dataclass
class Plate:
    """Cones that are printed together share every variable marked ``per = "plate"``.

    Parameters
    ----------
    space : Space
    kept : dict of int to int
        Column to place on the grid of variables that every cone must have, and so.
    shared : dict of int to int
        The same of shared variables, once a cone has settled them; a cone may lack them.
    """

    space: Space
    kept: dict[int, int] = field(default_factory=dict)
    shared: dict[int, int] = field(default_factory=dict)

    def take(self, codes: Codes) -> None:
        """Put one cone, codes of shape (d,), on the plate."""
        for column, variable in enumerate(self.space.plan.variables.values()):
            if variable.per == "plate" and codes[column] >= 0:
                self.shared.setdefault(column, int(codes[column]))

    def holds(self, codes: Codes) -> npt.NDArray[np.bool_]:
        """Tell which recipes, (n, d), can be printed together with the cones of the plate."""
        fits = np.ones(len(codes), dtype=bool)
        for column, place in self.shared.items():
            fits &= (codes[:, column] == place) | (codes[:, column] < 0)
        for column, place in self.kept.items():
            fits &= codes[:, column] == place
        return fits

    def onto(self, codes: Codes) -> Codes:
        """Give the recipes that the plate can hold once they take its shared settings.

        Parameters
        ----------
        codes : ndarray of shape (n, d)

        Returns
        -------
        ndarray of shape (m, d)
            Different printable rows. A recipe on another branch of a condition is left out, for
            it would lack the settings that exist on this one.
        """
        if not self.shared and not self.kept:
            return codes
        settled = {**self.shared, **self.kept}
        branch = {column: settled[column] for column in self._parents() if column in settled}
        moved = codes[Plate(self.space, shared=branch).holds(codes)]
        moved = moved[(moved[:, list(self.kept)] >= 0).all(axis=1)]
        for column, place in settled.items():
            moved[:, column] = np.where(moved[:, column] < 0, -1, place)
        moved = np.unique(moved, axis=0)
        return np.asarray(moved[self.space.printable_codes(moved)])

    def _parents(self) -> set[int]:
        """Columns of the variables on which others depend."""
        variables = self.space.plan.variables
        parents = {parent for variable in variables.values() for parent in variable.only_when}
        return {list(variables).index(parent) for parent in parents}


def places(plan: Plan, settings: Mapping[str, Any]) -> dict[int, int]:
    """Give column and place on the grid of some settings; numbers may be text.

    Raises
    ------
    TrialsError
        An unknown variable, a value that cannot be printed, or one that exists only beside
        another value of a variable that is given too.
    """
    found, problems = {}, []
    for name, given in settings.items():
        variable = plan.variables.get(name)
        if variable is None:
            hint = suggest(name, plan.variables) or f"Known: {', '.join(plan.variables)}."
            problems.append(Problem(name, "an unknown variable", "a variable of the plan", hint))
            continue
        typed = _typed(variable, given)
        value = on_grid(variable, typed)
        if value is None:
            near = near_values(variable, typed)
            problems.append(Problem(name, repr(given), "a printable value", near))
            continue
        found[list(plan.variables).index(name)] = variable.grid.tolist().index(value)
        problems += [
            Problem(
                name,
                f"{parent}={settings[parent]} beside it",
                f"{parent} {_either(allowed)}: only then is there {name}",
                "Leave one of the two out.",
            )
            for parent, allowed in variable.only_when.items()
            if parent in settings
            and not _is_one_of(plan.variables[parent], settings[parent], allowed)
        ]
    if not problems:
        problems = _on_different_branches(plan, settings)
    if problems:
        raise TrialsError(*problems)
    return found


def _on_different_branches(plan: Plan, settings: Mapping[str, Any]) -> list[Problem]:
    """Find settings that exist only beside different values of one variable."""
    problems = []
    kept = [plan.variables[name] for name in settings]
    for one, other in combinations(kept, 2):
        for parent in one.only_when.keys() & other.only_when.keys():
            needs = [set(map(as_word, each.only_when[parent])) for each in (one, other)]
            if needs[0].isdisjoint(needs[1]):
                told = [
                    f"{each.name}, which needs {parent} {_either(each.only_when[parent])}"
                    for each in (one, other)
                ]
                problems.append(
                    Problem(
                        "keep",
                        " and ".join(told),
                        "settings that one recipe can have",
                        "Leave one of the two out.",
                    )
                )
    return problems


def _either(values: Iterable[Any]) -> str:
    return " or ".join(map(as_word, values))


def _is_one_of(variable: Variable, given: Any, allowed: Iterable[Any]) -> bool:
    """Whether a setting is among some; one that cannot be printed is told elsewhere."""
    value = on_grid(variable, _typed(variable, given))
    return value is None or value in [on_grid(variable, each) for each in allowed]


def _typed(variable: Variable, given: Any) -> Any:
    """Give a number that was written as text."""
    if not (variable.numeric and isinstance(given, str)):
        return given
    try:
        return float(given.replace(",", "."))
    except ValueError:
        return given


@dataclass(frozen=True)
class SetUp:
    """What must be changed before a cone can be printed.

    Parameters
    ----------
    minutes : float
        Sum of the changed variables' ``setup_minutes``.
    variables : list of str
        Their names.
    """

    minutes: float
    variables: list[str]


def set_up(space: Space, before: Codes, after: Codes) -> SetUp:
    """Count the set-up changes from one recipe to the next, codes of shape (d,) each."""
    variables = list(space.plan.variables.values())
    changed = np.flatnonzero(_changes(space, before, after[None, :])[0])
    minutes = set_up_minutes(space, before, after[None, :])[0]
    return SetUp(float(minutes), [variables[column].name for column in changed])


def set_up_minutes(space: Space, before: Codes, after: Codes) -> Floats:
    """Give the minutes of set-up from one recipe, (d,), to each of others, (n, d)."""
    minutes = [variable.setup_minutes for variable in space.plan.variables.values()]
    return np.asarray(_changes(space, before, after) @ np.array(minutes), dtype=np.float64)


def _changes(space: Space, before: Codes, after: Codes) -> npt.NDArray[np.bool_]:
    """Tell which variables must be set up anew.

    A variable that is not active in both changes nothing that is known.
    """
    costly = [variable.setup_minutes > 0 for variable in space.plan.variables.values()]
    return np.asarray((before != after) & (before >= 0) & (after >= 0) & np.array(costly))
