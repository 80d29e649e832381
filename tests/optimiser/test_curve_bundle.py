"""Common grids: only where enough cones have data."""

from __future__ import annotations

import numpy as np
import pytest

from experiments.acoustics import Impulse
from experiments.acoustics.decay import envelope
from optimiser.curve_bundle import Channel, lay
from optimiser.curve_readings import CurveReading, curve_lines


def responses(ends, points=400):
    return [
        CurveReading(number, "response", (f := np.geomspace(low, high, points)), 80 - np.log2(f))
        for number, (low, high) in enumerate(ends)
    ]


def laid(readings, family="response"):
    notes: list[str] = []
    rows = {number: number for number in range(len(readings))}
    labels = [str(number + 1) for number in range(len(readings))]
    return lay(family, readings, rows, np.arange(len(readings)), notes, labels), notes


def test_the_grid_ends_where_three_quarters_of_the_cones_end():
    bundle, notes = laid(responses([(50, 20000)] * 3 + [(100, 10000)]))
    x = bundle.channels[0].x
    assert x[0] == pytest.approx(50, rel=0.02)
    assert x[-1] == pytest.approx(20000, rel=0.02)
    assert not notes
    known = np.isfinite(bundle.values[3])
    assert x[known][0] >= 100
    assert x[known][-1] <= 10000
    bundle, _ = laid(responses([(50, 20000)] * 2 + [(100, 10000)] * 2))
    x = bundle.channels[0].x
    assert x[0] >= 100
    assert x[-1] <= 10000


def test_a_curve_that_lacks_more_than_a_third_is_left_out_and_named():
    bundle, notes = laid(responses([(50, 20000)] * 5 + [(50, 500)]))
    assert list(bundle.rows) == [0, 1, 2, 3, 4]
    assert notes == [
        "A measurement of cone 6: its response lacks more than a third of what the others' curves "
        "cover, so it is not used for curves."
    ]


def test_files_without_harmonics_still_tell_the_distortion():
    x = np.geomspace(60, 5000, 60)
    readings = [CurveReading(one, "thd", x, np.full(60, 1.0 + one)) for one in range(6)]
    readings += [CurveReading(one, "hd2", x, np.full(60, 0.5)) for one in range(5)]
    bundle, notes = laid(readings, family="distortion")
    assert [channel.name for channel in bundle.channels] == ["thd"]
    assert len(bundle.rows) == 6
    assert notes == ["Some distortion files have no hd2, which are not foretold therefore."]


def test_three_cones_are_too_few():
    assert laid(responses([(50, 20000)] * 3))[0] is None
    assert laid([])[0] is None


def test_levels_do_not_depend_on_the_grid_they_were_written_on():
    channel = Channel("response", np.arange(-48, 48) / 48)
    sparse = np.geomspace(400, 2500, 60)
    y = 80 + 5 * np.sin(3 * np.log(sparse))
    dense = np.union1d(np.geomspace(400, 2500, 3000), sparse)
    dense_y = np.interp(np.log(dense), np.log(sparse), y)
    assert channel.put(dense, dense_y) == pytest.approx(channel.put(sparse, y), abs=1e-6)


def test_percentages_are_learnt_in_db_and_shown_as_they_are():
    x = np.geomspace(100, 5000, 100)
    readings = [CurveReading(k, "thd", x, np.where(x < 3000, 1.0 + k, np.nan)) for k in range(4)]
    bundle, _ = laid(readings, "distortion")
    assert bundle.channels[0].x[-1] < 3000  # the end of the data, not of the file
    assert bundle.values[1] == pytest.approx(20 * np.log10(2.0))
    assert bundle.channels[0].shown(bundle.values[3]) == pytest.approx(4.0)


def test_a_decay_is_the_envelope_re_the_largest_sample_down_to_the_floor():
    rate = 48000
    time = np.arange(4800) / rate
    samples = np.exp(-time / 0.002) * np.sin(2 * np.pi * 3000 * time)
    x, y = curve_lines({"impulse": Impulse(samples, rate)})["decay"]
    start = int(np.argmax(np.abs(samples)))
    wanted = envelope(samples)[start + 200] / np.abs(samples[start])
    assert (x[200], y[200]) == (pytest.approx(200 / 48), pytest.approx(20 * np.log10(wanted)))
    bundle, _ = laid([CurveReading(k, "decay", x, y) for k in range(4)], "decay")
    channel = bundle.channels[0]
    # exp(-t / 2 ms) reaches -50 dB after 11.5 ms; the envelope of a start that is sharp, later.
    assert channel.x[-1] == pytest.approx(2 * 50 / (20 / np.log(10)), rel=0.1)
    assert channel.floor == -50.0
    assert channel.put(x, y)[80] == pytest.approx(np.interp(channel.x[80], x, y), abs=0.2)
    assert channel.put(x, np.full_like(y, -80.0)).min() == -50.0
