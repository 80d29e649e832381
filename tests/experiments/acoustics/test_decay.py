from __future__ import annotations

import math

import numpy as np
import pytest

from experiments.acoustics.curves import Impulse
from experiments.acoustics.decay import (
    _above_noise,
    _band_passed,
    decay,
    envelope,
    falls,
    gaussian_band,
    mode_decay,
    without_offset,
)

RATE = 48000.0


def test_clean_mode_against_noise_of_several_heights(known):
    """Noise peaks 6 dB under the 5 % line or lower leave the value; higher ones take it away."""
    h = known.mode(900.0, 12.0, seconds=0.3)
    clean = decay(Impulse(h, RATE)).seconds
    rng = np.random.default_rng(2)
    noise = rng.uniform(-1, 1, h.size)
    for peak_of_noise, carried in ((0.002, True), (0.008, True), (0.04, False), (0.2, False)):
        found = decay(Impulse(h + peak_of_noise * noise, RATE))
        assert (found.seconds is not None) == carried
        if carried:
            assert found.seconds == pytest.approx(clean, rel=0.06)
        else:
            assert found.reason == "noise_floor"
            assert found.noise_db > -6.1


def test_hum_takes_the_value_away(known):
    h = known.mode(900.0, 12.0, seconds=0.3)
    hum = 0.04 * np.sin(2 * np.pi * 50 * np.arange(h.size) / RATE)
    assert decay(Impulse(h + hum, RATE)).reason == "noise_floor"


@pytest.mark.parametrize("offset", [-0.3, -0.02, 0.01, 0.1])
def test_a_constant_offset_is_taken_off(known, offset):
    h = known.mode(900.0, 12.0, seconds=0.3)
    clean, moved = decay(Impulse(h, RATE)), decay(Impulse(h + offset, RATE))
    assert moved.seconds == pytest.approx(clean.seconds, rel=1e-4)
    assert moved.offset == pytest.approx(offset / np.max(np.abs(h)), rel=1e-3)
    assert clean.offset == 0.0


def test_an_offset_under_noise_is_still_seen(known):
    h = known.mode(900.0, 12.0, seconds=0.3)
    noise = np.random.default_rng(0).normal(0, 0.002, h.size)
    found = decay(Impulse(h + 0.03 + noise, RATE))
    assert found.seconds == pytest.approx(decay(Impulse(h, RATE)).seconds, rel=0.02)


def test_the_slow_end_of_a_decay_is_no_offset(known):
    h = known.mode(20.0, 8.0, seconds=0.6)
    assert without_offset(Impulse(h, RATE))[1] == 0.0


def test_a_record_that_ends_too_early_is_not_carried(known):
    h = known.mode(300.0, 40.0, seconds=0.1)
    found = decay(Impulse(h, RATE))
    assert found.seconds is None
    assert found.reason == "decay_not_finished"


@pytest.mark.parametrize(("end", "carried"), [(0.045, False), (0.035, False), (0.0255, True)])
def test_a_record_that_ends_near_the_line(known, end, carried):
    """Between 5 % and 2.5 % the value stands only if the fall is clear up to the last sample."""
    q, f0 = 15.0, 1000.0
    seconds = -math.log(end) * q / (math.pi * f0)
    found = decay(Impulse(known.mode(f0, q, seconds=seconds), RATE))
    full = decay(Impulse(known.mode(f0, q), RATE))
    if carried:
        assert found.seconds == pytest.approx(full.seconds, rel=0.02)
    else:
        assert found.reason == "decay_not_finished"


def test_silence():
    assert decay(Impulse(np.zeros(100), RATE)).reason == "silent"


def test_an_echo_counts(known):
    """A reflection over 5 % belongs to the decay as it is defined."""
    h = known.mode(2000.0, 5.0, seconds=0.1)
    h[2400] += 0.2
    assert decay(Impulse(h, RATE)).seconds > 0.035


def test_peak_at_the_first_and_last_sample():
    h = np.zeros(400)
    h[0] = 1.0
    assert decay(Impulse(h, RATE)).seconds < 15 / RATE
    assert decay(Impulse(h[::-1], RATE)).seconds is None


def test_the_ends_do_not_wrap_round():
    """A record cut off at full swing must not raise the envelope at its start."""
    t = np.arange(4800) / RATE
    h = np.where(t > 0.05, np.sin(2 * np.pi * 1000 * t), 0.0)
    assert np.max(envelope(h)[:1200]) < 0.02


def test_sampling_rate_does_not_matter(known):
    times = [
        decay(Impulse(known.mode(700.0, 9.0, rate=rate, seconds=0.2), rate)).seconds
        for rate in (22050, 48000, 192000)
    ]
    assert np.ptp(times) < 2 / 22050


def test_two_modes_apart(known):
    h = known.mode(500.0, 20.0) + 0.5 * known.mode(3000.0, 10.0)
    low = mode_decay(Impulse(h, RATE), 500.0, 20.0)
    high = mode_decay(Impulse(h, RATE), 3000.0, 10.0)
    assert low.q == pytest.approx(20.0, rel=0.02)
    assert high.q == pytest.approx(10.0, rel=0.02)


@pytest.mark.parametrize("noise", [1e-4, 1e-3, 4e-3])
def test_q_under_noise(known, noise):
    h = known.mode(800.0, 15.0) + noise * np.random.default_rng(7).standard_normal(14800)
    assert mode_decay(Impulse(h, RATE), 800.0, 15.0).q == pytest.approx(15.0, rel=0.05)


def test_no_range_no_q(known):
    h = 0.02 * known.mode(800.0, 15.0) + 0.05 * np.random.default_rng(1).standard_normal(14800)
    assert mode_decay(Impulse(h, RATE), 800.0, 15.0) is None


@pytest.mark.parametrize("s", [0.002, 0.003, 0.004])
def test_the_crossing_lies_between_two_samples(s):
    """exp(-t²/2s²) falls to 5 % after s sqrt(2 ln 20); straight in dB from sample to sample."""
    t = np.arange(-2400, 2400) / RATE
    h = np.exp(-(t**2) / (2 * s * s)) * np.cos(2 * np.pi * 2000 * t)
    expected = s * math.sqrt(2 * math.log(20))
    assert decay(Impulse(h, RATE)).seconds == pytest.approx(expected, abs=0.001 / RATE)


def pulse(size, at, **later):
    h = np.zeros(size)
    h[at] = 1.0
    for place, value in later.items():
        h[-int(place[1:])] = value
    return Impulse(h, RATE)


@pytest.mark.parametrize("size", [1000, 40])
def test_noise_is_read_from_the_last_tenth_or_the_last_eight_samples(size):
    tenth = max(size // 10, 8)
    inside = decay(pulse(size, 2, **{f"b{tenth}": -0.01}))
    assert inside.noise_db == pytest.approx(20 * math.log10(0.01 / 0.05))
    assert decay(pulse(size, 2, **{f"b{tenth + 1}": -0.01})).noise_db == -math.inf
    louder = Impulse(3 * pulse(size, 2, **{f"b{tenth}": -0.01}).samples, RATE)
    assert decay(louder).noise_db == pytest.approx(inside.noise_db)


def test_a_peak_near_the_end_is_not_its_own_noise():
    assert decay(pulse(400, 395)).noise_db == -math.inf
    assert decay(pulse(400, 399)).noise_db == pytest.approx(20 * math.log10(20))  # no tail at all
    silent = decay(Impulse(np.zeros(100), RATE))
    assert (silent.noise_db, silent.offset) == (-math.inf, 0.0)


@pytest.mark.parametrize(("noise", "carried"), [(0.0245, True), (0.026, False)])
def test_noise_may_come_within_six_decibels_of_the_line(noise, carried):
    assert (decay(pulse(1000, 10, b1=noise)).seconds is not None) == carried


def test_an_offset_of_a_short_record_shows_in_its_last_eight_samples():
    for size, places in ((200, 20), (40, 8)):
        for place, believed in ((places + 1, True), (places, False)):
            impulse = pulse(size, 2, **{f"b{place}": 0.9})
            moved = Impulse(impulse.samples + 0.1, RATE)
            samples, offset = without_offset(moved)
            assert offset == (pytest.approx(0.1) if believed else 0.0)
            np.testing.assert_allclose(samples, moved.samples - offset)


@pytest.mark.parametrize(("hum", "believed"), [(0.47, True), (0.53, False)])
def test_an_offset_is_believed_where_it_is_twice_what_hums_round_it(hum, believed):
    t = np.arange(9600) / RATE
    h = 0.1 + 0.1 * hum * np.sin(2 * np.pi * 100 * t)
    assert (without_offset(Impulse(h, RATE))[1] != 0) == believed


@pytest.mark.parametrize("seed", range(3))
def test_an_offset_under_white_noise_is_believed_from_six_standard_errors(seed):
    """The mean of 1000 samples errs by 0.0316 standard deviations (any textbook)."""
    noise = np.random.default_rng(seed).normal(0, 1, 10000)
    noise[-1000:] -= np.mean(noise[-1000:])
    assert without_offset(Impulse(noise + 0.25, RATE))[1] == pytest.approx(0.25)
    assert without_offset(Impulse(noise + 0.17, RATE))[1] == 0.0


@pytest.mark.parametrize(
    ("fall", "ripple", "straight"),
    [(60, 0, True), (1.05, 0, True), (0.95, 0, False), (2, 0.45, True), (2, 0.53, False),
     (20, 2.8, True), (20, 3.2, False), (-20, 0, False), (0, 0, False)],
)  # fmt: skip
def test_what_falls_in_a_straight_line(fall, ripple, straight):
    """By 1 dB at least; departures of up to 0.5 dB, or of 15 % of the fall, are let pass."""
    level = -fall * np.linspace(0, 1, 400) + ripple * np.resize([1, -1], 400)
    assert falls(10 ** (level / 20)) == straight


@pytest.mark.parametrize("f0", [300.0, 1000.0, 5000.0])
@pytest.mark.parametrize("q", [8.0, 30.0])
def test_a_clean_mode_is_read_over_forty_decibels_and_to_the_fifth_digit(known, f0, q):
    found = mode_decay(Impulse(known.mode(f0, q, seconds=4 * q / f0), RATE), f0, q)
    assert found.q == pytest.approx(math.hypot(q, 0.5), rel=1e-5)
    assert found.frequency == pytest.approx(f0 * math.sqrt(1 + 1 / (4 * q * q)), rel=1e-6)
    assert found.range_db == pytest.approx(40.0, abs=0.3)
    assert found.rms_db < 1e-3


def test_a_mode_needs_twelve_decibels_clear_of_the_noise(known):
    lengths = np.arange(0.02, 0.03, 0.0005)
    found = [mode_decay(Impulse(known.mode(1000.0, 15.0, seconds=s), RATE), 1000.0, 15.0)
             for s in lengths]  # fmt: skip
    ranges = [one.range_db for one in found if one is not None]
    assert found[0] is None
    assert 12.0 <= min(ranges) < 12.9
    assert max(ranges) > 20


def test_rms_tells_how_uneven_the_decay_is(known):
    """Two modes a little apart beat; one alone is straight."""
    two = known.mode(1000.0, 30.0) + 0.3 * known.mode(1040.0, 30.0)
    assert mode_decay(Impulse(two, RATE), 1000.0, 30.0).rms_db > 0.3
    assert mode_decay(Impulse(known.mode(1000.0, 30.0), RATE), 1000.0, 30.0).rms_db < 0.01


def test_gain_of_the_gaussian_band():
    """A Gaussian of height 2, which doubles what the negative frequencies lose."""
    f = np.array([-1000.0, 0.0, 1.0, 900.0, 1000.0, 1200.0])
    expected = [0, 0, 2 * math.exp(-0.5 * 9.99**2), 2 * math.exp(-0.5), 2, 2 * math.exp(-2)]
    np.testing.assert_allclose(gaussian_band(f, 1000.0, 100.0), expected, rtol=1e-12)


@pytest.mark.parametrize("at", [0, 700, 1999])
def test_a_band_passed_pulse_is_the_transform_of_the_gaussian(at):
    """2 w sqrt(2 pi) / rate high, exp(-(2 pi w t)²/2) long; its ends do not wrap round."""
    h = np.zeros(2000)
    h[at] = 1.0
    found = np.abs(_band_passed(h, RATE, 6000.0, 300.0))
    t = (np.arange(2000) - at) / RATE
    height = 2 * 300 * math.sqrt(2 * math.pi) / RATE
    expected = height * np.exp(-0.5 * (2 * math.pi * 300 * t) ** 2)
    np.testing.assert_allclose(found, expected, atol=1e-9 * height)


@pytest.mark.parametrize(("noise_db", "stop"), [(-90, 50 + 45), (-40, 50 + 34), (-5, 50)])
def test_where_a_decay_meets_the_noise(noise_db, stop):
    """0.9 dB a sample from sample 50: 40 dB down, or 10 dB over the noise of the last tenth."""
    size = 10 ** (-0.9 * np.arange(-50, 200) / 20)
    size[-25:] = 10 ** (noise_db / 20)
    assert _above_noise(size, 50) == stop
    assert _above_noise(size, 400) == 400
    assert _above_noise(np.append(np.ones(100), np.full(12, 0.1)), 10) == 100
    assert _above_noise(np.append(np.full(100, 1.0), np.full(12, 0.4)), 10) == 10


@pytest.mark.parametrize(("size", "tail"), [(100, 10), (40, 8)])
def test_the_noise_of_a_mode_is_the_loudest_of_the_tail(size, tail):
    h = np.full(size, 1e-6)
    h[:10] = 1.0
    for place, stop in ((tail, 2), (tail + 1, 10)):
        one = h.copy()
        one[-place] = 0.5  # within 10 dB of all that comes before
        assert _above_noise(one, 2) == stop
