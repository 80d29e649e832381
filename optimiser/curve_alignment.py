"""Registration: what moves along the axis as one is told by one number a curve.

Break-up peaks lie at other frequencies in another cone. Added up as they stand they smear, and
take many components to tell. A cone's break-up modes move together with its stiffness and mass,
so each curve gets one shift in octaves: over frequency whatever lies above an onset moves by it,
the decay runs faster by it. Shift registration is due to Ramsay & Silverman 2005, Functional
data analysis (2nd ed.), 7.2; here each curve is compared with the others' mean and their first
component, so that a higher peak is not taken for a moved one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from experiments.acoustics.bands import G
from optimiser.curve_bundle import Bundle, Channel
from optimiser.curve_components import filled, principal

__all__ = ["Warp", "align", "best_warp", "registered", "warps_of"]

Floats = npt.NDArray[np.float64]

_REACH = 0.75  # octaves that a curve may be moved at most
_ROUNDS = 10
_POINTS = 300  # points that are compared, about


@dataclass(frozen=True)
class Warp:
    """Where a moved curve is read.

    Parameters
    ----------
    onset : float or None
        Octaves from 1 kHz: from there to an octave higher the shift grows from none to the whole.
        None: time, which runs faster by it.
    """

    onset: float | None

    @property
    def step(self) -> float:
        """Octaves between shifts that are tried first.

        What beats in a decay is told apart by less than peaks over frequency are.
        """
        return 1 / 48 if self.onset is None else 1 / 16

    def __call__(self, place: Floats, shift: Floats | float) -> Floats:
        """Give the places in a curve that belong to registered places."""
        if self.onset is None:
            return np.asarray(place * G ** -np.asarray(shift))
        return np.asarray(place + shift * np.clip(place - self.onset, 0.0, 1.0))

    def widened(self, channel: Channel, shifts: Floats) -> Channel:
        """Give the registered grid that covers the channel's under every shift."""
        place = channel.place
        step = float(place[1] - place[0])
        far = float(place[-1])
        if self.onset is None:
            far *= float(G ** max(shifts.max(), 0.0))
        elif far > self.onset:
            far += max(-float(shifts.min()), 0.0)
        extra = int(np.ceil((far - place[-1]) / step - 1e-9))
        more = place[-1] + step * np.arange(1, extra + 1)
        return replace(channel, place=np.concatenate([place, more]))


def warps_of(bundle: Bundle) -> list[Warp]:
    """Give the warps worth trying: onsets two octaves apart, or time."""
    if bundle.family == "decay":
        return [Warp(None)]
    low = min(channel.place[0] for channel in bundle.channels)
    high = max(channel.place[-1] for channel in bundle.channels)
    return [Warp(float(onset)) for onset in np.arange(np.floor(low) + 1, high - 2, 2)]


def registered(bundle: Bundle, warp: Warp, shifts: Floats) -> tuple[list[Channel], Floats]:
    """Move every curve back by its shift, on grids widened for it; NaN where there is no data."""
    channels = [warp.widened(channel, shifts) for channel in bundle.channels]
    columns = [
        np.array(
            [
                np.interp(warp(wide.place, shift), one.place, row, left=np.nan, right=np.nan)
                for row, shift in zip(bundle.values[:, part], shifts, strict=True)
            ]
        )
        for wide, one, part in zip(channels, bundle.channels, bundle.parts, strict=True)
    ]
    return channels, np.hstack(columns)


def align(bundle: Bundle, weights: Floats, warp: Warp) -> Floats:
    """Find each curve's shift.

    Parameters
    ----------
    bundle : Bundle
    weights : ndarray of shape (n,)
        How much each curve counts.
    warp : Warp

    Returns
    -------
    ndarray of shape (n,)
        Octaves, their weighted mean 0.
    """
    thin = _thinned(bundle)
    shifts, _ = _roughly(thin, weights, warp)
    fine = warp.step / 4
    near = shifts[:, None] + np.arange(-4, 5) * fine
    table = _moved(thin, warp, near)
    pick, losses = _settle(table, weights, np.full(len(near), 4), 1)
    rows = np.arange(len(pick))
    shifts = near[rows, pick] + fine * _valley(losses, pick)
    return np.asarray(shifts - weights @ shifts / weights.sum())


def best_warp(bundle: Bundle, weights: Floats) -> Warp:
    """Choose the warp under which mean and one component leave least."""
    thin = _thinned(bundle)
    return min(warps_of(bundle), key=lambda warp: _roughly(thin, weights, warp)[1])


def _roughly(thin: Bundle, weights: Floats, warp: Warp) -> tuple[Floats, float]:
    """Find shifts to a step of the warp, and the mean square that is left."""
    steps = np.arange(-_REACH, _REACH + warp.step / 2, warp.step)
    table = _moved(thin, warp, np.tile(steps, (len(thin.values), 1)))
    pick = np.full(len(thin.values), len(steps) // 2)
    for count in (0, 1):
        pick, losses = _settle(table, weights, pick, count)
    rest = losses[np.arange(len(pick)), pick]
    return steps[pick], float(weights @ rest / weights.sum())


def _thinned(bundle: Bundle) -> Bundle:
    """Keep about as many points as tell how curves lie to each other."""
    step = max(1, bundle.values.shape[1] // _POINTS)
    channels = [replace(one, place=one.place[::step]) for one in bundle.channels]
    values = np.hstack([bundle.values[:, part][:, ::step] for part in bundle.parts])
    return Bundle(bundle.family, channels, values, bundle.rows)


def _moved(bundle: Bundle, warp: Warp, shifts: Floats) -> Floats:
    """Read every curve under each of its shifts, (n, shifts, points)."""
    columns = []
    for one, part in zip(bundle.channels, bundle.parts, strict=True):
        places = warp(one.place, shifts.reshape(-1, 1)).reshape(*shifts.shape, -1)
        columns.append(
            np.array(
                [
                    np.interp(places[row], one.place, curve, left=np.nan, right=np.nan)
                    for row, curve in enumerate(bundle.values[:, part])
                ]
            )
        )
    return np.concatenate(columns, axis=2)


def _settle(
    table: Floats, weights: Floats, pick: npt.NDArray[np.intp], count: int
) -> tuple[npt.NDArray[np.intp], Floats]:
    """Move each curve to where mean and components of all fit it best, until none moves."""
    known = np.isfinite(table)
    whole = np.where(known, table, 0.0)
    number = np.maximum(known.sum(axis=2), 1)
    rows, middle = np.arange(len(table)), table.shape[1] // 2
    for _ in range(_ROUNDS):
        now = filled(table[rows, pick], weights, count, rounds=3)
        found = principal(now, weights, count)
        apart = np.where(known, whole - found.mean, 0.0)
        squares = (apart**2).sum(axis=2)
        for shape in found.shapes:
            part = np.where(known, shape, 0.0)
            squares -= (apart @ shape) ** 2 / np.maximum((part**2).sum(axis=2), 1e-12)
        # A curve of which little is left after the move fits by chance.
        losses = np.where(known.mean(axis=2) < 0.5, np.inf, squares / number)
        best = losses.argmin(axis=1)
        drift = round(float(weights @ (best - middle) / weights.sum()))
        best = np.clip(best - drift, 0, table.shape[1] - 1)
        if (best == pick).all():
            break
        pick = best
    return pick, losses


def _valley(losses: Floats, pick: npt.NDArray[np.intp]) -> Floats:
    """Give how far the lowest point of the parabola through three losses lies from the middle."""
    rows = np.arange(len(pick))
    middle = np.clip(pick, 1, losses.shape[1] - 2)
    before, here, after = (losses[rows, middle + step] for step in (-1, 0, 1))
    bend = before - 2 * here + after
    off = np.where(bend > 0, 0.5 * (before - after) / np.where(bend > 0, bend, 1.0), 0.0)
    return np.where(middle == pick, np.clip(off, -0.5, 0.5), 0.0)
