"""Curves of many measurements on one grid, as far as enough cones have data there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from experiments.acoustics.bands import Energy, G, octaves
from optimiser.curve_readings import FAMILIES, UNITS, CurveReading

__all__ = ["LEAST", "Bundle", "Channel", "lay"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

LEAST = 4  # cones from which curves are learnt

_SHARE = 0.75  # of the cones must have data at a point of the grid
_WIDEST = 1 / 3  # share of the grid that one curve may lack
_FINE = {"response": 48, "distortion": 24}  # points an octave
_FLOOR = -50.0  # dB: what has decayed further counts as this
_CLEAR = 10.0  # dB over the noise at a record's end
_TIMES = 160  # points of a decay
_LEAST_PERCENT = 1e-4


@dataclass(frozen=True)
class Channel:
    """One kind of curve on its grid.

    Parameters
    ----------
    name : str
        As in `CurveReading`.
    place : ndarray of shape (p,)
        Octaves (to base ten) from 1 kHz, or ms; in even steps.
    floor : float
        dB: what lies below counts as this.
    """

    name: str
    place: Floats
    floor: float = -np.inf

    @property
    def x(self) -> Floats:
        """The grid in Hz, or ms."""
        return self.place if self.name == "decay" else 1000.0 * G**self.place

    @property
    def unit(self) -> str:
        """Unit of what is shown."""
        return UNITS[self.name]

    def shown(self, y: Floats) -> Floats:
        """From dB, the scale that is learnt, to the unit shown."""
        return y if self.unit == "dB" else np.asarray(10.0 ** (y / 20.0))

    def put(self, x: Floats, y: Floats) -> Floats:
        """Put a curve as read on the grid, in dB; NaN where it has no data.

        Levels are means of energy over a step of the grid, percentages are interpolated.
        """
        known = np.isfinite(y) & ((x > 0) | (self.name == "decay"))
        if known.sum() < 2:
            return np.full(len(self.place), np.nan)
        x, y = x[known], y[known]
        if self.name == "decay":
            return self._put_decay(x, y)
        laid = np.full(len(self.place), np.nan)
        inside = (self.x >= x[0] * (1 - 1e-9)) & (self.x <= x[-1] * (1 + 1e-9))
        at = self.x[inside]
        if self.name == "response":
            half = G ** ((self.place[1] - self.place[0]) / 2)
            laid[inside] = Energy(x, y).mean_level(at / half, at * half)
        else:
            decibel = 20.0 * np.log10(np.maximum(y, _LEAST_PERCENT))
            laid[inside] = np.interp(np.log(at), np.log(x), decibel)
        return laid

    def _put_decay(self, x: Floats, y: Floats) -> Floats:
        """Average the energy of samples at even steps of time."""
        total = np.concatenate([[0.0], np.cumsum(10.0 ** (y / 10.0))])
        edges = np.append(x, 2 * x[-1] - x[-2])
        step = self.place[1] - self.place[0]
        start, stop = np.maximum(self.place - step / 2, 0.0), self.place + step / 2
        power = np.interp(stop, edges, total) - np.interp(start, edges, total)
        power *= (edges[1] - edges[0]) / (stop - start)
        level = np.maximum(10.0 * np.log10(np.maximum(power, 1e-30)), self.floor)
        return np.where(stop <= edges[-1], level, np.nan)


@dataclass(frozen=True)
class Bundle:
    """The curves of one family.

    Parameters
    ----------
    family : str
        A key of `FAMILIES`.
    channels : list of Channel
    values : ndarray of shape (n, points)
        dB, all channels side by side; NaN where a curve has no data.
    rows : ndarray of int, shape (n,)
        Which measurement each curve belongs to, as a place among those given.
    """

    family: str
    channels: list[Channel]
    values: Floats
    rows: Ints

    @property
    def parts(self) -> list[slice]:
        """Where each channel stands among the points."""
        ends = np.cumsum([0, *(len(channel.place) for channel in self.channels)])
        return [slice(a, b) for a, b in pairwise(ends)]


def lay(
    family: str,
    readings: Sequence[CurveReading],
    rows: Mapping[int, int],
    cones: Ints,
    notes: list[str],
    labels: Sequence[str],
) -> Bundle | None:
    """Put the curves of one family on common grids.

    Parameters
    ----------
    family : str
    readings : sequence of CurveReading
        All curves.
    rows : mapping of int to int
        Place of each measurement that counts.
    cones : ndarray of int, shape (measurements,)
        The cone of each place.
    notes : list of str
        Is told which curves are left out.
    labels : sequence of str
        What to call each place's cone.

    Returns
    -------
    Bundle or None
        None where fewer than `LEAST` cones have such curves.
    """
    by_name: dict[str, dict[int, CurveReading]] = {name: {} for name in FAMILIES[family]}
    for reading in readings:
        if reading.name in by_name and reading.measurement in rows and len(reading.x) > 1:
            by_name[reading.name][rows[reading.measurement]] = reading
    here = np.array(sorted({row for each in by_name.values() for row in each}), dtype=np.intp)
    channels, columns = [], []
    for name, found in by_name.items():
        laid = _channel(family, name, found, here, cones)
        if laid is not None:
            channels.append(laid[0])
            columns.append(laid[1])
    if not channels:
        return None
    lone = _whole(columns[0])
    if len(np.unique(cones[here[_whole(np.hstack(columns))]])) < len(np.unique(cones[here[lone]])):
        lost = ", ".join(channel.name for channel in channels[1:])
        notes.append(f"Some {family} files have no {lost}, which are not foretold therefore.")
        channels, columns = channels[:1], columns[:1]
    values = np.hstack(columns)
    whole = _whole(values)
    notes += dict.fromkeys(
        f"A measurement of cone {labels[row]}: its {family} lacks more than a third of what the "
        "others' curves cover, so it is not used for curves."
        for row in here[~whole]
    )
    if len(np.unique(cones[here[whole]])) < LEAST:
        return None
    return Bundle(family, channels, values[whole], here[whole])


def _whole(values: Floats) -> npt.NDArray[np.bool_]:
    """Tell which curves have data at enough points."""
    return np.asarray(np.isnan(values).mean(axis=1) <= _WIDEST)


def _channel(
    family: str, name: str, found: Mapping[int, CurveReading], here: Ints, cones: Ints
) -> tuple[Channel, Floats] | None:
    """Lay one kind of curve, cut to where enough cones have data."""
    if not found or len(np.unique(cones[list(found)])) < LEAST:
        return None
    grid = _time_grid(found) if name == "decay" else _octave_grid(name, _FINE[family], found)
    laid = np.array([grid.put(one.x, one.y) for one in found.values()])
    values = np.full((len(here), len(grid.place)), np.nan)
    values[np.searchsorted(here, list(found))] = laid
    weight = 1.0 / np.bincount(cones[here])[cones[here]]
    covered = (weight[:, None] * np.isfinite(values)).sum(axis=0) / weight.sum()
    kept = np.flatnonzero(covered >= _SHARE)
    if len(kept) < 8:
        return None
    part = slice(kept[0], kept[-1] + 1)
    return Channel(name, grid.place[part], grid.floor), values[:, part]


def _octave_grid(name: str, fine: int, found: Mapping[int, CurveReading]) -> Channel:
    """Give the grid over all frequencies that any curve has."""
    low = min(octaves(1000.0, float(one.x[0])) for one in found.values())
    high = max(octaves(1000.0, float(one.x[-1])) for one in found.values())
    return Channel(
        name, np.asarray(np.arange(np.ceil(fine * low), np.floor(fine * high) + 1) / fine)
    )


def _time_grid(found: Mapping[int, CurveReading]) -> Channel:
    """Give the grid over time, until nine of ten have sunk to the floor for good."""
    noise = [
        10.0 * np.log10(np.mean(10.0 ** (one.y[-max(len(one.y) // 10, 1) :] / 10.0)))
        for one in found.values()
    ]
    floor = max(_FLOOR, float(np.median(noise)) + _CLEAR)
    loud = [np.flatnonzero(one.y > floor) for one in found.values()]
    ends = [
        float(one.x[at[-1] if len(at) else 1])
        for at, one in zip(loud, found.values(), strict=True)
    ]
    widest = max(float(one.x[1]) for one in found.values())
    step = max(float(np.quantile(ends, 0.9)) / (_TIMES - 1), widest)
    return Channel("decay", np.linspace(0.0, step * (_TIMES - 1), _TIMES), floor)
