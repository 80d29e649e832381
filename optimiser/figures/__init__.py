"""Pictures of curves and answers, one module a picture.

Every ``draw_...`` function returns a `matplotlib.figure.Figure`; `to_svg`, `to_png` and
`to_inline_svg` write it. Where there is nothing to draw, the picture says why.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from optimiser.figures.ageing import draw_ageing
    from optimiser.figures.calibration import draw_calibration
    from optimiser.figures.comparison import draw_comparison
    from optimiser.figures.curves import Shown, draw_curves
    from optimiser.figures.dead_ends import draw_dead_ends
    from optimiser.figures.distortion import draw_distortion
    from optimiser.figures.drift import draw_drift
    from optimiser.figures.effects import draw_effects
    from optimiser.figures.expectation import draw_expectation
    from optimiser.figures.front import draw_front
    from optimiser.figures.history import draw_history
    from optimiser.figures.impulse import draw_impulse
    from optimiser.figures.indices import draw_indices
    from optimiser.figures.interactions import draw_interactions
    from optimiser.figures.optimum import draw_optimum
    from optimiser.figures.outlook import draw_outlook
    from optimiser.figures.output import to_inline_svg, to_png, to_svg
    from optimiser.figures.overlay import Line
    from optimiser.figures.production import draw_recommendation
    from optimiser.figures.response import draw_response
    from optimiser.figures.ringing import Ringing, draw_ringing

__all__ = [
    "Line",
    "Ringing",
    "Shown",
    "draw_ageing",
    "draw_calibration",
    "draw_comparison",
    "draw_curves",
    "draw_dead_ends",
    "draw_distortion",
    "draw_drift",
    "draw_effects",
    "draw_expectation",
    "draw_front",
    "draw_history",
    "draw_impulse",
    "draw_indices",
    "draw_interactions",
    "draw_optimum",
    "draw_outlook",
    "draw_recommendation",
    "draw_response",
    "draw_ringing",
    "to_inline_svg",
    "to_png",
    "to_svg",
]

# Loaded on first use: matplotlib takes longer than many an answer that nobody wants drawn.
_HOMES = {
    "Line": "overlay",
    "Ringing": "ringing",
    "Shown": "curves",
    "draw_ageing": "ageing",
    "draw_calibration": "calibration",
    "draw_comparison": "comparison",
    "draw_curves": "curves",
    "draw_dead_ends": "dead_ends",
    "draw_distortion": "distortion",
    "draw_drift": "drift",
    "draw_effects": "effects",
    "draw_expectation": "expectation",
    "draw_front": "front",
    "draw_history": "history",
    "draw_impulse": "impulse",
    "draw_indices": "indices",
    "draw_interactions": "interactions",
    "draw_optimum": "optimum",
    "draw_outlook": "outlook",
    "draw_recommendation": "production",
    "draw_response": "response",
    "draw_ringing": "ringing",
    "to_inline_svg": "output",
    "to_png": "output",
    "to_svg": "output",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
