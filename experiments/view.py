"""Looking at an experiment: the present plan, the table, the records."""

from __future__ import annotations

import getpass
import math
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

import pandas as pd

from experiments import reading
from experiments.agreement import (
    disagreements,
    refuse_disagreements,
    refuse_stale,
    value_problems,
)
from experiments.checking import check_recipes, check_store
from experiments.definitions import stale_readings
from experiments.entries import clean_text, cone_number
from experiments.errors import Problem
from experiments.folder import CARDS, PLAN_FILE, STORE_FILE, no_experiment
from experiments.history import newest_act, read_history, return_to
from experiments.leftovers import beyond_range, dropped_levels, left_over
from experiments.oddities import copied_files, sessions_without_reference
from experiments.plan import Plan
from experiments.possible import impossible
from experiments.proposed import Proposed, Standing, proposals, standing
from experiments.records import Cone, Curve, Measurement
from experiments.space import Space
from experiments.store import Store, Writer
from experiments.trials import LEADING, trials_frame, with_records

__all__ = ["View", "user_name"]


class View:
    """The reading half of a `experiments.ledger.Ledger`.

    Attributes
    ----------
    folder : Path
        Where the experiment lives.
    """

    def __init__(
        self, folder: Path, store: Store, who: str | None, now: Callable[[], datetime] | None
    ) -> None:
        self.folder = folder
        self._store = store
        self._who = clean_text(who, "who") or user_name()
        self._now = now or _utc_now
        self._plan_seen: tuple[int, int] | None = None
        self._plan: Plan
        self._space: Space
        self._plan_text = ""

    @classmethod
    def open(
        cls,
        folder: str | Path,
        *,
        who: str | None = None,
        now: Callable[[], datetime] | None = None,
    ) -> Self:
        """Open an experiment.

        Parameters
        ----------
        folder : path
            The folder.
        who : str, optional
            Who works; the name of the computer's user if not given.
        now : callable, optional
            The clock, returning an aware datetime; for demos and tests.

        Returns
        -------
        Self
            Open.

        Raises
        ------
        LedgerError
            If there is no experiment, or its store cannot be used.
        PlanError
            If the plan is not valid.
        """
        folder = Path(folder)
        if not folder.is_dir():
            raise no_experiment(folder, "no such folder")
        if not (folder / PLAN_FILE).is_file():
            raise no_experiment(folder / PLAN_FILE, "no such file")
        ledger = cls(folder, Store(folder / STORE_FILE), who, now)
        try:
            _ = ledger.plan
        except BaseException:
            ledger.close()
            raise
        return ledger

    def close(self) -> None:
        """Close the store; closing twice is harmless."""
        self._store.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def plan(self) -> Plan:
        """The plan as ``experiment.toml`` says now; read again when the file changes."""
        self._refresh()
        return self._plan

    @property
    def space(self) -> Space:
        """The recipes of the present plan."""
        self._refresh()
        return self._space

    @property
    def cards(self) -> Path:
        """The folder of the print cards."""
        return self.folder / CARDS

    def _refresh(self) -> None:
        path = self.folder / PLAN_FILE
        if not path.is_file():
            raise no_experiment(path, "no such file")
        state = path.stat()
        seen = (state.st_mtime_ns, state.st_size)
        if seen == self._plan_seen:
            return
        self._plan = Plan.from_toml(path)
        self._space = Space(self._plan)
        self._plan_text, self._plan_seen = path.read_text(encoding="utf-8-sig"), seen

    def plans(self) -> pd.DataFrame:
        """List every plan under which something was recorded: ``digest, first_seen, text``."""
        with self._store.reading() as connection:
            rows = connection.execute(
                "SELECT digest, first_seen, text FROM plans ORDER BY first_seen, digest"
            ).fetchall()
        return pd.DataFrame(rows, columns=["digest", "first_seen", "text"])

    @contextmanager
    def snapshot(self) -> Iterator[sqlite3.Connection]:
        """Let several looks inside the block see one state, whatever others write meanwhile."""
        with self._store.reading() as connection:
            yield connection

    def table(self, *, strict: bool = True) -> pd.DataFrame:
        """Put the trials together: one row a measurement.

        Parameters
        ----------
        strict : bool
            Refuse while the store does not agree with the present plan. Otherwise what does not
            agree is missing from the table (NaN or None); `disagreements` says what and why.

        Returns
        -------
        pandas.DataFrame
            ``cone, status, plate, session, age_days, light_hours, temperature_c,
            humidity_percent``, one column a variable (NaN
            or None where inactive), one a metric. A cone that was not measured has one row
            whose metrics are NaN. A variable that joined the plan later shows its ``before``
            value for earlier cones.

        Raises
        ------
        LedgerError
            If `strict`, and cones lack a value for a variable of the plan, or values were
            stored under another definition of their metric. Cones set aside do not count;
            their values of another definition are missing.
        """
        plan = self.plan
        return self.wide_table(strict=strict)[[*LEADING, *plan.variables, *plan.metrics]]

    def wide_table(self, *, strict: bool = False) -> pd.DataFrame:
        """As `table`, then ``measurement, note, version``, the mass, ``print_minutes, why``.

        `measurement` is the measurement's id, `version` the number of the last act that
        touched the cone, `print_minutes` how long it printed, `why` the reason of a failure or of
        setting it aside.
        """
        plan, space = self.plan, self.space
        with self._store.reading() as connection:
            if strict:
                refuse_disagreements(connection, plan, space)
            frame = trials_frame(connection, plan, space)
            for one in stale_readings(connection, plan):
                frame.loc[frame["measurement"] == one.measurement, one.metric.name] = math.nan
        return frame

    def refuse_stale(self) -> None:
        """Raise a LedgerError if values were stored under another definition of their metric."""
        plan = self.plan
        with self._store.reading() as connection:
            refuse_stale(connection, plan)

    def disagreements(self) -> list[Problem]:
        """Find what keeps `table` from being built: see `experiments.agreement`."""
        plan, space = self.plan, self.space
        with self._store.reading() as connection:
            return disagreements(connection, plan, space)

    def full_table(self) -> pd.DataFrame:
        """As `wide_table`, with everything that people want to see of a cone.

        The mass of a cone shows before it is measured, too; ``remark`` follows, on the cone.
        """
        with self._store.reading() as connection:
            return with_records(connection, self.plan, self.wide_table())

    def wide_table_at(self, act: int) -> pd.DataFrame:
        """As `wide_table`, in the state right after an act of the history."""
        plan, space = self.plan, self.space
        with self._store.trying() as writer:
            return_to(writer, act)
            return trials_frame(writer.connection, plan, space)

    def proposals(self) -> list[Proposed]:
        """Read the proposals in force, in order."""
        with self._store.reading() as connection:
            return proposals(connection)

    def standing(self, proposal: Proposed) -> Standing:
        """Rebuild what a proposal stood on: see `experiments.proposed.standing`."""
        with self._store.trying() as writer:
            return standing(writer, proposal)

    @contextmanager
    def rehearsal(self) -> Iterator[Writer]:
        """Let what is written and looked at inside the block be thrown away at its end."""
        with self._store.trying() as writer:
            yield writer

    def cones(self) -> list[Cone]:
        """Read every cone, by number."""
        plan, space = self.plan, self.space
        with self._store.reading() as connection:
            return reading.cones(connection, plan, space)

    def cone(self, number: int) -> Cone:
        """Read one cone.

        Raises
        ------
        LedgerError
            If there is no such cone.
        """
        plan, space = self.plan, self.space
        with self._store.reading() as connection:
            return reading.cones(connection, plan, space, cone_number(number))[0]

    def measurements(self, cone: int | None = None) -> list[Measurement]:
        """Read the measurements of one cone, or all, in the order of recording."""
        with self._store.reading() as connection:
            return reading.measurements(connection, _asked(cone))

    def curves(self, cone: int | None = None, *, measurement: int | None = None) -> list[Curve]:
        """Read the raw files of one cone or measurement, or all; see `iterate_curves`."""
        return list(self.iterate_curves(cone, measurement=measurement))

    def iterate_curves(
        self, cone: int | None = None, *, measurement: int | None = None
    ) -> Iterator[Curve]:
        """Read raw files one by one, so that memory holds a single one.

        Parameters
        ----------
        cone, measurement : int, optional
            Only of this cone, or of this measurement.

        Yields
        ------
        Curve
            Its bytes are those that were stored.

        Raises
        ------
        LedgerError
            Naming cone and file, if the bytes no longer agree with their SHA-256.
        """
        with self._store.reading() as connection:
            keys = reading.curve_keys(connection, _asked(cone), _asked(measurement))
        for key in keys:
            with self._store.reading() as connection:
                curve = reading.curve(connection, key)
            yield curve

    def history(self, limit: int | None = None, *, cone: int | None = None) -> pd.DataFrame:
        """Read the acts, newest first: ``id, at, who, act, summary, arguments, undone, plan``.

        With `cone` only those that touched it, and ``was``: what of it each overwrote.
        """
        with self._store.reading() as connection:
            return read_history(connection, limit, _asked(cone))

    def newest_act(self, *, notes: bool = True) -> int:
        """Give the number of the act that was recorded last, or the last that wrote no note."""
        with self._store.reading() as connection:
            return newest_act(connection, notes=notes)

    def sessions(self) -> pd.DataFrame:
        """List the sittings at the test platform: ``session, at, measurements``, in order."""
        with self._store.reading() as connection:
            return reading.sessions(connection)

    def notes(self, cone: int | None = None) -> pd.DataFrame:
        """Read the lab book: ``at, cone, text``, in order."""
        with self._store.reading() as connection:
            return reading.notes(connection, _asked(cone))

    def data_digest(self) -> str:
        """Give the SHA-256 of everything that the answers stand on, to say 'same data' later."""
        with self._store.reading() as connection:
            return reading.data_digest(connection)

    def left_over(self) -> list[str]:
        """Say what the plan no longer has a name, level or range for, and what looks odd."""
        plan, space = self.plan, self.space
        with self._store.reading() as connection:
            return [
                *left_over(connection, plan),
                *dropped_levels(connection, plan, space),
                *beyond_range(connection, plan, space),
                *copied_files(connection),
                *sessions_without_reference(connection, plan),
            ]

    def check(self) -> list[Problem]:
        """Find everything that is wrong with the store, and recipes that cannot be, at once.

        Where the plan itself may be broken, use `experiments.checking.check_experiment`.

        Returns
        -------
        list of Problem
            Damage that SQLite finds, raw files whose bytes changed, recipes that do not fit
            the present plan, values of another definition. Empty when all is well.
        """
        plan, space = self.plan, self.space
        with self._store.reading() as connection:
            problems = impossible(space) + check_store(connection, self.folder / STORE_FILE)
            problems += check_recipes(connection, plan, space)
            return problems + value_problems(connection, plan)

    def _stamp(self) -> str:
        return self._now().astimezone(UTC).isoformat(timespec="seconds")


def _asked(number: int | None) -> int | None:
    return None if number is None else cone_number(number)


def _utc_now() -> datetime:
    return datetime.now(UTC)


def user_name() -> str:
    """Give the name of the computer's user, as the history says who did something."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # no such account, as in some containers
        return "somebody"
