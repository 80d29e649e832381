"""What to print next, and why: surrogate, choice of the next cone, answers with uncertainty."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from optimiser.ageing_answer import ageing
    from optimiser.answers import Estimate, Pick
    from optimiser.comparing import compare
    from optimiser.curve_model import fit_curves
    from optimiser.curve_readings import read_curves
    from optimiser.expecting import expect
    from optimiser.fitting import fit
    from optimiser.fronts import front
    from optimiser.influence import sensitivity
    from optimiser.optima import optimum
    from optimiser.production import recommend
    from optimiser.proposals import propose
    from optimiser.stopping import outlook
    from optimiser.surrogate import Model
    from optimiser.variants import dead_ends

__all__ = [
    "Estimate",
    "Model",
    "Pick",
    "ageing",
    "compare",
    "dead_ends",
    "expect",
    "fit",
    "fit_curves",
    "front",
    "optimum",
    "outlook",
    "propose",
    "read_curves",
    "recommend",
    "sensitivity",
]

# A module never bears the name of a public function: importing it would shadow the function.
# Loaded on first use, so that `coneloop --help` need not wait for the numerical libraries.
_HOMES = {
    "Estimate": "optimiser.answers",
    "Model": "optimiser.surrogate",
    "Pick": "optimiser.answers",
    "ageing": "optimiser.ageing_answer",
    "compare": "optimiser.comparing",
    "dead_ends": "optimiser.variants",
    "expect": "optimiser.expecting",
    "fit": "optimiser.fitting",
    "fit_curves": "optimiser.curve_model",
    "front": "optimiser.fronts",
    "optimum": "optimiser.optima",
    "outlook": "optimiser.stopping",
    "propose": "optimiser.proposals",
    "read_curves": "optimiser.curve_readings",
    "recommend": "optimiser.production",
    "sensitivity": "optimiser.influence",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(importlib.import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
