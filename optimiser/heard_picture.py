"""One picture of files that were heard, whatever they hold."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

from matplotlib.figure import Figure

from experiments.acoustics import Impulse, Listening, Options
from optimiser import figures
from optimiser.heard import envelope_of, line_of, ringing_of

__all__ = ["draw_heard"]


def draw_heard(heard: Sequence[Listening], options: Options) -> Figure:
    """Draw every kind of curve in a panel of its own, files of one kind over each other.

    Parameters
    ----------
    heard : sequence of Listening
        From one call of `listen`.
    options : Options
        Its options; the decay is drawn in their band.

    Returns
    -------
    matplotlib.figure.Figure
    """
    given = [each for each in heard if each.kind != "impulse"]
    ringing = [each for each in heard if "impulse" in each.curves]
    impulses = list(zip(_lines(ringing, "impulse"), map(_impulse, ringing), strict=True))
    decay = ringing[0].metrics["decay_ms"].value if len(ringing) == 1 else None
    return figures.draw_curves(
        figures.Shown(
            responses=_lines(given, "response"),
            distortions=_lines(given, "distortion"),
            impulses=[(line, envelope_of(curve)) for line, curve in impulses],
            ringing=[
                one
                for line, curve in impulses
                if (one := ringing_of(curve, options.band, line.name)) is not None
            ],
            limits=_limits(given),
            decay_ms=math.nan if decay is None else decay,
        )
    )


def _impulse(each: Listening) -> Impulse:
    curve = each.curves["impulse"]
    assert isinstance(curve, Impulse)
    return curve


def _limits(heard: Sequence[Listening]) -> dict[str, float]:
    """Give the frequencies to mark where there is one response only."""
    found = [each.metrics for each in heard if "response" in each.curves]
    if len(found) != 1:
        return {}
    names = {"lower_limit_hz": "from", "breakup_hz": "break-up", "upper_limit_hz": "to"}
    values = {words: found[0][name] for name, words in names.items()}
    return {
        words + " about" * (item.known_to is not None): item.rounded
        for words, item in values.items()
        if item.rounded is not None
    }


def _lines(heard: Sequence[Listening], kind: str) -> list[figures.Line]:
    """Give the curves of one kind; files of one name are told apart by their folders."""
    files = [Path(each.file) for each in heard]
    alike = len({file.name for file in files}) < len(files)
    return [
        line_of(each.curves[kind], label=f"{file.parent.name}/{file.name}" if alike else file.name)
        for each, file in zip(heard, files, strict=True)
        if kind in each.curves
    ]
