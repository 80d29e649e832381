"""What the user may choose when metrics are computed."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any, Literal

from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["Options", "Sweep"]


def _refuse(where: str, found: object, expected: str) -> CurveError:
    return CurveError(Problem(where, repr(found), expected))


def _number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


@dataclass(frozen=True)
class Sweep:
    """The excitation of a sweep recording.

    Parameters
    ----------
    start_hz, stop_hz : float
        First and last instantaneous frequency.
    seconds : float
        Duration asked for. A synchronised sweep rounds it (see `sweep.synchronised_length`).
    law : {"exponential", "synchronised", None}
        Farina's or Novak's sweep. None: whichever of the two fits the recording better.
    amplitude : float
        Peak of the stimulus in its own file, 1 for full scale.
    fade_in, fade_out : float
        Raised-cosine flanks at its ends, s.
    """

    start_hz: float
    stop_hz: float
    seconds: float
    law: Literal["exponential", "synchronised"] | None = None
    amplitude: float = 1.0
    fade_in: float = 0.0
    fade_out: float = 0.0

    def __post_init__(self) -> None:
        for name in ("start_hz", "stop_hz", "seconds", "amplitude"):
            value = getattr(self, name)
            if not _number(value) or value <= 0:
                raise _refuse(f"sweep.{name}", value, "a positive number")
        if self.start_hz >= self.stop_hz:
            raise _refuse("sweep", (self.start_hz, self.stop_hz), "a start below the stop")
        if self.law not in (None, "exponential", "synchronised"):
            raise _refuse("sweep.law", self.law, "'exponential' or 'synchronised'")
        for name in ("fade_in", "fade_out"):
            value = getattr(self, name)
            if not _number(value) or not 0 <= value <= self.seconds / 4:
                raise _refuse(f"sweep.{name}", value, "seconds from 0 to a quarter of the sweep")

    @classmethod
    def from_text(cls, text: str) -> Sweep:
        """Read ``F1:F2:SECONDS`` as the command line takes it.

        Raises
        ------
        CurveError
            If the text is not three positive numbers, or F1 is not below F2.
        """
        try:
            start, stop, seconds = (float(part) for part in text.split(":"))
        except ValueError:
            raise _refuse("--sweep", text, "F1:F2:SECONDS, such as 20:20000:10") from None
        return cls(start, stop, seconds)


@dataclass(frozen=True)
class Options:
    """Choices that change how metrics are computed; the defaults are stated in the catalogue.

    Parameters
    ----------
    drop_db : float
        Drop below the reference that ends the effective range, dB.
    smooth : float or None
        Width of the smoothing window as 1/smooth octave. None: no smoothing.
    band : (float, float) or None
        Low and high end of the band in Hz. None: everything that was measured.
    thd_of : {"fundamental", "total"}
        What the distortion is a percentage of.
    prominence_db : float
        Least topographic prominence of a break-up peak, dB.
    sweep : Sweep or None
        The excitation of a sweep recording.
    channel : int or None
        Which channel of a WAV file to take, counted from 1.
    loopback : int or None
        Channel of a sweep recording that carries the stimulus itself, counted from 1.
    rate : float or None
        Sampling rate in Hz of a text file of bare samples that states none.
    sensitivity_dbfs : float or None
        What a tone of 94 dB SPL reads in a sweep recording, dB re a full-scale sine.
    drive_volts, distance_m : float or None
        Voltage (rms) at the driver and distance of the microphone; levels are then stated for
        2.83 V and 1 m.
    columns, unit, decimal, delimiter, encoding
        How a text file is written, see `experiments.acoustics.form.Form`. None: found out.

    Raises
    ------
    CurveError
        For a value outside its range; `where` names the option.
    """

    drop_db: float = 10.0
    smooth: float | None = None
    band: tuple[float, float] | None = None
    thd_of: Literal["fundamental", "total"] = "fundamental"
    prominence_db: float = 3.0
    sweep: Sweep | None = None
    channel: int | None = None
    loopback: int | None = None
    rate: float | None = None
    sensitivity_dbfs: float | None = None
    drive_volts: float | None = None
    distance_m: float | None = None
    columns: tuple[str, ...] | None = None
    unit: str | None = None
    decimal: Literal[".", ","] | None = None
    delimiter: str | None = None
    encoding: str | None = None

    def __post_init__(self) -> None:
        self._check_numbers()
        if self.band is not None:
            object.__setattr__(self, "band", _checked_band(self.band))
        if self.columns is not None:
            object.__setattr__(self, "columns", tuple(self.columns))
        if self.thd_of not in ("fundamental", "total"):
            raise _refuse("thd_of", self.thd_of, "'fundamental' or 'total'")
        for name in ("channel", "loopback"):
            value = getattr(self, name)
            if value is not None and (type(value) is not int or value < 1):
                raise _refuse(name, value, "a channel number, counted from 1")

    def _check_numbers(self) -> None:
        for name in ("drop_db", "prominence_db", "rate", "drive_volts", "distance_m"):
            value = getattr(self, name)
            if value is None and name not in ("drop_db", "prominence_db"):
                continue
            if not _number(value) or value <= 0:
                raise _refuse(name, value, "a positive number")
        decibels = self.sensitivity_dbfs
        if decibels is not None and not (_number(decibels) and -140 <= decibels <= 20):
            raise _refuse("sensitivity_dbfs", decibels, "dB re full scale, from -140 to 20")
        if self.smooth is not None and not (_number(self.smooth) and 0.25 <= self.smooth <= 192):
            raise _refuse("smooth", self.smooth, "N of 1/N octave, from 0.25 to 192")

    def with_values(self, values: Mapping[str, Any]) -> Options:
        """Return a copy with some options replaced, as a plan's metric gives them.

        Parameters
        ----------
        values : mapping
            Option names and values; ``band`` may be a list of two numbers.

        Returns
        -------
        Options
            The copy.

        Raises
        ------
        CurveError
            For an unknown option or a bad value.
        """
        known = {field.name for field in fields(self)}
        for name in values:
            if name not in known:
                raise _refuse(name, values[name], f"one of the options {', '.join(sorted(known))}")
        return replace(self, **dict(values))


def _checked_band(band: Any) -> tuple[float, float]:
    try:
        low, high = band
    except (TypeError, ValueError):
        raise _refuse("band", band, "two frequencies in Hz, low and high") from None
    if not (_number(low) and _number(high) and 0 < low < high):
        raise _refuse("band", band, "two frequencies in Hz, low below high")
    return float(low), float(high)
