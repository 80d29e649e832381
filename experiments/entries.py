"""What a person types, checked before it is stored: texts, numbers, cone numbers."""

from __future__ import annotations

import math
import re
from typing import Any

from experiments.errors import LedgerError, Problem

__all__ = [
    "clean_text",
    "cone_number",
    "finite_number",
    "needed_text",
    "typed_number",
    "with_point",
]

_LARGEST = 2**31
_COMMA_NUMBER = re.compile(r"[+-]?\d+,\d+")


def clean_text(value: Any, where: str) -> str:
    r"""Strip a text and make sure that every program can read it again.

    Parameters
    ----------
    value : str or None
        What was typed; None counts as empty.
    where : str
        The field, named in the error.

    Returns
    -------
    str
        The text without spaces around it; line ends are ``\n``.

    Raises
    ------
    LedgerError
        For a NUL character or half a surrogate pair, which no text file can hold, and for the
        characters that begin an order to a terminal (ECMA-48, 5.4: ESC and CSI).
    """
    text = "" if value is None else str(value)
    text = text.replace("\r\n", "\n").replace("\r", "\n").strip()
    if any(letter in "\0\x1b\x9b" or 0xD800 <= ord(letter) <= 0xDFFF for letter in text):
        raise LedgerError(
            Problem(where, "a character that no text can hold", "plain text", "Type it again.")
        )
    return text


def needed_text(value: Any, where: str, remedy: str = "") -> str:
    """As `clean_text`, but an empty text is refused.

    Parameters
    ----------
    value : str or None
        What was typed.
    where : str
        The field, named in the error.
    remedy : str
        How to mend an empty one.

    Returns
    -------
    str
        The text.

    Raises
    ------
    LedgerError
        If nothing is left of it.
    """
    text = clean_text(value, where)
    if not text:
        raise LedgerError(Problem(where, "nothing", "a text", remedy))
    return text


def finite_number(
    value: Any, where: str, *, least: float | None = None, most: float | None = None
) -> float | None:
    """Take a number that a person gave.

    Parameters
    ----------
    value : float or None
        The number; None and NaN count as not given.
    where : str
        The field, named in the error.
    least : float, optional
        The smallest that makes sense.
    most : float, optional
        The largest.

    Returns
    -------
    float or None
        The number.

    Raises
    ------
    LedgerError
        If it is no number, infinite, below `least` or above `most`.
    """
    if value is None:
        return None
    try:
        number = math.inf if isinstance(value, bool) else float(value)
    except (TypeError, ValueError):
        number = math.inf
    if math.isnan(number):
        return None
    if math.isinf(number):
        raise LedgerError(Problem(where, repr(value), "a number"))
    if most is not None and number > most:
        raise LedgerError(Problem(where, f"{number:g}", f"{most:g} or less"))
    if least is not None and number < least:
        raise LedgerError(Problem(where, f"{number:g}", f"{least:g} or more"))
    return number + 0.0  # -0.0 becomes 0.0, which reads the same after a round trip


def with_point(text: str) -> str:
    """Give a number that was typed with a decimal comma a point; other texts as they are."""
    plain = text.strip()
    return plain.replace(",", ".") if _COMMA_NUMBER.fullmatch(plain) else plain


def typed_number(text: str, where: str) -> float:
    """Read a number with a decimal point or a decimal comma.

    Parameters
    ----------
    text : str
        What was typed.
    where : str
        The field, named in the error.

    Returns
    -------
    float
        The number.

    Raises
    ------
    LedgerError
        If it is no finite number.
    """
    plain = with_point(text)
    try:
        value = float(plain)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise LedgerError(Problem(where, repr(text), "a number such as 2.5"))
    return value


def cone_number(value: Any, where: str = "cone") -> int:
    """Take the number of a cone.

    Parameters
    ----------
    value : int
        The number on its label.
    where : str
        The field, named in the error.

    Returns
    -------
    int
        The number.

    Raises
    ------
    LedgerError
        If it is no whole number from 1 upwards.
    """
    try:
        number = 0 if isinstance(value, bool) else int(value)
        fits = number == float(value) and 0 < number < _LARGEST
    except (TypeError, ValueError, OverflowError):
        fits = False
    if not fits:
        raise LedgerError(Problem(where, repr(value), "a whole number from 1 upwards"))
    return number
