"""Pages read by ourselves, against SQLite's own reading."""

from __future__ import annotations

import random
import sqlite3
from contextlib import closing

import pytest

from experiments.pages import PageFile


@pytest.fixture
def path(tmp_path):
    """Two tables over many pages, with deep trees, long texts, and rows that went."""
    rng = random.Random(5)
    place = tmp_path / "some.db"
    with closing(sqlite3.connect(place)) as connection:
        connection.execute("PRAGMA page_size = 512")
        connection.execute("CREATE TABLE a (id INTEGER PRIMARY KEY, x, y)")
        connection.execute("CREATE TABLE b (k TEXT PRIMARY KEY, v) WITHOUT ROWID")
        for number in range(-20, 900):
            value = rng.choice(
                [
                    None,
                    0,
                    1,
                    -1,
                    127,
                    -129,
                    2**40,
                    -(2**62),
                    0.1,
                    "é" * 300,
                    b"\0" * 1500,
                    "",
                    1e300,
                ]
            )
            connection.execute("INSERT INTO a VALUES (?, ?, ?)", (number, value, str(number)))
            connection.execute("INSERT INTO b VALUES (?, ?)", (f"key {number}", value))
        connection.execute("DELETE FROM a WHERE id > 600")
        connection.commit()
    return place


def test_every_row_is_read_as_sqlite_reads_it(path):
    with closing(sqlite3.connect(path)) as connection:
        a = {(key, x, y) for key, x, y in connection.execute("SELECT * FROM a")}
        b = set(connection.execute("SELECT * FROM b"))
        roots = dict(connection.execute("SELECT name, rootpage FROM sqlite_schema"))
        (free,) = connection.execute("PRAGMA freelist_count").fetchone()
    with PageFile(path) as file:
        found = list(file.records())
        assert {(r.rowid, *r.values[1:]) for r in found if len(r.values) == 3} == a
        assert {tuple(r.values) for r in found if len(r.values) == 2} == b
        assert len(found) == len(a) + len(b) + 2  # the layout's own rows
        assert len(file.free()) == free > 0
        by_tree = [r for page in file.tree(roots["a"]) for r in file.records_on(page)]
        assert {(r.rowid, *r.values[1:]) for r in by_tree} == a


@pytest.mark.parametrize("seed", range(3))
def test_any_bytes_are_read_without_a_fault(path, seed):
    rng = random.Random(seed)
    content = bytearray(path.read_bytes())
    for _ in range(3000):
        content[rng.randrange(len(content))] = rng.randrange(256)
    path.write_bytes(content)
    with PageFile(path) as file:
        assert len(list(file.records())) > 0


def test_an_empty_file_has_no_rows(tmp_path):
    (tmp_path / "empty.db").write_bytes(b"")
    with PageFile(tmp_path / "empty.db") as file:
        assert list(file.records()) == []
