"""One cone: its recipe and card, what was measured and expected, its curves, notes and files."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from starlette.exceptions import HTTPException
from starlette.responses import Response

from experiments.circumstances import CIRCUMSTANCES
from experiments.errors import LedgerError
from optimiser import wording
from optimiser.cautions import for_settings
from optimiser.goals import measured_scores
from optimiser.page import questions
from optimiser.page.acting import Again
from optimiser.page.call import Call
from optimiser.page.curve_pictures import curve_pictures, curves_stored
from optimiser.page.forms import Form
from optimiser.page.pictures import Picture
from optimiser.page.recipes import knobs_of
from optimiser.page.work import Tell
from optimiser.report_tables import expectations

if TYPE_CHECKING:
    from experiments.plan import Plan
    from experiments.records import Cone, Measurement
    from optimiser.answer_tables import Table
    from optimiser.surrogate import Model

__all__ = ["again", "file", "show"]

MOST_PATIENCE = 60.0
"""Seconds that a download waits for its picture."""

_FIELDS = {
    "planned": ("printed", "failed", "aside"),
    "printed": ("failed", "aside"),
    "measured": ("aside",),
    "failed": ("aside",),
    "set aside": ("back",),
}
"""What may be recorded of a cone in each state, beside measuring."""


def again(kind: str) -> Again:
    """Show the page of a cone again, one of its forms open with its faults."""

    def shown(call: Call, form: Form, status: int) -> Response:
        return show(call, form, kind, status)

    return shown


def show(call: Call, form: Form | None = None, kind: str = "", status: int = 200) -> Response:
    """Show a cone, the form open whose address was asked for."""
    number = int(call.path("cone"))
    tail = call.request.url.path.rpartition("/")[2]
    kind = kind or ("" if tail.isdecimal() else tail)
    with call.desk.ledger() as ledger, ledger.snapshot():
        plan, state = ledger.plan, call.desk.state(ledger)
        cones = {each.number: each for each in call.desk.cones(ledger)}
        if number not in cones:
            raise HTTPException(404)
        cone, table = cones[number], call.desk.table(ledger)
        measurements, notes = ledger.measurements(number), ledger.notes(number)
        files = list(ledger.iterate_curves(number))
    record = table[table["cone"] == number]
    rows = record[record["measurement"].notna()]
    means = {name: float(rows[name].astype(float).mean()) for name in plan.metrics}
    means["score"] = float(pd.Series(measured_scores(plan, rows)).mean())
    kinds = list(_FIELDS[cone.status])

    last = {name: _last(rows[name]) for name in plan.metrics}

    def draw(_tell: Tell) -> tuple[dict[str, Picture], list[str]]:
        curves, unread = curves_stored(files)
        return curve_pictures(plan, number, curves, last), unread

    # What happens to other cones changes nothing of these pictures.
    key = ("curves", plan.digest, number, tuple(each.sha256 for each in files), *last.items())
    drawing = call.desk.work.ask(key, "drawing the curves", draw)
    if call.asked("data"):  # a download waits for its picture, and draws it if nobody does
        drawing.run()
        drawing.wait(MOST_PATIENCE)
    model, drawn = call.settle(questions.learnt(call.desk, state), drawing)

    def expect(_tell: Tell) -> Table | None:
        return _expected(plan, cone, model.result, means)

    return call.page(
        "cone",
        status=status,
        cone=cone,
        version=int(record["version"].iloc[0]),
        form=form,
        opened=kind,
        # A form that was filled in shows again, even if the cone's state is another by now.
        kinds=[kind, *kinds] if form and kind not in (*kinds, "note") else kinds,
        recipe=wording.recipe_rows(plan, cone.settings),
        knobs=knobs_of(plan, cone.settings),
        facts=_facts(cone),
        cautions=for_settings(plan, cone.settings),
        model=model,
        expected=call.desk.work.once((state, "expected", number), "foretelling", expect)
        if model.told
        else None,
        sittings=[_sitting(plan, each) for each in measurements],
        drawn=drawn if files else None,
        pictures=drawn.result[0] if drawn.told else {},
        unread=drawn.result[1] if drawn.told else [],
        notes=notes.to_dict("records"),
        near=_neighbours(list(cones), number),
    )


def _last(column: pd.Series[Any]) -> float | None:
    """Give the last value that was measured."""
    known = column.astype(float).dropna()
    return float(known.iloc[-1]) if len(known) else None


def _facts(cone: Cone) -> list[tuple[str, str]]:
    """Say what else is recorded of a cone."""
    rows = [
        ("plate", wording.setting(cone.plate) if cone.plate is not None else ""),
        ("mass", wording.with_unit(wording.number(cone.mass), "g") if cone.mass else ""),
        ("print time", wording.duration(cone.minutes) if cone.minutes is not None else ""),
        ("planned", (cone.planned_at or "")[:10]),
        ("printed", (cone.printed_at or "")[:10]),
        ("origin", cone.origin),
    ]
    return [(name, text) for name, text in rows if text]


def _expected(plan: Plan, cone: Cone, model: Model, means: Mapping[str, float]) -> Table | None:
    """Set what the model expects of such a cone beside what was measured on this one."""
    recipes = model.evidence.space.rows([cone.settings])
    expected, score = model.expected(recipes)[0], model.predict_score(recipes)[0]
    measured = dict(means) if np.isfinite(list(means.values())).any() else None
    found = expectations(plan, expected, score, measured)
    return found if found.rows else None


def _sitting(plan: Plan, one: Measurement) -> dict[str, Any]:
    """Describe one measurement."""
    values = []
    for name, metric in plan.metrics.items():
        if name in one.values:
            shown = wording.with_unit(wording.number(one.values[name]), metric.unit)
            hand = " (by hand)" if name in one.by_hand and metric.source != "hand" else ""
            values.append((metric.label, f"{shown}{hand}"))
    told = [
        f"{each.words} {wording.with_unit(wording.setting(getattr(one, name)), each.unit)}"
        for name, each in CIRCUMSTANCES.items()
        if getattr(one, name) is not None
    ]
    return {
        "id": one.id,
        "session": one.session,
        "at": one.at[:10],
        "told": ", ".join(told),
        "note": one.note,
        "values": values,
        "warnings": [str(each) for each in one.warnings],
        "files": list(enumerate(one.files)),
    }


def _neighbours(numbers: list[int], number: int) -> tuple[int | None, int | None]:
    place = numbers.index(number)
    before = numbers[place - 1] if place else None
    return before, numbers[place + 1] if place + 1 < len(numbers) else None


def file(call: Call) -> Response:
    """Give a raw file back, byte for byte; it is never shown as a page."""
    with call.desk.ledger() as ledger:
        try:
            kept = ledger.curves(int(call.path("cone")), measurement=int(call.path("measurement")))
        except LedgerError:
            raise HTTPException(404) from None
    place = int(call.path("place"))
    if place >= len(kept):
        raise HTTPException(404)
    plain = "".join(
        letter if letter.isascii() and (letter.isalnum() or letter in "._- ") else "_"
        for letter in kept[place].name
    )
    return Response(
        kept[place].content,
        media_type="application/octet-stream",
        headers={"Content-Disposition": f'attachment; filename="{plain}"'},
    )
