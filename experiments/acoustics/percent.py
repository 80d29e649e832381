"""How a file states distortion: percent, a ratio, dB below the fundamental, or levels."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import numpy as np

from experiments.acoustics.distortion import percent_from_db
from experiments.acoustics.headings import places
from experiments.acoustics.quality import Warning
from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    import numpy.typing as npt

    from experiments.acoustics.headings import Role
    from experiments.acoustics.table import Table

__all__ = ["in_percent", "with_noise"]

# Limits of the median of the strongest column without a unit. Common practice, no source: no
# driver distorts by 20 % over half its range, no microphone hears a tone of 5 dB SPL.
_HARDLY_PERCENT: Final = 20.0
_HARDLY_LEVEL: Final = 5.0
_FAINT: Final = 20.0  # dB: no fundamental's level is lower
_ABOVE: Final = 6.0  # dB: a ratio to the fundamental is lower
_WRITE: Final = "Write the unit into the heading of every column, such as 'HD2 (%)' or 'HD2 (dB)'."
_PLUS_NOISE: Final = re.compile(r"thd\s*(?:\+|&|and|plus)\s*n", re.IGNORECASE)


def with_noise(heading: str) -> bool:
    """Tell whether a heading names distortion and noise together: ``THD+N``."""
    return _PLUS_NOISE.search(heading) is not None


def in_percent(
    table: Table, roles: list[Role], columns: dict[str, int], warnings: list[Warning]
) -> list[npt.NDArray[np.float64]]:
    """Turn every column of distortion into percent of the fundamental.

    Parameters
    ----------
    table : Table
        The file; `table.notes` is added to.
    roles : list of Role
        What its headings say.
    columns : dict of str to int
        THD, HD2, ..., noise, and their columns.
    warnings : list of Warning
        Added to.

    Returns
    -------
    list of ndarray
        In the order of `columns`.

    Raises
    ------
    CurveError
        If a unit is foreign, missing where it decides, or values cannot be.
    """
    units = {key: _unit(table, roles, place) for key, place in columns.items()}
    bare = [key for key, unit in units.items() if not unit]
    if bare and "%" not in units.values():
        unit = _decided(table, roles, [columns[key] for key in bare])
        if unit == "db":
            table.notes.append(
                f"{', '.join(bare)} without a unit taken as dB, like the fundamental beside them"
            )
        units.update(dict.fromkeys(bare, unit))
        top = float(np.nanmax(table.values[:, [columns[key] for key in bare]], initial=0.0))
        if not unit and top <= 1.0:
            text = f"{', '.join(bare)} up to {top:.2g} without a unit taken as percent"
            warnings.append(
                Warning("unit_assumed", f"{text}; as a ratio {top:.2g} is {100 * top:.2g} %.")
            )
    return [_percent(table, roles, place, key, units[key]) for key, place in columns.items()]


def _unit(table: Table, roles: list[Role], place: int) -> str:
    """Return the unit of the heading, else that of all cells, else of numbers below zero."""
    if roles[place].unit:
        return roles[place].unit
    cells = set(table.cell_units.get(place, ()))
    if cells and cells <= {"%", "db"}:
        return cells.pop() if len(cells) == 1 else ""
    if np.nanmax(table.values[:, place], initial=-1.0) < 0:
        table.notes.append(f"column {place + 1} is negative throughout: taken as dB")
        return "db"
    return ""


def _decided(table: Table, roles: list[Role], bare: list[int]) -> str:
    """Decide what columns without a unit are; empty for percent that is only assumed."""
    strongest = max(0.0, *(_middle(table.values[:, i]) for i in bare))
    base = places(roles, "fundamental")
    levels = [i for i in base or places(roles, "level") if roles[i].unit in ("", "db")]
    levels = [i for i in levels if _middle(table.values[:, i]) > _FAINT]
    beside = len(levels) == 1
    if base and not beside and not any(roles[i].unit in ("%", "db") for i in base):
        raise _undecided(table, "harmonics without a unit beside a fundamental that is not in dB")
    if strongest < _HARDLY_LEVEL or (strongest < _HARDLY_PERCENT and not beside):
        return ""
    if strongest >= _HARDLY_PERCENT and beside:
        if strongest < _middle(table.values[:, levels[0]]):
            return "db"
        raise _undecided(table, "harmonics without a unit that exceed the fundamental")
    raise _undecided(table, f"distortion without a unit, around {strongest:.3g}, percent or dB")


def _middle(values: npt.NDArray[np.float64]) -> float:
    """Return the median of a column's known values; -inf for an empty column."""
    known = values[~np.isnan(values)]
    return float(np.median(known)) if known.size else -np.inf


def _undecided(table: Table, found: str) -> CurveError:
    return CurveError(Problem(table.where(0), found, "columns whose unit is stated", _WRITE))


def _percent(
    table: Table, roles: list[Role], place: int, key: str, unit: str
) -> npt.NDArray[np.float64]:
    """Turn one column into percent of the fundamental."""
    values = table.values[:, place]
    if unit == "db":
        base = places(roles, "fundamental") or places(roles, "level")
        base = [
            i for i in base
            if i != place and roles[i].unit in ("db", "") and np.any(~np.isnan(table.values[:, i]))
        ]  # fmt: skip
        return percent_from_db(_relative(table, values, base, key))
    if unit == "ratio":
        table.refuse(values < 0, values, f"{key} from 0 on")
        table.refuse(values > 1, values, f"{key} as a ratio up to 1; write % if it is percent")
        table.notes.append(f"{key} is a ratio: 0.01 is 1 %")
        return 100.0 * values
    if unit == "":
        table.notes.append(f"{key} without a unit taken as percent")
    elif unit != "%":
        raise CurveError(
            Problem(
                table.where(0), f"{key} in {unit}", "percent, or dB below the fundamental",
                "Export distortion in % or dB.",
            )
        )  # fmt: skip
    table.refuse(values < 0, values, f"{key} from 0 % on")
    return values


def _relative(
    table: Table, values: npt.NDArray[np.float64], fundamental: list[int], key: str
) -> npt.NDArray[np.float64]:
    """Return dB relative to the fundamental; levels need the fundamental's own level."""
    top = float(np.nanmax(values, initial=-np.inf))
    if len(fundamental) != 1:
        if top <= _ABOVE:
            table.notes.append(f"{key} in dB taken as relative to the fundamental")
            return values
        raise CurveError(
            Problem(
                table.where(0), f"{key} of up to {top:g} dB, which is a level, not a ratio",
                "dB below the fundamental, or a column with the fundamental's level",
                "Export distortion in %.",
            )
        )  # fmt: skip
    base = table.values[:, fundamental[0]]
    if top <= _ABOVE and _middle(base) > _FAINT:
        table.notes.append(f"{key} in dB taken as relative to the fundamental")
        return values
    if top <= _ABOVE:
        raise CurveError(
            Problem(
                table.where(0), f"{key} and the fundamental both in negative dB",
                "a heading that says whether harmonics are levels or ratios",
                "Export distortion in %.",
            )
        )  # fmt: skip
    table.notes.append(f"{key} taken as a level and related to the fundamental's level")
    return values - base
