"""The individuals control chart: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.

The flow rate example is from memory: ten readings, their mean, mean moving range and limits. The
arithmetic is checked here: these readings do have this mean and this mean moving range.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from optimiser.control_chart import individuals

FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_flow_rate_example():
    assert math.fsum(FLOW) / 10 == pytest.approx(50.81)
    assert math.fsum(np.abs(np.diff(FLOW))) / 9 == pytest.approx(1.8778, abs=5e-5)
    found = individuals(FLOW)
    assert found.centre == pytest.approx(50.81)
    assert np.nanmean(found.ranges) == pytest.approx(1.8778, abs=5e-5)
    assert found.low == pytest.approx(45.82, abs=0.005)
    assert found.high == pytest.approx(55.80, abs=0.005)
    assert not found.outside.any()
    assert not found.jumped.any()


def test_factors_are_those_of_the_range_of_two_normal_values():
    """d2 and D4 = 1 + 3 d3/d2 by integration; the handbook prints 1.128, 2.66 and 3.267."""
    found = individuals(FLOW)
    mean_range = np.nanmean(found.ranges)
    gap = stats.norm(scale=math.sqrt(2))
    d2 = 2 * integrate.quad(lambda x: x * gap.pdf(x), 0, np.inf)[0]
    d3 = math.sqrt(2 - d2**2)
    assert (found.high - found.centre) / mean_range == pytest.approx(3 / d2, abs=2e-3)
    assert (found.high - found.centre) / mean_range == pytest.approx(2.66, abs=5e-4)
    assert found.range_high / mean_range == pytest.approx(1 + 3 * d3 / d2, abs=2e-3)
    assert found.sd == pytest.approx(mean_range / 1.128)
