"""Reading a stored raw file again, in the way in which it was read when it was measured."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from experiments.acoustics import Distortion, Impulse, Options, Response, Sweep, listen
from experiments.acoustics.calibration import stated
from experiments.acoustics.reading import read
from experiments.records import Curve

__all__ = ["read_stored"]


def read_stored(stored: Curve) -> Mapping[str, Any]:
    """Read a stored file: its curves by kind, levels as its rig's condition states them.

    Parameters
    ----------
    stored : Curve
        The file, and how it was read.

    Returns
    -------
    mapping of str to Response, Distortion or Impulse
        One curve; of a sweep recording all that it carries.

    Raises
    ------
    CurveError
        The file cannot be read.
    """
    options = dict(stored.options)
    if "sweep" in options:
        options["sweep"] = Sweep(**options["sweep"])
    chosen = Options().with_values(options)
    if stored.kind == "sweep":
        return listen(stored.content, name=stored.name, kind="sweep", options=chosen).curves
    curve: Response | Distortion | Impulse = read(
        stored.content, stored.name, stored.kind, chosen
    ).curve
    if isinstance(curve, Response):
        curve, _ = stated(curve, chosen)
    return {stored.kind: curve}
