"""Stored values brought up to the present plan, from the files they came from."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import pandas as pd

from experiments.acoustics.options import Options, Sweep
from experiments.acoustics.quality import CODES
from experiments.acts import check_values, write_readings
from experiments.agreement import told_stale
from experiments.definitions import Stale, stale_readings, stamp, unmarked_entries
from experiments.errors import CurveError, LedgerError, Problem
from experiments.ledger import Ledger
from experiments.measuring import Measured, measured_from
from experiments.plan import Plan
from experiments.raw_files import RawFile, with_rig
from experiments.records import Curve, Measurement, caution_text
from experiments.store import Writer

__all__ = ["recompute"]


def recompute(
    ledger: Ledger, *, only_show: bool = False, keep: Collection[str] = ()
) -> pd.DataFrame:
    """Bring every value up to the present plan: from the stored files, or by its unit.

    A file is read as it was read at the time; keys of ``[rig.files]`` that were not stated then
    are added. Values that a person entered stay, and are converted where the plan changed their
    unit. Cones that are set aside are left as they are. All of it is one act, which
    `Ledger.undo` takes back.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    only_show : bool
        Change nothing.
    keep : collection of str
        Metrics whose entered values stand as they are, whatever their unit was called.

    Returns
    -------
    pandas.DataFrame
        What changed: ``cone, session, measurement, metric, unit, before, after``.

    Raises
    ------
    CurveError
        If files can no longer be read; it names cones and files. Nothing is changed.
    LedgerError
        If an entered value cannot be converted, a file's bytes changed, or somebody else worked
        on the cones meanwhile.
    """
    plan = ledger.plan
    check_values(plan, dict.fromkeys(keep))
    with ledger.snapshot() as connection:
        table = ledger.wide_table()
        versions = dict(zip(table["cone"].tolist(), table["version"].tolist(), strict=True))
        counted = {cone.number for cone in ledger.cones() if cone.status != "set aside"}
        sittings = {one.id: one for one in ledger.measurements() if one.cone in counted}
        stale = [one for one in stale_readings(connection, plan) if one.counts]
    _refuse_unconvertible(plan, stale, keep)
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
    return pd.DataFrame(rows, columns=columns).astype({"before": float, "after": float})


def _refuse_unconvertible(plan: Plan, stale: Sequence[Stale], keep: Collection[str]) -> None:
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
