"""Files that were sent, listened to before anything is saved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from experiments.acoustics.calibration import USUAL_DB, sensitivity_from_recording
from experiments.acoustics.options import Options
from experiments.circumstances import CIRCUMSTANCES
from experiments.measuring import Measured, measure_contents
from optimiser.page.desk import Desk
from optimiser.page.forms import Form, Sent
from optimiser.page.pictures import Picture
from optimiser.page.work import Job, Tell

if TYPE_CHECKING:
    from experiments.plan import Plan

__all__ = [
    "KIND",
    "LEVEL",
    "VALUE",
    "Pending",
    "calibrated",
    "circumstances_of",
    "entered",
    "hear",
    "kinds_of",
]

VALUE, KIND, LEVEL = "value-", "kind-", "calibrator_db"
"""How the fields of entered metrics, and of the files' kinds, begin; the calibrator's level."""


@dataclass
class Pending:
    """One mounting that waits to be saved.

    Attributes
    ----------
    files : list of Sent
        As they came.
    calibrator : Sent or None
        The recording of a sound calibrator.
    typed : dict
        What the form said besides, as it was typed.
    job : Job or None
        What listening gives; a `experiments.measuring.Measured`.
    plan : str
        Digest of the plan that it was heard for.
    pictures : dict of str to Picture or None
        What was heard, drawn once.
    """

    files: Sequence[Sent]
    typed: Mapping[str, str]
    calibrator: Sent | None = None
    job: Job | None = field(default=None, repr=False)
    plan: str = ""
    pictures: Mapping[str, Picture] | None = field(default=None, repr=False)

    @property
    def heard_for(self) -> tuple[Any, ...]:
        """What the metrics depend on besides the files."""
        told = ((name, text.strip()) for name, text in self.typed.items())
        return tuple(sorted(p for p in told if p[0].startswith((VALUE, KIND, LEVEL)) and p[1]))


def entered(plan: Plan, form: Form) -> dict[str, float]:
    """Read the metrics that were typed; what is no number is a fault of its field."""
    found = {}
    for name in plan.metrics:
        value = form.number(VALUE + name)
        if value is not None:
            found[name] = value
    return found


def hear(desk: Desk, plan: Plan, pending: Pending, values: Mapping[str, float]) -> Job:
    """Listen to the files in the background; the job is kept with them."""
    files = [(each.name, each.content) for each in pending.files]
    kinds, spl_db = kinds_of(pending.files, pending.typed), Form(dict(pending.typed)).number(LEVEL)
    channel = plan.rig.get("sweep", {}).get("channel")

    def answer(_tell: Tell) -> Measured:
        options, told = calibrated(Options(), pending.calibrator, spl_db, channel)
        found = measure_contents(plan, files, kinds=kinds, hand=values, options=options)
        return replace(found, notes=[*told, *found.notes])

    many = f"{len(files)} file{'' if len(files) == 1 else 's'}"
    pending.plan, pending.pictures = plan.digest, None
    pending.job = desk.work.start(f"listening to {many}" if files else "reading", answer)
    return pending.job


def kinds_of(files: Sequence[Sent], typed: Mapping[str, str]) -> dict[str, str]:
    """Give the kinds that were chosen, by the files' names."""
    chosen = ((place, typed.get(f"{KIND}{place}", "").strip()) for place in range(len(files)))
    return {files[place].name: kind for place, kind in chosen if kind}


def calibrated(
    options: Options, calibrator: Sent | None, spl_db: float | None, channel: int | None
) -> tuple[Options, list[str]]:
    """Add what a calibrator's recording tells, if one was sent; also in words.

    Raises
    ------
    CurveError
        If it holds no calibrator's tone.
    """
    if calibrator is None:
        return options, []
    value, told = sensitivity_from_recording(
        calibrator.content,
        calibrator.name,
        spl_db=USUAL_DB if spl_db is None else spl_db,
        channel=channel,
    )
    return options.with_values({"sensitivity_dbfs": value}), [told]


def circumstances_of(form: Form) -> dict[str, float | None]:
    """Read age, light and climate; what is no number is a fault of its field."""
    return {name: form.number(name) for name in CIRCUMSTANCES}
