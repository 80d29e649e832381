"""The page's benchmarks, shortened: *try* answers a moved knob, and a crowd loses nothing.

The limits here are generous, for tests share their machine; what was measured is in
DEVELOPERS.md.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks import page_load, page_speed
from tests.page_stores import fill

pytestmark = pytest.mark.slow


def test_a_moved_knob_is_answered(tmp_path):
    fill(tmp_path / "radio", 14)
    times = page_speed.moves(tmp_path / "radio", 12)
    print(page_speed.tell(times))
    assert times.shape == (12, 2)
    numbers, curves = np.median(times, axis=0)
    assert 0 < numbers < 4 * 150
    assert numbers < curves < 4 * 400


def test_a_crowd_sees_no_error_and_loses_nothing(tmp_path):
    fill(tmp_path / "radio", 14, curves=0)
    crowd = page_load.gather(tmp_path / "radio", 8)
    print(page_load.tell(crowd))
    assert crowd.wrong == []
    assert len(crowd.times) > page_load.READERS
    assert crowd.notes > 2
    assert crowd.cones > 2
    assert page_load.missing(tmp_path / "radio", crowd, 14) == 0
    assert np.median(crowd.times) < 3 * 0.5
