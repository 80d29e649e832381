"""Picture: the curves of raw files, one panel a kind."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from matplotlib.figure import Figure, FigureBase

from optimiser.figures.distortion import distortion_panel
from optimiser.figures.impulse import envelopes_panel, impulse_panel
from optimiser.figures.overlay import Line
from optimiser.figures.response import response_panel
from optimiser.figures.ringing import Ringing, ringing_panel
from optimiser.figures.style import Floats, empty, new_figure

__all__ = ["Shown", "draw_curves"]

_HEIGHT = 2.5  # inches a panel


@dataclass(frozen=True)
class Shown:
    """What to draw.

    Parameters
    ----------
    responses, distortions : sequence of Line
        Laid over each other in one panel a kind.
    impulses : sequence of (Line, numpy.ndarray)
        Impulse responses with their envelopes. A single one is drawn as it is, several as the
        levels of their envelopes.
    ringing : sequence of Ringing
        A panel each.
    limits : mapping of str to float
        Frequencies to mark in the response, Hz.
    decay_ms : float
        Decay of the single impulse response; NaN if there is none.
    """

    responses: Sequence[Line] = ()
    distortions: Sequence[Line] = ()
    impulses: Sequence[tuple[Line, Floats]] = ()
    ringing: Sequence[Ringing] = ()
    limits: Mapping[str, float] = field(default_factory=dict)
    decay_ms: float = float("nan")


def draw_curves(shown: Shown) -> Figure:
    """Draw every kind of curve that there is, one panel under the other.

    Parameters
    ----------
    shown : Shown
        What to draw.

    Returns
    -------
    matplotlib.figure.Figure
    """
    panels = _panels(shown)
    if not panels:
        return empty("No curve holds anything that can be drawn.")
    figure = new_figure(_HEIGHT * len(panels))
    parts = np.ravel(figure.subfigures(len(panels), 1, squeeze=False))
    for part, panel in zip(parts, panels, strict=True):
        part.set_facecolor("none")
        panel(part)
    return figure


def _panels(shown: Shown) -> list[Callable[[FigureBase], None]]:
    panels: list[Callable[[FigureBase], None]] = []
    responses = [one for one in shown.responses if np.any((one.x > 0) & np.isfinite(one.y))]
    distortions = [one for one in shown.distortions if np.any((one.x > 0) & (one.y > 0))]
    impulses = [one for one in shown.impulses if np.any(one[0].y)]
    if responses:
        panels.append(partial(response_panel, lines=responses, limits=shown.limits))
    if distortions:
        panels.append(partial(distortion_panel, lines=distortions))
    if len(impulses) == 1:
        line, envelope = impulses[0]
        panels.append(
            partial(impulse_panel, line=line, envelope=envelope, decay_ms=shown.decay_ms)
        )
    elif impulses:
        panels.append(partial(envelopes_panel, impulses=impulses))
    panels += [partial(ringing_panel, ringing=one) for one in shown.ringing]
    return panels
