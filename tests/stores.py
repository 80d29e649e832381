"""What tests do to a store behind coneloop's back."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from multiprocessing.synchronize import Barrier
from pathlib import Path

from experiments.ledger import Ledger


def add_many(folder: str, count: int, barrier: Barrier) -> None:
    """Add cones while other processes do so too; here, so that they load no more than this."""
    barrier.wait(60)
    for number in range(count):
        with Ledger.open(folder, who=f"process {os.getpid()}") as ledger:
            ledger.add({"process": "filament", "wall": 0.4, "ribs": number % 9})
            ledger.table()


def change_files(path: Path, content: bytes) -> None:
    """Give every raw file other bytes, and leave the layout as it was."""
    with closing(sqlite3.connect(path)) as connection:
        (guard,) = connection.execute(
            "SELECT sql FROM sqlite_schema WHERE name = 'files_no_update'"
        ).fetchone()
        connection.execute("DROP TRIGGER files_no_update")
        connection.execute("UPDATE files SET content = ?", (content,))
        connection.execute(guard)
        connection.commit()


def pages_of(path: Path) -> dict[int, tuple[str, str]]:
    """Tell for each page its table and what it is there: ``leaf, internal, overflow``.

    From SQLite's own account (https://www.sqlite.org/dbstat.html); the table of an index is "".
    """
    with closing(sqlite3.connect(path)) as connection:
        tables = {
            name
            for (name,) in connection.execute(
                "SELECT name FROM sqlite_schema WHERE type = 'table'"
            )
        }
        rows = connection.execute("SELECT pageno, name, pagetype FROM dbstat").fetchall()
    return {page: (name if name in tables else "", kind) for page, name, kind in rows}
