"""Relations that need no number: the same curve written otherwise gives the same metrics.

Level + c dB moves levels only; frequencies times s move limits and break-up by s; gain, polarity,
delay and a silent tail leave the decay alone.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.acoustics import Options, listen
from experiments.acoustics.curves import Distortion, Impulse, Response
from experiments.acoustics.decay import decay
from experiments.acoustics.listening import measure
from experiments.acoustics.response import deviation, effective_range, level
from experiments.acoustics.response import smoothed as smoothed_response
from tests.examples import examples

FREQUENCIES = ("lower_limit_hz", "upper_limit_hz", "breakup_hz")
BAND = (200.0, 4000.0)


def values(curve, **options):
    return {name: item.value for name, item in measure(curve, Options(**options)).metrics.items()}


def same(left, right, rel=1e-6, but=()):
    for name, value in left.items():
        if name in but:
            continue
        if value is None:
            assert right[name] is None, name
        else:
            assert right[name] == pytest.approx(value, rel=rel, abs=1e-6), name


curves = st.builds(
    lambda seed, points, corner, top, q: (seed, points, corner, top, q),
    st.integers(0, 10_000),
    st.integers(60, 400),
    st.floats(60, 150),
    st.floats(5000, 12000),
    st.floats(2.0, 20.0),
)


@pytest.fixture(scope="module")
def build(known):
    def made(seed, points, corner, top, q):
        rng = np.random.default_rng(seed)
        f = np.sort(np.exp(rng.uniform(np.log(20), np.log(20000), points)))
        f = np.unique(np.concatenate(([20.0], f, [20000.0])))
        h = known.second_order(f, corner, 0.8, 2) * known.second_order(f, top, 0.7, 0)
        h = h * (1 + 0.4 * known.second_order(f, 0.5 * top, q, 1))
        return Response(f, 80 + 20 * np.log10(np.abs(h)) + rng.normal(0, 0.3, f.size))

    return made


@given(curves, st.floats(-40, 40))
@settings(max_examples=examples(20), deadline=None)
def test_gain_moves_levels_only(build, case, gain):
    curve = build(*case)
    moved = Response(curve.frequency, curve.level + gain)
    a, b = values(curve, band=BAND), values(moved, band=BAND)
    assert b["level_db"] == pytest.approx(a["level_db"] + gain, abs=1e-9)
    same(a, b, rel=1e-4, but=("level_db",))


@given(curves, st.floats(0.5, 2.0))
@settings(max_examples=examples(20), deadline=None)
def test_stretching_frequency_moves_frequencies_only(build, case, stretch):
    curve = build(*case)
    moved = Response(curve.frequency * stretch, curve.level)
    a = values(curve, band=BAND)
    b = values(moved, band=(BAND[0] * stretch, BAND[1] * stretch))
    for name in FREQUENCIES:
        if a[name] is not None and b[name] is not None:
            b[name] /= stretch
    # The octave of the reference is tried on a fixed grid, so it may differ by a hair.
    same(a, b, rel=2e-3)


@given(curves)
@settings(max_examples=examples(20), deadline=None)
def test_grid_density_changes_nothing(build, case):
    curve = build(*case)
    middle = np.sqrt(curve.frequency[1:] * curve.frequency[:-1])
    f = np.sort(np.concatenate((curve.frequency, middle)))
    y = np.interp(np.log(f), np.log(curve.frequency), curve.level)
    dense = Response(f, y)
    assert level(dense, BAND) == pytest.approx(level(curve, BAND), abs=1e-9)
    a, b = deviation(curve, BAND), deviation(dense, BAND)
    assert b.half_spread_db == pytest.approx(a.half_spread_db, abs=1e-9)
    assert b.sd_db == pytest.approx(a.sd_db, abs=1e-9)
    # A smoothed curve is known at its own points and straight between them.
    quarter_step = 0.25 * float(np.max(np.diff(np.log(curve.frequency))))
    for fraction in (None, 3, 12):
        tolerance = 1e-3 if fraction is None else max(quarter_step, 1e-3)
        one = effective_range(smoothed_response(curve, fraction))
        two = effective_range(smoothed_response(dense, fraction))
        for left, right in ((one.lower_hz, two.lower_hz), (one.upper_hz, two.upper_hz)):
            assert (left is None) == (right is None)
            if left is not None:
                assert right == pytest.approx(left, rel=tolerance)


@given(curves, st.randoms(use_true_random=False))
@settings(max_examples=examples(8), deadline=None)
def test_order_units_and_marks_change_nothing(build, known, case, random):
    curve = build(*case)
    plain = known.response_text(curve.frequency, curve.level, digits=7)
    head, *rows = plain.splitlines()
    random.shuffle(rows)
    a = listen(plain.encode(), options=Options(band=BAND))
    variants = (
        "\n".join([head, *rows]).encode("utf-16"),
        known.response_text(curve.frequency, curve.level, decimal=",", digits=7).encode(
            "utf-8-sig"
        ),
        known.response_text(curve.frequency, curve.level, delimiter="\t", digits=7).encode(),
        known.response_text(curve.frequency, curve.level, unit="kHz", digits=10).encode(),
    )
    for raw in variants:
        b = listen(raw, options=Options(band=BAND))
        same(
            {k: v.value for k, v in a.metrics.items()},
            {k: v.value for k, v in b.metrics.items()},
            rel=1e-4,
        )


modes = st.tuples(st.floats(200, 4000), st.floats(3, 40))


@given(modes, st.floats(0.001, 1000), st.sampled_from([1.0, -1.0]), st.integers(0, 5000))
@settings(max_examples=examples(25), deadline=None)
def test_gain_polarity_and_delay_leave_the_decay(known, mode, gain, sign, delay):
    h = known.mode(*mode, seconds=0.3, lead=50)
    a = decay(Impulse(h, 48000.0))
    b = decay(Impulse(np.concatenate((np.zeros(delay), sign * gain * h)), 48000.0))
    assert b.seconds == pytest.approx(a.seconds, rel=5e-4)


@given(modes, st.integers(1, 20_000))
@settings(max_examples=examples(25), deadline=None)
def test_a_silent_tail_leaves_the_decay(known, mode, tail):
    h = known.mode(*mode, seconds=0.3)
    a = decay(Impulse(h, 48000.0))
    b = decay(Impulse(np.concatenate((h, np.zeros(tail))), 48000.0))
    assert b.seconds == pytest.approx(a.seconds, rel=5e-4)


short = st.tuples(st.floats(300, 4000), st.floats(3, 20))


@given(short, st.floats(0.01, 100), st.sampled_from([1.0, -1.0]), st.integers(0, 2000))
@settings(max_examples=examples(12), deadline=None)
def test_gain_polarity_and_delay_leave_the_resonance(known, mode, gain, sign, delay):
    h = known.mode(*mode, seconds=0.15, lead=50)
    a = values(Impulse(h, 48000.0))
    b = values(Impulse(np.concatenate((np.zeros(delay), sign * gain * h)), 48000.0))
    assert b["level_db"] == pytest.approx(a["level_db"] + 20 * math.log10(gain), abs=0.01)
    for name in ("upper_limit_hz", "breakup_hz", "breakup_q"):
        assert (a[name] is None) == (b[name] is None)
        if a[name] is not None:
            assert b[name] == pytest.approx(a[name], rel=0.003)


@given(short, st.floats(0.5, 2.0))
@settings(max_examples=examples(12), deadline=None)
def test_a_faster_clock_shortens_the_decay(known, mode, speed):
    h = known.mode(*mode, seconds=0.15)
    a = values(Impulse(h, 48000.0), band=(100.0, 9000.0))
    b = values(Impulse(h, 48000.0 * speed), band=(100.0 * speed, 9000.0 * speed))
    assert b["decay_ms"] == pytest.approx(a["decay_ms"] / speed, rel=1e-9)
    assert b["breakup_hz"] == pytest.approx(a["breakup_hz"] * speed, rel=0.003)
    assert b["breakup_q"] == pytest.approx(a["breakup_q"], rel=0.01)


@given(st.lists(st.floats(0.01, 30), min_size=3, max_size=40), st.floats(0.5, 2.0))
@settings(max_examples=examples(40), deadline=None)
def test_distortion_scales_with_its_percentages_and_frequencies(percent, stretch):
    f = np.geomspace(50, 5000, len(percent))
    a = values(Distortion(f, np.array(percent)))
    b = values(Distortion(f * stretch, np.array(percent) * 2))
    assert b["thd_peak_percent"] == pytest.approx(2 * a["thd_peak_percent"])
    assert b["thd_peak_hz"] == pytest.approx(a["thd_peak_hz"] * stretch)
    assert a["thd_peak_percent"] == pytest.approx(max(percent))


def test_stimulus_and_recording_scaled_alike_give_the_same_response(known):
    from experiments.acoustics.options import Sweep
    from experiments.acoustics.stimulus import generate
    from experiments.acoustics.sweep import analyse

    x = generate(Sweep(50, 10000, 1.5, "exponential"), 32000)
    y = np.concatenate((x + 0.03 * x**2, np.zeros(16000)))
    one = analyse(Impulse(y, 32000), Sweep(50, 10000, 1.5, "exponential"))
    two = analyse(Impulse(0.25 * y, 32000), Sweep(50, 10000, 1.5, "exponential", 0.25))
    np.testing.assert_allclose(one.response.level, two.response.level, atol=1e-9)
    np.testing.assert_allclose(
        one.distortion.harmonics[2], two.distortion.harmonics[2], rtol=1e-6, atol=1e-9
    )
