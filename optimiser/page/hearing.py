"""Files that were sent, listened to before anything is saved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from experiments.circumstances import CIRCUMSTANCES
from experiments.measuring import Measured, measure_contents
from optimiser.page.desk import Desk
from optimiser.page.forms import Form, Sent
from optimiser.page.pictures import Picture
from optimiser.page.work import Job, Tell

if TYPE_CHECKING:
    from experiments.plan import Plan

__all__ = ["KIND", "VALUE", "Pending", "circumstances_of", "entered", "hear"]

VALUE, KIND = "value-", "kind-"
"""How the fields of entered metrics, and of the files' kinds, begin."""


@dataclass
class Pending:
    """One mounting that waits to be saved.

    Attributes
    ----------
    files : list of Sent
        As they came.
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
    job: Job | None = field(default=None, repr=False)
    plan: str = ""
    pictures: Mapping[str, Picture] | None = field(default=None, repr=False)

    @property
    def heard_for(self) -> tuple[Any, ...]:
        """What the metrics depend on besides the files."""
        told = ((name, text.strip()) for name, text in self.typed.items())
        return tuple(sorted(p for p in told if p[0].startswith((VALUE, KIND)) and p[1]))


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
    kinds = {
        files[int(place)][0]: kind
        for place, kind in ((k.removeprefix(KIND), v) for k, v in pending.typed.items()
                            if k.startswith(KIND) and v)
        if place.isdecimal() and int(place) < len(files)
    }  # fmt: skip

    def answer(_tell: Tell) -> Measured:
        return measure_contents(plan, files, kinds=kinds, hand=values)

    many = f"{len(files)} file{'' if len(files) == 1 else 's'}"
    pending.plan, pending.pictures = plan.digest, None
    pending.job = desk.work.start(f"listening to {many}" if files else "reading", answer)
    return pending.job


def circumstances_of(form: Form) -> dict[str, float | None]:
    """Read age, light and climate; what is no number is a fault of its field."""
    return {name: form.number(name) for name in CIRCUMSTANCES}
