"""Saving what can still be read of a damaged experiment, into a new folder."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from experiments.connecting import plain
from experiments.errors import LedgerError, Problem
from experiments.found_rows import Found, find_rows
from experiments.pages import PageFile
from experiments.places import CARDS, PLAN_FILE, STORE_FILE, newest_copy
from experiments.seals import reseal
from experiments.stand_ins import give_parents
from experiments.store import Store
from experiments.write_ahead import lost_commits

__all__ = ["LIST", "Rescued", "rescue"]

LIST = "rescue.txt"
"""The list of what is lost, in the new folder."""

_ROWS = {
    "cones": "cone",
    "settings": "setting",
    "sessions": "session",
    "measurements": "measurement",
    "readings": "value of a metric",
    "curves": "link to a raw file",
    "notes": "remark",
    "proposals": "proposal",
    "history": "act of the history",
    "plans": "text of a plan",
}
"""What a row of each table is, for people."""


@dataclass
class Rescued:
    """What a rescue brought.

    Attributes
    ----------
    kept : dict of str to int
        Rows of each table that are in the new store as they were written.
    files : int
        Raw files that are whole.
    lost : list of str
        What is not, in sentences.
    lacking : list of str
        Tables of which rows are lost.
    notes : list of str
        What else is to be known.
    """

    kept: dict[str, int] = field(default_factory=dict)
    files: int = 0
    lost: list[str] = field(default_factory=list)
    lacking: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def lines(self) -> list[str]:
        """Tell it all."""
        kept = [f"{count} × {_ROWS[table]}" for table, count in self.kept.items() if count]
        lines = [f"saved: {', '.join(kept)}, {self.files} × raw file"]
        lines += [f"lost: {one}" for one in self.lost] or ["lost: nothing"]
        return lines + [f"note: {one}" for one in self.notes]

    def steps(self, folder: Path) -> list[str]:
        """Tell what to do with the new folder, in order."""
        steps = []
        if "readings" in self.lacking and self.files:
            steps.append(
                f"`coneloop recompute --in {folder}` takes lost values from the raw files again"
            )
        if not {"settings", "readings", "measurements", "cones"}.isdisjoint(self.lacking):
            steps.append(
                "type lost settings and values in again: `coneloop export`, fill the blank "
                "cells, `coneloop import`"
            )
        return [*steps, f"look at it with `coneloop check --in {folder}`"]


def rescue(source: str | Path, target: str | Path, *, who: str) -> Rescued:
    """Write everything that is certain to be as it was written into a new folder.

    Parameters
    ----------
    source : path
        The damaged experiment; it is only read.
    target : path
        The new folder; must not exist. It appears whole or not at all.
    who : str
        Who does it, for the history.

    Returns
    -------
    Rescued
        What was saved and what is lost; also written to ``rescue.txt``.

    Raises
    ------
    LedgerError
        If there is no store, the new folder exists or lies in the old one, or it cannot be
        written.
    """
    source, target = Path(source), Path(target)
    _check_places(source, target)
    with (
        plain(target),
        tempfile.TemporaryDirectory(dir=target.parent, prefix=f".{target.name}.") as place,
    ):
        part = Path(place) / "new"
        part.mkdir()
        told = _write_store(source, part)
        _write_rest(source, part, told)
        _record(part / STORE_FILE, who, source, told)
        (part / LIST).write_text("\n".join(told.lines()) + "\n", encoding="utf-8")
        os.replace(part, target)
    return told


def _check_places(source: Path, target: Path) -> None:
    if not (source / STORE_FILE).is_file():
        expected = f"the folder of a damaged experiment, with {STORE_FILE}"
        remedy = "Put a backup back with `coneloop restore FILE`."
        raise LedgerError(Problem(str(source), f"no {STORE_FILE}", expected, remedy))
    if target.exists():
        raise LedgerError(
            Problem(str(target), "something that exists", "a new folder", "Choose another name.")
        )
    if source.resolve() in target.resolve().parents:
        expected = "a folder elsewhere, for the damaged one is left as it is"
        raise LedgerError(Problem(str(target), "a place in the damaged folder", expected))
    if not target.parent.is_dir():
        raise LedgerError(Problem(str(target.parent), "no such folder", "one that exists"))


def _write_store(source: Path, part: Path) -> Rescued:
    """Fill a new store with the rows that were found."""
    told, path = Rescued(), part / STORE_FILE
    Store.create(path)
    with (
        PageFile(source / STORE_FILE) as file,
        closing(sqlite3.connect(path, isolation_level=None)) as connection,
    ):
        connection.execute("BEGIN IMMEDIATE")

        def keep(digest: str, content: bytes) -> None:
            sql = "INSERT OR IGNORE INTO files (sha256, content) VALUES (?, ?)"
            told.files += connection.execute(sql, (digest, content)).rowcount

        found = find_rows(file, keep)
        if not found.rows and not told.files:
            expected = "the damaged store of an experiment"
            raise LedgerError(Problem(str(file.path), "nothing of an experiment", expected))
        told.lost += _lost(found, told.lacking)
        told.kept = dict.fromkeys(_ROWS, 0)
        for (table, key), row in found.rows.items():
            try:
                _insert(connection, table, row)
                told.kept[table] += 1
            except sqlite3.IntegrityError as error:
                told.lost.append(f"row {key} of {table}, which makes no sense: {error}")
        told.lost += give_parents(connection, told.kept)
        reseal(connection)
        connection.execute("COMMIT")
    behind = lost_commits(Path(f"{source / STORE_FILE}-wal"))
    if behind:
        told.lost.append(f"the last changes, {behind} or more, in a damaged write-ahead log")
    if not found.sealed:
        told.notes.append(
            "an earlier release wrote this store without seals: nothing vouches for its values; "
            "look them through"
        )
    return told


def _insert(connection: sqlite3.Connection, table: str, row: Mapping[str, Any]) -> None:
    names, marks = ", ".join(row), ", ".join("?" * len(row))
    sql = f"INSERT INTO {table} ({names}) VALUES ({marks})"
    connection.execute(sql, tuple(row.values()))


def _lost(found: Found, lacking: list[str]) -> list[str]:
    """Name the rows that the history or the totals tell of, and that were not found.

    Their tables are added to `lacking`.
    """
    alive, told = _alive(found), []
    alive["history"] = set(range(1, max(_acts(found), default=0) + 1)) - _jumped(found)
    for table, word in _ROWS.items():
        here = [key for name, key in found.rows if name == table]
        missing = sorted(alive.get(table, set()).difference(here))
        more = found.counts.get(table, 0) - len(here) - len(missing)
        lacking += [table] if missing or more > 0 else []
        if missing:
            told.append(f"{len(missing)} × {word}: {_ranges(missing)}")
        if more > 0:
            told.append(f"{more} × {word}, of which even the number is unknown")
    return told


def _alive(found: Found) -> dict[str, set[int]]:
    """Walk the history that was found: which rows there should be."""
    alive: dict[str, set[int]] = {}
    for act in _acts(found):
        for operation, table, key, _ in json.loads(found.rows["history", act]["changes"]):
            rows = alive.setdefault(table, set())
            if operation == "insert":
                rows.add(key)
            elif operation == "delete":
                rows.discard(key)
    return alive


def _jumped(found: Found) -> set[int]:
    """Give the numbers that no act ever had here, since a backup was put back."""
    jumped: set[int] = set()
    for act in _acts(found):
        row = found.rows["history", act]
        if row["act"] == "restore":
            jumped.update(range(json.loads(row["arguments"])["from_act"], act))
    return jumped


def _acts(found: Found) -> list[int]:
    return sorted(int(key) for table, key in found.rows if table == "history")


def _ranges(numbers: list[int]) -> str:
    """Write numbers in short: 3, 5 to 9."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1][1:] = [number]
        else:
            runs.append([number])
    return ", ".join(" to ".join(map(str, run)) for run in runs)


def _write_rest(source: Path, part: Path, told: Rescued) -> None:
    """Take the plan and the print cards over."""
    if (source / PLAN_FILE).is_file():
        shutil.copyfile(source / PLAN_FILE, part / PLAN_FILE)
    else:
        with closing(sqlite3.connect(part / STORE_FILE)) as connection:
            row = connection.execute(
                """SELECT p.text FROM history h JOIN plans p ON p.digest = h.plan
                WHERE p.first_seen <> '' ORDER BY h.id DESC LIMIT 1"""
            ).fetchone()
        if row:
            (part / PLAN_FILE).write_text(row[0], encoding="utf-8", newline="\n")
            told.notes.append(f"{PLAN_FILE} was missing: it is the plan of the last act")
        else:
            told.lost.append(f"{PLAN_FILE}: write it anew")
    if (source / CARDS).is_dir():
        shutil.copytree(source / CARDS, part / CARDS)
    else:
        (part / CARDS).mkdir()
    copy = newest_copy(source)
    if copy:
        told.notes.append(f"the newest copy of the whole is {copy}: it may hold what is lost here")


def _record(path: Path, who: str, source: Path, told: Rescued) -> None:
    """Write the rescue into the history; opening verifies the new store."""
    store = Store(path)
    try:
        with store.writing(datetime.now(UTC).isoformat(timespec="seconds")) as writer:
            arguments: Mapping[str, Any] = {"folder": source.name, "lost": told.lost}
            lost = "nothing lost" if not told.lost else "what is lost is listed in its arguments"
            writer.record(
                who=who,
                act="rescue",
                summary=f"rescued from a damaged store; {lost}",
                arguments=json.dumps(arguments, ensure_ascii=False),
            )
    finally:
        store.close()
