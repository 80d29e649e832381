"""From a table with headings to a curve: which column is what, in which unit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from experiments.acoustics.curves import Distortion, Impulse, Response, tidy
from experiments.acoustics.headings import Role, places, role_of, sampling_rate
from experiments.acoustics.percent import in_percent, with_noise
from experiments.acoustics.quality import Warning
from experiments.acoustics.timebase import by_numbers, by_time, counts
from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    import numpy.typing as npt

    from experiments.acoustics.table import Table

__all__ = ["distortion_of", "impulse_of", "response_of"]

_PASCAL: Final = 20e-6  # reference sound pressure in air, ISO 1683 (from memory)
_LINEAR: Final = {"pa": _PASCAL, "mpa": _PASCAL * 1e3, "v": 1.0, "mv": 1e3}
_FAINT: Final = 20.0  # dB: a curve that stays between 0 and this is no loudspeaker's SPL
_LOUDEST: Final = 200.0  # dB
_LISTED: Final = 5


def _roles(table: Table) -> list[Role]:
    return [role_of(heading) for heading in table.headings]


def _frequency(
    table: Table, roles: list[Role], warnings: list[Warning]
) -> tuple[int, npt.NDArray[np.float64]]:
    """Return the place and the values in Hz of the frequency column."""
    found = places(roles, "frequency")
    if len(found) > 1:
        raise _several(table, "frequency", found)
    if not found and places(roles, "time"):
        raise CurveError(
            Problem(table.where(0), f"the headings {_said(table)}", "a column of frequencies")
        )
    if not found and any(role.name for role in roles):
        table.notes.append("no heading names the frequency: the first column was taken")
    place = found[0] if found else 0
    values = table.values[:, place]
    table.refuse(values < 0, values, "a frequency from 0 on")
    if place in table.cell_units:
        return place, _in_cells(table, roles[place], place, values)
    if roles[place].unit == "khz":
        return place, values * 1000.0
    if roles[place].unit != "hz":
        top = float(np.nanmax(values, initial=0.0))
        if 0 < top <= 100 and float(np.nanmin(values)) < 10:
            text = f"frequencies up to {top:g} without a unit were taken as kHz"
            warnings.append(Warning("unit_assumed", text + "; write the unit into the heading."))
            return place, values * 1000.0
        table.notes.append("frequencies without a unit taken as Hz")
    return place, values.copy()


def _in_cells(
    table: Table, role: Role, place: int, values: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """Return frequencies whose cells carry their own units, which count before the heading's."""
    units = table.cell_units[place]
    known = {"hz": "Hz", "khz": "kHz", "k": "k"}
    foreign = sorted(set(units) - set(known))
    if foreign:
        raise CurveError(
            Problem(table.where(0), f"frequencies in {foreign[0]!r}", "frequencies in Hz or kHz")
        )
    bare = int(np.count_nonzero(~np.isnan(values))) - units.total()
    if bare > 0 and role.unit == "khz":
        raise CurveError(
            Problem(
                table.where(0),
                f"{bare} frequencies without a unit beside {units.total()} with one, under the "
                f"heading {table.headings[place]!r}",
                "one unit for all frequencies",
                "Write the unit into the heading only, or behind every number.",
            )
        )
    said = ", ".join(f"{known[unit]} in {count} rows" for unit, count in units.most_common())
    table.notes.append(
        f"frequencies by the units in their cells ({said})"
        + (f", {bare} without a unit taken as Hz" if bare > 0 else "")
    )
    return values.copy()


def response_of(table: Table, warnings: list[Warning]) -> Response:
    """Read a table as a frequency response.

    Parameters
    ----------
    table : Table
        The file; `table.notes` is added to.
    warnings : list of Warning
        Added to.

    Returns
    -------
    Response
        Sorted, one row a frequency.

    Raises
    ------
    CurveError
        If columns are missing or cannot be told apart, or values cannot be.
    """
    roles = _roles(table)
    place, frequency = _frequency(table, roles, warnings)
    level = _level(table, roles, place)
    table.refuse(np.abs(level) > 400, level, "a level in dB")
    columns = [level]
    phases = places(roles, "phase")
    if len(phases) == 1:
        turn = 180 / np.pi if roles[phases[0]].unit == "rad" else 1.0
        columns.append(table.values[:, phases[0]] * turn)
    frequency, columns = _clean(table, frequency, columns, warnings, "dB")
    phase = columns[1] if len(columns) > 1 and not np.any(np.isnan(columns[1])) else None
    if frequency.size < 3:
        raise CurveError(Problem(table.name, f"{frequency.size} usable rows", "at least 3"))
    return Response(frequency, columns[0], phase)


def _level(table: Table, roles: list[Role], frequency: int) -> npt.NDArray[np.float64]:
    """Return the level column in dB."""
    real, imaginary = places(roles, "real"), places(roles, "imaginary")
    if len(real) == 1 and len(imaginary) == 1:
        size = np.hypot(table.values[:, real[0]], table.values[:, imaginary[0]])
        table.notes.append("level computed from real and imaginary part")
        return _decibels(size, 1.0)
    found = places(roles, "level") or places(roles, "amplitude")
    if len(found) > 1:
        named = [i for i in found if roles[i].unit == "db"]
        found = named if len(named) == 1 else found
    if len(found) > 1:
        raise _several(table, "level", found)
    if found:
        return _level_in_unit(table, roles[found[0]], found[0])
    rest = [i for i in range(table.values.shape[1]) if i != frequency and roles[i].name == ""]
    if not rest:
        raise CurveError(
            Problem(
                table.where(0), f"the headings {_said(table)}", "a column of levels",
                "Name it in the heading, such as 'SPL (dB)'.",
            )
        )  # fmt: skip
    table.notes.append(f"no heading names the level: column {rest[0] + 1} was taken, in dB")
    if len(rest) > 1:
        table.notes.append("further columns without headings were left out")
    return _not_linear(table, rest[0])


def _level_in_unit(table: Table, role: Role, place: int) -> npt.NDArray[np.float64]:
    values = table.values[:, place]
    if role.unit in _LINEAR:
        reference = {"pa": "20 µPa", "mpa": "20 µPa", "v": "1 V", "mv": "1 V"}[role.unit]
        table.notes.append(f"{table.headings[place]} turned into dB re {reference}")
        return _decibels(np.abs(values), _LINEAR[role.unit])
    if role.unit == "db":
        return values
    if role.name == "amplitude" or role.unit not in ("", "db"):
        raise CurveError(
            Problem(
                table.where(0), f"a column headed {table.headings[place]!r}", "levels in dB",
                "Write the unit into the heading: dB, Pa or V.",
            )
        )  # fmt: skip
    table.notes.append("levels without a unit taken as dB")
    return _not_linear(table, place)


def _not_linear(table: Table, place: int) -> npt.NDArray[np.float64]:
    """Return a column without a unit, refusing values that are hardly dB of a loudspeaker.

    Sound pressure levels of a loudspeaker lie between the noise of a room, over 20 dB, and
    200 dB; levels about a reference of their own have both signs. Common practice, no source.
    """
    values = table.values[:, place]
    low, high = float(np.nanmin(values, initial=np.inf)), float(np.nanmax(values, initial=-np.inf))
    stated = "db" in table.cell_units.get(place, {})
    linear = 0 <= low and high <= _FAINT
    if stated or (high <= _LOUDEST and not linear):
        return values
    raise CurveError(
        Problem(
            table.where(0),
            f"a column of values from {low:.3g} to {high:.3g} without a unit, as magnitudes or "
            "pressures have them",
            "levels in dB",
            "If they are dB, write it into the heading, such as 'Level (dB)'. If they are linear, "
            "write Pa or V there, and they are turned into dB.",
        )
    )


def _decibels(size: npt.NDArray[np.float64], reference: float) -> npt.NDArray[np.float64]:
    """20 lg; zero becomes a gap."""
    ratio = np.where(size > 0, size / reference, np.nan)
    result: npt.NDArray[np.float64] = 20 * np.log10(ratio)
    return result


def distortion_of(table: Table, warnings: list[Warning]) -> Distortion:
    """Read a table as distortion over the frequency of the fundamental.

    Parameters
    ----------
    table : Table
        The file; `table.notes` is added to.
    warnings : list of Warning
        Added to.

    Returns
    -------
    Distortion
        In percent of the fundamental.

    Raises
    ------
    CurveError
        If columns are missing or cannot be told apart, or values cannot be.
    """
    roles = _roles(table)
    place, frequency = _frequency(table, roles, warnings)
    columns = _distortion_columns(table, roles, place)
    keys = list(columns)
    values = in_percent(table, roles, columns, warnings)
    frequency, cleaned = _clean(table, frequency, values, warnings, "%", need_all=False)
    by_key = dict(zip(keys, cleaned, strict=True))
    harmonics = {int(key[2:]): v for key, v in by_key.items() if key.startswith("HD")}
    if frequency.size < 2:
        raise CurveError(Problem(table.name, f"{frequency.size} usable rows", "at least 2"))
    table.notes.append("distortion taken as relative to the fundamental")
    return Distortion(frequency, by_key.get("THD"), harmonics, by_key.get("noise"))


def _distortion_columns(table: Table, roles: list[Role], frequency: int) -> dict[str, int]:
    """Return which column holds THD, HD2, ..., noise."""
    columns: dict[str, int] = {}
    for name, key in (("thd", "THD"), ("noise", "noise")):
        found = places(roles, name)
        plain = [i for i in found if not with_noise(table.headings[i])]
        found = plain or found
        if len(found) > 1:
            raise _several(table, key, found)
        if found:
            columns[key] = found[0]
        if found and not plain:
            said = repr(table.headings[found[0]])
            table.notes.append(f"{said} holds noise too: THD itself is at most this")
    for place in places(roles, "harmonic"):
        key = f"HD{roles[place].order}"
        if key in columns:
            raise _several(table, key, [columns[key], place])
        columns[key] = place
    if set(columns) - {"noise"}:
        return columns
    rest = [i for i in range(len(roles)) if i != frequency and roles[i].name in ("", "percent")]
    rest = rest or [i for i in places(roles, "level", "amplitude") if roles[i].unit in ("%", "db")]
    if len(rest) != 1:
        raise CurveError(
            Problem(
                table.where(0), f"{len(rest)} columns that may be THD (headings: {_said(table)})",
                "headings that name THD, HD2, HD3, ...",
                "Name the columns, such as 'Hz; THD %; HD2 %; HD3 %'.",
            )
        )  # fmt: skip
    table.notes.append(f"no heading names THD: column {rest[0] + 1} was taken as THD")
    return {"THD": rest[0], **columns}


def impulse_of(table: Table, rate: float | None) -> Impulse:
    """Read a table as an impulse response.

    Parameters
    ----------
    table : Table
        The file; `table.notes` is added to.
    rate : float or None
        Sampling rate in Hz, for a file of bare samples.

    Returns
    -------
    Impulse
        The samples.

    Raises
    ------
    CurveError
        If there is no rate, samples are missing or the steps of time are uneven.
    """
    roles = _roles(table)
    times = places(roles, "time")
    if not times and places(roles, "frequency"):
        raise CurveError(
            Problem(table.where(0), f"the headings {_said(table)}", "a column of time")
        )
    values = _amplitude(table, roles, times)
    table.refuse(np.isnan(values), values, "a sample (an impulse response cannot have gaps)")
    rate = rate or sampling_rate(table.remarks)
    if not times and table.values.shape[1] > 1 and not any(role.name for role in roles):
        times = [0]
    if times:
        return by_time(table, times[0], roles[times[0]].unit, values, rate)
    if rate is None:
        raise CurveError(
            Problem(
                table.where(0), "samples without time or sampling rate", "a column of time",
                "Say --rate 48000, add a column of time, or a line such as '# sampling rate: "
                "48000 Hz' at the top.",
            )
        )  # fmt: skip
    numbers = [i for i in _numbers(table, roles) if counts(table.values[:, i])]
    if len(numbers) == 1:
        return by_numbers(table, numbers[0], values, rate)
    table.notes.append(f"sampling rate {rate:g} Hz")
    return Impulse(values, rate)


def _numbers(table: Table, roles: list[Role]) -> list[int]:
    """Return the columns that number the samples: by their names, or 'sample' beside another."""
    named = places(roles, "index")
    both = places(roles, "amplitude")
    if named or len(both) != 2:
        return named
    return [i for i in both if counts(table.values[:, i])]


def _amplitude(table: Table, roles: list[Role], times: list[int]) -> npt.NDArray[np.float64]:
    found = places(roles, "amplitude") or places(roles, "level")
    numbers = _numbers(table, roles)
    found = [i for i in found if i not in numbers]
    if any(roles[i].unit == "db" for i in found):
        raise CurveError(
            Problem(
                table.where(0), "amplitudes in dB", "samples of an impulse response, linear",
                "Export the impulse response itself, not its level.",
            )
        )  # fmt: skip
    if not found:
        skip = {*times, *numbers}
        found = [i for i in range(table.values.shape[1]) if i not in skip]
        if not times and len(found) == 2:
            found = found[1:]
    if len(found) != 1:
        raise _several(table, "amplitude", found)
    return table.values[:, found[0]].copy()


def _clean(
    table: Table,
    frequency: npt.NDArray[np.float64],
    columns: list[npt.NDArray[np.float64]],
    warnings: list[Warning],
    unit: str,
    *,
    need_all: bool = True,
) -> tuple[npt.NDArray[np.float64], list[npt.NDArray[np.float64]]]:
    """Leave out gaps and 0 Hz, sort, merge duplicates, and say so."""
    gaps = np.isnan(frequency)
    gaps |= np.isnan(columns[0]) if need_all else np.all(np.isnan(np.stack(columns)), axis=0)
    zero = frequency == 0
    if np.any(gaps):
        lines = [int(line) for line in table.lines[gaps]]
        more = f" and {len(lines) - _LISTED} more" if len(lines) > _LISTED else ""
        shown = ", ".join(map(str, lines[:_LISTED]))
        table.notes.append(f"rows with gaps left out: lines {shown}{more}")
    if np.any(zero & ~gaps):
        table.notes.append("row at 0 Hz left out")
    keep = ~gaps & ~zero
    if not np.any(keep):
        raise CurveError(Problem(table.name, "no usable rows", "a curve"))
    tidied = tidy(frequency[keep], *(column[keep] for column in columns))
    if not tidied.was_sorted:
        falling = bool(np.all(np.diff(frequency[keep]) <= 0))
        table.notes.append("rows sorted by frequency" + (" (they fell)" if falling else ""))
    if tidied.merged:
        table.notes.append(f"{tidied.merged} rows of repeated frequencies averaged")
        if tidied.spread > (1.0 if unit == "dB" else 0.5):
            text = f"rows of one frequency differ by up to {tidied.spread:.2g} {unit}"
            warnings.append(Warning("duplicates_differ", text + "; are two curves in this file?"))
    return tidied.frequency, tidied.columns


def _several(table: Table, what: str, found: list[int]) -> CurveError:
    columns = ", ".join(str(place + 1) for place in found)
    return CurveError(
        Problem(
            table.where(0),
            f"{len(found)} columns that may be {what} (columns {columns})",
            "one",
            "Save a file with the one that you mean, or name the columns in a heading.",
        )
    )


def _said(table: Table) -> str:
    return ", ".join(repr(heading) for heading in table.headings if heading) or "none"
