"""Putting a backup back: what would change, and doing it."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from experiments.connecting import plain
from experiments.copies import Copy, new_place, open_copy, read_copy
from experiments.damage import is_damage
from experiments.errors import LedgerError
from experiments.history import withdrawn_number
from experiments.outputs import write_whole
from experiments.places import PLAN_FILE, STORE_FILE
from experiments.store import Store, Writer

__all__ = ["Restoring", "preview_restore", "restore"]

_GAP = 1000
"""Numbers left free for acts of a store that cannot be read, so that none is given twice."""

Act = tuple[int, str, str, int]
"""Number, time and summary of an act, and its seal."""


@dataclass(frozen=True)
class Restoring:
    """What putting a backup back would change.

    Parameters
    ----------
    copy : Copy
        The backup, verified.
    damage : str
        Why the present store cannot be used; empty where it can.
    shared : int
        Acts that both have.
    taken, brought : list of str
        Acts that only the present store has, and acts that only the backup has; in order.
    plan_changes : bool
        Whether ``experiment.toml`` is another one.
    cones : tuple of (int, int)
        How many now, and in the backup.
    """

    copy: Copy
    damage: str
    shared: int
    taken: list[str]
    brought: list[str]
    plan_changes: bool
    cones: tuple[int, int]

    @property
    def nothing(self) -> bool:
        """Whether all is as in the backup already."""
        return not (self.damage or self.taken or self.brought or self.plan_changes)


def preview_restore(folder: str | Path, path: str | Path) -> Restoring:
    """Say what putting a backup back would change.

    Parameters
    ----------
    folder : path
        Where the experiment lives; its store may be damaged or missing.
    path : path
        The backup.

    Returns
    -------
    Restoring
        Nothing is changed yet.

    Raises
    ------
    LedgerError
        If the backup is none or not whole.
    """
    folder, copy = Path(folder), read_copy(Path(path))
    with open_copy(copy.path) as connection:
        theirs = _acts(connection)
    ours: list[Act] = []
    damage, cones = "", 0
    try:
        with _opened(folder) as store, store.reading() as connection:
            ours = _acts(connection)
            cones = connection.execute("SELECT count(*) FROM cones").fetchone()[0]
    except LedgerError as error:
        if isinstance(error.__cause__, sqlite3.Error) and not is_damage(error.__cause__):
            raise  # the disk or another process is in the way, not the store
        damage = str(error)
    shared = 0
    while shared < min(len(ours), len(theirs)) and ours[shared] == theirs[shared]:
        shared += 1
    plan = folder / PLAN_FILE
    same = plan.is_file() and plan.read_bytes().decode("utf-8-sig", "replace") == copy.plan
    return Restoring(
        copy,
        damage,
        shared,
        [_told(act) for act in ours[shared:]],
        [_told(act) for act in theirs[shared:]],
        not same and bool(copy.plan),
        (cones, copy.cones),
    )


@contextmanager
def _opened(folder: Path) -> Iterator[Store]:
    store = Store(folder / STORE_FILE)
    try:
        yield store
    finally:
        store.close()


def _acts(connection: sqlite3.Connection) -> list[Act]:
    # Compared by what they say: a seal changes with the layout.
    sql = "SELECT id, at, summary, changes FROM history ORDER BY id"
    return [
        (key, at, summary, hash(changes)) for key, at, summary, changes in connection.execute(sql)
    ]


def _told(act: Act) -> str:
    number, at, summary, _ = act
    return f"act {number}, {at[:16].replace('T', ' ')}: {summary}"


def restore(
    folder: str | Path,
    path: str | Path,
    *,
    who: str,
    now: Callable[[], datetime] = lambda: datetime.now(UTC),
) -> str:
    """Put a backup back: store and plan become what they were; the present state is kept first.

    The history says so, and goes on: numbers of acts and of cones are not given twice.

    Parameters
    ----------
    folder : path
        Where the experiment lives.
    path : path
        The backup.
    who : str
        Who does it.
    now : callable
        The clock, returning an aware datetime.

    Returns
    -------
    str
        What was done, and where the present state is kept.

    Raises
    ------
    LedgerError
        If the backup is none or not whole, or the folder cannot be written; all is as it was then.
    """
    folder, path = Path(folder), Path(path)
    at = now().astimezone(UTC).isoformat(timespec="seconds")
    look = preview_restore(folder, path)
    if look.nothing:
        return f"nothing to change: all is as in {path.name}"
    with plain(folder), tempfile.TemporaryDirectory(dir=folder, prefix=".restore.") as place:
        part = Path(place) / STORE_FILE
        if look.damage:
            kept = _set_aside(folder, at)
            _prepare(part, path, _Entry(at, who, kept, None, 0))
            _replace(folder, part)
        else:
            with _opened(folder) as store:
                kept = store.keep_copy("restore", at)
                last, highest = _numbers(kept)
                _prepare(part, path, _Entry(at, who, kept, last, highest))
                store.become(part, last)
        if look.copy.plan:
            write_whole(folder / PLAN_FILE, look.copy.plan.encode())
    return f"restored {path.name} of {look.copy.at[:10]}; what was here is kept in {kept}"


def _numbers(kept: Path) -> tuple[int, int]:
    """Give the last act and the highest cone number that must not be given again."""
    with open_copy(kept) as connection:
        last = connection.execute("SELECT max(id) FROM history").fetchone()[0]
        return int(last), withdrawn_number(Writer(connection, 0, ""), present=True)


@dataclass(frozen=True)
class _Entry:
    """What the history shall say of it."""

    at: str
    who: str
    kept: Path
    last: int | None
    highest: int


def _prepare(part: Path, path: Path, entry: _Entry) -> None:
    """Make a store of the backup, brought up to this release, with its row in the history."""
    with plain(part):
        shutil.copyfile(path, part)
        with closing(sqlite3.connect(part)) as connection:
            connection.execute("DROP TABLE backup")
            connection.commit()
    store = Store(part)
    try:
        with store.writing(entry.at) as writer:
            told = "a store that could not be read" if entry.last is None else f"act {entry.last}"
            former = writer.act + _GAP if entry.last is None else entry.last
            summary = f"backup {path.name} put back in place of {told}, kept as {entry.kept.name}"
            arguments = {
                "file": path.name,
                "from_act": writer.act,
                "kept": entry.kept.name,
                "highest_cone": entry.highest,
            }
            writer.act = max(writer.act, former + 1)
            writer.record(
                who=entry.who, act="restore", summary=summary, arguments=json.dumps(arguments)
            )
    finally:
        store.close()


def _set_aside(folder: Path, at: str) -> Path:
    """Keep a store that cannot be used, byte for byte, as a folder of its own."""
    place = new_place(folder, at, "damaged", "")
    with plain(place):
        place.mkdir(parents=True)
        for name in (STORE_FILE, f"{STORE_FILE}-wal", PLAN_FILE):
            if (folder / name).is_file():
                shutil.copyfile(folder / name, place / name)
    return place


def _replace(folder: Path, part: Path) -> None:
    with plain(folder):
        for end in ("-wal", "-shm"):
            (folder / f"{STORE_FILE}{end}").unlink(missing_ok=True)
        os.replace(part, folder / STORE_FILE)
