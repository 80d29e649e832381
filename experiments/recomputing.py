"""Stored values brought up to the present plan, from the files they came from."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace

import pandas as pd

from experiments.acoustics.options import Options, Sweep
from experiments.acoustics.quality import CODES
from experiments.acts import check_values, write_readings
from experiments.agreement import cones_text, told_stale, unit_problems
from experiments.definitions import Stale, stale_readings, stamp, unmarked_entries
from experiments.errors import CurveError, LedgerError, Problem
from experiments.ledger import Ledger
from experiments.measuring import Measured, measured_from
from experiments.plan import Plan
from experiments.raw_files import RawFile, with_rig
from experiments.records import Curve, Measurement, caution_text
from experiments.renamed_metrics import take_over
from experiments.store import Writer
from experiments.unit_changes import UnitChange, change_units, unit_changes

__all__ = ["recompute"]


def recompute(
    ledger: Ledger, *, only_show: bool = False, keep: Collection[str] = ()
) -> pd.DataFrame:
    """Bring every value up to the present plan: from the stored files, or by its unit.

    Values under the old name of a metric (``was``) come under the new one, and settings whose unit
    the plan changed are converted. A file is read as it was read at the time; keys of
    ``[rig.files]`` that were not stated then are added. Values that a person entered stay, and are
    converted where the plan changed their unit. Cones that are set aside are left as they are. All
    of it is one act, which `Ledger.undo` takes back.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    only_show : bool
        Change nothing.
    keep : collection of str
        Metrics whose entered values stand as they are, and variables whose settings do, whatever
        their unit was called.

    Returns
    -------
    pandas.DataFrame
        What changed: ``cone, session, measurement, metric, unit, before, after``. Its
        ``attrs["notes"]`` say in a sentence each what else is done: metrics that get their new
        names, settings that are converted, values that stay since a person entered them.

    Raises
    ------
    CurveError
        If files can no longer be read; it names cones and files. Nothing is changed.
    LedgerError
        If an entered value cannot be converted, a file's bytes changed, or somebody else worked
        on the cones meanwhile.
    """
    plan = ledger.plan
    check_values(plan, dict.fromkeys(name for name in keep if name not in plan.variables))
    with ledger.rehearsal() as writer:
        renamed = take_over(writer, plan)
        moved = unit_changes(writer.connection, plan)
        sittings = _counted(ledger)
        stale = [one for one in stale_readings(writer.connection, plan) if one.counts]
    # Cones as the act will find them: those that were renamed in the rehearsal are unchanged yet.
    versions = dict(ledger.wide_table()[["cone", "version"]].itertuples(index=False, name=None))
    _refuse_unconvertible(plan, stale, moved, keep)
    # Listening takes long; nobody else has to wait for it.
    heard = _all_again(plan, ledger, [one for one in sittings.values() if one.files])
    fresh = _entered(stale, keep)
    for one, measured in heard:
        derived = {name: measured.values[name] for name in _derived(plan, one, measured)}
        fresh[one.id] = derived | fresh.get(one.id, {})
    changed = [
        (sittings[key], name, after)
        for key in sorted(fresh)
        for name, after in fresh[key].items()
        if name not in sittings[key].values or sittings[key].values[name] != after
    ]
    if not only_show:
        with ledger.act("recompute", {"metrics": list(plan.metrics), "keep": sorted(keep)}) as act:
            _check_fresh(act.writer, versions)
            take_over(act.writer, plan)
            change_units(act.writer, moved, keep)
            for key, values in fresh.items():
                _rewrite(act.writer, sittings[key], values)
            for one, measured in heard:
                _rewarn(act.writer, one, measured)
            stamp(act.writer, plan, [one.reading for one in stale if one.reading is not None])
            stamp(act.writer, plan, unmarked_entries(act.writer))
            number = len(changed)
            act.summary = f"metrics recomputed, {number} value{'' if number == 1 else 's'} changed"
    rows = [
        (one.cone, one.session, one.id, name, plan.metrics[name].unit, one.values.get(name), after)
        for one, name, after in changed
    ]
    columns = ["cone", "session", "measurement", "metric", "unit", "before", "after"]
    frame = pd.DataFrame(rows, columns=columns).astype({"before": float, "after": float})
    frame.attrs["notes"] = [
        *(
            f"values of '{plan.metrics[name].was}' of {cones_text(cone for _, cone in rows)} "
            f"stand under {name} from now on"
            for name, rows in renamed.items()
        ),
        *_moved_text(moved, keep),
        *_kept_text(plan, sittings.values()),
    ]
    return frame


def _counted(ledger: Ledger) -> dict[int, Measurement]:
    """Give the measurements of the cones that are not set aside."""
    counted = {cone.number for cone in ledger.cones() if cone.status != "set aside"}
    return {one.id: one for one in ledger.measurements() if one.cone in counted}


def _moved_text(moved: Sequence[UnitChange], keep: Collection[str]) -> list[str]:
    return [
        f"{one.variable} of {cones_text(one.cones)}: "
        + (
            f"the numbers stand, now in {one.now}"
            if one.variable in keep
            else f"converted from {one.was} to {one.now}"
        )
        for one in moved
    ]


def _kept_text(plan: Plan, sittings: Iterable[Measurement]) -> list[str]:
    """Say which values stay because a person entered them, though files could give them."""
    cones: dict[str, set[int]] = {}
    for one in sittings:
        for name in one.by_hand if one.files else ():
            if name in plan.metrics and plan.metrics[name].source != "hand":
                cones.setdefault(name, set()).add(one.cone)
    return [
        f"{name} of {cones_text(numbers)} was entered by hand and stays"
        for name, numbers in sorted(cones.items())
    ]


def _refuse_unconvertible(
    plan: Plan, stale: Sequence[Stale], moved: Sequence[UnitChange], keep: Collection[str]
) -> None:
    stuck = [one for one in moved if one.variable not in keep and one.converted() is None]
    if stuck:
        raise LedgerError(*unit_problems(stuck))
    lost = [
        one
        for one in stale
        if one.by_hand and one.converted is None and one.metric.name not in keep
    ]
    if lost:
        raise LedgerError(*told_stale(plan, lost))


def _entered(stale: Sequence[Stale], keep: Collection[str]) -> dict[int, dict[str, float | None]]:
    """Give entered values in the present unit, and nothing where no file stands behind a value."""
    found: dict[int, dict[str, float | None]] = {}
    for one in stale:
        if one.by_hand:
            after = one.value if one.metric.name in keep else one.converted
            found.setdefault(one.measurement, {})[one.metric.name] = after
        elif one.file is None:
            found.setdefault(one.measurement, {})[one.metric.name] = None
    return found


def _all_again(
    plan: Plan, ledger: Ledger, sittings: Sequence[Measurement]
) -> list[tuple[Measurement, Measured]]:
    """Hear every measurement again; name every file that cannot be read."""
    heard: list[tuple[Measurement, Measured]] = []
    problems: list[Problem | str] = []
    for one in sittings:
        try:
            heard.append((one, _again(plan, one, ledger.curves(measurement=one.id))))
        except CurveError as error:
            where = f"cone {one.cone}, session {one.session}"
            problems += [_put_before(where, problem) for problem in error.problems]
    if problems:
        raise CurveError(*problems)
    return heard


def _put_before(where: str, problem: Problem | str) -> Problem | str:
    if isinstance(problem, Problem):
        return replace(problem, where=f"{where}: {problem.where}")
    return f"{where}: {problem}"


def _again(plan: Plan, one: Measurement, curves: Sequence[Curve]) -> Measured:
    typed = {name: one.values[name] for name in one.by_hand if name in plan.metrics}
    typed = {name: value for name, value in typed.items() if value is not None}
    return measured_from(plan, [_reopen(plan, curve) for curve in curves], typed)


def _reopen(plan: Plan, curve: Curve) -> RawFile:
    given = dict(curve.options)
    if "sweep" in given:
        given["sweep"] = Sweep(**given["sweep"])
    stored = Options().with_values(given)
    options = with_rig(plan, curve.kind, stored)
    try:
        return RawFile(curve.name, curve.content, curve.kind, options)
    except CurveError:
        if options == stored:
            raise
        # The plan speaks of files that are written in another way by now.
        return RawFile(curve.name, curve.content, curve.kind, stored)


def _derived(plan: Plan, one: Measurement, measured: Measured) -> list[str]:
    """List the metrics that this measurement's files can have a say in."""
    kinds = {curve.kind for curve in measured.curves}
    return [
        name
        for name, metric in plan.metrics.items()
        if metric.source != "hand"
        and name not in one.by_hand
        and (name in one.values or metric.source in kinds or "sweep" in kinds)
    ]


def _check_fresh(writer: Writer, versions: Mapping[int, int]) -> None:
    now = {cone: version for cone, version in writer.all("SELECT id, version FROM cones")}
    if any(now.get(cone) != version for cone, version in versions.items()):
        raise LedgerError(
            Problem("recompute", "cones that changed meanwhile", "a quiet table", "Run it again.")
        )


def _rewrite(writer: Writer, one: Measurement, values: Mapping[str, float | None]) -> None:
    before = len(writer.changes)
    for name, value in values.items():
        write_readings(writer, one.id, {name: value}, by_hand=name in one.by_hand)
    if len(writer.changes) > before:
        writer.update("cones", one.cone, version=writer.act)


def _rewarn(writer: Writer, one: Measurement, measured: Measured) -> None:
    """Put the warnings of the files in place of what they warned of before."""
    ours = {*CODES, "no_file", "not_entered"}
    kept = [caution for caution in one.warnings if caution.code not in ours]
    writer.update("measurements", one.id, warnings=caution_text([*measured.warnings, *kept]))
