"""From raw measurement files to metrics: reading, definitions, warnings.

A scientist can use this package alone: arrays or files in, frozen dataclasses out.

>>> from experiments.acoustics import Options, Response, listen, measure
>>> listen("cone7.txt", options=Options(band=(200, 5000))).metrics  # doctest: +SKIP
>>> flat = measure(Response([100, 1000, 10000], [80, 80, 80]))
>>> round(flat.metrics["level_db"].value, 6)
80.0
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from experiments.acoustics.catalogue import MEASURES, Measure, convert, resolve

if TYPE_CHECKING:
    from experiments.acoustics.curves import Distortion, Impulse, Response
    from experiments.acoustics.decay_bands import BandDecay, band_decay
    from experiments.acoustics.listening import Listening, Value, listen, measure
    from experiments.acoustics.options import Options, Sweep
    from experiments.acoustics.quality import Warning

__all__ = [
    "MEASURES",
    "BandDecay",
    "Distortion",
    "Impulse",
    "Listening",
    "Measure",
    "Options",
    "Response",
    "Sweep",
    "Value",
    "Warning",
    "band_decay",
    "convert",
    "listen",
    "measure",
    "resolve",
]

# Loaded on first use, so that the plan can read the catalogue without waiting for scipy.
_HOMES = {
    "BandDecay": "decay_bands",
    "Distortion": "curves",
    "Impulse": "curves",
    "Listening": "listening",
    "Options": "options",
    "Response": "curves",
    "Sweep": "options",
    "Value": "listening",
    "Warning": "quality",
    "band_decay": "decay_bands",
    "listen": "listening",
    "measure": "listening",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(importlib.import_module(f"experiments.acoustics.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
