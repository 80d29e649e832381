"""What may be done to a cone, and when: each act checks the cone's state and writes.

::

    planned ──► printed ──► measured ◄─┐
       │           │            └──────┘ again: a repeat, or at a later age
       └──► failed ◄┘
    any ──► set aside ──► what it was before (put back)
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping, Sequence
from typing import Any

from experiments.bounds import wanted_instead
from experiments.circumstances import circumstances
from experiments.entries import clean_text, cone_number, finite_number, needed_text
from experiments.errors import LedgerError, Problem
from experiments.grammar import suggest
from experiments.history import withdrawn_number
from experiments.plan import Metric, Plan
from experiments.reading import state_before
from experiments.records import Caution, StoredCurve, caution_text
from experiments.space import Space
from experiments.store import Writer
from experiments.trials import is_mass

__all__ = [
    "add_cone",
    "check_values",
    "edit_measurement",
    "fail",
    "measure_cone",
    "next_number",
    "plan_plate",
    "print_cone",
    "put_aside",
    "put_back",
    "seen_before",
    "status_now",
    "store_settings",
    "write_note",
    "write_readings",
]

Settings = Mapping[str, Any]

_ALLOWED = {
    "printed": ("planned",),
    "failed": ("planned", "printed"),
    "measured": ("printed", "measured"),
    "set aside": ("planned", "printed", "measured", "failed"),
    "put back": ("set aside",),
}
"""The states from which each act may be done."""

_ANEW = "one that was measured anew: a copy would pass for a repeat without any scatter"
_COPIED = (
    "Leave it out. What was typed wrong with it is corrected in the exported table, or by `undo` "
    "and measuring again."
)
_UNDO = "If that was recorded by mistake, take it back with `undo`."
_REMEDIES = {
    ("printed", "printed"): "To correct the record, edit it in the exported table and import it.",
    ("failed", "failed"): "To correct the reason, edit it in the exported table and import it.",
    ("measured", "planned"): "Record it as printed first.",
    ("printed", "failed"): "A second try is a new cone: add it. " + _UNDO,
    ("measured", "failed"): "A failed cone has nothing to measure. " + _UNDO,
    ("failed", "measured"): "A cone that broke after it was measured is set aside.",
    ("printed", "set aside"): "Put it back first.",
    ("failed", "set aside"): "Put it back first.",
    ("measured", "set aside"): "Put it back first.",
}


def status_now(writer: Writer, cone: int, act: str | None = None) -> str:
    """Tell the state of a cone and make sure that it allows an act.

    Parameters
    ----------
    writer : Writer
        The open act.
    cone : int
        The cone.
    act : str, optional
        ``printed``, ``failed``, ``measured``, ``set aside`` or ``put back``.

    Returns
    -------
    str
        The present status.

    Raises
    ------
    LedgerError
        If there is no such cone, or its state does not allow the act.
    """
    row = writer.one("SELECT status FROM cones WHERE id = ?", (cone,))
    if row is None:
        raise _no_cone(writer, cone)
    status = str(row[0])
    if act is not None and status not in _ALLOWED[act]:
        wanted = " or ".join(_ALLOWED[act])
        doing = "to be put back" if act == "put back" else f"to be recorded as {act}"
        raise LedgerError(
            Problem(
                f"cone {cone}",
                f"a cone that is {status}",
                f"one that is {wanted}, {doing}",
                _REMEDIES.get((act, status), _UNDO),
            )
        )
    return status


def _no_cone(writer: Writer, cone: int) -> LedgerError:
    row = writer.one("SELECT count(*), max(id) FROM cones")
    count, last = row if row else (0, None)
    known = "a cone; the table is empty"
    if count:
        known = (
            f"one of the {count} cones up to {last}" if count > 1 else f"cone {last}, the only one"
        )
    return LedgerError(Problem("cone", f"{cone}", known, "Look at the table."))


def next_number(writer: Writer) -> int:
    """Give the number that the next cone gets: one that no cone ever had."""
    row = writer.one("SELECT coalesce(max(id), 0) FROM cones")
    return max(int(row[0]) if row else 0, withdrawn_number(writer)) + 1


def plan_plate(
    writer: Writer,
    space: Space,
    recipes: Sequence[Settings],
    *,
    plate: int | None,
    reasons: Sequence[str] | None,
    proposal: Mapping[str, Any] | None,
    plan_digest: str,
) -> list[int]:
    """Record proposed recipes as planned cones of one plate; see `Ledger.plan_cones`."""
    if not recipes:
        raise LedgerError(Problem("recipes", "none", "one or more"))
    if reasons is not None and len(reasons) != len(recipes):
        raise LedgerError(Problem("reasons", f"{len(reasons)}", f"one a recipe: {len(recipes)}"))
    complete = [space.complete(recipe) for recipe in recipes]
    key = None
    if proposal is not None:
        key = writer.insert(
            "proposals",
            at=writer.at,
            seed=proposal.get("seed"),
            plan=plan_digest,
            details=json.dumps(dict(proposal), ensure_ascii=False, sort_keys=True, default=str),
        )
    number = _plate(writer, plate)
    cones = []
    for recipe, reason in zip(complete, reasons or [""] * len(complete), strict=True):
        cone = writer.insert(
            "cones",
            id=next_number(writer),
            status="planned",
            plate=number,
            origin="proposed",
            proposal=key,
            reason=clean_text(reason, "reason"),
            planned_at=writer.at,
            version=writer.act,
        )
        store_settings(writer, cone, recipe)
        cones.append(cone)
    return cones


def _plate(writer: Writer, plate: int | None) -> int:
    if plate is not None:
        return cone_number(plate, "plate")
    row = writer.one("SELECT coalesce(max(plate), 0) + 1 FROM cones")
    return int(row[0]) if row else 1


def add_cone(
    writer: Writer,
    recipe: Settings,
    *,
    status: str,
    origin: str = "added",
    number: int | None = None,
    plate: int | None = None,
    mass: float | None = None,
    minutes: float | None = None,
    why: str = "",
    note: str = "",
) -> int:
    """Record a cone that no proposal asked for; `recipe` must be complete already."""
    if status not in ("planned", "printed", "failed"):
        raise LedgerError(
            Problem("status", repr(status), "planned, printed or failed", "Measure it afterwards.")
        )
    cone = writer.insert(
        "cones",
        id=next_number(writer) if number is None else number,
        status=status,
        plate=None if plate is None else cone_number(plate, "plate"),
        origin=origin,
        mass_g=_mass(mass),
        minutes=finite_number(minutes, "minutes", least=0.0),
        failure=needed_text(why, "why", "Say why it failed.") if status == "failed" else "",
        note=clean_text(note, "note"),
        planned_at=writer.at if status == "planned" else None,
        printed_at=writer.at if status == "printed" else None,
        version=writer.act,
    )
    store_settings(writer, cone, recipe)
    return cone


def store_settings(writer: Writer, cone: int, recipe: Settings) -> None:
    """Make the recorded recipe of a cone equal to a complete recipe."""
    known = {
        name: key
        for key, name in writer.all("SELECT id, variable FROM settings WHERE cone = ?", (cone,))
    }
    for name, value in recipe.items():
        if name in known:
            writer.update("settings", known.pop(name), value=value)
        else:
            writer.insert("settings", cone=cone, variable=name, value=value)
    for key in known.values():
        writer.delete("settings", key)


def print_cone(
    writer: Writer,
    cone: int,
    recipe: Settings | None,
    *,
    mass: float | None,
    minutes: float | None,
    note: str,
) -> None:
    """Record a planned cone as printed; `recipe` is given where the print differed."""
    status_now(writer, cone, "printed")
    if recipe is not None:
        store_settings(writer, cone, recipe)
    given = {
        "mass_g": _mass(mass),
        "minutes": finite_number(minutes, "minutes", least=0.0),
        "note": clean_text(note, "note") or None,
    }
    writer.update(
        "cones",
        cone,
        status="printed",
        printed_at=writer.at,
        version=writer.act,
        **{name: value for name, value in given.items() if value is not None},
    )


def _mass(mass: float | None) -> float | None:
    value = finite_number(mass, "mass", least=0.0)
    if value == 0.0:
        raise LedgerError(Problem("mass", "0", "the mass of the cone in grams, above zero"))
    return value


def fail(writer: Writer, cone: int, *, why: str, note: str = "") -> None:
    """Record that a cone could not be printed."""
    status_now(writer, cone, "failed")
    reason = needed_text(why, "why", "Say why it failed; it helps to choose what prints.")
    more = {"note": clean_text(note, "note")} if clean_text(note, "note") else {}
    writer.update("cones", cone, status="failed", failure=reason, version=writer.act, **more)


def put_aside(writer: Writer, cone: int, *, why: str) -> None:
    """Record that a cone counts no longer."""
    status_now(writer, cone, "set aside")
    reason = needed_text(why, "why", "Say why it is set aside.")
    writer.update("cones", cone, status="set aside", aside=reason, version=writer.act)


def put_back(writer: Writer, cone: int) -> str:
    """Let a cone count again that was set aside; returns the state it is back in."""
    status_now(writer, cone, "put back")
    status = state_before(writer.connection, cone)
    writer.update("cones", cone, status=status, aside="", version=writer.act)
    return status


def measure_cone(
    writer: Writer,
    plan: Plan,
    cone: int,
    *,
    session: str,
    curves: Sequence[StoredCurve],
    values: Mapping[str, float | None],
    by_hand: Collection[str],
    cautions: Sequence[Caution],
    given: Mapping[str, Any],
    note: str,
) -> int:
    """Record one measurement with its raw files; returns its id.

    `given` has what is known of `experiments.circumstances`.
    """
    status_now(writer, cone, "measured")
    measurement = writer.insert(
        "measurements",
        cone=cone,
        session=_session(writer, session),
        at=writer.at,
        **circumstances(given),
        note=clean_text(note, "note"),
        warnings=caution_text(cautions),
    )
    for name, value in check_values(plan, values).items():
        hand = name in by_hand or plan.metrics[name].source == "hand" or not curves
        writer.insert(
            "readings", measurement=measurement, metric=name, value=value, by_hand=int(hand)
        )
    for curve in curves:
        _store_curve(writer, measurement, curve)
    writer.update("cones", cone, status="measured", version=writer.act)
    return measurement


def edit_measurement(
    writer: Writer,
    measurement: int,
    fields: Mapping[str, Any],
    readings: Mapping[str, float | None],
) -> None:
    """Correct a measurement by hand: its circumstances, or values that then count as typed."""
    columns = dict(fields)
    if "session" in columns:
        columns["session"] = _session(writer, columns["session"])
    writer.update("measurements", measurement, **columns)
    write_readings(writer, measurement, readings, by_hand=True)


def write_readings(
    writer: Writer, measurement: int, values: Mapping[str, float | None], *, by_hand: bool
) -> None:
    """Set values of a measurement, whether or not it had them before."""
    rows = writer.all("SELECT metric, id FROM readings WHERE measurement = ?", (measurement,))
    known = {metric: key for metric, key in rows}
    for metric, value in values.items():
        columns = {"value": value, "by_hand": int(by_hand)}
        if metric in known:
            writer.update("readings", known[metric], **columns)
        else:
            writer.insert("readings", measurement=measurement, metric=metric, **columns)


def _session(writer: Writer, name: str) -> int:
    text = needed_text(name, "session", "Name the sitting at the test platform.")
    row = writer.one("SELECT id FROM sessions WHERE name = ?", (text,))
    return int(row[0]) if row else writer.insert("sessions", name=text, at=writer.at)


def check_values(plan: Plan, values: Mapping[str, float | None]) -> dict[str, float | None]:
    """Make sure that values belong to metrics of the plan and are numbers or None.

    Raises
    ------
    LedgerError
        Naming every metric that is unknown or whose value is no number.
    """
    problems: list[Problem | str] = []
    checked: dict[str, float | None] = {}
    for name, value in values.items():
        if name not in plan.metrics:
            problems.append(_no_metric(plan, name))
            continue
        try:
            weighed = is_mass(plan.metrics[name])
            checked[name] = _mass(value) if weighed else _possible(plan.metrics[name], value)
        except LedgerError as error:
            problems.extend(error.problems)
    if problems:
        raise LedgerError(*problems)
    return checked


def _possible(metric: Metric, value: float | None) -> float | None:
    number = finite_number(value, metric.name)
    wanted = "" if number is None else wanted_instead(metric, number)
    if wanted:
        remedy = "Check the number; leave it out where nothing could be told."
        raise LedgerError(Problem(metric.name, f"{number:g}", wanted, remedy))
    return number


def _no_metric(plan: Plan, name: str) -> Problem:
    """Name the metrics, and those that a person enters."""
    known = ", ".join(plan.metrics) or "none"
    entered = ", ".join(each for each, one in plan.metrics.items() if one.source == "hand")
    remedy = suggest(name, plan.metrics)
    if entered:
        remedy = f"{remedy} Entered by hand: {entered}.".strip()
    return Problem("metric", repr(name), f"a metric of the plan: {known}", remedy)


def _store_curve(writer: Writer, measurement: int, curve: StoredCurve) -> None:
    digest = hashlib.sha256(curve.content).hexdigest()
    writer.keep(digest, curve.content)
    writer.insert(
        "curves",
        measurement=measurement,
        name=clean_text(curve.name, "file name"),
        kind=curve.kind,
        sha256=digest,
        options=json.dumps(curve.options, ensure_ascii=False, sort_keys=True),
    )


def seen_before(writer: Writer, cone: int, curves: Sequence[StoredCurve]) -> list[Caution]:
    """Give warnings for files whose bytes another cone's measurement brought already.

    Raises
    ------
    LedgerError
        If it was one of the same cone: a copy would pass for a repeat without any scatter.
    """
    cautions, copies = [], []
    for curve in curves:
        row = writer.one(
            """SELECT m.cone, s.name, f.kind FROM curves f
            JOIN measurements m ON m.id = f.measurement JOIN sessions s ON s.id = m.session
            WHERE f.sha256 = ? ORDER BY m.cone <> ?, f.kind <> ?, m.id LIMIT 1""",
            (hashlib.sha256(curve.content).hexdigest(), cone, curve.kind),
        )
        if row and (row[0], row[2]) == (cone, curve.kind):
            found = f"byte for byte the file that cone {cone} has from session {row[1]}"
            copies.append(Problem(curve.name, found, _ANEW, _COPIED))
        elif row:
            text = (
                f"{curve.name} is byte for byte the file of cone {row[0]} in session {row[1]}; "
                "make sure that it is the right one."
            )
            cautions.append(Caution("seen_before", text))
    if copies:
        raise LedgerError(*copies)
    return cautions


def write_note(writer: Writer, text: str, cone: int | None) -> int:
    """Add a remark to the lab book."""
    if cone is not None:
        status_now(writer, cone)
    return writer.insert("notes", at=writer.at, cone=cone, text=needed_text(text, "note"))
