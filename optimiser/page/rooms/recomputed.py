"""After the plan changed: every value brought up to it, shown before it is recorded."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.responses import Response

from experiments.errors import ExperimentError
from experiments.recomputing import recompute
from optimiser import wording
from optimiser.answer_tables import Table
from optimiser.page.acting import last_act
from optimiser.page.call import Call
from optimiser.page.forms import Form
from optimiser.page.work import Tell

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["show", "take"]


def show(call: Call, form: Form | None = None) -> Response:
    """Listen to every file again in the background and show what would change."""
    keep = _names(form.text("keep") if form else call.asked("keep"))

    def answer(_tell: Tell) -> dict[str, Any]:
        with call.desk.ledger() as ledger:
            changed = recompute(ledger, only_show=True, keep=keep)
            labels = wording.describe(ledger.plan)
        return {"table": _table(changed, labels), "notes": changed.attrs["notes"]}

    with call.desk.ledger() as ledger:
        key = (call.desk.version(ledger), "recompute", *keep)
    (job,) = call.settle(call.desk.work.ask(key, "listening to every file again", answer))
    return call.page("recomputed", form=form, job=job, keep=", ".join(keep))


def take(call: Call, form: Form) -> Response:
    """Record it, or only look again with other names kept."""
    if form.text("do") == "look":
        return call.go("/plan/recompute", keep=form.text("keep"))
    try:
        with call.desk.ledger() as ledger:
            changed = recompute(ledger, keep=_names(form.text("keep")))
            act = last_act(ledger)
    except ExperimentError as error:
        form.blame(error)
        return show(call, form)
    if not len(changed):
        return call.go("/plan", "No value differs.", remarks=changed.attrs["notes"])
    said = f"{wording.many(len(changed), 'value')} brought up to the plan."
    return call.go("/plan", said, act=act, remarks=changed.attrs["notes"])


def _names(text: str) -> list[str]:
    return text.replace(",", " ").split()


def _table(changed: pd.DataFrame, labels: dict[str, str]) -> Table:
    rows = [
        [
            labels[str(row["metric"])],
            str(row["cone"]),
            str(row["session"]),
            wording.setting(row["before"]),
            wording.with_unit(wording.setting(row["after"]), str(row["unit"])),
        ]
        for row in changed.to_dict(orient="records")
    ]
    heads = ["metric", "cone", "session", "before", "after"]
    return Table(f"What changes ({len(rows)})", heads, rows)
