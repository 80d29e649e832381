"""From the raw files of one mounting to the metrics of the plan."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from experiments.acoustics.catalogue import KINDS, convert
from experiments.acoustics.curves import Distortion
from experiments.acoustics.evidence import harmonic_support
from experiments.acoustics.listening import Listening
from experiments.acoustics.options import Options
from experiments.acts import check_values
from experiments.errors import CurveError, LedgerError, Problem
from experiments.plan import Metric, Plan
from experiments.raw_files import RawFile, Source, open_source, sources_on_disk, sources_sent
from experiments.records import Caution, StoredCurve
from experiments.trials import is_mass

__all__ = [
    "Measured",
    "measure_contents",
    "measure_files",
    "measured_from",
]

_ABOUT = (
    ("level and deviation:", ("level_db", "deviation_db", "deviation_sd_db")),
    ("lower limit:", ("lower_limit_hz",)),
    ("upper limit:", ("upper_limit_hz",)),
    ("break-up Q:", ("breakup_q",)),
    ("break-up:", ("breakup_hz", "breakup_q")),
    ("decay:", ("decay_ms",)),
    *((f"HD{order}:", (f"hd{order}_percent",)) for order in (2, 3, 4, 5)),
    ("THD", ("thd_peak_percent", "thd_peak_hz", *(f"hd{k}_percent" for k in (2, 3, 4, 5)))),
)
"""How a warning begins that concerns certain measures only. Others concern the whole file."""

_LEVELS = ("level_db", "deviation_db", "deviation_sd_db")
_LIMITS = ("lower_limit_hz", "upper_limit_hz")
_DISTORTION = ("thd_peak_percent", "thd_peak_hz", *(f"hd{k}_percent" for k in (2, 3, 4, 5)))
_NOTED = (
    ("smoothed by", (*_LEVELS, *_LIMITS)),
    ("level and deviation over", _LEVELS),
    ("averaged over", _LIMITS),
    ("limits where", _LIMITS),
    ("troughs narrower", _LIMITS),
    ("break-up", ("breakup_hz", "breakup_q")),
    ("more peaks passed over", ("breakup_hz", "breakup_q")),
    ("decay from", ("decay_ms",)),
    ("an offset of", ("decay_ms",)),
    ("THD", _DISTORTION),
    ("points without all harmonics", _DISTORTION),
)
"""What a note says that tells how certain measures were taken. Others tell how a file was read."""


@dataclass(frozen=True)
class Measured:
    """What the files of one mounting gave; `Ledger.measure` takes the parts.

    Parameters
    ----------
    values : dict of str to float or None
        Every metric of the plan in its unit; None where nothing carries it.
    curves : list of StoredCurve
        The files.
    warnings : list of Caution
        What the reader of these values must know.
    by_hand : frozenset of str
        Metrics that a person entered.
    notes : list of str
        What was assumed, file by file.
    heard : list of Listening
        The files as `experiments.acoustics.listen` heard them, without any metric's own options.
    """

    values: dict[str, float | None]
    curves: list[StoredCurve]
    warnings: list[Caution]
    by_hand: frozenset[str] = frozenset()
    notes: list[str] = field(default_factory=list)
    heard: list[Listening] = field(default_factory=list, repr=False)


def measure_files(
    plan: Plan,
    files: Sequence[str | Path],
    *,
    kinds: Mapping[str | Path, str] | str | None = None,
    hand: Mapping[str, float | None] | None = None,
    options: Options | None = None,
) -> Measured:
    """Compute the metrics of the plan from the raw files of one mounting.

    Parameters
    ----------
    plan : Plan
        Its metrics name the kind of file that each comes from, and options of their own.
    files : sequence of path
        At most one file a kind. A sweep recording stands in for every kind without a file.
    kinds : mapping or str, optional
        The kind of each file by its path or name, or of all; found out where not given.
    hand : mapping, optional
        Values that a person entered, in the plan's units; they win over computed ones.
    options : Options, optional
        Options for reading all files; by default those that the plan states for its rig.

    Returns
    -------
    Measured
        Values, files and warnings. A metric without a file is None, and a warning says so.

    Raises
    ------
    CurveError
        If a file cannot be read, two are of one kind, or no metric uses any and nothing was
        entered.
    LedgerError
        If an entered value belongs to no metric of the plan.
    """
    return _measured(plan, sources_on_disk(files, kinds), hand, options)


def measure_contents(
    plan: Plan,
    files: Sequence[tuple[str, bytes]],
    *,
    kinds: Mapping[str, str] | None = None,
    hand: Mapping[str, float | None] | None = None,
    options: Options | None = None,
) -> Measured:
    """As `measure_files`, of files that are not on this disk but were sent.

    Parameters
    ----------
    plan, hand, options
        As in `measure_files`.
    files : sequence of (str, bytes)
        What each is called, and its content. A sidecar of a sweep may be among them.
    kinds : mapping of str to str, optional
        The kind of each file by its name; found out where not given.

    Returns
    -------
    Measured

    Raises
    ------
    CurveError, LedgerError
        As in `measure_files`.
    """
    return _measured(plan, sources_sent(files, kinds), hand, options)


def _measured(
    plan: Plan,
    sources: Sequence[Source],
    hand: Mapping[str, float | None] | None,
    options: Options | None,
) -> Measured:
    opened: list[RawFile] = []
    problems: list[Problem | str] = []
    for source in sources:
        try:
            opened.append(open_source(plan, source, options or Options()))
        except CurveError as error:
            problems += error.problems
    try:
        check_values(plan, hand or {})
    except LedgerError as error:
        problems += error.problems
        if len(problems) == len(error.problems):
            raise
    if problems:
        raise CurveError(*problems)
    if opened and not hand:
        _refuse_useless(plan, opened)
    return measured_from(plan, opened, hand or {})


def _refuse_useless(plan: Plan, files: Sequence[RawFile]) -> None:
    """Refuse files of which no metric of the plan would use any."""
    used = {metric.source for metric in plan.metrics.values()} - {"hand"}
    if any(file.kind in used or (file.kind == "sweep" and used) for file in files):
        return
    wanted = "no file, as every metric of the plan is entered by hand"
    if used:
        wanted = f"a kind that the plan's metrics are taken from: {', '.join(sorted(used))}"
    remedy = "Say its kind if it was mistaken, or put a metric that uses it into the plan first."
    raise CurveError(*(Problem(one.name, f"the kind {one.kind}", wanted, remedy) for one in files))


def measured_from(
    plan: Plan, files: Sequence[RawFile], hand: Mapping[str, float | None]
) -> Measured:
    """Compute the metrics of the plan from files that are open; see `measure_files`."""
    by_kind = _by_kind(files)
    entered = check_values(plan, hand)
    values: dict[str, float | None] = {}
    warnings: list[Caution] = []
    replaced: list[str] = []
    used: dict[tuple[str, Options], tuple[Listening, set[str]]] = {}
    for name, metric in plan.metrics.items():
        file = by_kind.get(metric.source) or by_kind.get("sweep")
        if name in entered:
            values[name] = entered[name]
            if metric.source != "hand" and file is not None:
                computed = _value(metric, file.listen(metric.options))
                replaced.append(_instead(metric, entered[name], computed, file.name))
            continue
        if metric.source == "hand" or file is None:
            values[name] = None
            warnings += _no_source(metric)
            continue
        heard = file.listen(metric.options)
        key = (file.kind, file.base.with_values(metric.options))
        used.setdefault(key, (heard, set()))[1].add(metric.measure)
        values[name] = _value(metric, heard)
    for heard, measures in used.values():
        warnings += _concerning(heard, measures)
    broken = any(metric.measure.startswith("breakup") for metric in plan.metrics.values())
    supported = _support(by_kind) if broken else []
    return Measured(
        values=values,
        curves=[file.stored() for file in files],
        warnings=list(dict.fromkeys(warnings)),
        by_hand=frozenset(entered),
        notes=[*_read_and_taken(files, used), *supported, *replaced],
        heard=[file.heard for file in files],
    )


def _read_and_taken(
    files: Sequence[RawFile], used: Mapping[Any, tuple[Listening, set[str]]]
) -> list[str]:
    """Say how each file was read, then how the plan's measures were taken from it."""
    read = [_notes(file.heard, None) for file in files]
    taken = [_notes(heard, measures) for heard, measures in used.values()]
    return list(dict.fromkeys(note for notes in (*read, *taken) for note in notes))


def _notes(heard: Listening, measures: set[str] | None) -> list[str]:
    """Give the notes about some measures, or those about the reading of the file."""
    kept = []
    for note in heard.notes:
        about = next((ours for words, ours in _NOTED if words in note), None)
        if (about is None) if measures is None else measures.intersection(about or ()):
            kept.append(f"{heard.file}: {note}")
    return kept


def _support(by_kind: Mapping[str, RawFile]) -> list[str]:
    """Say whether the distortion file supports the break-up that another file shows."""
    distortion = by_kind.get("distortion")
    for kind in ("response", "impulse", "sweep"):
        if distortion is None or kind not in by_kind:
            continue
        broken = by_kind[kind].heard.metrics["breakup_hz"].value
        curve = distortion.heard.curve
        if broken is not None and isinstance(curve, Distortion):
            return [f"{distortion.name}: {note}" for note in harmonic_support(curve, broken)]
    return []


def _instead(metric: Metric, entered: float | None, computed: float | None, file: str) -> str:
    """Say that a value typed in counts, and what the file would have given."""
    typed, heard = (
        "no value" if value is None else f"{value:.4g} {metric.unit}".rstrip()
        for value in (entered, computed)
    )
    return f"{metric.label}: {typed} as entered by hand, in place of {heard} from {file}"


def _by_kind(files: Sequence[RawFile]) -> dict[str, RawFile]:
    found: dict[str, RawFile] = {}
    for file in files:
        if file.kind in found:
            raise CurveError(
                Problem(
                    f"{found[file.kind].name} and {file.name}",
                    f"two files of the kind {file.kind}",
                    "at most one of each kind in one measurement",
                    "Record a second mounting as a measurement of its own, or say the kind "
                    f"({', '.join(KINDS)}) if one was mistaken.",
                )
            )
        found[file.kind] = file
    return found


def _no_source(metric: Metric) -> list[Caution]:
    if metric.source != "hand":
        return [Caution("no_file", f"{metric.label}: no {metric.source} file was given.")]
    if is_mass(metric):  # usually weighed and recorded when it was printed
        return []
    return [Caution("not_entered", f"{metric.label}: entered by hand, but no value was given.")]


def _value(metric: Metric, heard: Listening) -> float | None:
    found = heard.metrics.get(metric.measure)
    if found is None or found.value is None or not math.isfinite(found.value):
        return None
    return convert(found.value, found.unit, metric.unit)


def _concerning(heard: Listening, measures: set[str]) -> list[Caution]:
    """Give the warnings that concern some measures, or the whole file."""
    kept = []
    for warning in heard.warnings:
        about = next((ours for start, ours in _ABOUT if warning.text.startswith(start)), None)
        if about is None or measures.intersection(about):
            kept.append(Caution(warning.code, f"{heard.file}: {warning.text}"))
    return kept
