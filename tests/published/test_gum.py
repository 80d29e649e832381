"""Uncertainty of measurement: JCGM 100:2008 (GUM) and JCGM 101:2008, values from memory.

Each is recomputed from the inputs that the guides print; where a guide rounds on the way, the
tolerance is its last printed digit.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from optimiser.budget import combine, coverage_factor
from optimiser.mixed import MixedModel

# Example H.2: five simultaneous readings of voltage (V), current (mA) and phase (rad).
VOLT = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
AMPERE = 1e-3 * np.array([19.663, 19.639, 19.640, 19.685, 19.678])
PHASE = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])


def type_a(values):
    """Mean and its standard uncertainty from repeated readings, by the mixed model."""
    fit = MixedModel(np.asarray(values), np.zeros(len(values), dtype=int), {}).fit()
    return fit.means[0], fit.mean_errors[0]


# Table G.2, p = 95.45 %.
@pytest.mark.parametrize(
    ("degrees", "factor"),
    [
        (1, 13.97), (2, 4.53), (3, 3.31), (4, 2.87), (5, 2.65), (8, 2.37),
        (10, 2.28), (16, 2.17), (20, 2.13), (50, 2.05), (math.inf, 2.00),
    ],
)  # fmt: skip
def test_coverage_factors_of_table_g2(degrees, factor):
    assert coverage_factor(0.9545, degrees) == pytest.approx(factor, abs=0.005)


@pytest.mark.parametrize(
    ("degrees", "factor"),
    [(1, 12.706), (2, 4.303), (4, 2.776), (9, 2.262), (10, 2.228), (20, 2.086)],
)
def test_coverage_factors_for_95_percent(degrees, factor):
    assert coverage_factor(0.95, degrees) == pytest.approx(factor, abs=5e-4)


def test_degrees_are_truncated_to_the_next_lower_integer():
    """Clause G.4.1; a half-finished degree is no reason for a smaller factor."""
    assert coverage_factor(0.95, 4.99) == coverage_factor(0.95, 4)
    assert coverage_factor(0.95, 0.3) == coverage_factor(0.95, 1)


def test_end_gauge_h1():
    """Standard uncertainties in nm and their degrees of freedom, Table H.1."""
    comparator = combine([5.8, 3.9, 6.7], [24, 5, 8])
    assert comparator.uncertainty == pytest.approx(9.7, abs=0.05)
    assert comparator.degrees == pytest.approx(25.6, abs=0.3)
    whole = combine([25, 9.7, 2.9, 16.6], [18, 25.6, 50, 2])
    assert round(whole.uncertainty) == 32
    assert math.floor(whole.degrees) == 16
    assert coverage_factor(0.99, whole.degrees) == pytest.approx(2.92, abs=0.005)
    # The guide multiplies its rounded 2.92 and 32.
    assert whole.expanded(0.99) == pytest.approx(93, abs=1)


@pytest.mark.parametrize(
    ("values", "mean", "uncertainty"),
    [
        (VOLT, 4.9990, 0.0032),
        (1e3 * AMPERE, 19.6610, 0.0095),
        (PHASE, 1.04446, 0.00075),
        (VOLT / AMPERE * np.cos(PHASE), 127.732, 0.071),
        (VOLT / AMPERE * np.sin(PHASE), 219.847, 0.295),
        (VOLT / AMPERE, 254.260, 0.236),
    ],
    ids=["V", "I", "phase", "R", "X", "Z"],
)
def test_repeated_readings_h2(values, mean, uncertainty):
    """Tables H.2 and H.4 (the second approach): Type A evaluation of means."""
    found, error = type_a(values)
    digits = len(f"{uncertainty}".split(".")[1])
    assert found == pytest.approx(mean, abs=1.01 * 10**-digits)
    assert error == pytest.approx(uncertainty, abs=0.51 * 10**-digits)
    assert error == pytest.approx(np.std(values, ddof=1) / math.sqrt(5), rel=1e-12)


def test_welch_satterthwaite_of_equal_parts_adds_their_degrees():
    found = combine([2.0, 2.0, 2.0], [4, 4, 4])
    assert found.uncertainty == pytest.approx(2 * math.sqrt(3))
    assert found.degrees == pytest.approx(12)


def test_four_inputs_of_jcgm_101():
    """Clauses 9.2.2 and 9.2.3: u = 2.0, and by the GUM's framework ±3.92 whatever the shape."""
    rectangular = [math.sqrt(3) / math.sqrt(3)] * 4  # half width over the root of three
    for parts in ([1.0] * 4, rectangular):
        found = combine(parts, [math.inf] * 4)
        assert found.uncertainty == pytest.approx(2.0)
        assert math.isinf(found.degrees)
        assert found.expanded(0.95) == pytest.approx(3.92, abs=0.005)


def test_the_framework_says_more_than_the_truth_for_rectangular_inputs():
    """Clause 9.2.3: the shortest 95 % interval of the true distribution is ±3.88."""
    draws = np.random.default_rng(1).uniform(-math.sqrt(3), math.sqrt(3), (4, 400_000)).sum(axis=0)
    assert np.quantile(np.abs(draws), 0.95) == pytest.approx(3.88, abs=0.02)
    assert combine([1.0] * 4, [math.inf] * 4).expanded(0.95) > 3.90
