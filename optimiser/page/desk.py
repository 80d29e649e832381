"""The open experiment behind the page: ledgers for its threads, and what outlives a request."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import experiments
from experiments.damage import is_damage
from experiments.errors import LedgerError, Problem
from experiments.folder import PLAN_FILE, STORE_FILE
from experiments.store import Store
from optimiser.page.told import Told
from optimiser.page.uploads import Uploads
from optimiser.page.work import Outdated, Work

if TYPE_CHECKING:
    import pandas as pd

    from experiments.ledger import Ledger
    from experiments.plan import Plan
    from experiments.records import Cone

__all__ = ["Desk", "State"]

T = TypeVar("T")


@dataclass(frozen=True)
class State:
    """What the answers stand on; equal states have equal answers.

    Parameters
    ----------
    plan, data : str
        The digests of plan and data.
    """

    plan: str
    data: str


class Desk:
    """One folder, its open ledgers, its long work and the files that wait to be saved.

    Parameters
    ----------
    folder : Path
        The folder of the experiment; it may hold none yet.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.work = Work()
        self.uploads = Uploads()
        self.told = Told()
        self._idle: list[tuple[tuple[int, ...], Ledger]] = []
        self._lock = threading.Lock()

    @property
    def begun(self) -> bool:
        """Whether the folder holds an experiment, even a damaged one."""
        return any((self.folder / name).is_file() for name in (PLAN_FILE, STORE_FILE))

    @contextmanager
    def ledger(self) -> Iterator[Ledger]:
        """Lend an open ledger to one thread; it goes back to the pool afterwards.

        Opening takes some 10 ms, so ledgers are kept. A store that was put back from a backup is
        another file, and one that was written to may have been damaged by another program: they
        are opened anew, which verifies every row.

        Raises
        ------
        LedgerError, PlanError
            As `Ledger.open`.
        """
        self.refuse_links()
        file = self._file(written=True)
        found = self._take(file)
        # The class is loaded here, on the first need: it takes a second with its libraries.
        ledger = found or experiments.Ledger.open(self.folder)
        try:
            yield ledger
        finally:
            with self._lock:
                self._idle.append((file, ledger))

    def refuse_links(self) -> None:
        """Refuse a plan or a store that is a link: what lies behind it may be none of ours.

        Raises
        ------
        LedgerError
        """
        name = self._linked()
        if name:
            raise LedgerError(
                Problem(name, "a link", "a file of its own", "Put the file itself there.")
            )

    def _linked(self) -> str:
        names = (name for name in (PLAN_FILE, STORE_FILE) if (self.folder / name).is_symlink())
        return next(names, "")

    def trouble(self) -> str:
        """Say why the experiment cannot be used; nothing where it can.

        Nor where the disk or another process is in the way, which backups do not mend.
        """
        try:
            self.refuse_links()
            Store(self.folder / STORE_FILE).close()
        except LedgerError as error:
            cause = error.__cause__
            ours = not isinstance(cause, OSError)
            if isinstance(cause, sqlite3.Error):
                ours = is_damage(cause)
            return str(error) if ours and not self._linked() else ""
        return "" if (self.folder / PLAN_FILE).is_file() else f"There is no {PLAN_FILE}."

    def let_go(self) -> None:
        """Close the ledgers that nobody uses, before the store becomes another file."""
        with self._lock:
            idle, self._idle = self._idle, []
        for _, ledger in idle:
            ledger.close()

    def _file(self, *, written: bool = False) -> tuple[int, ...]:
        """Tell the store's file from another of the same name; or from itself before a write."""
        try:
            stat = (self.folder / STORE_FILE).stat()
        except OSError:
            return (0, 0)
        more = (stat.st_mtime_ns, stat.st_size) if written else ()
        return (stat.st_dev, stat.st_ino, *more)

    def _take(self, file: tuple[int, ...]) -> Ledger | None:
        """Take a ledger of the present file out of the pool, and close those of others."""
        with self._lock:
            stale = [ledger for of, ledger in self._idle if of != file]
            self._idle = [pair for pair in self._idle if pair[0] == file]
            found = self._idle.pop()[1] if self._idle else None
        for ledger in stale:
            ledger.close()
        return found

    def state(self, ledger: Ledger) -> State:
        """Give the present state of the experiment."""
        return self.read_once(
            ledger, "digests", lambda: State(ledger.plan.digest, ledger.data_digest())
        )

    def version(self, ledger: Ledger) -> Hashable:
        """Give what changes with every act and every plan, notes included; see `state`."""
        return (self._file(), ledger.plan.digest, ledger.newest_act())

    def cones(self, ledger: Ledger) -> list[Cone]:
        """Give all cones by number, not to be changed."""
        return self.read_once(ledger, "the cones", ledger.cones)

    def table(self, ledger: Ledger) -> pd.DataFrame:
        """Give the table of `Ledger.full_table`, not to be changed."""
        return self.read_once(ledger, "the table", ledger.full_table)

    def read_once(self, ledger: Ledger, what: str, read: Callable[[], T]) -> T:
        """Read something that no note changes, once until another act or another plan.

        Parameters
        ----------
        ledger : Ledger
            An open ledger.
        what : str
            Its name, one for each thing that is read.
        read : callable
            Reads it.
        """
        key = (self._file(), ledger.plan.digest, ledger.newest_act(notes=False))
        found: T = self.work.once((key, what), what, lambda _tell: read())
        return found

    def trials(self, state: State, *, wide: bool = False) -> tuple[Plan, pd.DataFrame]:
        """Give the plan and the table of a state, put together once; not to be changed.

        The table is that of `Ledger.table`, or of `Ledger.wide_table`.

        Raises
        ------
        Outdated
            If the experiment is in another state by now.
        LedgerError
            If store and plan disagree; see `Ledger.table`.
        """

        def read(_tell: object) -> tuple[Plan, pd.DataFrame]:
            with self.ledger() as ledger, ledger.snapshot():
                if self.state(ledger) != state:
                    raise Outdated("The experiment was changed meanwhile.")
                table = ledger.wide_table(strict=True) if wide else ledger.table()
                return ledger.plan, table

        found: tuple[Plan, pd.DataFrame] = self.work.once(
            (state, "trials", wide), "the table", read
        )
        return found

    def close(self) -> None:
        """Close the ledgers and stop working."""
        self.work.close()
        self.let_go()
