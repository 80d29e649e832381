"""What tests do to a store behind coneloop's back."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path


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
