from __future__ import annotations

import numpy as np
import pytest

from experiments.acoustics import Options, listen
from experiments.acoustics.curves import Impulse
from experiments.acoustics.options import Sweep
from experiments.acoustics.stimulus import generate
from experiments.acoustics.sweep import analyse
from tests.experiments.acoustics.recordings import RATE, SWEEP, recorded, truth


@pytest.mark.parametrize("law", ["exponential", "synchronised"])
def test_response_and_law(law):
    sweep = Sweep(20, 20000, 3, law)
    y, _, filters = recorded(sweep, c=0.0)
    found = analyse(Impulse(y, RATE), Sweep(20, 20000, 3, None, 0.5))
    assert found.law == law
    assert found.latency == pytest.approx(0.05, abs=5e-4)
    f = found.response.frequency
    use = (f > 30) & (f < 9000)
    np.testing.assert_allclose(found.response.level[use], truth(filters, f)[use], atol=0.1)


def test_harmonics_behind_a_filter():
    """Each harmonic is heard through the filter at its own frequency."""
    y, _, filters = recorded()
    found = analyse(Impulse(y, RATE), SWEEP).distortion
    f = found.frequency
    use = (f > 100) & (f < 3000)
    a = 0.5
    linear = 1 + 3 * 0.02 * a * a / 4
    for order, share in ((2, a * 0.04 / 2), (3, 0.02 * a * a / 4)):
        through = 10 ** ((truth(filters, order * f) - truth(filters, f)) / 20)
        expected = 100 * share / linear * through
        np.testing.assert_allclose(
            found.harmonics[order][use], expected[use], rtol=0.02, atol=0.01
        )


def test_loopback_channel(known):
    """With the stimulus recorded beside it, latency and gain of both channels cancel."""
    y, x, filters = recorded()
    raw = known.wav(np.stack([0.3 * y, 0.3 * x], axis=1), RATE, "PCM_24")
    heard = listen(raw, options=Options(sweep=Sweep(20, 20000, 3), loopback=2))
    response = heard.curves["response"]
    use = (response.frequency > 40) & (response.frequency < 9000)
    expected = truth(filters, response.frequency[use]) + 20 * np.log10(1 + 3 * 0.02 / 16)
    np.testing.assert_allclose(response.level[use], expected, atol=0.1)
    assert "relative to the loopback channel" in " ".join(heard.notes)
    assert "ms after the loopback channel" in " ".join(heard.notes)


def test_noise_over_the_harmonics_is_said():
    y, _, _ = recorded(noise=0.03)
    found = analyse(Impulse(y, RATE), SWEEP)
    assert [item.code for item in found.warnings] == ["noise_floor"]


def test_noise_is_estimated_right():
    """The stated noise of the response against the scatter that it really has."""
    y, _, _ = recorded(b=0.0, c=0.0)
    rng = np.random.default_rng(3)
    clean = analyse(Impulse(y, RATE), SWEEP).response
    noisy = analyse(Impulse(y + 0.003 * rng.standard_normal(y.size), RATE), SWEEP).response
    for low, high in ((60, 200), (400, 1500), (2000, 8000)):
        use = (clean.frequency > low) & (clean.frequency < high)
        scatter = 10 ** (noisy.level[use] / 20) - 10 ** (clean.level[use] / 20)
        actual = 10 * np.log10(2 * np.mean(scatter**2))
        assert np.mean(noisy.noise_db[use]) == pytest.approx(actual, abs=4.0)


def test_a_short_sweep_is_said():
    y, _, _ = recorded(Sweep(20, 20000, 1, "exponential"))
    found = analyse(Impulse(y, RATE), Sweep(20, 20000, 1, "exponential"))
    assert "short_sweep" in [item.code for item in found.warnings]


def test_listen_gives_every_metric(known):
    y, _, filters = recorded(noise=1e-4)
    heard = listen(
        known.wav(y, RATE, "PCM_24"), options=Options(sweep=Sweep(20, 20000, 3), band=(200, 5000))
    )
    f = np.geomspace(20, 20000, 100001)
    over = f[truth(filters, f) > -10]
    values = {name: item.value for name, item in heard.metrics.items()}
    assert values["lower_limit_hz"] == pytest.approx(over[0], rel=0.01)
    assert values["upper_limit_hz"] == pytest.approx(over[-1], rel=0.01)
    assert values["level_db"] == pytest.approx(20 * np.log10(0.5), abs=0.2)
    assert values["decay_ms"] > 0
    assert 0.5 < values["thd_peak_percent"] < 3
    assert heard.kind == "sweep"
    assert set(heard.curves) == {"impulse", "response", "distortion"}


def test_clipping_is_flagged(known):
    y, _, _ = recorded(gain=1.0)
    raw = known.wav(np.clip(2 * y, -1, 1), RATE, "PCM_16")
    heard = listen(raw, options=Options(sweep=Sweep(20, 20000, 3)))
    assert "clipping" in [item.code for item in heard.warnings]


def test_zeros_in_a_recording_are_told(known):
    y, _, _ = recorded()
    y[70000:70200] = 0.0
    heard = listen(known.wav(y), options=Options(sweep=SWEEP))
    assert "drop_outs" in [item.code for item in heard.warnings]


@pytest.mark.parametrize(("seconds", "fade"), [(3, 0.0), (3, 0.01), (10, 0.01), (10, 0.1)])
def test_the_response_is_right_to_its_end(seconds, fade):
    """The sweep itself has a gain of 1, 0 dB, at every frequency that is given."""
    sweep = Sweep(20, 20000, seconds, "exponential", 0.25, 0.05, fade)
    played = np.concatenate((np.zeros(24000), generate(sweep, RATE), np.zeros(48000)))
    response = analyse(Impulse(played, RATE), sweep).response
    assert response.frequency[-1] > 19900
    high = response.frequency > 100
    np.testing.assert_allclose(response.level[high], 0.0, atol=0.2)


def test_harmonics_in_the_noise_do_not_enter(known):
    """HD2 is a b / 2 = 2 % by the closed form; HD4 and HD5 do not exist."""
    sweep = Sweep(20, 20000, 10, "exponential", 0.5)
    y, _, _ = recorded(sweep, b=0.08, c=0.0, noise=0.004, gain=1.0)
    options = Options(sweep=sweep, band=(200, 3000))
    heard = listen(known.wav(y, RATE, "PCM_24"), options=options)
    curve = heard.curves["distortion"]
    assert np.all(np.isnan(curve.harmonics[5]))
    assert np.nanmedian(curve.harmonics[2]) == pytest.approx(2.0, rel=0.15)
    known_thd = ~np.isnan(curve.thd)
    assert np.all(curve.thd[known_thd] >= 2 * curve.noise[known_thd])
    assert heard.metrics["hd5_percent"].value is None
    assert heard.metrics["thd_peak_percent"].value == pytest.approx(2.0, rel=0.25)


def test_where_no_harmonic_is_sure_there_is_no_thd(known):
    y, _, _ = recorded(b=0.0, c=0.0, noise=0.01)
    heard = listen(known.wav(y, RATE, "PCM_24"), options=Options(sweep=SWEEP))
    assert heard.metrics["thd_peak_percent"].value is None
    assert "no harmonic stands 6 dB over" in " ".join(item.text for item in heard.warnings)


def test_steps_as_coarse_as_the_harmonics_make_none(known):
    """Eleven steps: a harmonic of 2 % is a fifth of one."""
    step = 2.0**-15
    sweep = Sweep(20, 20000, 10, "exponential", 0.5)
    y, _, _ = recorded(sweep, gain=1.0)
    y *= 11 * step / np.max(np.abs(y))
    options = Options(sweep=sweep, band=(100, 9000))
    heard = listen(known.wav(np.round(y / step) * step, RATE, "PCM_16"), options=options)
    assert heard.metrics["thd_peak_percent"].value is None
    codes = [item.code for item in heard.warnings]
    assert "low_level" in codes
    assert "drop_outs" not in codes
