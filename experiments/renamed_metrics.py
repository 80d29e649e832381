"""Values that are stored under the old name of a metric, and how they come under the new one."""

from __future__ import annotations

import json
import sqlite3

from experiments.plan import Plan
from experiments.store import Writer

__all__ = ["old_readings", "take_over"]


def old_readings(connection: sqlite3.Connection, plan: Plan) -> dict[str, list[tuple[int, int]]]:
    """Find readings under the old name of a metric, where none is under the new one.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection.
    plan : Plan
        The present plan; ``was`` of a metric is its old name.

    Returns
    -------
    dict of str to list of (int, int)
        For each metric that has some: row and cone.
    """
    found = {}
    for name, metric in plan.metrics.items():
        rows = connection.execute(
            """SELECT r.id, m.cone FROM readings r JOIN measurements m ON m.id = r.measurement
            WHERE r.metric = :was AND NOT EXISTS (
                SELECT 1 FROM readings n WHERE n.measurement = r.measurement AND n.metric = :now)
            ORDER BY r.id""",
            {"was": metric.was, "now": name},
        ).fetchall()
        if metric.was and rows:
            found[name] = rows
    return found


def take_over(writer: Writer, plan: Plan) -> dict[str, list[tuple[int, int]]]:
    """Put readings under the new names; what they mean stays as it was recorded.

    Parameters
    ----------
    writer : Writer
        The open act.
    plan : Plan
        The present plan.

    Returns
    -------
    dict of str to list of (int, int)
        As `old_readings`.
    """
    found = old_readings(writer.connection, plan)
    for name, rows in found.items():
        for row, cone in rows:
            (text,) = writer.one("SELECT definition FROM readings WHERE id = ?", (row,)) or ("",)
            keys = json.loads(text) if text else {}
            if keys.get("measure") == plan.metrics[name].was:
                # By hand, a metric of the maker's own is its own measure.
                keys["measure"] = plan.metrics[name].measure
                text = json.dumps(keys, ensure_ascii=False, sort_keys=True)
            writer.update("readings", row, metric=name, definition=text or None)
            writer.update("cones", cone, version=writer.act)
    return found
