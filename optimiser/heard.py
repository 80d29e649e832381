"""From curves as read to lines that a picture can show."""

from __future__ import annotations

import numpy as np

from experiments.acoustics import Distortion, Impulse, Response, Value, band_decay
from experiments.acoustics.decay import envelope, without_offset
from experiments.errors import CurveError
from optimiser import wording
from optimiser.figures.overlay import Line
from optimiser.figures.ringing import Ringing
from optimiser.figures.style import Floats

__all__ = ["envelope_of", "line_of", "ringing_of", "value_text"]


def value_text(value: Value) -> str:
    """Write a metric of one file with the digits and the caution that its data ask for."""
    words = wording.with_unit(wording.number(value.rounded), value.unit)
    return "about " * (value.known_to is not None) + words


def line_of(
    curve: Response | Distortion | Impulse, cone: int | None = None, label: str = ""
) -> Line:
    """Give a curve as a line: Hz and dB, Hz and percent, or ms and amplitude.

    Parameters
    ----------
    curve : Response, Distortion or Impulse
        The curve; a constant offset of an impulse response is taken off.
    cone : int, optional
        The cone's number.
    label : str, optional
        What to call it where there is no cone.
    """
    if isinstance(curve, Response):
        return Line(curve.frequency, curve.level, cone, label)
    if isinstance(curve, Distortion):
        return Line(curve.frequency, _thd(curve), cone, label)
    samples, _ = without_offset(curve)
    return Line(1000 * (curve.start + np.arange(samples.size) / curve.rate), samples, cone, label)


def _thd(curve: Distortion) -> Floats:
    """Give THD in percent of the fundamental: as read, else from the harmonics."""
    if curve.thd is not None:
        return curve.thd
    total: Floats = np.sqrt(np.sum([one**2 for one in curve.harmonics.values()], axis=0))
    return total


def envelope_of(curve: Impulse) -> Floats:
    """Give the magnitude of an impulse response's analytic signal at the line's times."""
    return envelope(without_offset(curve)[0])


def ringing_of(
    curve: Impulse, band: tuple[float, float] | None = None, label: str = ""
) -> Ringing | None:
    """Give the decay of an impulse response over frequency and time.

    Parameters
    ----------
    curve : Impulse
        The curve.
    band : (float, float), optional
        Frequencies to show, Hz.
    label : str, optional
        What to call it.

    Returns
    -------
    Ringing or None
        None where the record is too short to carry it.
    """
    try:
        found = band_decay(curve, band)
    except CurveError:
        return None
    return Ringing(found.frequency, 1000 * found.time, found.level, 1000 * found.own, label)
