"""What a report is made of: the plan, the table, the curves and every answer, as records."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pandas as pd

from optimiser.ageing_records import Ageing
from optimiser.answers import (
    Calibration,
    Comparison,
    DeadEnds,
    Estimate,
    Front,
    Optimum,
    Outlook,
    Pick,
    Sensitivity,
    Settings,
)
from optimiser.figures.overlay import Line
from optimiser.figures.style import Floats
from optimiser.records.expectations import Expectation
from optimiser.records.production import Recommendation
from optimiser.uncertainty import Drift, Spread

if TYPE_CHECKING:
    from experiments.plan import Plan
    from optimiser.surrogate import Leader

__all__ = ["Coming", "Curves", "Findings", "Lost", "Material"]


@dataclass(frozen=True)
class Coming:
    """A cone that comes next.

    Parameters
    ----------
    cone : int or None
        Its number; None for a proposal that is not recorded.
    status : str
        ``planned``, ``printed`` or ``proposed``.
    pick : Pick
        Recipe, expectation and reason.
    """

    cone: int | None
    status: str
    pick: Pick


@dataclass(frozen=True)
class Curves:
    """The curves that the report draws.

    Parameters
    ----------
    response, distortion : list of Line
        Every cone's latest curve.
    impulse : Line or None
        The best cone's (else the latest), in ms.
    envelope : numpy.ndarray or None
        Its envelope.
    """

    response: Sequence[Line] = ()
    distortion: Sequence[Line] = ()
    impulse: Line | None = None
    envelope: Floats | None = None
    notes: Sequence[str] = ()


@dataclass(frozen=True)
class Lost:
    """A cone that failed or was set aside, and why.

    Parameters
    ----------
    cone : int
        Its number.
    status : str
        ``failed`` or ``set aside``.
    settings : dict
        Its recipe.
    why : str
        What its maker wrote down; may be empty.
    """

    cone: int
    status: str
    settings: Settings
    why: str


@dataclass(frozen=True)
class Findings:
    """Answers beside knobs and outlook.

    Parameters
    ----------
    again : Estimate or None
        Score of one measurement of another cone of the leader's recipe.
    optima : list of Optimum
        One a number knob.
    levels : list of Comparison
        The levels of each choice, the best one against each other one.
    dead_ends : DeadEnds or None
    front : Front or None
        Of a plan that trades its metrics.
    spread : Spread or None
        How far measurements, prints and sessions scatter.
    drift : Drift or None
        Whether the rig moved.
    lost : list of Lost
        Cones that failed or were set aside.
    recommendation : Recommendation or None
        The recipe for production.
    ageing : list of Ageing
        By light and by days, as far as cones were heard at several ages.
    foretold : Expectation or None
        Whole curves of the first cone to come.
    """

    again: Estimate | None = None
    optima: Sequence[Optimum] = ()
    levels: Sequence[Comparison] = ()
    dead_ends: DeadEnds | None = None
    front: Front | None = None
    spread: Spread | None = None
    drift: Drift | None = None
    lost: Sequence[Lost] = ()
    recommendation: Recommendation | None = None
    ageing: Sequence[Ageing] = ()
    foretold: Expectation | None = None


@dataclass(frozen=True)
class Material:
    """Everything that a report shows; plain records only, so that a report can be made of any.

    Parameters
    ----------
    plan : Plan
    trials : pandas.DataFrame
        The table.
    scores : numpy.ndarray
        Measured score of each row; NaN where there is none.
    leader : Leader or None
        The best cone so far.
    coming : list of Coming
        What is printed next.
    knobs : Sensitivity
    outlook : Outlook
    calibration : list of Calibration
    curves : Curves
    findings : Findings
    notes : list of str
        What could not be said.
    data_digest, made : str
        Digest of the data; date of the report. Empty: not shown.
    judged : pandas.DataFrame or None
        The table as the model judges it, with its ``score``, where the plan has an age.
    """

    plan: Plan
    trials: pd.DataFrame
    scores: Floats
    leader: Leader | None
    coming: Sequence[Coming]
    knobs: Sensitivity
    outlook: Outlook
    calibration: Sequence[Calibration]
    curves: Curves = field(default_factory=Curves)
    findings: Findings = field(default_factory=Findings)
    notes: Sequence[str] = ()
    data_digest: str = ""
    made: str = ""
    judged: pd.DataFrame | None = None

    @property
    def marks(self) -> pd.DataFrame:
        """What stands as measured beside what is foretold: the table, with its ``score``."""
        return self.trials.assign(score=self.scores) if self.judged is None else self.judged
