"""The ledger: what was planned, printed and measured, kept for years.

A folder holds ``experiment.toml`` (the plan), ``experiment.db`` (the store) and ``cards/``.
Every act is one transaction with one row in the append-only history, and can be undone.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping, Sequence
from typing import Any

from experiments import acts, reading
from experiments.entries import clean_text, cone_number
from experiments.errors import LedgerError, Problem
from experiments.journal import Journal
from experiments.records import Caution, Cone, StoredCurve
from experiments.slips import refuse_slips
from experiments.store import Writer
from experiments.trials import is_mass

__all__ = ["Ledger"]

Settings = Mapping[str, Any]


class Ledger(Journal):
    """One experiment: its plan, its cones and everything that was heard.

    Use `Ledger.create` or `Ledger.open`; close it, or use it in a ``with`` block.

    Attributes
    ----------
    folder : Path
        Where it lives.
    """

    def plan_cones(
        self,
        recipes: Sequence[Settings],
        *,
        plate: int | None = None,
        reason: Sequence[str] | None = None,
        proposal: Mapping[str, Any] | None = None,
        shortlist: bytes | None = None,
    ) -> list[int]:
        """Record proposed recipes as planned cones.

        Parameters
        ----------
        recipes : list of dict
            Complete, printable recipes; inactive variables absent.
        plate : int, optional
            The print job; a new one if not given.
        reason : list of str, optional
            Why each was chosen.
        proposal : dict, optional
            What the proposal stood on: seed, versions and so on, as JSON values. The digests
            of the plan and of the data are added where it does not give them.
        shortlist : bytes, optional
            The recipes that it had to choose from; kept like a raw file.

        Returns
        -------
        list of int
            The numbers of the cones.

        Raises
        ------
        RecipeError
            If a recipe cannot be printed.
        LedgerError
            If nothing is given, or reasons and recipes differ in number.
        """
        space = self.space
        arguments = {"recipes": list(recipes), "plate": plate, "reason": reason}
        with self.act("plan", {**arguments, "proposal": proposal}) as act:
            if proposal is not None:
                data = reading.data_digest(act.writer.connection)
                proposal = {"plan": self._plan.digest, "data": data, **proposal}
                if shortlist is not None:
                    proposal["shortlist"] = hashlib.sha256(shortlist).hexdigest()
                    act.writer.keep(proposal["shortlist"], shortlist)
            numbers = acts.plan_plate(
                act.writer,
                space,
                recipes,
                plate=plate,
                reasons=reason,
                proposal=proposal,
                plan_digest=self._plan.digest,
            )
            act.summary = f"{_cones(numbers)} planned"
        return numbers

    def add(
        self,
        settings: Settings,
        *,
        status: str = "printed",
        plate: int | None = None,
        mass: float | None = None,
        minutes: float | None = None,
        why: str = "",
        note: str = "",
    ) -> int:
        """Record a cone made outside any proposal.

        Parameters
        ----------
        settings : dict
            Its complete recipe; values between the plan's steps, and a little outside their
            range, are allowed unless it is only planned.
        status : {"printed", "planned", "failed"}
            Its state.
        plate, mass, minutes, note
            As in `printed`.
        why : str
            Why it failed.

        Returns
        -------
        int
            Its number.

        Raises
        ------
        RecipeError
            If the recipe is not complete, or a value is so far off that it must be a slip.
        LedgerError
            For another status, or a failure without a reason.
        """
        recipe = self.space.complete(dict(settings), off_grid=status != "planned")
        refuse_slips(self.plan, recipe)
        told = {"plate": plate, "mass": mass, "minutes": minutes, "why": why, "note": note}
        with self.act("add", {"settings": dict(settings), "status": status, **told}) as act:
            number = acts.add_cone(
                act.writer,
                recipe,
                status=status,
                plate=plate,
                mass=mass,
                minutes=minutes,
                why=why,
                note=note,
            )
            act.summary = f"cone {number} added as {status}"
        return number

    def printed(
        self,
        cone: int,
        *,
        mass: float | None = None,
        minutes: float | None = None,
        note: str = "",
        changes: Settings | None = None,
    ) -> Cone:
        """Record a planned cone as printed.

        Parameters
        ----------
        cone : int
            The cone.
        mass : float, optional
            Grams.
        minutes : float, optional
            How long the print took.
        note : str
            A remark.
        changes : dict, optional
            Settings in which the print differed from the card; None as a value leaves a
            variable out that is now inactive.

        Returns
        -------
        Cone
            As it is now.

        Raises
        ------
        RecipeError
            If the changed recipe is not complete, or a change is so far off that it must be a
            slip.
        LedgerError
            If the cone is not planned, or a number is none.
        """
        cone = cone_number(cone)
        arguments = {"cone": cone, "mass": mass, "minutes": minutes, "note": note}
        with self.act("printed", {**arguments, "changes": changes}) as act:
            acts.status_now(act.writer, cone, "printed")
            recipe = self._changed(act.writer, cone, changes) if changes else None
            acts.print_cone(act.writer, cone, recipe, mass=mass, minutes=minutes, note=note)
            act.summary = f"cone {cone} printed"
        return self.cone(cone)

    def _changed(self, writer: Writer, cone: int, changes: Settings) -> dict[str, Any]:
        now = reading.cones(writer.connection, self._plan, self._space, cone)[0].settings
        wanted = {**now, **changes}
        recipe = self._space.complete(
            {name: value for name, value in wanted.items() if value is not None}, off_grid=True
        )
        refuse_slips(self._plan, {name: recipe[name] for name in changes if name in recipe})
        return recipe

    def failed(self, cone: int, *, why: str, note: str = "") -> Cone:
        """Record that a planned or printed cone came to nothing.

        Parameters
        ----------
        cone : int
            The cone.
        why : str
            The reason, needed.
        note : str
            A remark.

        Returns
        -------
        Cone
            As it is now.

        Raises
        ------
        LedgerError
            If its state does not allow it, or no reason is given.
        """
        cone = cone_number(cone)
        with self.act("failed", {"cone": cone, "why": why, "note": note}) as act:
            acts.fail(act.writer, cone, why=why, note=note)
            act.summary = f"cone {cone} failed"
        return self.cone(cone)

    def set_aside(self, cone: int, *, why: str) -> Cone:
        """Let a cone count no longer, without forgetting it.

        Parameters
        ----------
        cone : int
            The cone, in any state.
        why : str
            The reason, needed.

        Returns
        -------
        Cone
            As it is now.

        Raises
        ------
        LedgerError
            If it is set aside already, or no reason is given.
        """
        cone = cone_number(cone)
        with self.act("set aside", {"cone": cone, "why": why}) as act:
            acts.put_aside(act.writer, cone, why=why)
            act.summary = f"cone {cone} set aside"
        return self.cone(cone)

    def put_back(self, cone: int) -> Cone:
        """Let a cone count again that was set aside.

        Parameters
        ----------
        cone : int
            The cone.

        Returns
        -------
        Cone
            In the state that its records amount to.

        Raises
        ------
        LedgerError
            If it is not set aside.
        """
        cone = cone_number(cone)
        with self.act("put back", {"cone": cone}) as act:
            status = acts.put_back(act.writer, cone)
            act.summary = f"cone {cone} put back as {status}"
        return self.cone(cone)

    def measure(
        self,
        cone: int,
        *,
        session: str,
        curves: Sequence[StoredCurve] = (),
        values: Mapping[str, float | None] | None = None,
        warnings: Sequence[Any] = (),
        by_hand: Collection[str] = (),
        age_days: float | None = None,
        light_hours: float | None = None,
        temperature_c: float | None = None,
        humidity_percent: float | None = None,
        note: str = "",
    ) -> int:
        """Record one measurement: its raw files and its metrics.

        Parameters
        ----------
        cone : int
            A printed or measured cone.
        session : str
            The sitting at the test platform; a new name begins a new session.
        curves : list of StoredCurve
            The raw files.
        values : dict
            Metric of the plan to value in the plan's unit; None where the files cannot carry it.
        warnings : list
            Texts, or objects with `code` and `text`.
        by_hand : collection of str
            Metrics whose value a person entered although files could give it.
        age_days, light_hours : float, optional
            Age of the cone and hours in the light.
        temperature_c, humidity_percent : float, optional
            Of the room: degrees Celsius, and relative humidity.
        note : str
            A remark.

        Returns
        -------
        int
            The measurement's id. `measurements` shows it, with a warning added for each file
            that a measurement of another cone brought already.

        Raises
        ------
        LedgerError
            If the cone's state does not allow it, the session has no name, a metric is unknown,
            a file is one that the cone has already, or there is nothing to record: neither
            files nor values, nor a mass that was given on printing.
        """
        cone, plan, given = cone_number(cone), self.plan, dict(values or {})
        if not curves and all(value is None for value in given.values()):
            self._refuse_nothing(cone)
        files = [{"name": one.name, "kind": one.kind, "bytes": len(one.content)} for one in curves]
        sitting = {
            "cone": cone,
            "session": session,
            "age_days": age_days,
            "light_hours": light_hours,
            "temperature_c": temperature_c,
            "humidity_percent": humidity_percent,
            "note": note,
        }
        with self.act("measure", {**sitting, "files": files, "values": given}) as act:
            cautions = [*_cautions(warnings), *acts.seen_before(act.writer, cone, curves)]
            key = acts.measure_cone(
                act.writer,
                plan,
                cone,
                session=session,
                curves=curves,
                values=given,
                by_hand=by_hand,
                cautions=cautions,
                given=sitting,
                note=note,
            )
            act.summary = f"cone {cone} measured in session {clean_text(session, 'session')}"
        return key

    def _refuse_nothing(self, cone: int) -> None:
        """Raise unless all metrics are entered by hand and the mass was, on printing.

        Where metrics come from files, their names were most likely forgotten.
        """
        metrics = self._plan.metrics.values()
        by_hand = all(metric.source == "hand" for metric in metrics)
        weighed = by_hand and any(is_mass(metric) for metric in metrics)
        if weighed and self.cone(cone).mass is not None:
            return
        entered = [name for name, one in self._plan.metrics.items() if one.source == "hand"]
        value = f", or `--value {entered[0]}=NUMBER`" if entered else ""
        remedy = f"Give its raw files{value}."
        raise LedgerError(
            Problem(f"cone {cone}", "neither files nor values", "a measurement to record", remedy)
        )


def _cautions(warnings: Sequence[Any]) -> list[Caution]:
    return [
        Caution(str(getattr(one, "code", "remark")), str(getattr(one, "text", one)))
        for one in warnings
    ]


def _cones(numbers: Sequence[int]) -> str:
    if len(numbers) == 1:
        return f"cone {numbers[0]}"
    return f"cones {numbers[0]} {'and' if len(numbers) == 2 else 'to'} {numbers[-1]}"
