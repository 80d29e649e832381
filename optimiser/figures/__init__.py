"""Pictures of curves and answers, one module a picture.

Every ``draw_...`` function returns a `matplotlib.figure.Figure`; `to_svg`, `to_png` and
`to_inline_svg` write it. Where there is nothing to draw, the picture says why.
"""

from __future__ import annotations

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
