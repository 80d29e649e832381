"""What the questions answer: plain records that every caller can print, draw or store.

Nothing here computes. A number that the data cannot carry is NaN, and a note says why.
"""

from __future__ import annotations

from optimiser.records.comparisons import Comparison, Paired, Twin
from optimiser.records.estimates import UNTOLD, Calibration, Estimate, Settings
from optimiser.records.fronts import Front, Member
from optimiser.records.knobs import Knob, Pair, Sensitivity
from optimiser.records.optima import Optimum, Shift, Switch
from optimiser.records.outlooks import Outlook
from optimiser.records.picks import Pick
from optimiser.records.variants import DeadEnds, Variant

__all__ = [
    "UNTOLD",
    "Calibration",
    "Comparison",
    "DeadEnds",
    "Estimate",
    "Front",
    "Knob",
    "Member",
    "Optimum",
    "Outlook",
    "Pair",
    "Paired",
    "Pick",
    "Sensitivity",
    "Settings",
    "Shift",
    "Switch",
    "Twin",
    "Variant",
]
