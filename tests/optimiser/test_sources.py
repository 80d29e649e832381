"""Which sources of spread a table can tell apart, and what it says of the others."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimiser.one_way_analysis import one_way, pooled_interval
from optimiser.repeats import hear, tie
from optimiser.sources import behind, split, tied_model
from tests import workshops
from tests.examples import examples

ALL = {"measurement", "print", "session"}
# Rows as (recipe, cone, session), and the sources that they tell.
DESIGNS = {
    "kept reference": (workshops.kept_reference(), ALL),
    "thorough": (workshops.thorough(), ALL),
    "one session": (workshops.modest(), {"measurement", "print"}),
    "repeats only": ([(0, 1, 0), (0, 1, 0), (1, 2, 0), (1, 2, 0)], {"measurement"}),
    "repeats in two sessions": (
        [(0, 1, 0), (0, 1, 0), (0, 1, 1), (1, 2, 0), (1, 2, 1)], {"measurement", "session"},
    ),
    "reference once a session": ([(0, 1, s) for s in range(4)], {"session and measurement"}),
    "replicates only": ([(0, 1, 0), (0, 2, 0), (1, 3, 0), (1, 4, 0)], {"print and measurement"}),
    "replicates and a reference once a session": (
        [*((0, 1, s) for s in range(4)), (1, 2, 0), (1, 3, 0)],
        {"session and measurement", "print and measurement"},
    ),
    "replicates in two sessions": ([(0, 1, 0), (0, 2, 1)], {"print, session and measurement"}),
    "replicates across two sessions": (
        [(0, 1, 0), (0, 2, 0), (0, 3, 1), (0, 4, 1)], {"print and measurement", "session"},
    ),
    "prints that no session ties": (
        [(0, 1, 0), (0, 1, 0), (0, 2, 1), (0, 2, 1)], {"measurement"},
    ),
    "every recipe once": ([(r, r + 1, 0) for r in range(5)], set()),
    "nothing": ([], set()),
}  # fmt: skip


def tied_of(rows, seed=0):
    rng = np.random.default_rng(seed)
    rows = rows or [(0, 1, 0)]
    table = workshops.table(rows, 80 + rng.standard_normal(len(rows)))
    return tie(hear(workshops.plan(), table), "level")


@pytest.mark.parametrize("name", DESIGNS)
def test_what_a_design_can_tell(name):
    rows, told = DESIGNS[name]
    found = split(tied_of(rows))
    assert set(found.parts) == told
    # Every single source is either told or said how to tell.
    assert set(found.lacking) == ALL - told
    for part in found.parts.values():
        assert 0 <= part.low <= part.variance <= part.high < np.inf
        assert part.degrees >= 1
        assert part.effective > 0
    assert all(remedy.endswith(".") and len(remedy) > 30 for remedy in found.lacking.values())


@pytest.mark.parametrize(
    ("name", "source", "words"),
    [
        ("nothing", "measurement", "again in the same session"),
        ("nothing", "print", "Print a measured recipe again"),
        ("nothing", "session", "in two sessions"),
        ("one session", "session", "in two sessions"),
        ("reference once a session", "measurement", "twice in one session"),
        ("replicates only", "print", "mount one again"),
        ("prints that no session ties", "print", "nothing ties together"),
        ("every recipe once", "print", "Print a measured recipe again"),
    ],
)
def test_what_would_tell_a_source(name, source, words):
    assert words in split(tied_of(DESIGNS[name][0])).lacking[source]


def test_two_sessions_without_a_link():
    found = split(tied_of([(0, 1, 0), (0, 1, 0), (1, 2, 1), (1, 2, 1)]))
    assert set(found.parts) == {"measurement"}
    assert "session" in found.lacking


def test_repeats_of_one_session_are_the_pooled_spread_within_cones():
    tied = tied_of([(r, r + 1, 0) for r in range(4) for _ in range(3)], seed=3)
    part = split(tied).parts["measurement"]
    found = one_way(tied.values, tied.item)
    assert part.variance == pytest.approx(found.within_square, rel=1e-6)
    assert part.degrees == found.within_degrees == 8
    assert part.effective == pytest.approx(8)
    # The interval is by likelihood, not of equal tails; they differ little at 8 degrees.
    ends = np.square(pooled_interval(found.residual_sd, 8))
    assert (part.low, part.high) == pytest.approx(tuple(ends), rel=0.2)


def test_a_balanced_design_gives_the_mean_squares():
    tied = tied_of(workshops.modest(), seed=5)
    parts = split(tied).parts
    within = one_way(tied.values, tied.item)
    means = np.array([tied.values[tied.item == item].mean() for item in range(8)])
    groups = np.array([tied.group[tied.item == item][0] for item in range(8)])
    between = 2 * one_way(means, groups).within_square
    assert parts["measurement"].variance == pytest.approx(within.within_square, rel=1e-5)
    expected = (between - within.within_square) / 2
    assert expected > 0
    assert parts["print"].variance == pytest.approx(expected, rel=1e-5)
    # Satterthwaite (1946) for a difference of two mean squares (from memory).
    lost = (between / 2) ** 2 / 4 + (within.within_square / 2) ** 2 / 8
    assert parts["print"].effective == pytest.approx(expected**2 / lost, rel=1e-3)


def test_a_component_below_zero_comes_out_as_zero():
    # Cones of a recipe agree better than repeats of one cone.
    rows = [(0, 1, 0), (0, 1, 0), (0, 2, 0), (0, 2, 0)]
    table = workshops.table(rows, [80.0, 82.0, 82.0, 80.1])
    part = split(tie(hear(workshops.plan(), table), "level")).parts["print"]
    assert part.variance == 0
    assert part.low == 0
    assert part.high > 0
    assert np.isinf(part.effective)


def test_a_scale_too_coarse_to_differ_within_a_session_is_said():
    rows = [(0, 1, 0), (0, 1, 0), (0, 1, 1), (0, 1, 1)]
    table = workshops.table(rows, [80.0, 80.0, 81.0, 81.0])
    found = split(tie(hear(workshops.plan(), table), "level"))
    assert "reads the same" in found.lacking["measurement"]
    assert "measurement" not in found.parts


def test_equal_values_tell_nothing_and_do_not_fail():
    for name, (rows, _) in DESIGNS.items():
        if rows:
            table = workshops.table(rows, [80.0] * len(rows))
            found = split(tie(hear(workshops.plan(), table), "level"))
            assert found.parts == {}, name
            assert set(found.lacking) == ALL


def test_counts_behind_a_source():
    tied = tied_of(workshops.kept_reference())
    assert behind(tied, "measurement") == (3, 10)
    assert behind(tied, "print") == (4, 9)
    assert behind(tied, "session")[1] == 13
    assert behind(tied, "print and measurement") == behind(tied, "print")


def test_the_model_drops_what_the_table_cannot_carry():
    names = {
        "kept reference": {"session", "print"},
        "one session": {"print"},
        "replicates only": set(),
        "reference once a session": {"session"},
    }
    for name, expected in names.items():
        _, model = tied_model(tied_of(DESIGNS[name][0]))
        assert model is not None
        assert set(model.names) == expected
    assert tied_model(tied_of([]))[1] is None


@settings(max_examples=examples(60), deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 3), st.integers(0, 2), st.integers(0, 3)), max_size=14),
    st.lists(
        st.one_of(st.sampled_from([80.0, 80.1, 81.0, 1e9, -3.0]), st.floats(70, 90)),
        min_size=14,
        max_size=14,
    ),
)
def test_any_table_gets_ordered_intervals_or_a_remedy(rows, values):
    """Whatever was heard how often: equal values, wild ones, lone cones, unlinked sessions."""
    table = workshops.table(
        [(recipe, 10 * recipe + copy, session) for recipe, copy, session in rows] or [(0, 1, 0)],
        values[: max(len(rows), 1)],
    )
    found = split(tie(hear(workshops.plan(), table), "level"))
    assert ALL <= {*found.parts, *found.lacking}
    for part in found.parts.values():
        slack = 1e-6 * part.variance
        assert 0 <= part.low <= part.variance + slack
        assert part.variance <= part.high + slack
        assert part.degrees >= 1
