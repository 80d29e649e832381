"""Listening to raw files without saving them: metrics, warnings and curves under any options."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from starlette.responses import Response

from experiments.acoustics import MEASURES, Listening, Options, Sweep
from experiments.acoustics.catalogue import KINDS
from experiments.acoustics.excitation import read_excitation
from experiments.errors import CurveError, Problem
from experiments.raw_files import listen_sent
from optimiser.answer_tables import Table
from optimiser.heard import value_text
from optimiser.heard_picture import draw_heard
from optimiser.page.call import Call
from optimiser.page.forms import Form, Sent
from optimiser.page.guard import UPLOAD_LIMIT
from optimiser.page.hearing import LEVEL, calibrated, kinds_of
from optimiser.page.passing import passing
from optimiser.page.pictures import Picture, picture
from optimiser.page.work import Job, Tell

__all__ = ["again", "look", "send", "show"]

_HERE = "/files/listen"

PLAIN = (
    ("smooth", "Smooth by 1/N octave", "N", ""),
    ("drop_db", "Drop that ends the range", "dB", "10 if left empty"),
    ("prominence_db", "Least height of a break-up peak", "dB", "3 if left empty"),
    ("rate", "Sampling rate of a text file without one", "Hz", ""),
    ("sensitivity_dbfs", "What 94 dB SPL reads", "dBFS", "without a calibrator's recording"),
    ("drive_volts", "Voltage used", "V", "levels are then for 2.83 V"),
    ("distance_m", "Distance used", "m", "levels are then for 1 m"),
)
"""Options that are one number: name, words, unit, hint."""

WHOLE = (
    ("channel", "Channel of a WAV file", "", "counted from 1"),
    ("loopback", "Channel that carries the stimulus", "", "counted from 1"),
)

TOGETHER = {
    "band": (("band_low", "Band from", "Hz", ""), ("band_high", "Band to", "Hz", "")),
    "sweep": (
        ("sweep_from", "Sweep from", "Hz", "its .sweep.toml among the files says it too"),
        ("sweep_to", "Sweep to", "Hz", ""),
        ("sweep_seconds", "Duration of the sweep", "s", ""),
    ),
}
"""Options that are several numbers."""


@dataclass
class Waiting:
    """Files that were sent to be heard, and what was typed."""

    files: Sequence[Sent]
    calibrator: Sent | None
    typed: dict[str, str]
    job: Job | None = field(default=None, repr=False)


@dataclass(frozen=True)
class Heard:
    """What came of it: of each file a table, warnings and notes; and one picture."""

    files: Sequence[tuple[Table, Sequence[str], Sequence[str]]]
    told: Sequence[str]
    picture: Picture


def show(call: Call, form: Form | None = None) -> Response:
    """Show the form."""
    return call.page("listen", form=form, **_fields())


def _fields() -> dict[str, Any]:
    kinds = [("", "find out"), *((each, each) for each in KINDS)]
    of = [("", "of the fundamental"), ("total", "of the total")]
    return {
        "first": [*TOGETHER["band"], *PLAIN[:2]],
        "more": [*TOGETHER["sweep"], *WHOLE, *PLAIN[2:]],
        "kinds": kinds,
        "of": of,
        "limit": UPLOAD_LIMIT,
    }


def send(call: Call, form: Form) -> Response:
    """Keep the files and begin to listen."""
    files, calibrator = form.sent("files"), form.sent("calibrator")
    for sent in form.sent("excitation")[:1]:
        _read_sweep(form, sent)
    options = _options(form)
    if not files:
        form.faults["files"] = "Choose one or more raw files."
    if options is None or not form.sound:
        return show(call, form)
    waiting = Waiting(files, calibrator[0] if calibrator else None, dict(form.values))
    size = sum(len(each.content) for each in form.files)
    token = call.keep(waiting, size)
    _hear(call, waiting, options)
    return call.go(f"{_HERE}/{token}")


def look(call: Call, form: Form | None = None) -> Response:
    """Show what the files gave, with the options to listen again."""
    waiting = _waiting(call)
    assert waiting.job is not None
    (job,) = call.settle(waiting.job)
    heard: Heard | None = job.result
    return call.page(
        "heard",
        form=form or Form(dict(waiting.typed)),
        job=job,
        heard=heard,
        pictures={"heard": heard.picture} if heard else {},
        files=[each.name for each in waiting.files],
        calibrator=waiting.calibrator.name if waiting.calibrator else "",
        name=call.path("token"),
        **_fields(),
    )


def again(call: Call, form: Form) -> Response:
    """Listen under other options, or forget the files."""
    waiting = _waiting(call)
    if form.text("do") == "drop":
        call.desk.uploads.drop(call.path("token"))
        return call.go(_HERE, "The files are forgotten.")
    options = _options(form)
    if options is None:
        return look(call, form)
    waiting.typed = dict(form.values)
    _hear(call, waiting, options)
    return call.go(f"{_HERE}/{call.path('token')}")


def _read_sweep(form: Form, sent: Sent) -> None:
    """Fill in the sweep that a file holds which was played."""
    names = [name for name, *_ in TOGETHER["sweep"]]
    if any(form.text(name) for name in names):
        form.faults["excitation"] = "Type the sweep or choose its file, not both."
        return
    try:
        with passing(sent.content, "excitation.wav") as path:
            found = read_excitation(path).sweep
    except CurveError as error:
        form.faults["excitation"] = " ".join(map(str, error.problems))
        return
    values = (found.start_hz, found.stop_hz, found.seconds)
    form.values |= {name: f"{value:.8g}" for name, value in zip(names, values, strict=True)}


def _options(form: Form) -> Options | None:
    """Read the options; None where a field has a fault."""
    given: dict[str, Any] = {name: form.number(name) for name, *_ in PLAIN}
    given |= {name: form.whole(name) for name, *_ in WHOLE}
    given["thd_of"] = form.text("thd_of") or None
    form.number(LEVEL)
    groups = {key: [form.number(name) for name, *_ in each] for key, each in TOGETHER.items()}
    for key, values in groups.items():
        if any(value is not None for value in values):
            given[key] = tuple(values)
            for (name, *_), value in zip(TOGETHER[key], values, strict=True):
                if value is None:
                    form.faults.setdefault(name, "Type a number here too, or leave all empty.")
    if not form.sound:
        return None
    try:
        if "sweep" in given:
            given["sweep"] = Sweep(*given["sweep"])
        return Options().with_values({k: v for k, v in given.items() if v is not None})
    except CurveError as error:
        fields = {name: name for name, *_ in (*PLAIN, *WHOLE)}
        stated = {"sweep.start_hz": 0, "sweep": 0, "sweep.stop_hz": 1, "sweep.seconds": 2}
        fields |= {where: TOGETHER["sweep"][place][0] for where, place in stated.items()}
        form.blame(error, {**fields, "band": "band_low"})
        return None


def _hear(call: Call, waiting: Waiting, options: Options) -> None:
    """Listen in the background; the job is kept with the files."""
    files = [(each.name, each.content) for each in waiting.files]
    kinds = kinds_of(waiting.files, waiting.typed)
    spl_db = Form(dict(waiting.typed)).number(LEVEL)

    def answer(_tell: Tell) -> Heard:
        fitted, told = calibrated(options, waiting.calibrator, spl_db, options.channel)
        heard = listen_sent(files, kinds=kinds, options=fitted)
        words = f"What was heard in {', '.join(each.file for each in heard)}."
        drawn = picture(draw_heard(heard, fitted), "heard", words)
        return Heard([_shown(each) for each in heard], told, drawn)

    waiting.job = call.desk.work.start("listening", answer)


def _shown(heard: Listening) -> tuple[Table, list[str], list[str]]:
    rows = [
        [
            MEASURES[name].label,
            value_text(item),
        ]
        for name, item in heard.metrics.items()
    ]
    title = f"{heard.file} ({heard.kind})"
    return Table(title, ["metric", "value"], rows), [w.text for w in heard.warnings], heard.notes


def _waiting(call: Call) -> Waiting:
    waiting = call.kept(call.path("token"), Waiting)
    if waiting is None:
        found = "nothing that waits here any more"
        remedy = "Send them again at Files, Listen to files."
        raise CurveError(Problem("these files", found, "files that were sent", remedy))
    return waiting
