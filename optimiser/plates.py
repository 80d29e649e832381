"""What the cones of one plate have in common, and what setting up for it takes."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.plan import Plan
from experiments.space import Space

__all__ = ["Plate", "SetUp", "set_up"]

Codes = npt.NDArray[np.int32]


@dataclass
class Plate:
    """Cones that are printed together share every variable marked ``per = "plate"``.

    Parameters
    ----------
    space : Space
    shared : dict of int to int
        Column of a shared variable to its place on the grid, once a cone has settled it.
    """

    space: Space
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
        if not self.shared:
            return codes
        variables = self.space.plan.variables
        parents = {parent for variable in variables.values() for parent in variable.only_when}
        branching = [column for column in self.shared if list(variables)[column] in parents]
        moved = codes[Plate(self.space, {c: self.shared[c] for c in branching}).holds(codes)]
        for column, place in self.shared.items():
            moved[:, column] = np.where(moved[:, column] < 0, -1, place)
        moved = np.unique(moved, axis=0)
        return np.asarray(moved[self.space.printable_codes(moved)])


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


def set_up(plan: Plan, before: pd.Series, after: pd.Series) -> SetUp:
    """Count the set-up changes from one recipe to the next.

    Parameters
    ----------
    plan : Plan
    before, after : Series
        Recipes; a variable that is not active in both changes nothing that is known.
    """
    changed = [
        name
        for name, variable in plan.variables.items()
        if variable.setup_minutes > 0
        and pd.notna(before[name])
        and pd.notna(after[name])
        and before[name] != after[name]
    ]
    return SetUp(sum(plan.variables[name].setup_minutes for name in changed), changed)
