"""What a formula or a rule may be made of: parsing and checking, before anything is evaluated.

The language is a small part of Python's expressions. A text that passes here holds numbers, words,
names, arithmetic, comparisons, ``and``/``or``/``not``, ``a if c else b`` and a few functions:
nothing that could reach an object, loop, or grow without bound.
"""

from __future__ import annotations

import ast
import difflib
import math
import unicodedata
import warnings
from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

__all__ = [
    "FUNCTIONS",
    "MAX_DEPTH",
    "MAX_LENGTH",
    "ExpressionError",
    "Kind",
    "check",
    "is_plain_name",
    "parse",
    "suggest",
]

Kind = Literal["number", "truth", "words", "any"]

MAX_LENGTH = 2_000
"""Longest formula, in characters: far beyond any a maker writes."""

MAX_DEPTH = 100
"""Deepest nesting. A sum of n terms nests n deep."""

FUNCTIONS: Mapping[str, tuple[int, int]] = {
    "min": (2, 100),
    "max": (2, 100),
    "abs": (1, 1),
    "sqrt": (1, 1),
    "log": (1, 1),
    "log10": (1, 1),
    "exp": (1, 1),
    "floor": (1, 1),
    "ceil": (1, 1),
    "round": (1, 2),
}
"""The functions of the language: fewest and most arguments."""

_OPERATORS = (ast.Add, ast.Sub, ast.Mult, ast.Div, ast.FloorDiv, ast.Mod, ast.Pow)
_OTHER_WORDS: Mapping[type[ast.AST], str] = {
    ast.BitXor: "'^' is not a power here: write ** instead",
    ast.BitAnd: "'&' is not known: write 'and'",
    ast.BitOr: "'|' is not known: write 'or'",
    ast.Is: "'is' does not compare values: write ==",
    ast.IsNot: "'is not' does not compare values: write !=",
    ast.Tuple: "a comma outside a function or a list: write decimals with a point",
    ast.Attribute: "a dot after a name is not allowed",
    ast.Subscript: "square brackets after a name are not allowed",
    ast.JoinedStr: "formatted text is not allowed",
    ast.Lambda: "'lambda' is not allowed",
    ast.NamedExpr: "':=' is not allowed: write == to compare",
}


class ExpressionError(ValueError):
    """A formula or rule that cannot be used; the message is a plain reason."""


def suggest(word: str, known: Iterable[str]) -> str:
    """Say which known word was probably meant, as a sentence; empty if none is near.

    Case does not count. Two letters or more that only one word begins with mean that word.
    """
    plain, words = word.casefold(), {one.casefold(): one for one in known}
    found = difflib.get_close_matches(plain, list(words), n=1, cutoff=0.6)
    begun = [one for one in words if len(plain) > 1 and one.startswith(plain)]
    found = found or (begun if len(begun) == 1 else [])
    return f"Did you mean '{words[found[0]]}'?" if found else ""


def parse(text: str) -> ast.expr:
    """Parse one expression and refuse whatever is not in the language.

    Parameters
    ----------
    text : str
        The formula or rule. It may run over several lines.

    Returns
    -------
    ast.expr
        The tree, at most `MAX_DEPTH` deep.

    Raises
    ------
    ExpressionError
        With the reason: empty, too long, too deep, or not an expression.
    """
    stripped = text.strip()
    if not stripped:
        raise ExpressionError("it is empty")
    if len(stripped) > MAX_LENGTH:
        raise ExpressionError(f"it has {len(stripped)} characters, {MAX_LENGTH} at most")
    # Brackets let a text run over several lines without changing what it means.
    source = f"(\n{stripped}\n)" if "\n" in stripped else stripped
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            tree = ast.parse(source, mode="eval").body
    except SyntaxError as error:
        raise ExpressionError(_syntax_reason(stripped, error)) from None
    except (RecursionError, MemoryError, ValueError):
        raise ExpressionError("it is nested too deeply or holds unreadable characters") from None
    if _depth(tree) > MAX_DEPTH:
        raise ExpressionError(f"it is nested more than {MAX_DEPTH} deep")
    return tree


def _syntax_reason(text: str, error: SyntaxError) -> str:
    # A known slip is worth more to the reader than the parser's own words.
    for mark, remedy in (
        ("&&", "write 'and'"),
        ("||", "write 'or'"),
        ("<>", "write !="),
        ("=>", "write >="),
        ("=<", "write <="),
        ("≥", "write >="),
        ("≤", "write <="),
        ("≠", "write !="),
        ("×", "write *"),
        ("·", "write *"),
        ("−", "write - (the plain minus sign)"),
    ):
        if mark in text:
            return f"'{mark}' is not known: {remedy}"
    bare = text
    for mark in ("==", "!=", ">=", "<="):
        bare = bare.replace(mark, "")
    if "=" in bare:
        return "a single '=' does not compare: write =="
    return f"it is not a complete formula ({error.msg})"


def _depth(tree: ast.AST) -> int:
    # A loop, not recursion: the tree may be deeper than Python's own stack.
    deepest, level = 0, [tree]
    while level:
        deepest += 1
        level = [child for node in level for child in ast.iter_child_nodes(node)]
    return deepest


def check(tree: ast.expr, names: Mapping[str, Sequence[str] | None] | Iterable[str]) -> Kind:
    """Check a tree against the known names and say what it gives.

    Parameters
    ----------
    tree : ast.expr
        From `parse`.
    names : mapping or iterable of str
        The names that may stand in it. A mapping gives each name's words (for a variable whose
        values are words), None (for a number) or 'any'; a plain iterable leaves all open.

    Returns
    -------
    {'number', 'truth', 'words', 'any'}
        What the expression gives.

    Raises
    ------
    ExpressionError
        With the reason in plain words.
    """
    checker = _Checker(names)
    unknown = sorted(
        {
            node.id
            for node in ast.walk(tree)
            if isinstance(node, ast.Name) and node.id not in checker.known
            if node.id not in FUNCTIONS
        }
    )
    if unknown:
        raise ExpressionError(". ".join(map(checker.unknown_name, unknown)))
    return checker.kind(tree)


class _Checker:
    """Walks a tree once and infers what each part gives."""

    def __init__(self, names: Mapping[str, Sequence[str] | None] | Iterable[str]) -> None:
        self.known = set(names)
        self.words: Mapping[str, Sequence[str] | None] = (
            names if isinstance(names, Mapping) else {}
        )

    def unknown_name(self, name: str) -> str:
        hint = suggest(name, self.known)
        known = ", ".join(sorted(self.known)) if 0 < len(self.known) <= 12 else ""
        tail = hint or (f"Known names: {known}" if known else "")
        return f"'{name}' is not a known name" + (f". {tail}" if tail else "")

    def kind(self, node: ast.expr) -> Kind:
        handler = getattr(self, f"_{type(node).__name__.lower()}", None)
        if handler is None:
            raise ExpressionError(_forbidden(node))
        result: Kind = handler(node)
        return result

    def _constant(self, node: ast.Constant) -> Kind:
        value = node.value
        if isinstance(value, bool):
            return "truth"
        if isinstance(value, str):
            return "words"
        if isinstance(value, int | float):
            _finite(value)
            return "number"
        raise ExpressionError(f"{ast.unparse(node)} is neither a number nor a word")

    def _name(self, node: ast.Name) -> Kind:
        if node.id in self.known:
            levels = self.words.get(node.id, "any")
            if levels is None:
                return "number"
            return "any" if levels == "any" else "words"
        raise ExpressionError(f"'{node.id}' is a function: write {node.id}(...)")

    def _unaryop(self, node: ast.UnaryOp) -> Kind:
        if isinstance(node.op, ast.Not):
            self._truth(node.operand, "'not'")
            return "truth"
        if isinstance(node.op, ast.UAdd | ast.USub):
            self._number(node.operand, "a sign")
            return "number"
        raise ExpressionError("'~' is not known: write 'not'")

    def _binop(self, node: ast.BinOp) -> Kind:
        if not isinstance(node.op, _OPERATORS):
            raise ExpressionError(_forbidden(node.op))
        self._number(node.left, "arithmetic")
        self._number(node.right, "arithmetic")
        return "number"

    def _boolop(self, node: ast.BoolOp) -> Kind:
        word = "'and'" if isinstance(node.op, ast.And) else "'or'"
        for value in node.values:
            self._truth(value, word)
        return "truth"

    def _ifexp(self, node: ast.IfExp) -> Kind:
        self._truth(node.test, "'if'")
        branches = {self.kind(node.body), self.kind(node.orelse)}
        if "words" in branches:
            raise ExpressionError("both sides of 'if ... else' must be numbers or comparisons")
        return "truth" if branches == {"truth"} else "number"

    def _call(self, node: ast.Call) -> Kind:
        if not isinstance(node.func, ast.Name) or node.func.id not in FUNCTIONS:
            name = ast.unparse(node.func)
            hint = suggest(name, FUNCTIONS) or f"Known functions: {', '.join(FUNCTIONS)}"
            raise ExpressionError(f"'{name}' is not a known function. {hint}")
        name = node.func.id
        fewest, most = FUNCTIONS[name]
        if node.keywords or not fewest <= len(node.args) <= most:
            count = f"{fewest}" if fewest == most else f"{fewest} or more"
            raise ExpressionError(f"{name}() takes {count} numbers, found {len(node.args)}")
        for argument in node.args:
            self._number(argument, f"{name}()")
        if name == "round" and len(node.args) == 2 and not _is_whole(node.args[1]):
            raise ExpressionError("round(x, n) needs a whole number n, such as 2")
        return "number"

    def _compare(self, node: ast.Compare) -> Kind:
        left = node.left
        for op, right in zip(node.ops, node.comparators, strict=True):
            if isinstance(op, ast.In | ast.NotIn):
                self._membership(left, right)
            elif isinstance(op, ast.Is | ast.IsNot):
                raise ExpressionError(_forbidden(op))
            else:
                self._pair(left, op, right)
            left = right
        return "truth"

    def _membership(self, left: ast.expr, right: ast.expr) -> None:
        if not isinstance(right, ast.List | ast.Tuple) or not right.elts:
            raise ExpressionError('\'in\' needs a list after it, such as ["a", "b"]')
        for element in right.elts:
            if not isinstance(element, ast.Constant) and not _is_signed_number(element):
                raise ExpressionError("the list after 'in' may hold only numbers or words")
            self._pair(left, ast.Eq(), element)

    def _pair(self, left: ast.expr, op: ast.cmpop, right: ast.expr) -> None:
        kinds = {self.kind(left), self.kind(right)} - {"any"}
        if "words" in kinds:
            shown = f"{ast.unparse(left)} and {ast.unparse(right)}"
            if len(kinds) > 1:
                raise ExpressionError(f"cannot compare a word with a number: {shown}")
            if not isinstance(op, ast.Eq | ast.NotEq):
                raise ExpressionError(f"words have no order: compare {shown} with == or !=")
            self._level(left, right)
            self._level(right, left)

    def _level(self, name: ast.expr, word: ast.expr) -> None:
        if not isinstance(name, ast.Name) or not isinstance(word, ast.Constant):
            return
        levels = self.words.get(name.id)
        if levels is not None and levels != "any" and word.value not in levels:
            shown = str(word.value)
            hint = suggest(shown, levels) or f"Levels: {', '.join(levels)}"
            raise ExpressionError(f"'{shown}' is not a level of {name.id}. {hint}")

    def _number(self, node: ast.expr, where: str) -> None:
        if self.kind(node) == "words":
            raise ExpressionError(f"{where} needs numbers, found the word {ast.unparse(node)}")

    def _truth(self, node: ast.expr, where: str) -> None:
        if self.kind(node) not in ("truth", "any"):
            shown = ast.unparse(node)
            raise ExpressionError(f"{where} needs a comparison on each side, found {shown}")


def _forbidden(node: ast.AST) -> str:
    return _OTHER_WORDS.get(type(node), f"'{type(node).__name__}' is not allowed in a formula")


def _finite(value: float) -> None:
    try:
        finite = math.isfinite(float(value))
    except OverflowError:
        finite = False
    if not finite:
        raise ExpressionError("a number in it is too large")


def _is_signed_number(node: ast.expr) -> bool:
    return (
        isinstance(node, ast.UnaryOp)
        and isinstance(node.op, ast.UAdd | ast.USub)
        and isinstance(node.operand, ast.Constant)
    )


def _is_whole(node: ast.expr) -> bool:
    if _is_signed_number(node):
        assert isinstance(node, ast.UnaryOp)
        node = node.operand
    return isinstance(node, ast.Constant) and type(node.value) is int and node.value <= 15


def is_plain_name(name: str) -> bool:
    """Whether a name can stand in a formula: the parser folds look-alike letters (NFKC)."""
    return name.isidentifier() and name == unicodedata.normalize("NFKC", name)
