"""Columns whose meaning was stated: put into the headings, unless the file says otherwise."""

from __future__ import annotations

from typing import TYPE_CHECKING

from experiments.acoustics.form import REMEDY
from experiments.acoustics.headings import role_of
from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    from experiments.acoustics.form import Form
    from experiments.acoustics.table import Table

__all__ = ["name_columns"]


def name_columns(table: Table, form: Form) -> None:
    """Put the stated columns and unit into the headings of a table.

    Parameters
    ----------
    table : Table
        Its headings are changed.
    form : Form
        What is stated.

    Raises
    ------
    CurveError
        If the file has another number of columns, or its own headings say otherwise.
    """
    if form.columns is not None:
        table.stated = True
        if len(form.columns) != len(table.headings):
            expected = f"{len(form.columns)}: {', '.join(form.columns)}"
            raise _contradiction(table, f"{len(table.headings)} columns", expected)
        table.headings = [
            _named(table, own, stated)
            for own, stated in zip(table.headings, form.columns, strict=True)
        ]
    if form.unit is not None:
        own, unit = role_of(table.headings[0]).unit, role_of(f"[{form.unit}]").unit
        if own not in ("", unit):
            found = f"the heading {table.headings[0]!r}"
            raise _contradiction(table, found, f"a first column in {form.unit}")
        if not own:
            table.headings[0] = f"{table.headings[0]} [{form.unit}]".strip()
    if form.columns is not None or form.unit is not None:
        listed = ", ".join(heading or "(not named)" for heading in table.headings)
        table.notes.append(f"columns as [rig.files] states: {listed}")


def _named(table: Table, own: str, stated: str) -> str:
    """Choose between a file's own heading and the stated one, which must not differ."""
    was, now = role_of(own), role_of(stated)
    if was.name in ("", "other") or now.name in ("", "other"):
        return stated
    units_differ = was.unit and now.unit and was.unit != now.unit
    if (was.name, was.order) != (now.name, now.order) or units_differ:
        raise _contradiction(table, f"the heading {own!r}", f"{stated!r} in that column")
    return stated if now.unit else own


def _contradiction(table: Table, found: str, expected: str) -> CurveError:
    expected = f"{expected}, as [rig.files] states"
    return CurveError(Problem(table.where(0), found, expected, REMEDY))
