"""Proposals of the past, and what each stood on, rebuilt by walking the history back."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from experiments.errors import LedgerError, Problem
from experiments.plan import Plan
from experiments.reading import data_digest
from experiments.space import Space
from experiments.store import Writer
from experiments.trials import LEADING, trials_frame

__all__ = ["Proposed", "Standing", "proposals", "standing"]

_REACH = 20
"""Acts of others that may lie between looking at the table and recording what was chosen."""


@dataclass(frozen=True)
class Proposed:
    """A proposal that is in force.

    Parameters
    ----------
    number : int
        By which `coneloop again` calls it.
    at : str
        When it was recorded, ISO 8601, UTC.
    cones : tuple of int
        The cones that it planned.
    reasons : tuple of str
        Why each was chosen.
    plan : str
        Digest of the plan.
    details : dict
        What it stood on: seed, versions, digest of the data, what was asked for, every number.
    """

    number: int
    at: str
    cones: tuple[int, ...]
    reasons: tuple[str, ...]
    plan: str
    details: dict[str, Any]


@dataclass(frozen=True)
class Standing:
    """What a proposal stood on.

    Parameters
    ----------
    plan : Plan
        As it was.
    trials : DataFrame
        The table, as `Ledger.table` gave it.
    data : str
        Its digest, computed anew.
    recipes : list of dict
        What was recorded, cone by cone.
    shortlist : list of dict or None
        The recipes that it had to choose from, where it had a list.
    """

    plan: Plan
    trials: pd.DataFrame
    data: str
    recipes: list[dict[str, Any]] = field(default_factory=list)
    shortlist: list[dict[str, Any]] | None = None


def proposals(connection: sqlite3.Connection) -> list[Proposed]:
    """Read the proposals in force, in order.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection.

    Returns
    -------
    list of Proposed
    """
    cones: dict[int, list[tuple[int, str]]] = {}
    for key, cone, reason in connection.execute(
        "SELECT proposal, id, reason FROM cones WHERE proposal IS NOT NULL ORDER BY id"
    ):
        cones.setdefault(key, []).append((cone, reason))
    return [
        Proposed(
            key,
            at,
            tuple(cone for cone, _ in cones.get(key, ())),
            tuple(reason for _, reason in cones.get(key, ())),
            plan,
            json.loads(details),
        )
        for key, at, plan, details in connection.execute(
            "SELECT id, at, plan, details FROM proposals ORDER BY id"
        )
    ]


def standing(writer: Writer, one: Proposed) -> Standing:
    """Rebuild what a proposal stood on. Call it where the transaction is thrown away.

    Parameters
    ----------
    writer : Writer
        Of `experiments.store.Store.trying`.
    one : Proposed
        The proposal.

    Returns
    -------
    Standing
        The table right before the act that recorded it; or, where somebody else's act came
        between looking and recording, a little before that: where the digest of the data is the
        one that the proposal stored.

    Raises
    ------
    LedgerError
        If the history or the archive of plans does not hold it any more.
    PlanError
        If this release no longer takes the plan.
    """
    act, arguments = _act(writer, one)
    text = writer.one("SELECT text FROM plans WHERE digest = ?", (one.plan,))
    if text is None:
        raise _lost(one, "no text of its plan")
    plan = Plan.from_text(str(text[0]), source=f"the plan of proposal {one.number}")
    _walk_back(writer, act, one.details.get("data"))
    frame = trials_frame(writer.connection, plan, Space(plan))
    return Standing(
        plan,
        frame[[*LEADING, *plan.variables, *plan.metrics]],
        data_digest(writer.connection),
        list(arguments.get("recipes", ())),
        _shortlist(writer, one),
    )


def _act(writer: Writer, one: Proposed) -> tuple[int, dict[str, Any]]:
    """Find the act that recorded a proposal; a number is given again after an undo."""
    made = ["insert", "proposals", one.number, None]
    for key, arguments, changes in writer.connection.execute(
        "SELECT id, arguments, changes FROM history WHERE act = 'plan' ORDER BY id DESC"
    ):
        if made in json.loads(changes):
            return int(key), json.loads(arguments)
    raise _lost(one, "no act that recorded it")


def _walk_back(writer: Writer, act: int, wanted: str | None) -> None:
    """Go back to the state before an act, or a little further, where the digest fits."""
    rows = writer.all(
        "SELECT id, changes FROM history WHERE id > ? ORDER BY id DESC", (act - _REACH,)
    )
    for key, changes in rows:
        writer.revert(json.loads(changes))
        if key == act:
            writer.connection.execute("SAVEPOINT before")
        if key <= act and data_digest(writer.connection) == wanted:
            return
    writer.connection.execute("ROLLBACK TO before")


def _shortlist(writer: Writer, one: Proposed) -> list[dict[str, Any]] | None:
    digest = one.details.get("shortlist")
    if digest is None:
        return None
    row = writer.one("SELECT content FROM files WHERE sha256 = ?", (digest,))
    if row is None:
        raise _lost(one, "no shortlist")
    found: list[dict[str, Any]] = json.loads(row[0])
    return found


def _lost(one: Proposed, what: str) -> LedgerError:
    return LedgerError(
        Problem(f"proposal {one.number}", f"{what} in the store", "what it stood on")
    )
