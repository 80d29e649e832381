"""What to measure next."""

from __future__ import annotations

import numpy as np

from optimiser.ageing_laws import Span
from optimiser.ageing_model import AgeModel, Drawn
from optimiser.ageing_rows import CLOCKS, Kept, keep
from optimiser.ageing_visits import next_visits
from optimiser.repeats import hear
from tests import kept_cones


def part(**design) -> tuple[Kept, Drawn]:
    shelf = kept_cones.draw(**design)
    kept = keep(hear(kept_cones.plan(), shelf.trials), "level", CLOCKS["light_hours"])
    return kept, AgeModel(kept).draw(3000, np.random.default_rng(0))


def test_three_cones_at_times_that_lie_ahead_most_telling_first():
    found = next_visits([part()], 1.0)
    assert len(found) == 3
    assert len({each.cone for each in found}) == 3
    assert all(0 < each.gain < 1 and each.time > 0 for each in found)
    assert [each.gain for each in found] == sorted((e.gain for e in found), reverse=True)
    assert max(each.time for each in found) <= 750


def test_a_cone_in_the_dark_is_left_there():
    kept, drawn = part(cones=2)
    assert kept.cones == ["1", "2", "3"]
    assert {each.cone for each in next_visits([(kept, drawn)], 1.0)} == {"1", "2"}


def test_gain_is_what_one_reading_takes_away_in_normal_theory():
    """One cone, a straight line from 0 with a normal drift and a known level."""
    rng = np.random.default_rng(0)
    count, spread, noise = 200_000, 2.0, 1.0
    drift = spread * rng.standard_normal(count)
    span = Span(0.0, 100.0)
    drawn = Drawn(
        np.zeros(count, dtype=int), np.full(count, np.inf), np.zeros((count, 1)), drift[:, None],
        drift, np.full(count, noise), np.zeros(count), span,
    )  # fmt: skip
    kept = Kept(
        np.zeros(2), np.array([0.0, 100.0]), np.array([0, 0]), np.array([0, 1]), ["1"],
        ["a", "b"], False, span, np.array([True]),
    )  # fmt: skip
    (visit,) = next_visits([(kept, drawn)], 1.0)
    assert visit.time == 150
    signal = (1.5 * spread) ** 2
    # Cut to its middle 98 %, a normal quantity keeps 0.92 of its variance.
    assert abs(visit.gain - signal / (signal + noise**2)) < 0.02


def test_nothing_known_nothing_asked():
    assert next_visits([], 1.0) == []
