"""The worth of a first cone, from an earlier experiment alone."""

from __future__ import annotations

import numpy as np

from experiments.space import Space
from optimiser import fit
from optimiser.foretold import Foretold
from tests.functions import branin_problem


def test_worth_follows_the_truth_and_a_rough_value_follows_the_whole_one():
    problem = branin_problem()
    model = fit(problem.plan, problem.trials(0), seed=0, earlier=problem.trials(40, 0.02, seed=5))
    worth = Foretold(model)
    query = Space(problem.plan).sample(300, seed=3)
    values = worth.log_value(model.encoding(query))
    truth = problem.measure(query)
    assert np.argmax(values) in np.argsort(truth)[:15]
    good = truth < np.median(truth) - 10
    rough = worth.log_value(model.encoding(query), rough=True)
    assert np.corrcoef(values[good], rough[good])[0, 1] > 0.6
