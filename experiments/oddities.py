"""What nothing is wrong with, and yet looks odd: copied files, sessions without the reference."""

from __future__ import annotations

import sqlite3

from experiments.places import PLAN_FILE
from experiments.plan import Plan

__all__ = ["copied_files", "sessions_without_reference"]

_SHOWN = 5


def copied_files(connection: sqlite3.Connection) -> list[str]:
    """Name cones that hold the same file in more than one measurement.

    Such a copy is refused now; earlier releases only warned.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection.

    Returns
    -------
    list of str
        One sentence a file.
    """
    rows = connection.execute(
        """SELECT m.cone, min(f.name), count(DISTINCT m.id) FROM curves f
        JOIN measurements m ON m.id = f.measurement
        JOIN readings r ON r.measurement = m.id AND r.value IS NOT NULL
        GROUP BY m.cone, f.kind, f.sha256 HAVING count(DISTINCT m.id) > 1 ORDER BY m.cone"""
    )
    return [
        f"cone {cone} has {name} in {times} measurements, byte for byte: copies count as repeats "
        "without any scatter; blank the values of all but one in the exported table and import it"
        for cone, name, times in rows
    ]


def sessions_without_reference(connection: sqlite3.Connection, plan: Plan) -> list[str]:
    """Say in which sessions the reference cone was not measured, or that the plan names none.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection.
    plan : Plan
        Its ``sessions.reference_cone`` shows whether the rig moves.

    Returns
    -------
    list of str
        At most one sentence; none while there is a single session.
    """
    reference = plan.sessions.reference_cone
    rows = connection.execute(
        """SELECT s.name, max(m.cone = ?) FROM sessions s JOIN measurements m ON m.session = s.id
        GROUP BY s.id ORDER BY s.id""",
        (reference or 0,),
    ).fetchall()
    if len(rows) < 2:
        return []
    if reference is None:
        return [
            f"{PLAN_FILE} names no reference_cone in [sessions]: one that is measured in every "
            f"session shows whether the rig moves between them; there are {len(rows)}"
        ]
    without = [name for name, there in rows if not there]
    if not without:
        return []
    more = f" and {len(without) - _SHOWN} more" if len(without) > _SHOWN else ""
    return [
        f"the reference cone {reference} was not measured in {len(without)} of {len(rows)} "
        f"sessions: {', '.join(without[:_SHOWN])}{more}"
    ]
