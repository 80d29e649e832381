"""Reading a shortlist of recipes from a spreadsheet file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from experiments.exchange.cells import read_sheet
from experiments.exchange.shortlist import shortlist_of

if TYPE_CHECKING:
    import pandas as pd

    from experiments.plan import Plan

__all__ = ["read_shortlist"]


def read_shortlist(path: Path, plan: Plan) -> pd.DataFrame:
    """Read the recipes of a file; see `experiments.exchange.shortlist.shortlist_of`."""
    return shortlist_of(read_sheet(path, list(plan.variables)), path.name, plan)
