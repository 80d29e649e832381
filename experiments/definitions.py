"""How each stored value was computed, so that a plan that changed does not relabel it.

Beside every reading the store keeps its definition as one line of JSON: measure and the digest of
its text in the catalogue, options, unit, kind of file, and which keys of ``[rig.files]`` pinned
its reading. A reading whose definition is not that of the present plan is *stale*;
`experiments.recomputing.recompute` brings it up.

What a pin says is a fact about the file on its day and is stored with the file: another sweep or
another export today makes no old file stale. A key that is pinned for the first time does, since
it was guessed until then.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from experiments.acoustics.catalogue import MEASURES, Measure, convert, resolve
from experiments.acoustics.options import Options
from experiments.plan import Metric, Plan
from experiments.store import Writer

__all__ = [
    "Stale",
    "definition_of",
    "stale_readings",
    "stamp",
    "stamp_changes",
    "unmarked_entries",
]

_FILE = """
    CASE WHEN EXISTS (SELECT 1 FROM curves WHERE measurement = m.id AND kind = :source)
         THEN :source
         WHEN EXISTS (SELECT 1 FROM curves WHERE measurement = m.id AND kind = 'sweep')
         THEN 'sweep' END"""
"""The kind of file that a metric of a measurement comes from: its own, else a sweep."""

_STALE = f"""
    SELECT * FROM (
        SELECT m.id, m.cone, c.status, r.value, coalesce(r.by_hand, 0) AS by_hand,
               r.definition AS definition, r.id AS reading,
               CASE WHEN :source = 'hand' THEN NULL ELSE {_FILE} END AS file
        FROM measurements m JOIN cones c ON c.id = m.cone
        LEFT JOIN readings r ON r.measurement = m.id AND r.metric = :metric)
    WHERE CASE WHEN by_hand OR file IS NULL
               THEN value IS NOT NULL AND definition IS NOT NULL
                    AND (NOT by_hand OR definition <> :hand)
               ELSE definition IS NOT (CASE file WHEN 'sweep' THEN :swept ELSE :own END) END
    ORDER BY id"""


@dataclass(frozen=True)
class Stale:
    """A reading that does not follow the present plan.

    Parameters
    ----------
    measurement, cone : int
        Whose it is.
    counts : bool
        False where the cone is set aside.
    metric : Metric
        As the plan has it now.
    value : float or None
        What is stored.
    by_hand : bool
        Whether a person entered it.
    definition : str or None
        Under which it was computed; None where that is not known, or nothing was computed.
    reading : int or None
        Its row; None where the measurement was made before the metric joined the plan.
    file : str or None
        The kind of file that can give it now.
    """

    measurement: int
    cone: int
    counts: bool
    metric: Metric
    value: float | None
    by_hand: bool
    definition: str | None
    reading: int | None
    file: str | None

    @cached_property
    def was(self) -> dict[str, Any]:
        """The keys of the old definition; empty where it is not known."""
        found: dict[str, Any] = json.loads(self.definition) if self.definition else {}
        return found

    @property
    def converted(self) -> float | None:
        """An entered value in the present unit; None where the units do not convert."""
        now = json.loads(_hand(self.metric))
        if self.value is None or self.was.get("measure") != now["measure"]:
            return None
        try:
            return convert(self.value, self.was["unit"], now["unit"])
        except ValueError:
            return None


def definition_of(plan: Plan, metric: Metric, file: str | None, *, by_hand: bool) -> str | None:
    """Write what the value of a metric means.

    Parameters
    ----------
    plan : Plan
        For what it says about the rig's files.
    metric : Metric
        The metric.
    file : str or None
        The kind of file that the value comes from.
    by_hand : bool
        Whether a person entered it.

    Returns
    -------
    str or None
        Sorted JSON; equal where nothing that matters differs. None where nothing was computed.
    """
    if by_hand:
        return _hand(metric)
    if file is None or metric.source == "hand":
        return None
    measure = MEASURES[metric.measure]
    # A default that is written out is the same definition as one that is not.
    standard = {name: getattr(Options(), name) for name in measure.options}
    return _text(
        measure=measure.name,
        method=hashlib.sha256(measure.definition.encode()).hexdigest()[:8],
        options={**standard, **metric.options},
        unit=metric.unit,
        file=file,
        pinned=sorted(plan.rig.get(file, {})),
    )


def _hand(metric: Metric) -> str:
    """Write what an entered value means: a quantity in a unit, whoever or whatever found it."""
    measure = _measure(metric)
    name = measure.name if measure else metric.measure
    return _text(measure=name, unit=metric.unit or (measure.unit if measure else ""))


def _measure(metric: Metric) -> Measure | None:
    try:
        return resolve(metric.measure)
    except KeyError:
        return None


def _text(**keys: Any) -> str:
    return json.dumps(keys, ensure_ascii=False, sort_keys=True)


def stale_readings(connection: sqlite3.Connection, plan: Plan) -> list[Stale]:
    """Find the readings that do not follow the present plan.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection.
    plan : Plan
        The present plan.

    Returns
    -------
    list of Stale
        By metric and measurement. A measurement without a value for a metric is among them only
        if its files could give one. An entered value whose definition is not known is taken as
        being in the present unit.
    """
    found = []
    for name, metric in plan.metrics.items():
        keys = {
            "metric": name,
            "source": metric.source,
            "hand": _hand(metric),
            "own": definition_of(plan, metric, metric.source, by_hand=False),
            "swept": definition_of(plan, metric, "sweep", by_hand=False),
        }
        for key, cone, status, value, hand, was, reading, file in connection.execute(_STALE, keys):
            counts = status != "set aside"
            one = Stale(key, cone, counts, metric, value, bool(hand), was, reading, file)
            if not _same_but_for_fewer_pins(one, plan):
                found.append(one)
    return found


def _same_but_for_fewer_pins(one: Stale, plan: Plan) -> bool:
    """Tell whether only pins were dropped since, which are stored with the file."""
    if "pinned" not in one.was or one.file is None:
        return False
    now = definition_of(plan, one.metric, one.file, by_hand=False) or "{}"
    fresh: dict[str, Any] = json.loads(now)
    return set(one.was["pinned"]) >= set(fresh["pinned"]) and all(
        one.was.get(key) == fresh[key] for key in fresh if key != "pinned"
    )


def stamp(writer: Writer, plan: Plan, readings: Iterable[int]) -> None:
    """Write the present definition beside some readings.

    Parameters
    ----------
    writer : Writer
        The open act.
    plan : Plan
        The present plan.
    readings : iterable of int
        Their rows; those of metrics that the plan does not have are left alone.
    """
    for key in readings:
        row = writer.one("SELECT metric, by_hand, measurement FROM readings WHERE id = ?", (key,))
        if row is None or row[0] not in plan.metrics:
            continue
        metric, by_hand = plan.metrics[row[0]], bool(row[1])
        file = _file(writer, metric, row[2])
        writer.update(
            "readings", key, definition=definition_of(plan, metric, file, by_hand=by_hand)
        )


def unmarked_entries(writer: Writer) -> list[int]:
    """List the entered readings of which nobody knows the unit, from before that was kept."""
    rows = writer.all(
        "SELECT id FROM readings WHERE by_hand = 1 AND definition IS NULL AND value IS NOT NULL"
    )
    return [int(row[0]) for row in rows]


def _file(writer: Writer, metric: Metric, measurement: int) -> str | None:
    keys = {"source": metric.source, "id": measurement}
    row = writer.connection.execute(
        f"SELECT {_FILE} FROM measurements m WHERE m.id = :id", keys
    ).fetchone()
    return None if row is None or metric.source == "hand" else row[0]


def stamp_changes(writer: Writer, plan: Plan) -> None:
    """Write the present definition beside every reading that an act wrote.

    A new measurement gets an empty reading for each metric that its files were asked for in
    vain, so that a metric which joins the plan later can be told from it.

    Parameters
    ----------
    writer : Writer
        The open act, at its end.
    plan : Plan
        The plan under which it was done.
    """
    written = list(writer.changes)
    for operation, table, measurement, _ in written:
        if (operation, table) == ("insert", "measurements"):
            _fill(writer, plan, measurement)
    keys = {
        key: None
        for operation, table, key, _ in writer.changes
        if table == "readings" and operation != "delete"
    }
    stamp(writer, plan, keys)


def _fill(writer: Writer, plan: Plan, measurement: int) -> None:
    rows = writer.all("SELECT metric FROM readings WHERE measurement = ?", (measurement,))
    known = {row[0] for row in rows}
    for name, metric in plan.metrics.items():
        if name not in known and _file(writer, metric, measurement) is not None:
            writer.insert("readings", measurement=measurement, metric=name, value=None, by_hand=0)
