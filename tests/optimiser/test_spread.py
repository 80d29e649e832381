"""The spread of the metrics, as it is told."""

from __future__ import annotations

import math

import numpy as np
import pytest

from experiments.errors import TrialsError
from optimiser.scales import spread_in_percent
from optimiser.spread import estimate_spread
from tests import workshops

PLAN = workshops.plan()


def spread_of(rows=None, sds=(0.5, 0.4, 0.2), seed=1):
    return estimate_spread(PLAN, workshops.draw(rows or workshops.thorough(), *sds, seed).trials)


def test_every_number_has_its_interval_its_degrees_and_its_cones():
    found = spread_of()
    assert [each.metric for each in found.metrics] == ["level", "decay"]
    for metric in found.metrics:
        assert [part.source for part in metric.components] == ["measurement", "print", "session"]
        for part in (*metric.components, metric.combined):
            assert part.sd.low <= part.sd.mean <= part.sd.high
            assert part.sd.cones >= 2
            assert part.measurements > part.sd.cones
            assert part.degrees > 0
        assert metric.of("print") is metric.components[1]
        assert metric.of("moon") is None
    assert (found.cones, found.measurements, found.sessions) == (19, 36, 6)


def test_a_logarithmic_metric_is_told_in_percent_of_its_value():
    """The decay's logarithm is a twentieth of the level, so its spread must be too."""
    level, decay = spread_of().metrics
    assert (level.unit, decay.unit) == ("dB", "%")
    assert decay.relative
    for one, other in zip(level.components, decay.components, strict=True):
        expected = spread_in_percent(one.sd.mean / 20)
        assert other.sd.mean == pytest.approx(expected, rel=1e-3, abs=1e-6)
        assert other.sd.high == pytest.approx(spread_in_percent(one.sd.high / 20), rel=1e-3)
    assert decay.expanded == pytest.approx(100 * math.expm1(level.expanded / 20), rel=1e-3)


def test_a_large_workshop_finds_what_it_was_drawn_from():
    rows = [
        (recipe, 4 * recipe + copy + 1, (recipe + copy + again) % 12)
        for recipe in range(25)
        for copy in range(4)
        for again in (0, 0, 5)
    ]
    metric = spread_of(rows, (0.5, 0.4, 0.2)).metrics[0]
    truth = {"measurement": 0.2, "print": 0.4, "session": 0.5}
    for source, sd in truth.items():
        part = metric.of(source)
        assert part.sd.low < sd < part.sd.high
        assert part.sd.mean == pytest.approx(sd, rel=0.35)
    assert metric.combined.sd.mean == pytest.approx(math.sqrt(0.04 + 0.16 + 0.25), rel=0.25)
    assert 1.64 < metric.expanded / metric.combined.sd.mean < 1.85


def test_the_sentence_says_each_source_and_what_a_new_print_carries():
    text = spread_of().metrics[0].text
    assert text.startswith("Level scatters")
    for words in (
        "mounted again",
        "printed again",
        "from session to session",
        "nine times in ten",
    ):
        assert words in text
    assert text.count(" to ") >= 3


@pytest.mark.parametrize("rows", [[(r, r + 1, 0) for r in range(6)], [(0, 1, 0)]])
def test_a_table_without_repeats_cannot_tell_and_says_what_would(rows):
    found = spread_of(rows)
    assert found.text.startswith("Cannot tell yet")
    for metric in found.metrics:
        assert "cannot tell yet" in metric.text
        assert math.isnan(metric.expanded)
        for part in metric.components:
            assert not part.sd.known
            assert part.degrees == 0
            assert part.remark


def test_an_empty_table_and_one_with_nothing_measured():
    trials = workshops.draw(workshops.modest(), 0, 1, 1).trials
    for frame in (trials.iloc[:0], trials.assign(status="planned")):
        found = estimate_spread(PLAN, frame)
        assert found.measurements == 0
        assert found.text.startswith("Cannot tell yet")


def test_a_negative_component_is_shown_as_zero_with_a_remark():
    rows = [(0, 1, 0), (0, 1, 0), (0, 2, 0), (0, 2, 0)]
    found = estimate_spread(PLAN, workshops.table(rows, [80.0, 82.0, 82.0, 80.1]))
    part = found.metrics[0].of("print")
    assert part.sd.mean == 0
    assert part.sd.low == 0
    assert part.sd.high > 0
    assert "shown as 0" in part.remark
    assert found.metrics[0].of("measurement").remark == ""


def test_what_cannot_be_told_apart_is_told_together():
    rows = [*((0, 1, s) for s in range(4)), (1, 2, 0), (1, 3, 0)]
    metric = spread_of(rows).metrics[0]
    told = {part.source for part in metric.components if part.sd.known}
    assert told == {"session and measurement", "print and measurement"}
    assert "measurement, print, session alone: cannot tell yet" in metric.text
    assert metric.combined.remark == "print and measurement together"


def test_ageing_is_kept_out_and_said():
    trials = workshops.draw(workshops.thorough(), 0.1, 0.1, 0.1).trials
    plain = estimate_spread(PLAN, trials)
    light = np.where((trials["cone"] == 1) & (trials["session"] == "day 6"), 300.0, 0.0)
    trials["level"] += np.where(light > 0, 9.0, 0.0)
    found = estimate_spread(PLAN, trials.assign(light_hours=light))
    assert any("Cone 1 got light" in note for note in found.notes)
    assert plain.notes == []
    blind = estimate_spread(PLAN, trials).metrics[0].of("session").sd.mean
    assert found.metrics[0].of("session").sd.mean < 0.3 < blind


def test_the_same_table_gives_the_same_numbers():
    assert spread_of().metrics == spread_of().metrics


def test_a_table_that_does_not_fit_is_refused():
    with pytest.raises(TrialsError, match="loud"):
        estimate_spread(PLAN, workshops.table([(0, 1, 0)], [80.0]).assign(level="loud"))
