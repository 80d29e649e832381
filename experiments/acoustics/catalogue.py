"""Every metric that coneloop can hear, stated once: name, unit, definition, other readings.

This table is what the plan, the command line, the report and the README show. It imports no
numerical library, so that ``coneloop --help`` need not wait for one.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["KINDS", "MEASURES", "OPTION_NAMES", "Measure", "convert", "resolve"]

KINDS: Final = ("response", "distortion", "impulse", "sweep")
"""Kinds of measurement file; a metric entered by hand has the kind ``hand``."""

OPTION_NAMES: Final = ("drop_db", "smooth", "band", "thd_of", "prominence_db")
"""Options that a measure may take; see `experiments.acoustics.options.Options`."""


@dataclass(frozen=True)
class Measure:
    """One metric that can be computed from a curve, or entered by hand.

    Parameters
    ----------
    name : str
        The full name, unit included, as ``listen --json`` prints it.
    unit : str
        The unit in which the value is computed.
    kinds : tuple of str
        The kinds of file that can carry it (`KINDS`, or ``hand``).
    options : tuple of str
        The options (`OPTION_NAMES`) that change its value.
    label : str
        What a figure or table shows.
    definition : str
        How the value is defined here.
    standard : str
        Where the definition comes from.
    other_readings : str
        What another reader could take the name to mean, and how that would differ.
    """

    name: str
    unit: str
    kinds: tuple[str, ...]
    options: tuple[str, ...]
    label: str
    definition: str
    standard: str
    other_readings: str


_CURVES: Final = ("response", "impulse", "sweep")
_HARMONICS: Final = ("distortion", "sweep")


def _harmonic(order: int) -> Measure:
    return Measure(
        f"hd{order}_percent",
        "%",
        _HARMONICS,
        ("band", "thd_of"),
        f"harmonic {order} at the THD peak",
        f"Amplitude of harmonic {order} over that of the fundamental, at the fundamental "
        "frequency where THD peaks (thd_peak_hz).",
        "Ratio to the fundamental (F), as IEC 60268-21 and most analysers show it (from memory).",
        "The largest value of this harmonic over all frequencies; the ratio to the total "
        "signal (IEC 60268-5, from memory); harmonics drawn at their own frequency.",
    )


_ALL: Final = (
    Measure(
        "level_db",
        "dB",
        _CURVES,
        ("band",),
        "level",
        "Energy mean (p squared) of the response over the band, equal weight per logarithmic "
        "interval of frequency, band edges interpolated. Without a band: over all that was "
        "measured; of an impulse response from 1/T on, T from its peak to its last sample over "
        "0.1 % of that, and null where the noise then comes within 6 dB of the lowest level. Null "
        "where the level of the noise itself is within 10 dB.",
        "Energy mean as in IEC 60268-5 (characteristic level) and ISO 1996; weight per "
        "logarithmic interval as for fractional-octave bands, IEC 61260-1 (from memory).",
        "The mean of the decibels (reads lower on an uneven curve); the level at 1 kHz; the "
        "mean with equal weight per hertz.",
    ),
    Measure(
        "lower_limit_hz",
        "Hz",
        _CURVES,
        ("drop_db", "band", "smooth"),
        "lower limit",
        "Lower end of the effective frequency range: the range is contiguous around the octave "
        "of highest mean level (searched inside the band), its end is where the curve first "
        "falls drop_db (10 dB) below that mean, interpolated in dB over log frequency; troughs "
        "narrower than 1/9 octave at that line are passed over. An octave is the ratio 10^0.3.",
        "IEC 60268-5, effective frequency range (clause from memory); octaves to base ten, IEC "
        "61260-1.",
        "The -3 dB or -6 dB point; the drop counted from the maximum, from 1 kHz or from the "
        "mean of the whole band.",
    ),
    Measure(
        "upper_limit_hz",
        "Hz",
        _CURVES,
        ("drop_db", "band", "smooth"),
        "upper limit",
        "Upper end of the effective frequency range; see lower_limit_hz.",
        "IEC 60268-5, effective frequency range (clause from memory).",
        "The -3 dB or -6 dB point; the drop counted from the maximum, from 1 kHz or from the "
        "mean of the whole band; the last crossing instead of the first.",
    ),
    Measure(
        "deviation_db",
        "dB",
        _CURVES,
        ("band", "smooth"),
        "deviation (± dB)",
        "Half of (maximum - minimum) of the level inside the band, after smoothing if any is "
        "asked for, else after averaging over 1/48 octave where the noise is known (impulse "
        "responses and sweeps). Null where the noise comes within 6 dB of the minimum. Without a "
        "band: as level_db.",
        "The ± tolerance as data sheets state it; common practice, no source.",
        "The largest departure from the mean; the whole spread (twice this value); the "
        "standard deviation (deviation_sd_db).",
    ),
    Measure(
        "deviation_sd_db",
        "dB",
        _CURVES,
        ("band", "smooth"),
        "deviation (standard)",
        "Standard deviation of the level inside the band, equal weight per logarithmic "
        "interval of frequency, after smoothing and null as deviation_db.",
        "Common practice, no source.",
        "The same with equal weight per data point or per hertz; half the spread (deviation_db).",
    ),
    Measure(
        "breakup_hz",
        "Hz",
        _CURVES,
        ("band", "prominence_db", "smooth"),
        "break-up",
        "Natural frequency of the lowest resonance above the piston range, which is taken to end "
        "at the low end of the band, without a band at 300 Hz (ka = 1 of a cone 0.36 m across). A "
        "resonance is a local maximum after 1/24 octave smoothing, with a prominence of at least "
        "prominence_db (3 dB) within two octaves to each side, at least one flank that falls 3 dB "
        "within half an octave, at least 3 points over half its prominence on a grid of at least "
        "12 points an octave, and a pole pair with Q of at least 1.5. Ripple in equal steps of "
        "frequency, as of a reflection 1 ms late or later, is taken out first. The driver's "
        "fundamental resonance, the passband and broader humps are passed over. Null where "
        "nothing decides between a low, broad peak and a sharper one above it, or whether a peak "
        "near the start of the data is the fundamental, and where ripple cannot be taken out or "
        "was higher than the peak. From the pole pair where a fit carries it, else the maximum "
        "itself.",
        "Common practice, no source; prominence as scipy.signal.peak_prominences defines it.",
        "The first dip; the strongest peak; the end of the piston range by ka = 1; the "
        "frequency of the maximum, which lies off the natural frequency at low Q.",
    ),
    Measure(
        "breakup_q",
        "",
        _CURVES,
        ("band", "prominence_db", "smooth"),
        "break-up Q",
        "Quality factor of the break-up resonance: from a response by fitting a pole pair "
        "over a smooth background, from an impulse response by the decay of the band-passed "
        "mode, Q = pi f0 tau. Null where points lie further apart than two half-power widths, or "
        "where a reflection arrives before 2.5 tau, or ripples more finely than the points show.",
        "Second-order resonance, any textbook of vibration.",
        "f0 over the 3 dB width, which reads low on a broad or tilted peak.",
    ),
    Measure(
        "thd_peak_percent",
        "%",
        _HARMONICS,
        ("band", "thd_of"),
        "THD peak",
        "Largest total harmonic distortion inside the band, as the root of the sum of the "
        "squared harmonics over the fundamental (thd_of = 'fundamental') or over the total "
        "(thd_of = 'total': d / sqrt(1 + d^2)). Harmonics 2 to 5 where the file gives no THD; "
        "of a sweep, without those less than 6 dB over the noise.",
        "IEC 60268-5 (total) and common analysers (fundamental); from memory.",
        "THD + noise; the mean over the band; harmonics up to another order.",
    ),
    Measure(
        "thd_peak_hz",
        "Hz",
        _HARMONICS,
        ("band", "thd_of"),
        "frequency of the THD peak",
        "Frequency of the fundamental at which THD is largest inside the band.",
        "Common practice, no source.",
        "The frequency of the harmonic that radiates it.",
    ),
    *(_harmonic(order) for order in (2, 3, 4, 5)),
    Measure(
        "decay_ms",
        "ms",
        ("impulse", "sweep"),
        (),
        "decay to 5 %",
        "Time from the largest magnitude of the impulse response to the last instant at which "
        "its analytic-signal envelope is at or over 5 % (-26.02 dB) of that largest magnitude. "
        "Null when the noise comes within 6 dB of the 5 % line, when the samples are clipped, "
        "or when the recorder's clock leaves it uncertain by 5 %.",
        "Settling time, as for step responses; common practice, no source. One mode: "
        "ln(20) Q / (pi f0) for high Q.",
        "Reverberation-like decay to -60 dB; the time constant; the decay of one band.",
    ),
    Measure(
        "mass_g",
        "g",
        ("hand",),
        (),
        "mass",
        "Mass of the printed cone, weighed and entered by hand.",
        "None needed.",
        "The moving mass (voice coil and air load included).",
    ),
)

MEASURES: Final[Mapping[str, Measure]] = MappingProxyType({item.name: item for item in _ALL})
"""Every measure by its full name."""

_SHORT: Final = {
    "level": "level_db",
    "lower_limit": "lower_limit_hz",
    "upper_limit": "upper_limit_hz",
    "deviation": "deviation_db",
    "deviation_sd": "deviation_sd_db",
    "breakup": "breakup_hz",
    "thd_peak": "thd_peak_percent",
    "hd2": "hd2_percent",
    "hd3": "hd3_percent",
    "hd4": "hd4_percent",
    "hd5": "hd5_percent",
    "decay": "decay_ms",
    "mass": "mass_g",
}

# Factor to the base unit of each quantity; only units of one quantity convert.
_UNITS: Final[dict[str, tuple[str, float]]] = {
    "Hz": ("frequency", 1.0),
    "kHz": ("frequency", 1000.0),
    "ms": ("time", 1.0),
    "s": ("time", 1000.0),
    "min": ("time", 60_000.0),
    "h": ("time", 3_600_000.0),
    "dB": ("level", 1.0),
    "%": ("ratio", 1.0),
    "mg": ("mass", 0.001),
    "g": ("mass", 1.0),
    "kg": ("mass", 1000.0),
    "": ("number", 1.0),
}


def resolve(name: str) -> Measure:
    """Find a measure by its full name or its short form.

    Parameters
    ----------
    name : str
        ``upper_limit_hz`` or ``upper_limit``.

    Returns
    -------
    Measure
        The measure.

    Raises
    ------
    KeyError
        For an unknown name; the message names the closest known ones.
    """
    full = _SHORT.get(name, name)
    if full in MEASURES:
        return MEASURES[full]
    known = [*MEASURES, *_SHORT]
    close = difflib.get_close_matches(name, known, n=3, cutoff=0.5)
    hint = f"did you mean {' or '.join(close)}?" if close else f"known are {', '.join(MEASURES)}"
    raise KeyError(f"unknown measure {name!r}; {hint}")


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """Convert a value between units of the same quantity.

    Parameters
    ----------
    value : float
        The number in `from_unit`.
    from_unit, to_unit : str
        Hz, kHz, ms, s, min, h, dB, %, mg, g, kg or empty (a plain number).

    Returns
    -------
    float
        The number in `to_unit`.

    Raises
    ------
    ValueError
        For an unknown unit, or for units of different quantities.
    """
    for unit in (from_unit, to_unit):
        if unit not in _UNITS:
            known = ", ".join(key for key in _UNITS if key)
            raise ValueError(f"unknown unit {unit!r}; known are {known}")
    if from_unit == to_unit:
        return value
    quantity, factor = _UNITS[from_unit]
    other, divisor = _UNITS[to_unit]
    if quantity != other:
        raise ValueError(f"{from_unit or 'a plain number'} cannot become {to_unit!r}")
    # One division or one multiplication, so that round numbers stay round.
    return value * (factor / divisor) if factor >= divisor else value / (divisor / factor)
