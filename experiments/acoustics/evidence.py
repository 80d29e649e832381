"""What else speaks for a break-up: harmonics that it lifts.

A resonance at f lifts whatever the driver radiates at f, also harmonic k of a tone at f / k. A
peak of HD2 at f / 2 or of HD3 at f / 3 therefore supports a break-up that the response shows; it
changes no number. (Common practice, no source.)
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from experiments.acoustics.curves import Distortion, Response
from experiments.acoustics.resonance import Peak, peaks

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["harmonic_support"]

_PROMINENCE: Final = 3.0  # dB
_WITHIN: Final = 1 / 12  # octave
_NOISE: Final = 2.0  # times the noise at least (6 dB)
_SHARES: Final = {2: "half", 3: "a third"}


def harmonic_support(distortion: Distortion, breakup_hz: float) -> list[str]:
    """Say which harmonics peak where a break-up would lift them.

    Parameters
    ----------
    distortion : Distortion
        Of the same cone; harmonics 2 and 3 are looked at where they stand over the noise.
    breakup_hz : float
        The break-up, Hz.

    Returns
    -------
    list of str
        One note a harmonic with a peak of at least 3 dB prominence within 1/12 octave.
    """
    notes = []
    for order, share in _SHARES.items():
        wanted = breakup_hz / order
        near = [
            peak.frequency
            for peak in _peaks(distortion, order)
            if abs(math.log2(peak.frequency / wanted)) <= _WITHIN
        ]
        if near:
            best = min(near, key=lambda f: abs(math.log(f / wanted)))
            notes.append(
                f"distortion supports the break-up: HD{order} peaks at {best:.4g} Hz, {share} of "
                f"{breakup_hz:.4g} Hz"
            )
    return notes


def _peaks(distortion: Distortion, order: int) -> list[Peak]:
    percent = distortion.harmonics.get(order)
    if percent is None:
        return []
    use = ~np.isnan(percent) & (percent > 0)
    if distortion.noise is not None:
        use &= ~(percent < _NOISE * distortion.noise)
    if np.count_nonzero(use) < 5:
        return []
    level: npt.NDArray[np.float64] = 20 * np.log10(percent[use])
    return peaks(Response(distortion.frequency[use], level), _PROMINENCE)
