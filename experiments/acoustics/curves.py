"""The three kinds of curve, as frozen records of read-only arrays with stated units."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

__all__ = ["Distortion", "Impulse", "Response", "Tidied", "tidy"]


def _column(
    values: npt.ArrayLike, name: str, length: int | None = None
) -> npt.NDArray[np.float64]:
    """Return a read-only float copy of one finite column."""
    array = np.array(values, dtype=np.float64)
    if array.ndim != 1:
        raise CurveError(Problem(name, f"an array of shape {array.shape}", "one dimension"))
    if length is not None and array.size != length:
        raise CurveError(Problem(name, f"{array.size} values", f"{length} values"))
    if not np.all(np.isfinite(array)):
        where = int(np.flatnonzero(~np.isfinite(array))[0])
        raise CurveError(Problem(name, f"{array[where]} at index {where}", "finite numbers"))
    array.flags.writeable = False
    return array


def _frequencies(values: npt.ArrayLike) -> npt.NDArray[np.float64]:
    array = _column(values, "frequency")
    if array.size < 2:
        raise CurveError(Problem("frequency", f"{array.size} points", "at least 2"))
    if array[0] <= 0 or np.any(np.diff(array) <= 0):
        raise CurveError(
            Problem(
                "frequency",
                "values that do not ascend or are not positive",
                "positive, strictly ascending frequencies in Hz",
                "experiments.acoustics.curves.tidy sorts and merges rows.",
            )
        )
    return array


@dataclass(frozen=True)
class Response:
    """A frequency response.

    Parameters
    ----------
    frequency : ndarray, shape (n,)
        Hz, positive, strictly ascending.
    level : ndarray, shape (n,)
        dB.
    phase : ndarray, shape (n,), optional
        Degrees.
    floor_hz : float
        Frequencies below this are not carried by the measurement (1 / gate length), Hz.
    noise_db : ndarray, shape (n,), optional
        Level of the noise in the same unit as `level`, where it is known.
    """

    frequency: npt.NDArray[np.float64]
    level: npt.NDArray[np.float64]
    phase: npt.NDArray[np.float64] | None = None
    floor_hz: float = 0.0
    noise_db: npt.NDArray[np.float64] | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "frequency", _frequencies(self.frequency))
        for name in ("level", "phase", "noise_db"):
            values = getattr(self, name)
            if values is not None:
                object.__setattr__(self, name, _column(values, name, self.frequency.size))


@dataclass(frozen=True)
class Distortion:
    """Harmonic distortion over the frequency of the fundamental.

    Parameters
    ----------
    frequency : ndarray, shape (n,)
        Frequency of the fundamental in Hz, positive, strictly ascending.
    thd : ndarray, shape (n,), optional
        Total harmonic distortion in percent of the fundamental. NaN where it is not known.
        None: computed from `harmonics`.
    harmonics : mapping of int to ndarray, shape (n,)
        Order (2, 3, ...) to amplitude in percent of the fundamental. NaN where not known.
    noise : ndarray, shape (n,), optional
        Noise in percent of the fundamental, where it is known.
    bandwidth_hz : float or None
        Highest frequency at which a harmonic was measured; None where the file does not say.
    """

    frequency: npt.NDArray[np.float64]
    thd: npt.NDArray[np.float64] | None = None
    harmonics: Mapping[int, npt.NDArray[np.float64]] = field(default_factory=dict)
    noise: npt.NDArray[np.float64] | None = None
    bandwidth_hz: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "frequency", _frequencies(self.frequency))
        if self.thd is None and not self.harmonics:
            raise CurveError(Problem("distortion", "no values", "THD or harmonics"))
        for name in ("thd", "noise"):
            values = getattr(self, name)
            if values is not None:
                object.__setattr__(self, name, self._percent(values, name))
        checked = {int(k): self._percent(v, f"HD{k}") for k, v in sorted(self.harmonics.items())}
        if any(order < 2 for order in checked):
            raise CurveError(Problem("harmonics", f"order {min(checked)}", "orders from 2 on"))
        object.__setattr__(self, "harmonics", MappingProxyType(checked))

    def _percent(self, values: npt.ArrayLike, name: str) -> npt.NDArray[np.float64]:
        array = np.array(values, dtype=np.float64)
        known = np.where(np.isnan(array), 0.0, array)
        if np.any(_column(known, name, self.frequency.size) < 0):
            raise CurveError(Problem(name, f"{np.nanmin(array):g} %", "percentages from 0 on"))
        array.flags.writeable = False
        return array


@dataclass(frozen=True)
class Impulse:
    """An impulse response.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Amplitude, any linear unit.
    rate : float
        Sampling rate, Hz.
    start : float
        Time of the first sample, s.
    step : float or None
        Quantisation step of the file the samples came from, None where there is none.
    """

    samples: npt.NDArray[np.float64]
    rate: float
    start: float = 0.0
    step: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "samples", _column(self.samples, "samples"))
        if self.samples.size < 16:
            raise CurveError(Problem("samples", f"{self.samples.size} samples", "at least 16"))
        if not (np.isfinite(self.rate) and self.rate > 0):
            raise CurveError(Problem("rate", repr(self.rate), "a positive sampling rate in Hz"))

    @property
    def time(self) -> npt.NDArray[np.float64]:
        """Time of each sample, s."""
        return self.start + np.arange(self.samples.size) / self.rate


@dataclass(frozen=True)
class Tidied:
    """Rows sorted by frequency, one a frequency, and what that took.

    Parameters
    ----------
    frequency : ndarray, shape (m,)
        Ascending, without duplicates.
    columns : list of ndarray, shape (m,)
        The other columns in the same order.
    was_sorted : bool
        Whether the rows already stood in order.
    merged : int
        How many rows were merged into others.
    spread : float
        Largest difference between merged values of the first column.
    """

    frequency: npt.NDArray[np.float64]
    columns: list[npt.NDArray[np.float64]]
    was_sorted: bool
    merged: int
    spread: float


def tidy(frequency: npt.ArrayLike, *columns: npt.ArrayLike) -> Tidied:
    """Sort rows by frequency and average the rows of one frequency.

    Parameters
    ----------
    frequency : array_like, shape (n,)
        Frequencies in any order.
    *columns : array_like, shape (n,)
        Values at these frequencies; NaN is left out of an average.

    Returns
    -------
    Tidied
        The rows in order and an account of the changes.
    """
    keys = np.asarray(frequency, dtype=np.float64)
    order = np.argsort(keys, kind="stable")
    unique, first, counts = np.unique(keys[order], return_index=True, return_counts=True)
    arranged = [np.asarray(column, dtype=np.float64)[order] for column in columns]
    spread = 0.0
    if np.any(counts > 1) and arranged:
        filled = arranged[0]
        high = np.fmax.reduceat(filled, first)
        low = np.fmin.reduceat(filled, first)
        spread = float(np.nanmax(high - low, initial=0.0))
    return Tidied(
        unique,
        [_group_mean(column, first) for column in arranged],
        bool(np.all(np.diff(keys) >= 0)),
        int(keys.size - unique.size),
        spread,
    )


def _group_mean(
    values: npt.NDArray[np.float64], first: npt.NDArray[np.intp]
) -> npt.NDArray[np.float64]:
    """Mean of each group of neighbouring rows, NaN left out; all NaN stays NaN."""
    known = ~np.isnan(values)
    total = np.add.reduceat(np.where(known, values, 0.0), first)
    count = np.add.reduceat(known.astype(np.float64), first)
    mean: npt.NDArray[np.float64] = np.full(total.shape, np.nan)
    np.divide(total, count, out=mean, where=count > 0)
    return mean
