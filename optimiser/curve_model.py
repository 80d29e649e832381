"""The model of whole curves: learnt once, then asked for one recipe after another."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.plan import Plan
from optimiser.curve_bundle import LEAST, lay
from optimiser.curve_family import Family, Foretold, band, learn_family
from optimiser.curve_readings import FAMILIES, CurveReading, CurveReadings
from optimiser.encoding import Encoding
from optimiser.evidence import gather
from optimiser.records.expectations import CurveBand
from optimiser.threads import one_thread
from optimiser.wording import many

__all__ = ["CurveModel", "fit_curves"]

Floats = npt.NDArray[np.float64]
Progress = Callable[[float, str], None]

_SAME_LIGHT = 1.0  # hours, as in `repeats`
# Metrics of which files ask for a family; that of responses is always spoken of.
_ASKING = {"distortion": ("distortion", "sweep"), "decay": ("impulse", "sweep")}


@dataclass
class CurveModel:
    """What has been learnt of the curves.

    Parameters
    ----------
    plan : Plan
    encoding : Encoding
    families : dict of str to Family
        Those that enough cones have curves of.
    labels : list of str
        The cone of each number in the families.
    recipes : ndarray of int, shape (cones,)
        The recipe of each cone, numbered.
    notes : list of str
        What could not be used or learnt.
    """

    plan: Plan
    encoding: Encoding
    families: dict[str, Family]
    labels: list[str]
    recipes: npt.NDArray[np.intp]
    notes: list[str] = field(default_factory=list)

    @one_thread
    def predict(self, recipe: Mapping[str, Any]) -> dict[str, CurveBand]:
        """Foretell the curves of a new measurement of a new cone of a recipe.

        Parameters
        ----------
        recipe : mapping
            Its settings, as `Space.complete` gives them; inactive variables absent.

        Returns
        -------
        dict of str to CurveBand
            By the names of `CurveReading`; empty while there are too few cones.
        """
        points = self.encoding(self.encoding.space.rows([recipe]))
        found: dict[str, CurveBand] = {}
        for family in self.families.values():
            found.update(_bands(family, family.foretell(points)))
        return found

    def put(self, lines: Iterable[CurveReading]) -> dict[str, Floats]:
        """Give curves of one measurement on the grids of what `predict` gives, in its units."""
        channels = {
            channel.name: channel
            for family in self.families.values()
            for channel in family.bundle.channels
        }
        return {
            line.name: channels[line.name].shown(channels[line.name].put(line.x, line.y))
            for line in lines
            if line.name in channels
        }


def _bands(family: Family, told: Foretold) -> dict[str, CurveBand]:
    """Draw curves and sum them up, channel by channel."""
    found = {}
    for channel, draws, middle in zip(
        family.bundle.channels, family.draw(told), family.middle(told), strict=True
    ):
        mean, low, high = (channel.shown(each) for each in band(draws))
        found[channel.name] = CurveBand(
            name=channel.name,
            x=channel.x,
            unit=channel.unit,
            mean=mean,
            low=low,
            high=high,
            middle=channel.shown(middle),
            cones=len(family.firsts),
            components=len(family.components.shapes),
            registered=family.warp is not None,
        )
    return found


@one_thread
def fit_curves(
    plan: Plan,
    trials: pd.DataFrame,
    readings: CurveReadings,
    seed: int = 0,
    *,
    encoding: Encoding | None = None,
    progress: Progress | None = None,
) -> CurveModel:
    """Learn the curves of an experiment.

    Parameters
    ----------
    plan : Plan
    trials : DataFrame
        One row a measurement with its number in ``measurement`` (see `Ledger.wide_table`).
        Curves of other measurements are passed over.
    readings : CurveReadings
        From `read_curves`.
    seed : int
    encoding : Encoding, optional
        That of a `Model` of the same plan, to save making it again.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    CurveModel
        Reusable: `CurveModel.predict` answers for one recipe in some hundredths of a second.

    Raises
    ------
    TrialsError
        The table does not fit the plan.
    """
    notes = list(readings.notes)
    table = _measured(plan, trials, notes)
    encoding = encoding or Encoding(gather(plan, trials.iloc[:0]).space)
    cones, labels = pd.factorize(table["cone"])
    cones = cones.astype(np.intp)
    sessions = pd.factorize(table["session"])[0].astype(np.intp)
    recipes = table[list(plan.variables)]
    same = np.asarray(recipes.groupby(list(recipes), dropna=False, sort=False).ngroup(), np.intp)
    rows = {int(number): place for place, number in enumerate(table["measurement"])}
    families = {}
    for place, name in enumerate(FAMILIES):
        if progress:
            progress(place / len(FAMILIES), f"learning the {name} curves")
        names = list(table["cone"])
        bundle = lay(name, readings.curves, rows, cones, notes, names)
        if bundle is None:
            notes += _too_few(plan, name, readings, table)
            continue
        here = bundle.rows
        points = encoding(recipes.iloc[here])
        own = (cones[here], sessions[here], same[here])
        families[name] = learn_family(bundle, encoding, points, own, seed)
    first = np.unique(cones, return_index=True)[1]
    return CurveModel(plan, encoding, families, list(labels), same[first], notes)


def _measured(plan: Plan, trials: pd.DataFrame, notes: list[str]) -> pd.DataFrame:
    """Give the measured rows with their measurement's number, without those of aged cones."""
    frame = trials.reset_index(drop=True)
    if "measurement" not in frame:
        frame = frame.assign(measurement=np.arange(len(frame)))
    # The row's number stands for its session, so that its other columns are found again.
    rows = gather(plan, frame.assign(session=np.arange(len(frame)).astype(str))).measured
    place = rows["session"].astype(int)
    table = rows.drop(columns="session")
    for name, usual in (("measurement", -1), ("session", "all"), ("light_hours", 0.0)):
        column = frame[name].iloc[place] if name in frame else pd.Series(usual, place)
        table[name] = column.to_numpy(dtype=object)
    table["session"] = [
        f"row {row}" if pd.isna(one) else str(one) for row, one in enumerate(table["session"])
    ]
    table = table[table["measurement"].notna()]
    light = pd.to_numeric(table["light_hours"], errors="coerce").fillna(0.0).astype(float)
    aged = light > light.groupby(table["cone"]).transform("min") + _SAME_LIGHT
    if aged.any():
        gone = list(dict.fromkeys(table.loc[aged, "cone"]))
        cones = f"cone{'s' * (len(gone) > 1)} {', '.join(gone)}"
        notes.append(
            f"Curves that {cones} gave after hours of light are not used: a new cone is young."
        )
    return table[~aged].reset_index(drop=True)


def _too_few(plan: Plan, name: str, readings: CurveReadings, table: pd.DataFrame) -> list[str]:
    """Say that a family cannot be learnt yet; nothing of one that nobody asks for."""
    known = {one.measurement for one in readings.curves if one.name in FAMILIES[name]}
    found = table.loc[table["measurement"].isin(list(known)), "cone"].nunique()
    sources = _ASKING.get(name, ())
    asked = not sources or any(each.source in sources for each in plan.metrics.values())
    if not found and not asked:
        return []
    return [
        f"{name} curves: cannot tell yet, {many(found, 'cone')} with such a curve, {LEAST} needed."
    ]
