"""Editing the record of one cone as a form shows it: its rows of the table, cell by cell.

The same three states are compared as for an older sheet (`experiments.exchange.merging`): a cell
as the form was opened, as it was typed, as it is now. What only somebody else changed stays as it
is; what both changed is given back with both values.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from experiments.circumstances import CIRCUMSTANCES
from experiments.errors import ExchangeError, Problem
from experiments.exchange.applying import apply
from experiments.exchange.cells import EXACT, HEARD, RawSheet, cell_text
from experiments.exchange.previewing import by_cone, preview_sheet
from experiments.ledger import Ledger
from experiments.plan import Plan
from experiments.trials import WEIGHED, is_mass

__all__ = ["ConeSheet", "EditConflict", "cone_sheet", "edit_cone"]

Texts = dict[str, str]
OF_CONE = ("plate", "print_minutes", "why")
OF_SITTING = ("session", *CIRCUMSTANCES, "note")


@dataclass(frozen=True)
class ConeSheet:
    """The rows of one cone as texts, one a measurement; a single one where there is none.

    Parameters
    ----------
    cone : int
        Its number.
    version : int
        The act that last touched it.
    rows : tuple of dict
        Column to text: ``measurement``, what belongs to the cone (the same in all rows), and
        what belongs to the measurement.
    """

    cone: int
    version: int
    rows: tuple[Texts, ...]


class EditConflict(ExchangeError):
    """Two people changed the same cells of a cone.

    Attributes
    ----------
    sheet : ConeSheet
        As it is now, with what was typed in place.
    now : dict of (int, str) to str
        For each cell that both changed, by row and column, what it is now.
    """

    def __init__(self, sheet: ConeSheet, now: Mapping[tuple[int, str], str]) -> None:
        self.sheet, self.now = sheet, dict(now)
        super().__init__(
            *(
                Problem(
                    f"row {row}, column {column}",
                    repr(sheet.rows[row].get(column, "")),
                    f"{text or 'nothing'}, which somebody else put there meanwhile",
                    "Save again if yours shall count.",
                )
                for (row, column), text in now.items()
            )
        )


def cone_sheet(ledger: Ledger, cone: int) -> ConeSheet:
    """Give the rows of one cone as a form shows them.

    Raises
    ------
    LedgerError
        If there is no such cone.
    """
    with ledger.snapshot():
        ledger.cone(cone)
        return _sheet(ledger.plan, cone, by_cone(ledger.wide_table())[cone])


def edit_cone(ledger: Ledger, cone: int, version: int, rows: Sequence[Mapping[str, str]]) -> str:
    """Take an edited form of one cone in, as one act, which one `undo` takes back.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    cone : int
        The cone.
    version : int
        Of the sheet that the form was opened with.
    rows : sequence of dict
        Its rows with the cells as they are typed now; columns that are missing stay as they are.

    Returns
    -------
    str
        What was changed; empty where nothing was.

    Raises
    ------
    ExchangeError
        With a problem for each cell that cannot be taken: ``row 0, column wall``, rows counted
        from 0 as in `rows`.
    EditConflict
        If cells were changed on both sides.
    """
    now = cone_sheet(ledger, cone)
    rows = [_plain(ledger.plan, row) for row in rows]
    if version != now.version:
        rows = _rebased(ledger, now, version, rows)
    names = [name for name in rows[0] if name != "measurement"] if rows else []
    header = ["cone", "version", "measurement", *names]
    raw = RawSheet(
        header,
        [
            (place, [str(cone), str(now.version), row.get("measurement", ""),
                     *(row.get(name, "") for name in names)])
            for place, row in enumerate(rows)
        ],
        ",",
        b"",
        [],
    )  # fmt: skip
    preview = preview_sheet(ledger, raw, Path(f"cone {cone}"))
    if not preview.changes and not preview.problems:
        return ""
    return apply(ledger, preview, act="edit")


def _plain(plan: Plan, row: Mapping[str, str]) -> Texts:
    """Give numbers that were typed with a decimal comma a point; each cell stands for itself."""
    words = {name for name, variable in plan.variables.items() if not variable.numeric}
    words |= {"why", "session", "note"}
    return {name: text.strip() if name in words else _point(text) for name, text in row.items()}


def _point(text: str) -> str:
    whole, mark, part = text.strip().partition(",")
    number = mark and part.isdecimal() and whole.lstrip("+-\N{MINUS SIGN}").isdecimal()
    return f"{whole}.{part}" if number else text.strip()


def _rebased(
    ledger: Ledger, now: ConeSheet, version: int, rows: Sequence[Mapping[str, str]]
) -> list[Texts]:
    """Put what was edited since `version` into the rows as they are now."""
    then = by_cone(ledger.wide_table_at(version)).get(now.cone) if version > 0 else None
    base = _sheet(ledger.plan, now.cone, then) if then else now
    found = [dict(row) for row in now.rows]
    both: dict[tuple[int, str], str] = {}
    for typed in rows:
        key = typed.get("measurement", "")
        old = next((row for row in base.rows if row["measurement"] == key), base.rows[0])
        fresh = next((n for n, row in enumerate(found) if row["measurement"] == key), None)
        for name, text in typed.items():
            if name == "measurement" or text == old.get(name, ""):
                continue
            # A form without a measurement speaks of the cone, whatever was measured since.
            places = [fresh] if fresh is not None else range(len(found))
            for place in places:
                current = now.rows[place].get(name, "")
                if current not in (old.get(name, ""), text):
                    both[place, name] = current
                found[place][name] = text
    columns = set().union(*rows)
    kept = [{name: text for name, text in row.items() if name in columns} for row in found]
    if both:
        raise EditConflict(ConeSheet(now.cone, now.version, tuple(kept)), both)
    return kept


def _sheet(plan: Plan, cone: int, rows: Sequence[Mapping[str, Any]]) -> ConeSheet:
    names = ["measurement", *OF_CONE, *OF_SITTING, *plan.variables, *plan.metrics]
    masses = [name for name, metric in plan.metrics.items() if is_mass(metric)]
    found = []
    for row in rows:
        shown = dict(row)
        if row["measurement"] is None:  # the mass of a cone shows before it is measured
            shown |= dict.fromkeys(masses, row[WEIGHED])
        found.append(
            {name: _text(shown[name], HEARD if name in plan.metrics else EXACT) for name in names}
        )
    return ConeSheet(cone, int(rows[0]["version"]), tuple(found))


def _text(value: Any, digits: int) -> str:
    return value if isinstance(value, str) else cell_text(value, ".", digits)
