"""Rows of a damaged store that are certain to be as coneloop wrote them."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from typing import Any

from experiments.pages import PageFile, Record
from experiments.schema import MIGRATIONS
from experiments.seals import SEALED_SINCE, seal, sealed_tables

__all__ = ["Found", "find_rows"]

Key = tuple[str, int | str]
Row = dict[str, Any]


@dataclass
class Found:
    """What was found.

    Attributes
    ----------
    rows : dict
        By table and key, without the seals.
    counts : dict
        How many rows each table had, where its total could be read; nothing vouches for these.
    doubtful : set
        Keys of which two different rows were found, so that neither is taken.
    sealed : bool
        Whether the rows bore seals; those of the first releases did not.
    """

    rows: dict[Key, Row] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)
    doubtful: set[Key] = field(default_factory=set)
    sealed: bool = True

    def add(self, table: str, row: Row) -> None:
        """Take a row in, unless another one of the same key is known."""
        key = (table, next(iter(row.values())))
        if self.rows.setdefault(key, row) != row:
            self.doubtful.add(key)


def find_rows(file: PageFile, keep: Callable[[str, bytes], None]) -> Found:
    """Look through every page, whatever the trees and the layout say.

    Parameters
    ----------
    file : PageFile
        The damaged store.
    keep : callable
        Takes the SHA-256 and the bytes of each raw file that is whole, one by one.

    Returns
    -------
    Found
        A row is known by its seal: for which table it is, and that no byte of it changed.
    """
    found = Found()
    versions = range(SEALED_SINCE, len(MIGRATIONS) + 1)
    layouts = list(dict.fromkeys(one for version in versions for one in _layouts(version)))
    for record in file.records():
        for layout in layouts:
            row = layout.read(record)
            if row is not None and layout.seals(row):
                found.add(layout.table, row)
                break
        else:
            _take_other(record, found, keep)
    if not found.rows and file.version < SEALED_SINCE:
        _find_unsealed(file, found, keep)
    for key in found.doubtful:
        del found.rows[key]
    return found


@dataclass(frozen=True)
class _Layout:
    """The columns of a table in one version of the store."""

    table: str
    columns: tuple[str, ...]
    reals: frozenset[str]
    rowid: str | None

    def read(self, record: Record) -> Row | None:
        """Give a record as a row of this table; None if it cannot be one."""
        if len(record.values) != len(self.columns) or (record.rowid is None) != (
            self.rowid is None
        ):
            return None
        row = dict(zip(self.columns, record.values, strict=True))
        if self.rowid is not None:
            row[self.rowid] = record.rowid
        for name in self.reals:
            if isinstance(row[name], int):
                row[name] = float(row[name])
        return row

    def seals(self, row: Row) -> bool:
        """Whether a row bears its seal; the seal is taken off."""
        kept = row["seal"]
        if seal(self.table, [value for name, value in row.items() if name != "seal"]) != kept:
            return False
        del row["seal"]
        return True


def _layouts(version: int) -> Iterator[_Layout]:
    with closing(sqlite3.connect(":memory:")) as connection:
        for statements in MIGRATIONS[:version]:
            for statement in statements:
                connection.execute(statement)
        tables = sealed_tables(connection)
        for table in tables or [name for (name,) in connection.execute(_TABLES)]:
            yield _layout(connection, table)


_TABLES = "SELECT name FROM sqlite_schema WHERE type = 'table' AND name <> 'files'"


def _layout(connection: sqlite3.Connection, table: str) -> _Layout:
    info = connection.execute(f"PRAGMA table_info({table})").fetchall()
    reals = frozenset(row[1] for row in info if row[2] == "REAL")
    first = info[0]
    rowid = first[1] if first[2] == "INTEGER" else None
    return _Layout(table, tuple(row[1] for row in info), reals, rowid)


def _take_other(record: Record, found: Found, keep: Callable[[str, bytes], None]) -> None:
    """Take a raw file, which its own digest vouches for, or the total of a table."""
    match record.values:
        case [str(digest), bytes(content)] if hashlib.sha256(content).hexdigest() == digest:
            keep(digest, content)
        case [str(table), int(count), int()] if record.rowid is None and count >= 0:
            found.counts[table] = count


def _find_unsealed(file: PageFile, found: Found, keep: Callable[[str, bytes], None]) -> None:
    """Read a store of the first releases along its trees, for nothing else tells the tables."""
    found.sealed = False
    roots = {
        record.values[1]: record.values[3]
        for page in file.tree(1)
        for record in file.records_on(page)
        if len(record.values) == 5 and isinstance(record.values[3], int)
    }
    version = file.version if 0 < file.version < SEALED_SINCE else SEALED_SINCE - 1
    layouts = [one for one in _layouts(version) if one.table in roots]
    for layout in layouts:
        for page in file.tree(roots[layout.table]):
            for record in file.records_on(page):
                # A column that joined later is missing at the end of older rows.
                missing = len(layout.columns) - len(record.values)
                padded = Record(page, record.rowid, record.values + [None] * missing)
                row = layout.read(padded)
                if row is not None:
                    found.add(layout.table, row)
    for page in file.tree(roots.get("files", 0)):
        for record in file.records_on(page):
            _take_other(record, found, keep)
