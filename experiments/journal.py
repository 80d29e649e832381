"""How acts are written: each one transaction with its row in the history, and the way back."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Self

from experiments import acts
from experiments.copies import COPY, Copy
from experiments.definitions import stamp_changes
from experiments.entries import cone_number
from experiments.expecting import refuse_change
from experiments.folder import found_experiment
from experiments.history import acts_to_undo, take_back
from experiments.outputs import check_output
from experiments.places import PLAN_FILE
from experiments.store import Writer
from experiments.view import View

__all__ = ["Act", "Journal"]


@dataclass
class Act:
    """An act while it is being written.

    Attributes
    ----------
    writer : Writer
        Changes the store.
    summary : str
        Set before the end: what was done, in a few plain words.
    """

    writer: Writer
    summary: str = ""


class Journal(View):
    """An experiment in which acts can be written down and taken back, whatever they are."""

    _expected: tuple[int, int] | None = None

    @classmethod
    def create(
        cls,
        folder: str | Path,
        plan_text: str,
        *,
        who: str | None = None,
        now: Callable[[], datetime] | None = None,
    ) -> Self:
        """Start an experiment.

        Parameters
        ----------
        folder : path
            A new folder, or one that holds no experiment yet.
        plan_text : str
            The plan as TOML.
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
        PlanError
            If the plan is not valid; nothing is written then.
        LedgerError
            If the folder holds an experiment already, or cannot be written.
        """
        found_experiment(Path(folder), plan_text)
        ledger = cls.open(folder, who=who, now=now)
        with ledger._store.writing(ledger._stamp()) as writer:
            ledger._record(writer, "start", {}, f"experiment {ledger.plan.name!r} started")
        return ledger

    @contextmanager
    def expecting(self, cone: int, version: int) -> Iterator[None]:
        """Let an act inside the block pass only while a cone is as somebody saw it.

        Parameters
        ----------
        cone : int
            The cone.
        version : int
            The act that had last touched it then; see `View.wide_table`.

        Raises
        ------
        ConflictError
            By the act, which then changes nothing, if another one came first.
        """
        self._expected = (cone, version)
        try:
            yield
        finally:
            self._expected = None

    @contextmanager
    def act(self, name: str, arguments: Mapping[str, Any]) -> Iterator[Act]:
        """One transaction with its row in the history; for the modules of this package.

        Parameters
        ----------
        name : str
            The act in one word.
        arguments : dict
            What was asked for, as JSON values.

        Yields
        ------
        Act
            Set its `summary`. An act that changes nothing leaves no row.
        """
        self._refresh()
        with self._store.writing(self._stamp()) as writer:
            if self._expected is not None:
                refuse_change(writer, *self._expected)
            act = Act(writer)
            yield act
            stamp_changes(writer, self._plan)
            if writer.changes:
                self._record(writer, name, arguments, act.summary)

    def _record(
        self,
        writer: Writer,
        name: str,
        arguments: Mapping[str, Any],
        summary: str,
        undoes: int | None = None,
    ) -> None:
        writer.keep_plan(self._plan.digest, self._plan_text)
        writer.record(
            who=self._who,
            act=name,
            summary=summary,
            arguments=json.dumps(dict(arguments), ensure_ascii=False, default=_plain_value),
            undoes=undoes,
            plan=self._plan.digest,
        )

    def note(self, text: str, *, cone: int | None = None) -> None:
        """Write a remark into the lab book, about a cone or in general."""
        cone = None if cone is None else cone_number(cone)
        with self.act("note", {"text": text, "cone": cone}) as act:
            acts.write_note(act.writer, text, cone)
            act.summary = "note written" if cone is None else f"note on cone {cone} written"

    def undo(self, *, act: int | None = None) -> str:
        """Take the last act back that is still in force; again and again, to the start.

        Parameters
        ----------
        act : int, optional
            The number in the history of the act that is meant. If another one is the last in
            force, since somebody went on working, nothing is undone.

        Returns
        -------
        str
            What was undone, such as ``undid: cone 7 printed``.

        Raises
        ------
        LedgerError
            If nothing is left to undo, or another act than `act` comes first.
        """
        with self._store.writing(self._stamp()) as writer:
            number, summary = take_back(writer, act)
            self._record(writer, "undo", {"act": number}, f"undid: {summary}", undoes=number)
        return f"undid: {summary}"

    def undo_to(self, act: int) -> list[str]:
        """Take every act after this one back, the last one first; each undo is an act itself.

        Parameters
        ----------
        act : int
            The number in the history of the last act that shall stay in force.

        Returns
        -------
        list of str
            What was undone.

        Raises
        ------
        LedgerError
            If there is no such act, or what it left can no longer be reached.
        """
        with self._store.reading() as connection:
            later = acts_to_undo(connection, act)
        return [self.undo(act=number) for number in later]

    def backup(self, path: str | Path, *, force: bool = False) -> Copy:
        """Copy store and plan to one file while others may go on working, and read it back.

        Parameters
        ----------
        path : path
            The file, ``.db``; an older backup is replaced if it is as coneloop wrote it.
        force : bool
            Replace another file, too.

        Returns
        -------
        Copy
            What was read back. `experiments.restoring` puts it back; beside an
            ``experiment.toml``, under the name ``experiment.db``, it is a whole experiment, too.

        Raises
        ------
        OutputError
            If the name does not fit, or another file stands there.
        LedgerError
            If it cannot be written, or does not read back as it was written.
        """
        path = Path(path)
        check_output(path, COPY, force=force)
        text = (self.folder / PLAN_FILE).read_text(encoding="utf-8-sig")
        return self._store.backup(path, text, self._stamp())

    def keep_copy(self, occasion: str) -> Path:
        """Copy the store into the folder's ``backups``, before something that changes much."""
        return self._store.keep_copy(occasion, self._stamp())


def _plain_value(value: Any) -> Any:
    """Numpy scalars, sets and the like, for the history's arguments."""
    if hasattr(value, "item"):
        return value.item()
    return str(value)
