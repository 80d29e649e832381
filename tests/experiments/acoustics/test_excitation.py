"""Excitation files and their sidecars; the sweep itself against pyfar's."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import numpy as np
import pyfar
import pytest
import soundfile

from experiments.acoustics import Options, listen
from experiments.acoustics.excitation import (
    Excitation,
    excitation_beside,
    read_excitation,
    sidecar_of,
    sidecar_text,
    to_wav,
)
from experiments.acoustics.options import Sweep
from experiments.acoustics.stimulus import time_constant
from experiments.errors import CurveError

RATE = 48000
SWEEP = Sweep(20, 20000, 2, "exponential", 0.25, 0.05, 0.01)
EXCITATION = Excitation(SWEEP, RATE, before=0.25, after=0.5)


@pytest.fixture
def written(tmp_path):
    """An excitation and its sidecar in a folder."""
    path = tmp_path / "play.wav"
    wav = to_wav(EXCITATION)
    path.write_bytes(wav)
    sidecar_of(path).write_text(sidecar_text(EXCITATION, path.name, wav), encoding="utf-8")
    return path


def samples_of(raw):
    return soundfile.read(io.BytesIO(raw), always_2d=True)


def test_the_file_holds_the_sweep_between_silences():
    """pyfar makes the same exponential sweep (Farina 2000), also without fades."""
    plain = Excitation(replace(SWEEP, fade_in=0.0, fade_out=0.0), RATE, before=0.25, after=0.5)
    samples, rate = samples_of(to_wav(plain))
    theirs = pyfar.signals.exponential_sweep_time(
        2 * RATE, (20, 20000), n_fade_out=0, amplitude=0.25, sampling_rate=RATE
    )
    assert rate == RATE
    assert samples.shape == (round(2.75 * RATE), 1)
    middle = samples[RATE // 4 : RATE // 4 + 2 * RATE, 0]
    np.testing.assert_allclose(middle, theirs.time[0], atol=2.0**-22)
    assert not np.any(samples[: RATE // 4])
    assert not np.any(samples[-RATE // 2 :])


def test_a_synchronised_sweep_takes_novaks_rate():
    """L = 29 / 20 s and a real duration of 10.016245 s (Novak et al. 2015, recomputed)."""
    excitation = Excitation(Sweep(20, 20000, 10, "synchronised"), RATE)
    assert excitation.seconds == pytest.approx(1.45 * math.log(1000), rel=1e-12)
    assert excitation.seconds == pytest.approx(10.016245, abs=1e-6)


def test_a_synchronised_sweep_is_pyfars_too():
    """pyfar takes the rate of the sweep; f2 is such that the duration is whole samples."""
    stop = 20 * math.exp(10 / 1.45)
    sweep = Sweep(20, stop, 9.9, "synchronised")  # 20 * 9.9 / ln(f2/f1) = 28.7 periods: 29
    samples, _ = samples_of(to_wav(Excitation(sweep, RATE, before=0.0, after=0.0)))
    theirs = pyfar.signals.exponential_sweep_time(
        None, (20, stop), n_fade_out=0, sweep_rate=1 / (1.45 * math.log(2)), sampling_rate=RATE
    )
    np.testing.assert_allclose(samples[:, 0], theirs.time[0], atol=1e-6)


def test_fades_and_level():
    samples, _ = samples_of(to_wav(EXCITATION))
    loud = samples[RATE // 4 : RATE // 4 + 2 * RATE, 0]
    assert np.max(np.abs(samples)) == pytest.approx(0.25, abs=1e-6)
    # A raised cosine is a half in its middle; there the first period's sine is at its zero, so
    # a quarter of the fade is looked at: sin(pi / 4) ** 2 halved again.
    first = loud[round(0.0125 * RATE)]
    phase = 2 * math.pi * 20 * (2 / math.log(1000)) * math.expm1(0.0125 * math.log(1000) / 2)
    assert first == pytest.approx(0.25 * math.sin(phase) * math.sin(math.pi / 8) ** 2, abs=1e-4)
    assert abs(loud[-1]) < 1e-5


def test_a_loopback_channel_is_the_same_signal():
    samples, _ = samples_of(to_wav(replace(EXCITATION, channels=2)))
    assert samples.shape[1] == 2
    np.testing.assert_array_equal(samples[:, 0], samples[:, 1])


def test_what_is_written_is_read_back(written):
    for path in (written, sidecar_of(written)):
        found = read_excitation(path)
        assert found.sweep == SWEEP
        assert path.name in found.note


def test_the_sidecar_of_the_recordings_own_name_wins(written, tmp_path):
    recording = tmp_path / "cone7.wav"
    assert excitation_beside(recording).sweep == SWEEP
    other = sidecar_text(replace(EXCITATION, sweep=replace(SWEEP, seconds=3)), "b.wav", b"")
    (tmp_path / "cone8.sweep.toml").write_text(other, encoding="utf-8")
    assert excitation_beside(tmp_path / "cone8.wav").sweep.seconds == 3
    with pytest.raises(CurveError, match=r"2 excitations beside it .*--excitation"):
        excitation_beside(recording)
    assert excitation_beside(tmp_path / "elsewhere" / "a.wav") is None


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda text: "not = [toml", "no TOML"),
        (lambda text: "[other]\n", r"no table \[sweep\]"),
        (lambda text: text + "colour = 3\n", "unknown key colour"),
        (lambda text: text.replace("fade_in", "fade_on"), "unknown key fade_on"),
        (lambda text: text.replace("seconds = 2", "# "), "no key seconds"),
        (lambda text: text.replace("start_hz = 20", 'start_hz = "20"'), "sweep.start_hz"),
        (lambda text: text.replace("seconds = 2", "seconds = inf"), "sweep.seconds"),
    ],
)
def test_a_sidecar_that_cannot_be_used_is_refused(written, change, words):
    sidecar = sidecar_of(written)
    sidecar.write_text(change(sidecar.read_text(encoding="utf-8")), encoding="utf-8")
    with pytest.raises(CurveError, match=words) as caught:
        read_excitation(written)
    assert sidecar.name in str(caught.value)


def test_another_file_than_the_sidecars_is_refused(written):
    raw = bytearray(written.read_bytes())
    raw[-1000] ^= 1
    written.write_bytes(raw)
    with pytest.raises(CurveError, match=r"another file than play\.sweep\.toml"):
        read_excitation(written)


def test_missing_files_are_refused(written, tmp_path):
    with pytest.raises(CurveError, match="no such file"):
        read_excitation(tmp_path / "nothing.wav")
    with pytest.raises(CurveError, match="no such file"):
        read_excitation(tmp_path / "nothing.sweep.toml")


def test_without_a_sidecar_the_sweep_is_found_from_the_samples(written):
    sidecar_of(written).unlink()
    found = read_excitation(written)
    assert "no sidecar" in found.note
    assert found.sweep.start_hz == pytest.approx(20, rel=1e-4)
    assert time_constant(found.sweep) == pytest.approx(time_constant(SWEEP), rel=1e-6)


def test_a_file_that_is_no_excitation_is_refused(tmp_path, known):
    song = tmp_path / "song.wav"
    song.write_bytes(known.wav(np.random.default_rng(0).uniform(-1, 1, RATE)))
    with pytest.raises(CurveError, match="an exponential sweep, or its sidecar"):
        read_excitation(song)
    song.write_bytes(known.wav(np.random.default_rng(0).uniform(-1, 1, (RATE, 2))))
    with pytest.raises(CurveError, match="2 channels that differ"):
        read_excitation(song)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"sweep": replace(SWEEP, law=None)}, "law"),
        ({"sweep": replace(SWEEP, amplitude=1.01)}, "full scale"),
        ({"sweep": replace(SWEEP, stop_hz=24000)}, "half of 48000"),
        ({"sweep": Sweep(20, 20000, 0.1, "exponential")}, "more low periods"),
        ({"rate": 10}, "sampling rate"),
        ({"before": 61.0}, "silence"),
        ({"after": math.nan}, "silence"),
        ({"sweep": replace(SWEEP, seconds=2000)}, "samples in all"),
    ],
)
def test_an_excitation_that_cannot_be_is_refused(changes, words):
    with pytest.raises(CurveError, match=words):
        replace(EXCITATION, **changes)


def through_a_gain_and_a_delay(x, rate):
    """Twice the excitation, 3 ms late."""
    return 2 * np.concatenate((np.zeros(round(0.003 * rate)), x))


def test_a_recording_is_heard_by_the_sidecar_beside_it(written, known, tmp_path):
    """Known gain and delay come back: 6.0206 dB, silence plus 3 ms."""
    x, rate = samples_of(written.read_bytes())
    recording = tmp_path / "cone7.wav"
    recording.write_bytes(known.wav(through_a_gain_and_a_delay(x[:, 0], rate), rate, "PCM_24"))
    heard = listen(recording)
    assert heard.kind == "sweep"
    assert any("play.sweep.toml beside it" in note for note in heard.notes)
    level, f = heard.curves["response"].level, heard.curves["response"].frequency
    use = (f > 30) & (f < 19000)
    # Known within the sweep: 20 lg 2. Fades are divided out, so the ends hold as well.
    np.testing.assert_allclose(level[use], 20 * math.log10(2), atol=0.05)
    assert any("253.00 ms" in note for note in heard.notes)


def test_a_sweep_that_is_stated_takes_its_level_from_the_sidecar(written, known, tmp_path):
    """Twice the excitation is 6.02 dB, and not that less what the excitation is below 1."""
    x, rate = samples_of(written.read_bytes())
    recording = tmp_path / "cone7.wav"
    recording.write_bytes(known.wav(through_a_gain_and_a_delay(x[:, 0], rate), rate, "PCM_24"))
    own = read_excitation(written).sweep
    bare = Sweep(own.start_hz, own.stop_hz, own.seconds)
    heard = listen(recording, options=Options(sweep=bare, band=(100, 9000)))
    assert heard.metrics["level_db"].value == pytest.approx(20 * math.log10(2), abs=0.02)
    assert any("beside it: its level" in note for note in heard.notes)
    assert "levels are relative to a gain of 1" in heard.notes
    recording.with_name(sidecar_of(written).name).unlink()
    heard = listen(recording, options=Options(sweep=bare, band=(100, 9000)))
    assert heard.metrics["level_db"].value == pytest.approx(
        20 * math.log10(2 * own.amplitude), abs=0.02
    )
    assert any("a sweep at full scale" in note for note in heard.notes)


def test_an_impulse_response_beside_a_sidecar_stays_one(written, known, tmp_path):
    impulse = tmp_path / "impulse.wav"
    impulse.write_bytes(known.wav(known.mode(700, 9)))
    assert listen(impulse).kind == "impulse"


@pytest.mark.parametrize("rate", [44100, 96000, 192000])
def test_the_recorder_may_run_at_another_rate(written, known, rate):
    """pyfar's band-limited resampling is the recorder; gain 2 comes back."""
    x, _ = samples_of(written.read_bytes())
    other = pyfar.dsp.resample(pyfar.Signal(x[:, 0], RATE), rate, match_amplitude="time")
    y = through_a_gain_and_a_delay(other.time[0], rate)
    heard = listen(known.wav(y, rate), options=Options(sweep=SWEEP))
    response = heard.curves["response"]
    use = (response.frequency > 40) & (response.frequency < 18000)
    np.testing.assert_allclose(response.level[use], 20 * math.log10(2), atol=0.1)


def test_a_recorder_too_slow_for_the_sweep_is_told(written, known):
    x, _ = samples_of(written.read_bytes())
    other = pyfar.dsp.resample(pyfar.Signal(x[:, 0], RATE), 32000, match_amplitude="time")
    with pytest.raises(CurveError, match="less than half the rate, 16000 Hz"):
        listen(known.wav(other.time[0], 32000), options=Options(sweep=SWEEP))


def bent_and_filtered(x, rate):
    """Gain 0.5, delay 5 ms, x + 0.08 x^2 + 0.06 x^3 - 0.05 x^4, then pyfar's bell filter."""
    x = 0.5 * np.concatenate((np.zeros(round(0.005 * rate)), x))
    y = x + 0.08 * x**2 + 0.06 * x**3 - 0.05 * x**4
    return pyfar.dsp.filter.bell(pyfar.Signal(y, rate), 3000, 9, 4).time[0]


def bell_db(f, rate):
    """The bell filter's own level, from pyfar's impulse response."""
    h = pyfar.dsp.filter.bell(pyfar.signals.impulse(1 << 16, sampling_rate=rate), 3000, 9, 4)
    return np.interp(f, h.frequencies, 20 * np.log10(np.abs(h.freq_raw[0])))


@pytest.mark.parametrize("law", ["exponential", "synchronised"])
def test_from_the_written_file_to_gain_delay_and_harmonics(known, law):
    """Closed forms of a polynomial (published_checks 7: sine powers), heard through pyfar.

    With amplitude a at the bend: H2 = b a^2/2 + d a^4/2, H3 = c a^3/4, H4 = d a^4/8 (as
    magnitudes), fundamental a + 3 c a^3/4.
    """
    played = Excitation(Sweep(20, 20000, 3, law, 0.8, 0.05, 0.01), RATE, 0.25, 0.5)
    x, _ = samples_of(to_wav(played))
    raw = known.wav(bent_and_filtered(x[:, 0], RATE), RATE)
    heard = listen(raw, options=Options(sweep=played.sweep))
    a, b, c, d = 0.4, 0.08, 0.06, -0.05
    fundamental = a + 3 * c * a**3 / 4
    response = heard.curves["response"]
    use = (response.frequency > 40) & (response.frequency < 18000)
    f = response.frequency[use]
    expected = bell_db(f, RATE) + 20 * np.log10(fundamental / 0.8)
    np.testing.assert_allclose(response.level[use], expected, atol=0.1)
    assert any("255.0" in note for note in heard.notes)  # 250 ms of silence, 5 ms of delay
    distortion = heard.curves["distortion"]
    use = (distortion.frequency > 60) & (distortion.frequency < 4000)
    f = distortion.frequency[use]
    sizes = {2: abs(b * a**2 / 2 + d * a**4 / 2), 3: c * a**3 / 4, 4: abs(d) * a**4 / 8}
    for order, size in sizes.items():
        through = 10 ** ((bell_db(order * f, RATE) - bell_db(f, RATE)) / 20)
        np.testing.assert_allclose(
            distortion.harmonics[order][use], 100 * size / fundamental * through, rtol=0.03
        )


def test_the_written_file_deconvolves_as_pyfar_does(known):
    """pyfar's regularised division of the recording by the file that was played."""
    x, _ = samples_of(to_wav(EXCITATION))
    y = np.concatenate((bent_and_filtered(0.01 * x[:, 0], RATE), np.zeros(RATE // 2)))
    padded = pyfar.Signal(np.append(0.01 * x[:, 0], np.zeros(y.size - x.shape[0])), RATE)
    inverse = pyfar.dsp.RegularizedSpectrumInversion.from_frequency_range(padded, (20, 20000))
    theirs = pyfar.dsp.convolve(pyfar.Signal(y, RATE), inverse.invert, mode="cyclic")
    sweep = replace(SWEEP, amplitude=0.01 * SWEEP.amplitude)
    response = listen(known.wav(y, RATE), options=Options(sweep=sweep)).curves["response"]
    level = 20 * np.log10(np.abs(theirs.freq_raw[0]))
    use = (response.frequency > 60) & (response.frequency < 16000)
    at = np.interp(response.frequency, theirs.frequencies, level)
    np.testing.assert_allclose(response.level[use], at[use], atol=0.05)
