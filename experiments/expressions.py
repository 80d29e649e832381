"""Formulas and rules: parsed once, evaluated over many recipes at a time, never executed as code.

`simpleeval` walks the tree; its node handlers are replaced by ones that work on whole columns, so
one formula over 10,000 recipes costs about as much as a few numpy operations.

Three decisions that a reader could take another way:

- Numbers that differ by less than 1e-9 of their size are equal. Printable values are decimals
  (0.3 mm) and binary arithmetic on them is not exact: ``3 * 0.1 <= 0.3`` must hold, ``0.6 % 0.2``
  must be 0 and ``wall - 3 * layer >= 0`` must agree with ``wall >= 3 * layer``.
- What an inactive variable touches is unknown, in the sense of three-valued logic (Kleene 1952,
  *Introduction to Metamathematics*, section 64): unknown stays unknown through arithmetic and
  comparisons, but ``false and unknown`` is false, ``true or unknown`` is true, and of an
  ``a if c else b`` only the branch that applies counts.
- A result that is not a finite number (1/0, an overflow, the root of a negative number) is NaN.
"""

from __future__ import annotations

import ast
import functools
import operator
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import simpleeval

from experiments.grammar import ExpressionError, Kind, check, parse

__all__ = ["TOLERANCE", "Column", "Expression", "ExpressionError"]

TOLERANCE = 1e-9
"""Relative difference under which two numbers count as equal."""

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

_NOWHERE: Bools = np.zeros((), dtype=bool)


@dataclass(frozen=True, slots=True)
class Column:
    """One quantity over many recipes, with the rows where it is unknown.

    Parameters
    ----------
    values : ndarray, shape (n,) or ()
        Float, bool, or (for words) the index of each row's word in `levels`.
    inactive : ndarray of bool, shape (n,) or ()
        True where the value rests on an inactive variable; `values` means nothing there.
    levels : tuple of str, optional
        The words that `values` points into; None for numbers and truths.
    """

    values: npt.NDArray[Any]
    inactive: Bools
    levels: tuple[str, ...] | None = None

    @classmethod
    def of(cls, data: Column | npt.ArrayLike) -> Column:
        """Take in a column: NaN (numbers) and None (words) mean inactive.

        Parameters
        ----------
        data : Column or array_like
            Numbers, bools, or an object array of str and None.
        """
        if isinstance(data, Column):
            return data
        array = np.asarray(data)
        if array.dtype == bool:
            return cls(array, _NOWHERE)
        if array.dtype.kind in "OUT":
            return cls._of_objects(array)
        numbers = array.astype(np.float64, copy=False)
        return cls(numbers, np.isnan(numbers))

    @classmethod
    def _of_objects(cls, array: npt.NDArray[Any]) -> Column:
        items = array.ravel().tolist()
        if not any(isinstance(item, str) for item in items):
            numbers = np.array([np.nan if v is None else v for v in items], dtype=np.float64)
            return cls.of(numbers.reshape(array.shape))
        index: dict[str, int] = {}
        codes = [index.setdefault(v, len(index)) if isinstance(v, str) else -1 for v in items]
        coded = np.array(codes, dtype=np.int32).reshape(array.shape)
        return cls(coded, coded < 0, tuple(index))


class Expression:
    """A formula or rule over named columns.

    Parameters
    ----------
    text : str
        What the plan says, such as ``"wall >= 4 * layer"``.
    names : iterable of str or mapping
        The names that may stand in it. A mapping gives for each name its words, or None where
        its values are numbers; then a word that is no level, or a word compared with a number, is
        found at once.

    Attributes
    ----------
    names : frozenset of str
        The names that do stand in it.
    kind : {'number', 'truth', 'any'}
        What it gives.

    Raises
    ------
    ExpressionError
        A ValueError with a plain reason: syntax, unknown name, or a construct that is not allowed.
    """

    def __init__(
        self, text: str, names: Mapping[str, Sequence[str] | None] | Iterable[str]
    ) -> None:
        self.text = text
        self._tree = parse(text)
        self.kind: Kind = check(self._tree, names if isinstance(names, Mapping) else set(names))
        if self.kind == "words":
            raise ExpressionError("it gives a word, not a number or a comparison")
        self.names = frozenset(
            node.id for node in ast.walk(self._tree) if isinstance(node, ast.Name)
        ) & frozenset(names)
        self._words = {
            name for name in self.names if isinstance(names, Mapping) and names[name] is not None
        }
        self._refuse_bad_constants()

    def __repr__(self) -> str:
        return f"Expression({self.text!r})"

    def evaluate(
        self, columns: Mapping[str, Column | npt.ArrayLike], *, inactive: float | None = None
    ) -> npt.NDArray[Any]:
        """Evaluate over all rows.

        Parameters
        ----------
        columns : mapping of str to array_like, each of shape (n,)
            Numbers with NaN, and words with None, where a variable is inactive.
        inactive : float, optional
            The number that an inactive numeric variable counts as. By default it is unknown.

        Returns
        -------
        ndarray, shape (n,)
            For a rule bool, True where it holds or says nothing because a variable it touches is
            inactive. For a formula float64, NaN where it is unknown or not a finite number.

        Raises
        ------
        ExpressionError
            If a column is missing or holds words where numbers are needed.
        """
        column = self.column(columns, inactive=inactive)
        if column.values.dtype == bool:
            return column.values | column.inactive
        return np.where(column.inactive, np.nan, column.values)

    def column(
        self, columns: Mapping[str, Column | npt.ArrayLike], *, inactive: float | None = None
    ) -> Column:
        """Evaluate and keep apart what is unknown and what is undefined (see `evaluate`)."""
        used = {name: self._take(columns, name, inactive) for name in self.names}
        with np.errstate(all="ignore"):
            result: Column = _Evaluator(used).eval(self.text, self._tree)
        shape = np.broadcast_shapes(
            *(c.values.shape for c in used.values()), result.values.shape, _any_shape(columns)
        )
        values, missing = np.broadcast_to(result.values, shape), result.inactive
        if values.dtype != bool:
            values = np.where(np.isfinite(values), values, np.nan)
        return Column(values.copy(), np.broadcast_to(missing, shape).copy())

    def _take(
        self,
        columns: Mapping[str, Column | npt.ArrayLike],
        name: str,
        inactive: float | None,
    ) -> Column:
        if name not in columns:
            raise ExpressionError(f"no column '{name}' to evaluate '{self.text}' on")
        column = Column.of(columns[name])
        if name in self._words and column.levels is None and np.all(column.inactive):
            # A column of words that are all inactive looks like any other.
            column = Column(np.full(column.values.shape, -1), column.inactive, ())
        if inactive is None:
            return column
        if column.levels is not None:  # an inactive word equals no level
            codes = np.where(column.inactive, -1, column.values)
            return Column(codes, _NOWHERE, column.levels)
        return Column(np.where(column.inactive, inactive, column.values), _NOWHERE)

    def _refuse_bad_constants(self) -> None:
        """Refuse parts without names that are no number: 9**9**9, 1/0, sqrt(-1)."""
        for node in ast.walk(self._tree):
            if not isinstance(node, ast.BinOp | ast.Call):
                continue
            if any(isinstance(n, ast.Name) and n.id in self.names for n in ast.walk(node)):
                continue
            with np.errstate(all="ignore"):
                value = _Evaluator({}).eval(self.text, node).values
            if not np.all(np.isfinite(value)):
                raise ExpressionError(f"{ast.unparse(node)} is not a finite number")


def _any_shape(columns: Mapping[str, Column | npt.ArrayLike]) -> tuple[int, ...]:
    for data in columns.values():
        return data.values.shape if isinstance(data, Column) else np.shape(data)
    return ()


def _close(a: Floats, b: Floats) -> Bools:
    # Strictly less, so that infinity is near nothing but itself.
    near: Bools = np.abs(a - b) < TOLERANCE * np.maximum(np.abs(a), np.abs(b))
    return np.asarray(near | (a == b))


def _snap(result: Floats, a: Floats, b: Floats) -> Floats:
    """Count as 0 what rounding leaves when two nearly equal terms cancel."""
    return np.where(np.abs(result) < TOLERANCE * np.maximum(np.abs(a), np.abs(b)), 0.0, result)


def _whole(a: Floats) -> Floats:
    """Numbers within tolerance of a whole number become that whole number."""
    rounded = np.rint(a)
    return np.where(np.abs(a - rounded) <= TOLERANCE * np.maximum(1.0, np.abs(a)), rounded, a)


def _floor(a: Floats) -> Floats:
    return np.floor(_whole(a))


def _ceil(a: Floats) -> Floats:
    return np.ceil(_whole(a))


def _modulo(a: Floats, b: Floats) -> Floats:
    quotient = _whole(a / b)
    return np.where(quotient == np.floor(quotient), 0.0, a - b * np.floor(quotient)) + 0.0 * a / b


def _round(a: Floats, digits: Floats | None = None) -> Floats:
    return np.round(a, 0 if digits is None else int(digits))


_ARITHMETIC: dict[type[ast.operator], Callable[[Floats, Floats], Floats]] = {
    ast.Add: lambda a, b: _snap(a + b, a, b),
    ast.Sub: lambda a, b: _snap(a - b, a, b),
    ast.Mult: np.multiply,
    ast.Div: np.divide,
    ast.FloorDiv: lambda a, b: _floor(a / b),
    ast.Mod: _modulo,
    ast.Pow: np.power,
}
_COMPARISONS: dict[type[ast.cmpop], Callable[[Floats, Floats], Bools]] = {
    ast.Eq: _close,
    ast.NotEq: lambda a, b: ~_close(a, b),
    ast.Lt: lambda a, b: (a < b) & ~_close(a, b),
    ast.LtE: lambda a, b: (a < b) | _close(a, b),
    ast.Gt: lambda a, b: (a > b) & ~_close(a, b),
    ast.GtE: lambda a, b: (a > b) | _close(a, b),
}
_FUNCTIONS: dict[str, Callable[..., Floats]] = {
    "min": lambda *a: functools.reduce(np.minimum, a),
    "max": lambda *a: functools.reduce(np.maximum, a),
    "abs": np.abs,
    "sqrt": np.sqrt,
    "log": np.log,
    "log10": np.log10,
    "exp": np.exp,
    "floor": _floor,
    "ceil": _ceil,
    "round": _round,
}


class _Evaluator(simpleeval.SimpleEval):  # type: ignore[misc]
    """simpleeval with handlers for whole columns; any node not listed here is refused by it."""

    def __init__(self, columns: Mapping[str, Column]) -> None:
        super().__init__(operators={}, functions={}, names={})
        self._columns = columns
        self.nodes = {
            ast.Constant: self._on_constant,
            ast.Name: self._on_name,
            ast.UnaryOp: self._on_unary,
            ast.BinOp: self._on_arithmetic,
            ast.BoolOp: self._on_and_or,
            ast.Compare: self._on_compare,
            ast.IfExp: self._on_if,
            ast.Call: self._on_call,
        }

    def _on_constant(self, node: ast.Constant) -> Column:
        if isinstance(node.value, str):
            return Column(np.zeros((), dtype=np.int32), _NOWHERE, (node.value,))
        kind = bool if isinstance(node.value, bool) else np.float64
        return Column(np.asarray(node.value, dtype=kind), _NOWHERE)

    def _on_name(self, node: ast.Name) -> Column:
        return self._columns[node.id]

    def _number(self, node: ast.expr) -> tuple[Floats, Bools]:
        column: Column = self._eval(node)
        if column.levels is not None:
            raise ExpressionError(f"'{ast.unparse(node)}' holds words where numbers are needed")
        return column.values.astype(np.float64, copy=False), column.inactive

    def _truth(self, node: ast.expr) -> tuple[Bools, Bools]:
        column: Column = self._eval(node)
        if column.values.dtype != bool:
            raise ExpressionError(f"'{ast.unparse(node)}' is not a comparison")
        return column.values, column.inactive

    def _on_unary(self, node: ast.UnaryOp) -> Column:
        if isinstance(node.op, ast.Not):
            truth, missing = self._truth(node.operand)
            return Column(~truth, missing)
        number, missing = self._number(node.operand)
        return Column(-number if isinstance(node.op, ast.USub) else number, missing)

    def _on_arithmetic(self, node: ast.BinOp) -> Column:
        a, a_missing = self._number(node.left)
        b, b_missing = self._number(node.right)
        return Column(np.asarray(_ARITHMETIC[type(node.op)](a, b)), a_missing | b_missing)

    def _on_call(self, node: ast.Call) -> Column:
        assert isinstance(node.func, ast.Name)
        parts = [self._number(argument) for argument in node.args]
        result = _FUNCTIONS[node.func.id](*(values for values, _ in parts))
        missing = functools.reduce(operator.or_, (part for _, part in parts))
        return Column(np.asarray(result), missing)

    def _on_and_or(self, node: ast.BoolOp) -> Column:
        parts = [self._truth(value) for value in node.values]
        return _all(parts) if isinstance(node.op, ast.And) else _any(parts)

    def _on_compare(self, node: ast.Compare) -> Column:
        links, left = [], node.left
        for op, right in zip(node.ops, node.comparators, strict=True):
            if isinstance(op, ast.In | ast.NotIn):
                link = self._membership(left, right, negate=isinstance(op, ast.NotIn))
            else:
                link = self._link(left, op, right)
            links.append(link)
            left = right
        return _all(links)

    def _membership(self, left: ast.expr, right: ast.expr, *, negate: bool) -> tuple[Bools, Bools]:
        assert isinstance(right, ast.List | ast.Tuple)
        links = [self._link(left, ast.Eq(), element) for element in right.elts]
        found = _any(links)
        return (~found.values if negate else found.values), found.inactive

    def _link(self, left: ast.expr, op: ast.cmpop, right: ast.expr) -> tuple[Bools, Bools]:
        a: Column = self._eval(left)
        b: Column = self._eval(right)
        missing = a.inactive | b.inactive
        if a.levels is None and b.levels is None:
            compare = _COMPARISONS[type(op)]
            return compare(a.values.astype(np.float64), b.values.astype(np.float64)), missing
        if a.levels is None or b.levels is None or not isinstance(op, ast.Eq | ast.NotEq):
            shown = f"{ast.unparse(left)} and {ast.unparse(right)}"
            raise ExpressionError(f"cannot compare {shown} like that: one of them holds words")
        same = _same_words(a, b)
        return (same if isinstance(op, ast.Eq) else ~same), missing

    def _on_if(self, node: ast.IfExp) -> Column:
        test, test_missing = self._truth(node.test)
        body: Column = self._eval(node.body)
        other: Column = self._eval(node.orelse)
        values = np.where(test, body.values, other.values)
        return Column(values, test_missing | np.where(test, body.inactive, other.inactive))


def _all(parts: Sequence[tuple[Bools, Bools]]) -> Column:
    """Three-valued 'and': false wins over unknown."""
    truth = functools.reduce(operator.and_, (value | missing for value, missing in parts))
    unknown = functools.reduce(operator.or_, (missing for _, missing in parts))
    return Column(np.asarray(truth), np.asarray(unknown & truth))


def _any(parts: Sequence[tuple[Bools, Bools]]) -> Column:
    """Three-valued 'or': true wins over unknown."""
    truth = functools.reduce(operator.or_, (value & ~missing for value, missing in parts))
    unknown = functools.reduce(operator.or_, (missing for _, missing in parts))
    return Column(np.asarray(truth), np.asarray(unknown & ~truth))


def _same_words(a: Column, b: Column) -> Bools:
    assert a.levels is not None
    assert b.levels is not None
    # Translate a's codes into b's; -2 is no word of b, and -1 (an inactive word) equals nothing.
    place = {word: code for code, word in enumerate(b.levels)}
    table = np.array([place.get(word, -2) for word in a.levels] + [-2], dtype=np.int64)
    return np.asarray(table[a.values] == b.values)
