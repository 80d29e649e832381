"""Work in parts gives what the same work as a whole gives."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from optimiser.threads import over_parts


@pytest.mark.parametrize("count", [1, 2, 7])
def test_parts_stay_in_their_order(count):
    columns = np.arange(21.0).reshape(3, 7)
    parts = np.array_split(columns, count, axis=1)
    np.testing.assert_array_equal(over_parts(np.sqrt, parts), np.sqrt(columns))


def test_what_fails_in_a_part_is_raised_and_no_thread_is_left():
    def fail(part: np.ndarray) -> np.ndarray:
        raise ValueError(f"part of {part.size}")

    before = threading.active_count()
    with pytest.raises(ValueError, match="part of 2"):
        over_parts(fail, [np.zeros(2), np.zeros(2)])
    assert threading.active_count() == before
