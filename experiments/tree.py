"""Recipes as whole numbers: each setting is its place on the variable's grid, -1 where inactive.

Which variables are active follows from their parents' values. Everything here works on whole
arrays of recipes, because the search for the next cone looks at thousands of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import numpy.typing as npt

from experiments.plan_parts import Variable, on_grid

__all__ = ["Bools", "Codes", "Tree"]

Codes = npt.NDArray[np.int32]
Bools = npt.NDArray[np.bool_]


class Tree:
    """Variables, their grids and who depends on whom.

    Parameters
    ----------
    variables : mapping of str to Variable
        In plan order, which is the order of the columns of every array of codes.

    Attributes
    ----------
    names : tuple of str
        The columns.
    sizes : ndarray of int64, shape (d,)
        Printable values of each variable.
    order : tuple of int
        Columns so that every parent comes before its children, children soon after.
    parents : tuple of tuple of (int, ndarray of bool)
        For each column its parents' columns and, for each code of the parent, whether it allows
        the child. One more entry, False, stands at the end: code -1 allows nothing.
    children : tuple of tuple of int
        For each column the columns that depend on it directly.
    """

    def __init__(self, variables: Mapping[str, Variable]) -> None:
        self.variables = tuple(variables.values())
        self.names = tuple(variables)
        self.place = {name: column for column, name in enumerate(self.names)}
        self.grids = tuple(variable.grid for variable in self.variables)
        self.sizes = np.array([len(grid) for grid in self.grids], dtype=np.int64)
        self.parents = tuple(self._parents_of(variable) for variable in self.variables)
        self.children = tuple(
            tuple(c for c, held in enumerate(self.parents) if any(p == column for p, _ in held))
            for column in range(len(self.names))
        )
        self.order = self._order()

    def _parents_of(self, variable: Variable) -> tuple[tuple[int, Bools], ...]:
        found = []
        for parent, values in variable.only_when.items():
            column = self.place[parent]
            holder = self.variables[column]
            matched = [on_grid(holder, value) for value in values]
            allowed = np.append(np.isin(holder.grid, np.array(matched, holder.grid.dtype)), False)
            found.append((column, allowed))
        return tuple(found)

    def _order(self) -> tuple[int, ...]:
        order: list[int] = []
        waiting = list(range(len(self.names)))[::-1]
        while waiting:
            column = waiting.pop()
            ready = all(parent in order for parent, _ in self.parents[column])
            if column not in order and ready:
                order.append(column)
                # A child right after its last parent keeps few open conditions when counting.
                waiting.extend(reversed(self.children[column]))
        return tuple(order)

    def is_active(self, codes: Codes, column: int) -> Bools:
        """Tell in which recipes a variable is active, given its parents' codes.

        Parameters
        ----------
        codes : ndarray, shape (n, d)
            The parents' columns must be settled; the others do not matter.
        column : int
            The variable.

        Returns
        -------
        ndarray of bool, shape (n,)
        """
        active = np.ones(len(codes), dtype=bool)
        for parent, allowed in self.parents[column]:
            active &= allowed[codes[:, parent]]
        return active

    def settle(self, codes: Codes, fill: Sequence[int] | None = None) -> Codes:
        """Set inactive variables to -1 and, if `fill` is given, newly active ones to it.

        Parameters
        ----------
        codes : ndarray, shape (n, d)
            Left as it is.
        fill : sequence of int, optional
            For each column the code that an active variable without one takes.

        Returns
        -------
        ndarray, shape (n, d)
        """
        settled = codes.copy()
        for column in self.order:
            if not self.parents[column]:
                continue
            active = self.is_active(settled, column)
            settled[~active, column] = -1
            if fill is not None:
                settled[active & (settled[:, column] < 0), column] = fill[column]
        return settled

    def well_formed(self, codes: Codes) -> Bools:
        """Tell which rows have a value on the grid exactly where the variable is active."""
        good = np.all(codes < self.sizes, axis=1) & np.all(codes >= -1, axis=1)
        inside = np.where(good[:, None], codes, -1)  # so that a wild code cannot be looked up
        for column in range(len(self.names)):
            good &= self.is_active(inside, column) == (codes[:, column] >= 0)
        return np.asarray(good)

    def keys(self, codes: Codes) -> npt.NDArray[np.generic]:
        """Give one key a row: equal rows have equal keys, and keys sort as rows do."""
        total, weights = 1, []
        for size in reversed(self.sizes.tolist()):
            weights.append(total)
            total *= size + 1
        if total < 2**63:
            return np.asarray((codes.astype(np.int64) + 1) @ np.array(weights[::-1], np.int64))
        # Big-endian bytes compare as the numbers do.
        rows = np.ascontiguousarray((codes + 1).astype(">u4"))
        return rows.view(np.dtype((np.void, rows.dtype.itemsize * rows.shape[1]))).ravel()

    def unique(self, codes: Codes) -> Codes:
        """Drop repeated rows; the first of each stays where it was."""
        if not len(codes):
            return codes
        _, first = np.unique(self.keys(codes), return_index=True)
        return np.asarray(codes[np.sort(first)])

    def components(self, ties: Iterable[Iterable[int]]) -> list[list[int]]:
        """Split the columns into groups that do not depend on each other.

        Parameters
        ----------
        ties : iterable of iterables of int
            Further columns that belong together, such as those of one rule.
        """
        groups = [{column} for column in range(len(self.names))]
        links = [
            {column, *(p for p, _ in held)} for column, held in enumerate(self.parents) if held
        ]
        for link in (*links, *map(set, ties)):
            joined = [group for group in groups if group & link]
            groups = [group for group in groups if not group & link]
            groups.append(set().union(*joined))
        return [
            sorted(group) for group in sorted(groups, key=lambda g: min(g, default=0)) if group
        ]
