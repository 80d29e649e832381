"""The methods that a report's numbers come from, with their sources."""

from __future__ import annotations

__all__ = ["METHODS"]

METHODS = (
    "Each metric has its own Gaussian process, averaged over hyperparameter sets drawn from their "
    "posterior, so that intervals stay honest with few cones (Rasmussen & Williams 2006; "
    "variables that a recipe does not use: Hutter & Osborne 2013).",
    "Metrics are combined into one score: weighted geometric mean of desirabilities "
    "(Derringer & Suich 1980). The score is computed from the metrics' models, not modelled "
    "itself (Astudillo & Frazier 2019).",
    "The next cone has the largest noisy expected improvement (Letham et al. 2019; in log form, "
    "Ament et al. 2023), times the probability that it prints. Only printable recipes are "
    "searched.",
    "Where the plan trades metrics, the next cone has the largest expected improvement of the "
    "hypervolume between the poor values and the front (Daulton, Balandat & Bakshy 2021), in "
    "units of the box from poor to good; weights and shapes play no part in it.",
    "Whether a recipe prints: a Gaussian process for classes, Laplace's approximation "
    "(Rasmussen & Williams 2006, 3.4), from failed and measured cones. A failed cone never enters "
    "a metric's model.",
    "Knobs: Sobol indices over the printable recipes (Sobol' 2001), the total ones by Jansen's "
    "estimator (1999); their intervals hold the model's own uncertainty.",
    "Calibration: closed-form leave-one-out residuals (Rasmussen & Williams 2006, 5.4.2), whole "
    "cones left out; the hyperparameters are not learnt anew.",
    "Optimum, comparison, dead ends: whole functions drawn from the models' posterior (Wilson et "
    "al. 2020) at printable recipes; each drawn function has its own best recipe.",
    "Expected curves: peaks brought to one place, functional principal components (Ramsay & "
    "Silverman 2005, chapter 8), a Gaussian process for each; checked by leaving cones out.",
    "Recipe for production: the expected score over what the printer makes of a recipe, its "
    "settings strayed by their tolerances; the confirmation run by the usual one-sided sample "
    "size and, for limits, one-sided tolerance factors (Hahn & Meeker 1991; ISO 16269-6).",
    "Ageing: a mixed model, each kept cone with a level and a drift of its own; linear, "
    "logarithmic or saturating law, named if it foretells left-out cones clearly better.",
    "Repeatability and session offsets: a linear mixed model by restricted maximum likelihood; "
    "the reference cone on an individuals chart (NIST/SEMATECH e-Handbook, 6.3.2.2); an offset is "
    "told from 0 by an F test of the metric's sessions (false discovery rate over the metrics "
    "10 %, Benjamini & Hochberg 1995) and its own 90 % interval.",
    "Frequency bands: IEC 61260-1:2014; levels are energy means per logarithmic interval.",
    "Sweep recordings: Farina 2000; Novak, Lotton & Simon 2015.",
)
