"""What was planned, printed and heard: the plan, the recipes, the ledger and the acoustics."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from experiments.errors import ExperimentError
    from experiments.ledger import Ledger
    from experiments.plan import Plan
    from experiments.space import Space

__all__ = ["ExperimentError", "Ledger", "Plan", "Space"]

# Loaded on first use, so that `coneloop --help` need not wait for pandas and scipy.
_HOMES = {
    "ExperimentError": "experiments.errors",
    "Ledger": "experiments.ledger",
    "Plan": "experiments.plan",
    "Space": "experiments.space",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(importlib.import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
