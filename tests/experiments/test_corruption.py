"""Damage at random places: noticed or harmless, never a silent wrong value; and the rescue."""

from __future__ import annotations

import random
import shutil
import sqlite3
from collections import Counter
from contextlib import closing, suppress

import pytest

from experiments.errors import ExperimentError
from experiments.ledger import Ledger
from experiments.pages import PageFile
from experiments.records import StoredCurve
from experiments.rescuing import rescue

pytestmark = pytest.mark.slow

PAGE = 4096
PLACES = 300


def build(folder, plan_text):
    """An experiment of all sorts of rows: many small pages, few large files."""
    rng = random.Random(11)
    with Ledger.create(folder, plan_text, who="maker") as ledger:
        for number in range(40):
            recipe = {"process": "filament", "wall": 0.6, "ribs": number % 9}
            if number % 4 == 0:
                (cone,) = ledger.plan_cones([recipe], reason=["to see"], proposal={"seed": number})
                ledger.printed(cone, mass=2 + number / 64)
            else:
                cone = ledger.add(recipe, mass=2 + number / 64, note=f"cone {number}")
            for _ in range(1 + number % 2):
                ledger.measure(
                    cone,
                    session=f"day {number // 8}",
                    curves=[StoredCurve("r.txt", "response", rng.randbytes(rng.randrange(9000)))],
                    values={"upper_limit": rng.uniform(5, 14), "thd_peak": rng.uniform(0, 5)},
                    warnings=["a caution"],
                )
            if number % 7 == 0:
                ledger.set_aside(cone, why="lent out")
            if number % 9 == 0:
                ledger.undo()
            ledger.note(f"a remark on the day {number}", cone=cone)


def seen(folder):
    """Everything that a maker can see."""
    with Ledger.open(folder) as ledger:
        with ledger.snapshot() as connection:
            # Statements that read the indexes only, as well as those that read the tables.
            counted = [
                connection.execute(sql).fetchall()
                for sql in (
                    "SELECT metric, count(*) FROM readings GROUP BY metric",
                    "SELECT variable, count(*) FROM settings GROUP BY variable",
                    "SELECT cone, count(*) FROM measurements GROUP BY cone",
                )
            ]
        return (
            ledger.full_table().to_csv(),
            ledger.cones(),
            ledger.measurements(),
            ledger.curves(),
            ledger.notes().to_csv(),
            ledger.sessions().to_csv(),
            ledger.history().to_csv(),
            ledger.plans().to_csv(),
            ledger.data_digest(),
            counted,
        )


def spoil(content, rng):
    """Change one byte, or a block as a failing disk does; returns the pages it touched."""
    content, kind = bytearray(content), rng.choice(["bit", "byte", "zeros", "noise", "other page"])
    at = rng.randrange(len(content))
    if kind == "bit":
        content[at] ^= 1 << rng.randrange(8)
        return kind, bytes(content), {at // PAGE + 1}
    if kind == "byte":
        content[at] = (content[at] + rng.randrange(1, 256)) % 256
        return kind, bytes(content), {at // PAGE + 1}
    length = rng.choice([16, 512, PAGE])
    at = at // length * length
    if kind == "other page":
        source = rng.randrange(len(content) // length) * length
        block = content[source : source + length]
    else:
        block = bytes(length) if kind == "zeros" else rng.randbytes(length)
    content[at : at + length] = block
    return kind, bytes(content), {at // PAGE + 1}


TABLES = (
    *("proposals", "cones", "settings", "sessions", "measurements", "readings"),
    *("curves", "notes", "history", "plans"),
)


def rows_of(folder):
    """Every row by table and key, by SQLite alone."""
    with closing(sqlite3.connect(folder / "experiment.db")) as connection:
        return {
            (table, row[0]): row
            for table in TABLES
            for row in connection.execute(f"SELECT * FROM {table}")
        } | {
            ("files", digest): (digest, content)
            for digest, content in connection.execute("SELECT * FROM files")
        }


def places_of(path):
    """The pages of each row: of its cell, and of what that overflows to.

    By SQLite's own account (https://www.sqlite.org/dbstat.html): an overflow page's path names
    the leaf's path and the cell.
    """
    with closing(sqlite3.connect(path)) as connection:
        stat = connection.execute(
            "SELECT pageno, name, path FROM dbstat WHERE pagetype IN ('leaf', 'internal')"
        ).fetchall()
        over = connection.execute(
            "SELECT pageno, name, path FROM dbstat WHERE pagetype = 'overflow'"
        ).fetchall()
    places = {}
    with PageFile(path) as file:
        for page, name, way in stat:
            if name not in (*TABLES, "files"):
                continue
            for cell, record in enumerate(file.records_on(page)):
                text = f"{way}{cell:03x}+"
                more = {p for p, owner, where in over if owner == name and where.startswith(text)}
                key = record.rowid if record.rowid is not None and name != "files" else None
                key = record.values[0] if key is None else key
                places[name, key] = {page, *more}
    return places


def plain_sqlite_notices(path):
    """The peer: what SQLite's own check says of the file (PRAGMA integrity_check)."""
    try:
        with closing(sqlite3.connect(path)) as connection:
            return connection.execute("PRAGMA integrity_check").fetchall() != [("ok",)]
    except sqlite3.DatabaseError:
        return True


def test_damage_is_noticed_or_harmless_and_what_is_whole_is_saved(tmp_path, plan_text, capsys):
    sound = tmp_path / "sound"
    build(sound, plan_text)
    content, truth, rows = (sound / "experiment.db").read_bytes(), seen(sound), rows_of(sound)
    places = places_of(sound / "experiment.db")
    assert places.keys() == rows.keys()
    rng, counts, unseen_by_sqlite = random.Random(2031), Counter(), 0
    broken = tmp_path / "broken"
    for number in range(PLACES):
        shutil.rmtree(broken, ignore_errors=True)
        broken.mkdir()
        (broken / "experiment.toml").write_text(plan_text)
        kind, damaged, pages = spoil(content, rng)
        (broken / "experiment.db").write_bytes(damaged)
        noticed = plain_sqlite_notices(broken / "experiment.db")
        for name in ("-wal", "-shm"):
            (broken / f"experiment.db{name}").unlink(missing_ok=True)
        (broken / "experiment.db").write_bytes(damaged)
        told = None
        with suppress(ExperimentError):
            told = seen(broken)
        if told is None:
            counts["noticed"] += 1
            unseen_by_sqlite += not noticed
        else:
            assert told == truth, (number, kind)
            counts["harmless" if damaged != content else "unchanged"] += 1
        (broken / "experiment.db").write_bytes(damaged)
        for name in ("-wal", "-shm"):
            (broken / f"experiment.db{name}").unlink(missing_ok=True)
        saved = tmp_path / f"saved-{number}"
        rescue(broken, saved, who="maker")
        assert (broken / "experiment.db").read_bytes() == damaged
        check_saved(rows_of(saved), rows, places, pages)
        shutil.rmtree(saved)
    with capsys.disabled():
        print(
            f"\n{PLACES} places in {len(content) // PAGE} pages: {dict(counts)}; of the noticed "
        )
        print(f"PRAGMA integrity_check alone passes {unseen_by_sqlite}")
    assert counts["noticed"] > PLACES / 2


def check_saved(found, rows, places, pages):
    """Every row outside the damaged pages is there; none says anything else than it did."""
    for key, row in rows.items():
        if not places[key] & pages and key[0] != "curves":
            assert found.get(key) == row, key
        if key[0] == "curves" and not places[key] & pages:
            whole = not places["files", row[4]] & pages
            assert found.get(key) == row or not whole, key
    for key, row in found.items():
        if key in rows and row != rows[key]:
            assert "lost in damage" in str(row), key
        assert key in rows or key[0] == "history", key
