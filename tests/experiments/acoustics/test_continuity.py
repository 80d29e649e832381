"""Samples lost or repeated during a sweep."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, iirpeak, lfilter

from experiments.acoustics import Options, listen
from experiments.acoustics.continuity import Lost, lost_samples
from experiments.acoustics.curves import Impulse
from experiments.acoustics.deconvolution import deconvolve
from experiments.acoustics.options import Sweep
from experiments.acoustics.stimulus import generate
from experiments.acoustics.sweep import SPOILT_BY_LOSS, analyse
from tests.experiments.acoustics.recordings import RATE, SWEEP, recorded


def place_of(frequency, sweep=SWEEP):
    """Seconds into the recording at which the sweep reaches a frequency."""
    return 0.25 + sweep.seconds * np.log(frequency / 20) / np.log(1000)


def faults(y, sweep=SWEEP):
    found = analyse(Impulse(y, RATE), sweep)
    return [item for item in found.warnings if item.code == "drop_outs"], found


@pytest.mark.parametrize(
    ("lost", "at"),
    [(16, 3000), (16, 8000), (64, 1500), (64, 3000), (300, 1500), (1024, 8000), (4096, 3000)],
)
def test_lost_samples_are_counted(lost, at):
    y, _, _ = recorded(before=0.25, noise=1e-4)
    place = int(place_of(at) * RATE)
    (warning,), found = faults(np.delete(y, slice(place, place + lost)))
    count, moment = (
        int(warning.text.split()[1]),
        float(warning.text.split(" were lost ")[1].split()[0]),
    )
    assert count == pytest.approx(lost, abs=max(4, 0.05 * lost))
    assert moment == pytest.approx(place_of(at), abs=0.1)
    assert found.spoilt == SPOILT_BY_LOSS


def test_less_than_a_period_is_found_and_not_counted():
    y, _, _ = recorded(before=0.25, noise=1e-4)
    place = int(place_of(1500) * RATE)
    (warning,), found = faults(np.delete(y, slice(place, place + 16)))
    assert "how many cannot be told" in warning.text
    assert found.spoilt == SPOILT_BY_LOSS


def test_repeated_samples_are_told():
    y, _, _ = recorded(before=0.25, noise=1e-4)
    place = int(place_of(2000) * RATE)
    (warning,), _ = faults(np.insert(y, place, y[place - 256 : place]))
    assert "about 260 samples were repeated" in warning.text


@pytest.mark.parametrize("at", [400, 1000])
def test_a_longer_sweep_shows_them_lower_down(at):
    sweep = Sweep(20, 20000, 10, "exponential")
    y, _, _ = recorded(sweep, before=0.25, noise=1e-4)
    place = int(place_of(at, sweep) * RATE)
    (warning,), _ = faults(np.delete(y, slice(place, place + 256)), sweep)
    assert int(warning.text.split()[1]) == pytest.approx(256, rel=0.1)


def test_metrics_are_left_out(known):
    y, _, _ = recorded(before=0.25, noise=1e-4)
    place = int(place_of(3000) * RATE)
    heard = listen(known.wav(np.delete(y, slice(place, place + 64))), options=Options(sweep=SWEEP))
    assert {heard.metrics[name].value for name in SPOILT_BY_LOSS} == {None}
    assert heard.metrics["level_db"].value is not None


def test_a_held_value_leaves_them_out_too(known):
    y, _, _ = recorded(before=0.25, noise=1e-4)
    place = int(place_of(1000) * RATE)
    y[place : place + 64] = y[place]
    heard = listen(known.wav(y), options=Options(sweep=SWEEP))
    assert "hold one value" in " ".join(item.text for item in heard.warnings)
    assert heard.metrics["deviation_db"].value is None


def response_of(system, sweep=SWEEP):
    """Deconvolve what a linear system makes of the sweep."""
    x = np.concatenate((np.zeros(2400), generate(sweep, RATE), np.zeros(24000)))
    h = deconvolve(system(x), generate(sweep, RATE), RATE, (20, 20000))
    return h, int(np.argmax(np.abs(h)))


def crossover(corner, order):
    """Return the sum of a Linkwitz-Riley pair: all of it passes, low frequencies later."""

    def system(x):
        ways = [butter(order, corner, kind, fs=RATE) for kind in ("low", "high")]
        low, high = (lfilter(*way, lfilter(*way, x)) for way in ways)
        return low + high

    return system


@pytest.mark.parametrize("corner", [300, 1000, 3000])
@pytest.mark.parametrize("order", [2, 4])
def test_a_crossover_loses_nothing(corner, order):
    h, arrival = response_of(crossover(corner, order))
    assert lost_samples(h, arrival, SWEEP, RATE) is None


@pytest.mark.parametrize("seed", range(6))
def test_a_room_loses_nothing(seed):
    """Echoes of 0.4 s reverberation, half as strong as the direct sound together."""
    rng = np.random.default_rng(seed)
    echoes = rng.standard_normal(RATE // 2) * np.exp(-6.9 * np.arange(RATE // 2) / RATE / 0.4)
    echoes[:96] = 0.0
    echoes *= 0.7 / np.sqrt(np.sum(echoes**2))
    room = np.concatenate(([1.0], echoes))
    h, arrival = response_of(lambda x: _through(x, room))
    assert lost_samples(h, arrival, SWEEP, RATE) is None


def _through(x, room):
    n = x.size + room.size
    return np.fft.irfft(np.fft.rfft(x, n) * np.fft.rfft(room, n), n)[: x.size]


@pytest.mark.parametrize("seed", range(4))
def test_many_modes_in_a_loud_room_lose_nothing(seed):
    """Up to five modes, reverberation as strong as the direct sound, an early reflection."""
    rng = np.random.default_rng(seed)
    tail = rng.standard_normal(RATE // 2) * np.exp(-6.9 * np.arange(RATE // 2) / RATE / 0.5)
    tail[:96] = 0.0
    room = np.concatenate(([1.0], tail / np.sqrt(np.sum(tail**2))))
    room[200] += 0.6

    def system(x):
        y = lfilter(*butter(2, [80, 9000], "bandpass", fs=RATE), x)
        for _ in range(5):
            f, q, height = np.exp(rng.uniform(6, 9.5)), rng.uniform(3, 60), rng.uniform(-0.9, 2.5)
            y = y + height * lfilter(*iirpeak(f, q, RATE), y)
        return _through(y, room)

    h, arrival = response_of(system)
    assert lost_samples(h, arrival, SWEEP, RATE) is None


@pytest.mark.parametrize("q", [3, 15, 60])
def test_modes_lose_nothing(q):
    h, arrival = response_of(lambda x: x + 4 * lfilter(*iirpeak(4000, q, RATE), x))
    assert lost_samples(h, arrival, SWEEP, RATE) is None


def test_words():
    assert "about 64 samples were lost 8.0 s into the recording" in Lost(8.0, 64).warning().text
    assert "about 260 samples were repeated" in Lost(5.0, -256).warning().text
