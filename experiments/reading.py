"""Looking into the store: records, raw files with their digests verified, and its health."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections import defaultdict
from typing import Any

import numpy as np
import pandas as pd

from experiments.errors import LedgerError, Problem
from experiments.plan import Plan
from experiments.records import Cone, Curve, Measurement, cautions_of
from experiments.space import Space
from experiments.trials import cone_recipes

__all__ = [
    "cones",
    "curve",
    "curve_keys",
    "data_digest",
    "measurements",
    "notes",
    "sessions",
    "state_before",
]

_CONES = """
    SELECT c.id, c.status, c.plate, c.origin, c.reason, coalesce(p.details, '{}'), c.mass_g,
           c.minutes, c.failure, c.aside, c.note, c.planned_at, c.printed_at,
           (SELECT count(*) FROM measurements m WHERE m.cone = c.id)
    FROM cones c LEFT JOIN proposals p ON p.id = c.proposal"""


def cones(
    connection: sqlite3.Connection, plan: Plan, space: Space, number: int | None = None
) -> list[Cone]:
    """Read the cones, or one of them.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection.
    plan, space
        The present plan and its recipes, under which the settings are read.
    number : int, optional
        Only this cone.

    Returns
    -------
    list of Cone
        By number.

    Raises
    ------
    LedgerError
        If a number is given and there is no such cone.
    """
    where, values = ("", ()) if number is None else (" WHERE c.id = ?", (number,))
    rows = connection.execute(f"{_CONES}{where} ORDER BY c.id", values).fetchall()
    if number is not None and not rows:
        raise LedgerError(
            Problem("cone", f"{number}", "a cone of the table", "Look at the table.")
        )
    recipes = cone_recipes(
        connection, plan, space, np.array([row[0] for row in rows], dtype=np.int64)
    )
    return [_cone(row, space.settings(recipes.iloc[place])) for place, row in enumerate(rows)]


def _cone(row: tuple[Any, ...], settings: dict[str, Any]) -> Cone:
    return Cone(
        number=row[0],
        status=row[1],
        settings=settings,
        plate=row[2],
        origin=row[3],
        reason=row[4],
        proposal=json.loads(row[5]),
        mass=row[6],
        minutes=row[7],
        why=row[9] or row[8],
        note=row[10],
        planned_at=row[11],
        printed_at=row[12],
        measurements=row[13],
    )


def measurements(connection: sqlite3.Connection, cone: int | None) -> list[Measurement]:
    """Read the measurements of one cone, or all, in the order of recording."""
    where, values = ("", ()) if cone is None else (" WHERE m.cone = ?", (cone,))
    rows = connection.execute(
        f"""SELECT m.id, m.cone, s.name, m.at, m.age_days, m.light_hours, m.temperature_c,
            m.humidity_percent, m.note, m.warnings
        FROM measurements m JOIN sessions s ON s.id = m.session{where} ORDER BY m.id""",
        values,
    ).fetchall()
    readings: defaultdict[int, dict[str, float | None]] = defaultdict(dict)
    by_hand: defaultdict[int, set[str]] = defaultdict(set)
    for key, metric, value, hand in connection.execute(
        f"""SELECT r.measurement, r.metric, r.value, r.by_hand FROM readings r
        JOIN measurements m ON m.id = r.measurement{where} ORDER BY r.id""",
        values,
    ):
        readings[key][metric] = value
        if hand:
            by_hand[key].add(metric)
    files: defaultdict[int, list[str]] = defaultdict(list)
    for key, name in connection.execute(
        f"""SELECT f.measurement, f.name FROM curves f
        JOIN measurements m ON m.id = f.measurement{where} ORDER BY f.id""",
        values,
    ):
        files[key].append(name)
    return [
        Measurement(
            id=row[0],
            cone=row[1],
            session=row[2],
            at=row[3],
            age_days=row[4],
            light_hours=row[5],
            temperature_c=row[6],
            humidity_percent=row[7],
            note=row[8],
            values=readings[row[0]],
            by_hand=frozenset(by_hand[row[0]]),
            warnings=cautions_of(row[9]),
            files=tuple(files[row[0]]),
        )
        for row in rows
    ]


def curve_keys(
    connection: sqlite3.Connection, cone: int | None, measurement: int | None
) -> list[int]:
    """List the ids of the raw files of one cone or measurement, or all, in order."""
    rows = connection.execute(
        """SELECT f.id FROM curves f JOIN measurements m ON m.id = f.measurement
        WHERE (?1 IS NULL OR m.cone = ?1) AND (?2 IS NULL OR m.id = ?2) ORDER BY m.cone, f.id""",
        (cone, measurement),
    ).fetchall()
    return [int(row[0]) for row in rows]


def curve(connection: sqlite3.Connection, key: int) -> Curve:
    """Read one raw file and verify it.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection.
    key : int
        Its id in the table of curves.

    Returns
    -------
    Curve
        With the bytes that were stored.

    Raises
    ------
    LedgerError
        If the bytes no longer agree with their SHA-256 (FIPS 180-4).
    """
    cone, measurement, session, name, kind, content, sha256, options = connection.execute(
        """SELECT m.cone, m.id, s.name, f.name, f.kind, b.content, f.sha256, f.options
        FROM curves f JOIN measurements m ON m.id = f.measurement
        JOIN sessions s ON s.id = m.session LEFT JOIN files b ON b.sha256 = f.sha256
        WHERE f.id = ?""",
        (key,),
    ).fetchone()
    content = content if isinstance(content, bytes) else str(content).encode()
    found = hashlib.sha256(content).hexdigest()
    if found != sha256:
        raise LedgerError(
            Problem(
                f"cone {cone}, session {session}, file {name}",
                f"bytes with SHA-256 {found[:12]}…",
                f"the bytes that were stored, {sha256[:12]}…",
                "The store was changed or the disk is failing: put experiment.db back from a "
                "backup.",
            )
        )
    return Curve(
        cone=cone,
        measurement=measurement,
        session=session,
        name=name,
        kind=kind,
        content=content,
        sha256=sha256,
        options=json.loads(options),
    )


def state_before(connection: sqlite3.Connection, cone: int) -> str:
    """Tell what the records of a cone amount to, leaving out that it was set aside."""
    measured, failure, printed_at = connection.execute(
        """SELECT EXISTS (SELECT 1 FROM measurements WHERE cone = c.id), failure, printed_at
        FROM cones c WHERE id = ?""",
        (cone,),
    ).fetchone()
    return (
        "measured" if measured else "failed" if failure else "printed" if printed_at else "planned"
    )


def sessions(connection: sqlite3.Connection) -> pd.DataFrame:
    """Read the sessions in order: ``session, at, measurements``."""
    rows = connection.execute(
        """SELECT s.name, s.at, (SELECT count(*) FROM measurements m WHERE m.session = s.id)
        FROM sessions s ORDER BY s.id"""
    ).fetchall()
    return pd.DataFrame(rows, columns=["session", "at", "measurements"])


def notes(connection: sqlite3.Connection, cone: int | None) -> pd.DataFrame:
    """Read the remarks in order: ``at, cone, text``."""
    rows = connection.execute(
        "SELECT at, cone, text FROM notes WHERE (?1 IS NULL OR cone = ?1) ORDER BY id", (cone,)
    ).fetchall()
    return pd.DataFrame(rows, columns=["at", "cone", "text"]).astype({"cone": "Int64"})


def data_digest(connection: sqlite3.Connection) -> str:
    """Give the SHA-256 of states, recipes, circumstances and values, in a fixed order."""
    digest = hashlib.sha256()
    for sql in (
        "SELECT id, status, mass_g, minutes FROM cones ORDER BY id",
        "SELECT cone, variable, value FROM settings ORDER BY cone, variable",
        """SELECT m.id, m.cone, s.name, m.age_days, m.light_hours FROM measurements m
        JOIN sessions s ON s.id = m.session ORDER BY m.id""",
        "SELECT measurement, metric, value FROM readings ORDER BY measurement, metric",
    ):
        for row in connection.execute(sql):
            digest.update(json.dumps(row, ensure_ascii=False).encode())
        digest.update(b"\n")
    # Joined later: tables without them keep the digest that they had.
    for row in connection.execute(
        """SELECT id, temperature_c, humidity_percent FROM measurements
        WHERE temperature_c IS NOT NULL OR humidity_percent IS NOT NULL ORDER BY id"""
    ):
        digest.update(json.dumps(row).encode())
    return digest.hexdigest()
