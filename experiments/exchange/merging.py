"""Rows of a spreadsheet that is older than the table: what was edited in it, and what collides.

Three states of each cell are compared: as it was exported, as the sheet has it, as the table has
it now. Only a cell that was changed on both sides, to different values, is a conflict.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from experiments.circumstances import CIRCUMSTANCES
from experiments.exchange.findings import Findings
from experiments.exchange.preview import Row, show
from experiments.exchange.rows import SheetRow
from experiments.trials import WEIGHED

__all__ = ["merged"]

_KEYS = ("cone", "measurement", "version")
_CIRCUMSTANCES = ("session", *CIRCUMSTANCES, "note")
_AGAIN = "Export the table again and repeat the edit."


def merged(
    findings: Findings, rows: Sequence[SheetRow], now: Sequence[Row], base: Sequence[Row]
) -> list[SheetRow]:
    """Leave in the rows of one cone only the cells that shall change the present table.

    Parameters
    ----------
    findings : Findings
        Gets a problem for each conflict.
    rows : sequence of SheetRow
        The sheet's rows of the cone.
    now, base : sequence of dict
        The table's rows of the cone: as they are, and as they were when the sheet was exported.

    Returns
    -------
    list of SheetRow
        With the cells that were edited, and those that tell which row is meant. Empty after a
        conflict.
    """
    cone, conflicts = now[0]["cone"], len(findings.problems)
    fresh = {one["measurement"] for one in now} - {one["measurement"] for one in base}
    for name in ("status", "plate", "print_minutes", "why", *findings.plan.variables):
        findings.agreed(list(rows), name)
    kept, later = [], False
    for row in rows:
        then = _then(findings, row, base)
        present = _present(findings, row, now, then, bool(fresh))
        kept.append(_merge(findings, row, present, then))
        later |= any(row.differs(name, present[name]) for name in present if name not in _KEYS)
    if len(findings.problems) > conflicts:
        return []
    edited = any(row.cells.keys() - set(_KEYS) for row in kept)
    if edited:
        told = "only what was edited in the sheet is taken"
        findings.notes.append(f"cone {cone} was changed after the export: {told}")
    elif later:
        findings.notes.append(
            f"cone {cone} was changed after the export, not in the sheet: left alone"
        )
    return kept


def _merge(findings: Findings, row: SheetRow, present: Row, then: Row) -> SheetRow:
    """Drop the cells of a row that say nothing new, and note those that collide."""
    kept: Row = {}
    for name, cell in row.cells.items():
        known, exported = name in present, name in then
        if name in _KEYS:
            kept[name] = cell
        elif known and not row.differs(name, present[name]):
            continue
        elif exported and not row.differs(name, then[name]):
            continue
        elif known and exported and _blank(present[name]) == _blank(then[name]):
            kept[name] = cell
        else:
            sides = [f"{show(_blank(then[name]))} as exported"] if exported else []
            sides += [f"{show(_blank(present[name]))} as it is now"] if known else []
            wanted = f"{', or '.join(sides) or 'nothing'}: cone {row.cells['cone']} was changed"
            findings.problem(row, name, cell, f"{wanted} after the export", _AGAIN)
    return replace(row, cells=kept)


def _then(findings: Findings, row: SheetRow, base: Sequence[Row]) -> Row:
    """Give the row as it was exported; of one that was typed in, what belongs to the cone."""
    key = row.cells.get("measurement")
    same = next((one for one in base if one["measurement"] == key), None)
    if same is not None:
        return _shown(findings, same)
    if key is None and base:
        return {**base[0], **dict.fromkeys(_sitting(findings))}
    return {}


def _present(findings: Findings, row: SheetRow, now: Sequence[Row], then: Row, fresh: bool) -> Row:
    """Give what the table has now where the row stands.

    For a row that was no measurement when it was exported that is the measurement that came of
    it, if one agrees with all that the row says; else only what belongs to the cone itself, where
    the cone has measurements that the sheet knows nothing of (`fresh`).
    """
    key = row.cells.get("measurement")
    same = next((one for one in now if one["measurement"] == key), None)
    if same is not None:
        return _shown(findings, same)
    sitting = _sitting(findings)
    for one in now:
        if key is None and _came_of(findings, row, one, then):
            return {**one, **{name: row.cells.get(name) for name in sitting}}
    of_cone = {name: value for name, value in now[0].items() if name not in sitting}
    return of_cone if fresh or key is not None else {**of_cone, **dict.fromkeys(sitting)}


def _came_of(findings: Findings, row: SheetRow, one: Row, then: Row) -> bool:
    """Whether a measurement says all that a row without a measurement says."""
    told = findings.metrics(row)
    return bool(told) and not any(
        row.cells.get(name) is not None
        and row.differs(name, one[name])
        and not (name in _CIRCUMSTANCES and name in then and not row.differs(name, then[name]))
        for name in (*_CIRCUMSTANCES, *told)
    )


def _sitting(findings: Findings) -> set[str]:
    return {*_CIRCUMSTANCES, *findings.plan.metrics}


def _shown(findings: Findings, one: Row) -> Row:
    """Give a row as it is exported: the mass shows before the cone is measured, too."""
    if one["measurement"] is not None:
        return one
    return {**one, **dict.fromkeys(findings.masses, one[WEIGHED])}


def _blank(value: Any) -> Any:
    return None if value == "" else value
