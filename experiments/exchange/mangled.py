"""What spreadsheets make of numbers and dates, and how to tell it from an edit.

Spreadsheets take 3.12 or 12-3 for a day, show 123456 as 1.23E+05 and save what they show, set
marks between thousands, and put a day in the order of the country (common practice, no source).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date, datetime

from experiments.exchange.cells import parse_number

__all__ = ["cut_exponent", "remedy_for", "rounds_to", "same_day", "unclear_thousands"]

_MONTH = (
    r"(?:jan|feb|mar|mär|mrz|apr|may|mai|jun|jul|aug|sep|sept|oct|okt|out|nov|dec|dez|déc|fév|avr|"
    r"ene|abr|ago|dic|gen|mag|giu|lug|set|ott)[a-zé]*\.?"
)
_DAY = re.compile(
    rf"(?:\d{{1,4}}[-./ ]+{_MONTH}(?:[-./ ]+\d{{1,4}})?|{_MONTH}[-./ ]+\d{{1,4}}(?:,? +\d{{4}})?|"
    r"\d{1,4}[-./]\d{1,2}[-./](?:\d{1,4})?|\d{1,2}[-/]\d{1,4})(?:[ T]\d{1,2}:\d{2}(?::\d{2})?)?",
    re.IGNORECASE,
)
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}([.,' \u00a0\u202f])\d{3}(?:\1\d{3})*")
_EXPONENT = re.compile(r"([+-]?[\d.,]+)E[+-]?\d+")
_ORDERS = ("%Y-%m-%d", "%d.%m.%Y", "%d.%m.%y", "%m/%d/%Y", "%m/%d/%y", "%d/%m/%Y", "%d/%m/%y")
_ORDERS_TOO = ("%d-%m-%Y", "%d-%b-%y", "%d-%b-%Y", "%d %b %Y", "%b %d, %Y", "%d %B %Y", "%Y/%m/%d")


def remedy_for(text: str) -> str:
    """Say how to mend a cell in which a number was expected; empty where that is plain."""
    if _DAY.fullmatch(text):
        return (
            "A spreadsheet may have made a day of a number: format the column as a plain number "
            "or as text, and type it again."
        )
    if text.endswith("%"):
        return "Write it without the sign, in the unit of the column."
    if _THOUSANDS.fullmatch(text):
        return "Write it without marks between thousands."
    return ""


def unclear_thousands(cells: Iterable[str], mark: str, delimiter: str) -> set[str]:
    """Find the numbers whose mark may stand between thousands as well as before decimals.

    Parameters
    ----------
    cells : iterable of str
        The cells of numeric columns.
    mark : {".", ","}
        What was taken for the decimal mark.
    delimiter : str
        What separates the cells; a semicolon goes with decimal commas. Empty for a workbook.

    Returns
    -------
    set of str
        Such as ``20,000`` where commas separate the cells. Empty where a number shows what the
        mark means, or where the mark is the one that goes with the delimiter.
    """
    usual = {",": ".", ";": ",", "": ".", "\t": "."}[delimiter]
    with_mark = [cell for cell in cells if mark in cell]
    unclear = {cell for cell in with_mark if _THOUSANDS.fullmatch(cell)}
    if mark == usual or len(unclear) < len(set(with_mark)):
        return set()
    return unclear


def cut_exponent(text: str) -> bool:
    """Whether a text looks like the short display of a longer number, such as ``1.23E+05``."""
    found = _EXPONENT.fullmatch(text)
    return found is not None and len(re.sub(r"\D", "", found[1]).lstrip("0")) < 6


def rounds_to(text: str, decimal: str, value: float) -> bool:
    """Whether a cell is `value`, rounded to two or more digits."""
    number = parse_number(text, decimal)
    mantissa, _, exponent = text.lower().replace(decimal, ".").partition("e")
    if len(re.sub(r"\D", "", mantissa).lstrip("0")) < 2:
        return False
    places = len(mantissa.partition(".")[2]) - int(exponent or 0)
    return abs(number - value) <= 0.5 * 10.0**-places * (1 + 1e-9)


def same_day(one: str, other: str) -> bool:
    """Whether two texts can be one day, written in two orders."""
    return bool(_days(one) & _days(other))


def _days(text: str) -> set[date]:
    found = set()
    for order in (*_ORDERS, *_ORDERS_TOO):
        try:
            found.add(datetime.strptime(text, order).date())
        except ValueError:
            continue
    return found
