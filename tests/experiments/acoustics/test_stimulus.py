"""The samples of a sweep: its law, leads and ends; see also test_against_pyfar."""

from __future__ import annotations

import math

import numpy as np
import pytest

from experiments.acoustics.options import Sweep
from experiments.acoustics.stimulus import generate, lead, time_constant
from experiments.errors import CurveError


def test_rates_and_leads():
    """T = 10 s, 20 Hz to 20 kHz (Farina 2000; Novak et al. 2015; recomputed)."""
    plain, synchronised = (Sweep(20, 20000, 10, law) for law in ("exponential", "synchronised"))
    assert time_constant(plain) == pytest.approx(1.4476483, abs=1e-7)
    leads = [lead(plain, k) for k in (2, 3, 4, 5)]
    assert leads == pytest.approx([1.003433, 1.590404, 2.006867, 2.329900], abs=1e-6)
    assert time_constant(synchronised) == pytest.approx(1.45, abs=1e-12)
    assert [lead(synchronised, k) for k in (2, 3)] == pytest.approx([1.005063, 1.592988], abs=1e-6)
    with pytest.raises(CurveError, match="a longer synchronised sweep"):
        time_constant(Sweep(20, 20000, 0.1, "synchronised"))


def test_frequency_halfway_is_the_geometric_mean():
    """632.456 Hz at T/2: counted as zero crossings of a tenth of a second around it."""
    x = generate(Sweep(20, 20000, 10, "exponential"), 48000)
    part = x[5 * 48000 - 2400 : 5 * 48000 + 2400]
    crossings = np.count_nonzero(np.diff(np.sign(part)) > 0)
    length = 10 / math.log(1000)
    periods = 632.456 * length * (math.exp(0.05 / length) - math.exp(-0.05 / length))
    assert crossings == pytest.approx(periods, abs=1)


def test_a_sweep_beyond_half_the_rate_is_refused():
    with pytest.raises(CurveError, match="half the rate"):
        generate(Sweep(20, 24000, 3), 48000)
