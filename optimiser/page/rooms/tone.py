"""A test tone: described, cautions first, then downloaded together with its sidecar."""

from __future__ import annotations

from typing import Any

from starlette.responses import Response

from experiments.acoustics.excitation import Excitation
from experiments.errors import CurveError
from experiments.sweeps import design_sweep, sweep_files, sweep_words
from optimiser.cautions import MEASURING
from optimiser.page.call import Call
from optimiser.page.forms import Form
from optimiser.page.sending import attached, zipped

__all__ = ["file", "show"]

FIELDS = (
    ("start_hz", "From", "Hz", "20", ""),
    ("stop_hz", "To", "Hz", "20000", ""),
    ("seconds", "Duration", "s", "10", ""),
    ("level_dbfs", "Level of the peak", "dBFS", "-12", "re full scale; 0 is the loudest"),
)
FINER = (
    ("rate", "Sampling rate", "Hz", "48000", ""),
    ("before", "Silence before", "s", "0.5", ""),
    ("after", "Silence after", "s", "1", ""),
    ("fade_in", "Fade in", "s", "", "one period of the first frequency if both are left empty"),
    ("fade_out", "Fade out", "s", "", "0.01 s if both are left empty"),
)
"""Name, words, unit, what stands there at first, hint."""

CHOICES = (
    ("synchronised", "Law", (("", "exponential"), ("yes", "harmonics keep their phase"))),
    ("loopback", "Channels", (("", "one"), ("yes", "a second one, wired back to the recorder"))),
)

MOST = 12_000_000
"""Samples, of all channels, that are made at once: two channels of a minute at 96 kHz."""

_PLACES = {
    "sweep": "start_hz", "sweep.start_hz": "start_hz", "sweep.stop_hz": "stop_hz",
    "to": "stop_hz", "sweep.seconds": "seconds", "seconds": "seconds", "level": "level_dbfs",
    "sweep.amplitude": "level_dbfs", "sweep.fade_in": "fade_in", "sweep.fade_out": "fade_out",
    "rate": "rate", "silence": "before",
}  # fmt: skip
"""Where a sweep is refused, and the field that it is about."""


def show(call: Call) -> Response:
    """Show the cautions and the form; once asked, what is played and where to get it."""
    form = _asked(call)
    tone = _tone(form) if form else None
    return call.page(
        "tone",
        form=form,
        words=sweep_words(tone) if tone else "",
        query=call.request.url.query,
        caution=MEASURING,
        fields=FIELDS,
        finer=FINER,
        choices=CHOICES,
    )


def file(call: Call) -> Response:
    """Send the tone and its sidecar as one archive."""
    form = _asked(call)
    tone = _tone(form) if form else None
    if tone is None:
        return show(call)
    sweep = tone.sweep
    name = f"sweep-{sweep.start_hz:.0f}-{sweep.stop_hz:.0f}-Hz"
    return attached(f"{name}.zip", zipped(sweep_files(tone, f"{name}.wav")))


def _asked(call: Call) -> Form | None:
    given = {key: text.strip() for key, text in call.request.query_params.items()}
    return Form(given) if "start_hz" in given else None


def _tone(form: Form) -> Excitation | None:
    """Design what was asked for; None where a field has a fault."""
    typed = {name: form.number(name) for name, *_ in (*FIELDS, *FINER)}
    rate = form.whole("rate")
    given: dict[str, Any] = {
        name: value
        for name, value in typed.items()
        if value is not None and name in {each for each, *_ in FIELDS}
    }
    before, after, fade_in, fade_out = (
        typed[name] for name in ("before", "after", "fade_in", "fade_out")
    )
    if (fade_in is None) != (fade_out is None):
        missing = "fade_in" if fade_in is None else "fade_out"
        form.faults.setdefault(missing, "Type both fades, or none.")
    if not form.sound:
        return None
    if fade_in is not None and fade_out is not None:
        given["fades"] = (fade_in, fade_out)
    if rate is not None:
        given["rate"] = rate
    given["silence"] = (0.5 if before is None else before, 1.0 if after is None else after)
    try:
        tone = design_sweep(
            **given,
            synchronised=bool(form.text("synchronised")),
            loopback=bool(form.text("loopback")),
        )
        seconds = tone.seconds + tone.before + tone.after
        if seconds * tone.rate * tone.channels > MOST:
            form.faults["seconds"] = "That is too long for the page; `coneloop sweep` makes it."
            return None
        return tone
    except CurveError as error:
        form.blame(error, _PLACES)
        return None
