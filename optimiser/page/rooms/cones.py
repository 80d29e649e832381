"""The cones: the table to sort and filter, and adding one made outside any proposal."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd
from starlette.responses import Response

from experiments.errors import ExperimentError
from experiments.records import STATUSES
from optimiser import wording
from optimiser.goals import measured_scores
from optimiser.page.acting import last_act
from optimiser.page.call import Call
from optimiser.page.forms import Form
from optimiser.page.recipes import SET, knobs_of, typed_settings
from optimiser.remarks import entry_remarks

if TYPE_CHECKING:
    from experiments.ledger import Ledger
    from experiments.plan import Plan
    from optimiser.page.desk import Desk

__all__ = ["add", "new", "show"]


_TYPED = {
    "status": "state",
    **{name: name for name in ("why", "mass", "minutes", "plate", "note")},
}
"""Place of a problem to the field that it is about."""


@dataclass(frozen=True)
class Column:
    """One column of the table.

    Parameters
    ----------
    key, head, unit : str
        By what it is sorted, what it is called, its unit.
    number, measured : bool
        Whether its cells are numbers, and not settings but measured.
    """

    key: str
    head: str
    unit: str = ""
    number: bool = True
    measured: bool = False


@dataclass(frozen=True)
class Listing:
    """The whole table, put together once for each act.

    Parameters
    ----------
    columns : list of Column
    rows : list of dict
        Column to text, a row a cone.
    values : dict
        Column to the values that it is sorted by.
    left_out : list of str
        What does not agree with the plan.
    """

    columns: list[Column]
    rows: list[dict[str, str]]
    values: dict[str, list[Any]]
    left_out: list[str]


def show(call: Call) -> Response:
    """Show the table, sorted and filtered as the address says."""
    with call.desk.ledger() as ledger, ledger.snapshot():
        table = call.desk.read_once(ledger, "the listing", lambda: _listing(call.desk, ledger))
    sort = call.asked("sort") if call.asked("sort") in table.values else "cone"
    down = call.asked("order") == "down"
    status, find = call.asked("status"), call.asked("find")
    order = _order(table.values[sort], down=down)
    return call.page(
        "cones",
        columns=table.columns,
        rows=[table.rows[place] for place in order if _matches(table.rows[place], status, find)],
        total=len(table.rows),
        sort=sort,
        down=down,
        state=status,
        find=find,
        statuses=[("", "every state"), *((each, each) for each in STATUSES)],
        left_out=table.left_out,
    )


def _listing(desk: Desk, ledger: Ledger) -> Listing:
    plan = ledger.plan
    cones = _by_cone(plan, desk.table(ledger))
    columns = _columns(plan, cones)
    keys = [column.key for column in columns]
    rows = [dict(zip(keys, cells, strict=True)) for cells in _cells(columns, cones)]
    values = {key: list(cones[key]) for key in keys}
    return Listing(columns, rows, values, [str(each) for each in ledger.disagreements()])


def _by_cone(plan: Plan, table: pd.DataFrame) -> pd.DataFrame:
    """Give one row a cone: the mean of what was measured more than once, and how often."""
    table = table.assign(score=measured_scores(plan, table))
    groups = table.groupby("cone", sort=True)
    cones = groups.first()
    numbers = [*plan.metrics, "score"]
    cones[numbers] = groups[numbers].mean()
    cones["measured"] = groups["measurement"].count()
    texts = table[["why", "remark", "note"]].to_numpy(dtype=object).T
    cones["remarks"] = [
        "; ".join(filter(None, dict.fromkeys(texts[:, rows].ravel())))
        for rows in groups.indices.values()
    ]
    return cones.reset_index()


def _columns(plan: Plan, cones: pd.DataFrame) -> list[Column]:
    columns = [Column("cone", "cone"), Column("status", "state", number=False)]
    if wording.score_name(plan) not in plan.metrics:
        columns.append(Column("score", "score", measured=True))
    if cones["plate"].notna().any():
        columns.append(Column("plate", "plate"))
    columns += [
        Column(name, one.label, one.unit, one.numeric) for name, one in plan.variables.items()
    ]
    columns += [
        Column(name, one.label, one.unit, measured=True) for name, one in plan.metrics.items()
    ]
    return [*columns, Column("measured", "measured"), Column("remarks", "remarks", number=False)]


def _cells(columns: Sequence[Column], cones: pd.DataFrame) -> list[tuple[str, ...]]:
    """Write the cells, numbers of a column with equal decimals."""
    texts = []
    for column in columns:
        values = list(cones[column.key])
        if column.measured:
            texts.append(wording.column(math.nan if _missing(v) else float(v) for v in values))
        else:
            texts.append([wording.UNKNOWN if _missing(v) else wording.setting(v) for v in values])
    return list(zip(*texts, strict=True))


def _missing(value: Any) -> bool:
    return bool(pd.isna(value)) or value == ""


def _order(values: Sequence[Any], *, down: bool) -> list[int]:
    """Give the rows in order, those without a value last."""
    known = [place for place, value in enumerate(values) if not _missing(value)]
    rest = [place for place, value in enumerate(values) if _missing(value)]
    return [*sorted(known, key=lambda place: values[place], reverse=down), *rest]


def _matches(row: dict[str, str], status: str, find: str) -> bool:
    if status and row["status"] != status:
        return False
    words = find.casefold().split()
    text = " ".join(row.values()).casefold()
    return all(word in text for word in words)


def new(call: Call, form: Form | None = None) -> Response:
    """Show the form of a cone made outside any proposal; ``?like=N`` fills in a recipe."""
    with call.desk.ledger() as ledger:
        plan, like = ledger.plan, call.asked("like")
        known = {str(cone.number): cone.settings for cone in ledger.cones()}
    return call.page("add", form=form, knobs=knobs_of(plan, known.get(like)))


def add(call: Call, form: Form) -> Response:
    """Record such a cone."""
    mass, minutes, plate = form.number("mass"), form.number("minutes"), form.whole("plate")
    settings = typed_settings(form.values, SET)
    if not form.sound:
        return new(call, form)
    with call.desk.ledger() as ledger:
        try:
            number = ledger.add(
                settings,
                status=form.text("state"),
                plate=plate,
                mass=mass,
                minutes=minutes,
                why=form.text("why"),
                note=form.text("note"),
            )
        except ExperimentError as error:
            fields = {name: SET + name for name in ledger.plan.variables}
            form.blame(error, {**_TYPED, **fields})
            return new(call, form)
        told = {"mass": mass, "minutes": minutes}
        remarks = entry_remarks(ledger, number, told, settings)
        act = last_act(ledger)
    return call.go(f"/cones/{number}", f"Cone {number} added.", act=act, remarks=remarks)
