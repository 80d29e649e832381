"""Break-up against systems whose poles are known, and against the demo's own physics."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.signal import peak_prominences

from demo_trials import make_demo
from demo_trials.history import CONES, REPEATS, SESSIONS, Repeat
from demo_trials.physics import build
from experiments.acoustics import Options, breakup, listen
from experiments.acoustics.bands import G
from experiments.acoustics.breakup import (
    START_HZ,
    Candidate,
    _prominent,
    find_break_up,
    search_curve,
)
from experiments.acoustics.curves import Impulse, Response
from experiments.acoustics.listening import measure
from experiments.acoustics.resonance import Peak, PolePair

F = np.geomspace(25.0, 20000.0, 463)  # 48 points an octave
RAW = Path(make_demo.__file__).with_name("raw")
SLOW = [pytest.mark.slow]
"""Of what goes the same way for many numbers the default suite takes a few."""


def decibels(h):
    return 80 + 20 * np.log10(np.abs(h))


def printed():
    """Every measured cone of the demo: its first file's stem and the modes it really had."""
    for number, made in enumerate(CONES, start=1):
        good, spread, _ = make_demo.outcome(number)
        again = [repeat for repeat in REPEATS if repeat.cone == number]
        for sitting in [Repeat(number, made.session, note=""), *again] if good else []:
            index = [session.name for session in SESSIONS].index(sitting.session)
            warmer = make_demo.sitting(index).warmer
            cone = build(made.settings, spread, light_hours=sitting.light_hours, warmer=warmer)
            yield pytest.param(
                RAW / f"cone_{number:02d}" / sitting.session,
                cone,
                id=f"{number}-{sitting.session}",
                marks=SLOW if number % 4 else [],
            )


@pytest.mark.parametrize(("stem", "cone"), list(printed()))
def test_every_cone_of_the_demo_without_a_band(stem, cone):
    """The truth is the first plate mode of the model that made the files."""
    files = [next(stem.parent.glob(f"{stem.name}-response.*")), Path(f"{stem}-impulse.wav")]
    for file in files:
        heard = listen(file)
        assert heard.metrics["breakup_hz"].value == pytest.approx(cone.modes[0], rel=0.005)
        assert heard.metrics["breakup_q"].value == pytest.approx(cone.mode_q, rel=0.06)
        assert any("no band stated: assumed" in note for note in heard.notes)


def single(known, q, f0, *, noise=0.0, grid=F, seed=0):
    """A driver with one mode that stands 9 dB over its response."""
    h = known.second_order(grid, 90.0, 0.9, 2) * known.second_order(grid, 12000.0, 0.7, 0)
    h = h * (1 + 1.8 * known.second_order(grid, f0, q, 1) / q)
    rough = np.random.default_rng(seed).normal(0, noise, grid.size)
    return Response(grid, decibels(h) + rough)


@pytest.mark.parametrize("noise", [0.0, pytest.param(0.1, marks=SLOW), 0.3])
@pytest.mark.parametrize("q", [2.0, 3.0, 5.0, 8.0, 15.0, 30.0, 60.0, 100.0])
def test_one_mode(known, q, noise):
    for seed, f0 in enumerate((900.0, 2100.0, 5200.0)):
        grid = np.geomspace(25.0, 20000.0, 926)
        heard = measure(single(known, q, f0, noise=noise, grid=grid, seed=seed)).metrics
        assert heard["breakup_hz"].value == pytest.approx(f0, rel=0.004 + 0.2 / q**2)
        if heard["breakup_q"].value is not None:
            assert heard["breakup_q"].value == pytest.approx(q, rel=0.05 + 0.6 * noise)
        assert heard["breakup_q"].value is not None or noise or q < 3


@pytest.mark.parametrize("q", [4.0, 8.0, 15.0, 30.0])
@pytest.mark.parametrize("apart", [1.5, 2.2])
def test_the_lower_of_two_modes(known, q, apart):
    for noise, f0 in ((0.0, 1100.0), (0.1, 2900.0), (0.2, 5100.0)):
        first = single(known, q, f0, noise=noise)
        second = 20 * np.log10(np.abs(1 + 1.8 * known.second_order(F, apart * f0, q, 1) / q))
        heard = measure(Response(F, first.level + second)).metrics["breakup_hz"]
        assert heard.value == pytest.approx(f0, rel=0.02 + 0.3 / q**2)


def told(curve, **options):
    heard = measure(curve, Options(**options))
    warnings = [item for item in heard.warnings if item.text.startswith("break-up:")]
    return heard.metrics["breakup_hz"].value, warnings


@pytest.mark.parametrize("seed", range(12))
def test_the_passband_of_a_driver_without_a_mode_is_no_resonance(known, seed):
    rng = np.random.default_rng(seed)
    h = known.second_order(F, rng.uniform(60, 400), rng.uniform(0.5, 1.2), 2)
    h = h * known.second_order(F, rng.uniform(3000, 12000), rng.uniform(0.5, 1.0), 0)
    value, warnings = told(Response(F, decibels(h) + rng.normal(0, 0.3, F.size)))
    assert value is None
    assert [item.code for item in warnings] == ["no_resonance"]


@pytest.mark.parametrize("seed", range(12))
def test_noise_alone_is_no_resonance(seed):
    rng = np.random.default_rng(seed)
    value, _ = told(Response(F, 80 + rng.normal(0, rng.uniform(0.1, 2.0), F.size)))
    assert value is None


@pytest.mark.parametrize("seed", range(6))
def test_modes_of_a_room_below_the_assumed_start_are_left_alone(known, seed):
    rng = np.random.default_rng(seed)
    curve = single(known, 10.0, 3200.0, noise=0.1)
    room = sum(
        20 * np.log10(np.abs(1 + 1.5 * known.second_order(F, f, 12.0, 1) / 12.0))
        for f in rng.uniform(35, 250, 5)
    )
    assert told(Response(F, curve.level + room))[0] == pytest.approx(3200.0, rel=0.01)


def test_a_band_moves_the_start_and_what_lies_below_it_is_named(known):
    curve = single(known, 8.0, 200.0)
    value, warnings = told(curve)
    assert value is None
    assert START_HZ > 200.0
    assert "one peak lies below, at 200" in warnings[0].text
    assert "band" in warnings[0].text
    assert told(curve, band=(150.0, 9000.0))[0] == pytest.approx(200.0, rel=0.01)


def test_the_least_prominence_decides(known):
    h = 1 + 0.7 * known.second_order(F, 3000.0, 9.0, 1) / 9.0
    curve = Response(F, decibels(h))  # 4.6 dB high
    assert told(curve, prominence_db=4.0)[0] == pytest.approx(3000.0, rel=0.01)
    assert told(curve, prominence_db=5.0)[0] is None


def test_nine_points_give_no_resonance():
    f = 62.5 * 2.0 ** np.arange(9)
    value, warnings = told(Response(f, np.array([60.0, 72, 80, 80, 79, 88, 80, 76, 60])))
    assert value is None
    assert [item.code for item in warnings] == ["coarse_grid"]
    assert "2 in the octave around it, at least 12 an octave" in warnings[0].text


@pytest.mark.parametrize("per_octave", [3, 6])
def test_coarse_grids_say_what_they_need(known, per_octave):
    grid = np.geomspace(25.0, 20000.0, round(per_octave * np.log2(800)))
    value, warnings = told(single(known, 6.0, 2100.0, grid=grid))
    assert value is None
    assert "an octave are needed" in warnings[0].text


def test_one_wild_point_is_no_resonance(known):
    curve = single(known, 8.0, 4000.0)
    level = curve.level.copy()
    level[np.argmin(np.abs(F - 800.0))] += 12.0
    value, warnings = told(Response(F, level))
    assert value is None
    assert "rests on too few points" in warnings[0].text
    assert told(Response(F, level), band=(1000.0, 12000.0))[0] == pytest.approx(4000.0, rel=0.01)


def test_between_a_broad_hump_and_a_sharp_peak_nothing_decides_but_a_band(known):
    hump = 20 * np.log10(np.abs(1 + 0.8 * known.second_order(F, 700.0, 3.5, 1) / 3.5))
    curve = Response(F, single(known, 12.0, 4000.0).level + hump)
    value, warnings = told(curve)
    assert value is None
    assert "baffle" in warnings[0].text
    assert "band" in warnings[0].text
    assert told(curve, band=(400.0, 12000.0))[0] == pytest.approx(700.0, rel=0.03)
    assert told(curve, band=(1500.0, 12000.0))[0] == pytest.approx(4000.0, rel=0.01)


def test_a_q_between_the_points_is_not_carried(known):
    grid = np.geomspace(25.0, 20000.0, 120)
    h = known.second_order(grid, 3117.0, 60.0, 0)
    heard = measure(Response(grid, decibels(h)))
    assert heard.metrics["breakup_q"].value is None
    assert heard.metrics["breakup_hz"].value in (None, pytest.approx(3117.0, rel=0.06))


def test_local_prominence_is_scipys_with_a_window():
    """scipy.signal.peak_prominences with wlen, on an even logarithmic grid."""
    rng = np.random.default_rng(3)
    f = 20.0 * 10 ** (0.3 * np.arange(0, 481) / 48)
    y = np.convolve(rng.normal(0, 6, f.size + 20), np.ones(21) / 7, "valid")
    found = {round(np.log10(p.frequency / 20) / 0.3 * 48): p for p in _prominent_all(f, y)}
    places = np.array(sorted(found))
    expected = peak_prominences(y, places, wlen=2 * 96 + 1)[0]
    np.testing.assert_allclose([found[i].prominence for i in places], expected, rtol=1e-9)
    assert places.size > 8


def _prominent_all(f, y):
    return list(_prominent(Response(f, y), 0.5))


def test_the_search_curve_follows_the_data_wherever_they_lie(known):
    curve = single(known, 8.0, 4000.0, noise=0.2)
    moved = search_curve(Response(curve.frequency * 1.37, curve.level))
    np.testing.assert_allclose(moved.level, search_curve(curve).level, atol=1e-9)
    coarse = Response(F[::6], curve.level[::6])
    assert search_curve(coarse) is coarse


@pytest.mark.parametrize("q", [1.6, 2.5, 4.0])
@pytest.mark.parametrize("first", [100.0, 300.0, 500.0, 700.0])
def test_the_fundamental_of_a_small_driver_is_never_break_up(known, q, first):
    """Where the data begin too near it to tell, there is no answer without a band."""
    f = np.geomspace(first, 20000.0, round(48 * np.log2(20000 / first)))
    h = known.second_order(f, 900.0, q, 2) * (1 + 1.2 * known.second_order(f, 9000.0, 14.0, 1) / 7)
    value, warnings = told(Response(f, decibels(h)))
    if first < 500:
        assert value == pytest.approx(9000.0, rel=0.01)
    elif value is None:
        assert "may be the fundamental" in warnings[0].text
    else:
        assert value == pytest.approx(9000.0, rel=0.01)
    assert told(Response(f, decibels(h)), band=(2000.0, 2e4))[0] == pytest.approx(9000.0, rel=0.01)


def test_what_was_passed_over_is_listed(known):
    h = known.second_order(F, 400.0, 2.5, 2)
    curve = Response(F, decibels(h) + single(known, 12.0, 4000.0).level - 80)
    result = find_break_up(curve, search_curve(curve))
    assert result.found.peak.frequency == pytest.approx(4000.0, rel=0.02)
    assert [one.verdict for one in result.passed] == ["fundamental"]


def heard_impulse(known, q, f0, *, noise_db, seconds=0.1, seed=0):
    """One mode over a high-pass as an impulse response that is cut and noisy."""
    rate, n = 48000, 9600
    f = np.maximum(np.fft.rfftfreq(n, 1 / rate), 1e-3)
    h = known.second_order(f, 100.0, 0.9, 2) * known.second_order(f, 12000.0, 0.7, 0)
    h = h * (1 + 1.3 * known.second_order(f, f0, q, 1) / q * max(1.0, 0.08 * q))
    samples = np.roll(np.fft.irfft(h, n), 200)[: 200 + round(seconds * rate)]
    rough = np.random.default_rng(seed).normal(size=samples.size)
    loudest = float(np.max(np.abs(samples)))
    return measure(Impulse(samples + loudest * 10 ** (noise_db / 20) * rough, rate))


@pytest.mark.parametrize(
    ("q", "noise_db"),
    [
        pytest.param(q, db, marks=[] if (q, db) in ((5, -30), (12, -60), (30, -45)) else SLOW)
        for q in (5, 12, 30)
        for db in (-80, -60, -45, -30)
    ],
)
def test_noise_in_an_impulse_makes_no_resonance(known, q, noise_db):
    values = []
    for seed, f0 in enumerate((1300.0, 2700.0, 5200.0, 6500.0)):
        heard = heard_impulse(known, q, f0, noise_db=noise_db, seed=seed)
        value = heard.metrics["breakup_hz"].value
        assert value is None or value == pytest.approx(f0, rel=0.05)
        values.append(value)
    assert noise_db > -60 or None not in values


@pytest.mark.parametrize("f0", [1800.0, 3000.0, 6000.0])
def test_a_record_that_is_cut_while_it_rings_makes_no_resonance_of_its_end(known, f0):
    """The step at the end ripples at multiples of 1/T; the Q is then not carried."""
    heard = heard_impulse(known, 60.0, f0, noise_db=-90, seconds=20 / f0)
    value = heard.metrics["breakup_hz"].value
    assert value is None or value == pytest.approx(f0, rel=0.03)
    assert any("ends over 1 % of its peak" in note for note in heard.notes)


def test_a_q_that_the_data_leave_wholly_open_is_no_number_too_large(known):
    """Three broad humps under 1.8 dB of noise: the fit's spread of ln Q is beyond any number."""
    f, rng = np.geomspace(20, 20000, 200), np.random.default_rng(3)
    level = known.cone(f)
    for _ in range(3):
        f0, q, a = 10 ** rng.uniform((2.5, 0.3, -1), (4.2, 3, 2))
        level = level + decibels(1 + a * known.second_order(f, f0, q, 1) / q) - 80
    level = level + 1.78125 * rng.standard_normal(f.size)
    heard = listen(known.response_text(f, level, digits=4).encode(), kind="response")
    assert heard.metrics["breakup_q"].value is None


def gables(*corners, per_octave=48.0):
    """Straight lines between octaves from 1 kHz and decibels, on a grid through 1 kHz."""
    x, y = np.array(corners, dtype=float).T
    first, last = round(x[0] * per_octave), round(x[-1] * per_octave)
    at = np.arange(first, last + 1) / per_octave
    return Response(1000 * G**at, np.interp(at, x, y))


ROOF = ((-3, 40), (-1, 60), (0, 72), (1, 66), (3, 54))  # 12 dB an octave up, 6 down
TOP = Peak(1000.0, 72.0, 18.0)


@pytest.mark.parametrize("per_octave", [48, 7])
def test_how_far_a_peak_falls_to_both_sides(per_octave):
    curve = gables(*ROOF, per_octave=per_octave)
    assert breakup._falls(curve, TOP, 3.0) == pytest.approx((0.25, 0.5))
    assert breakup._falls(curve, TOP, 6.0) == pytest.approx((0.5, 1.0))
    assert breakup._falls(curve, TOP, 20.0) == (pytest.approx(1.8), np.inf)
    x, y = np.array(ROOF, dtype=float).T
    at = np.array([-3, -1, -0.4, 0, 0.1, 0.7, 1, 3])  # the same on an uneven grid
    uneven = Response(1000 * G**at, np.interp(at, x, y))
    assert breakup._falls(uneven, TOP, 3.0) == pytest.approx((0.25, 0.5))


def test_points_that_carry_a_peak():
    curve = gables(*ROOF, per_octave=10)
    assert breakup._support(curve, TOP, 1.2) == 7 + 1 + 12  # over 63 dB: 0.75 and 1.5 octaves
    assert breakup._support(curve, TOP, 2.0) == 7 + 1 + 15
    assert breakup._step(curve, TOP) == pytest.approx(0.1)
    uneven = Response(1000 * G ** np.array([-0.9, -0.3, 0, 0.1, 0.6]), np.zeros(5))
    assert breakup._step(uneven, TOP) == pytest.approx(0.3)
    assert breakup._step(uneven, Peak(2000.0, 0.0, 3.0)) == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("per_octave", "slope", "verdict"),
    [(3, 4, "coarse"), (5, 4, "hump"), (9, 20, "coarse"), (11, 20, "resonance")],
)  # fmt: skip
def test_how_many_points_an_octave_tell_a_peak(per_octave, slope, verdict):
    """A mere hump shows in half the points that a resonance needs."""
    curve = gables((-3, 72 - slope), (-1, 72 - slope), (0, 72), (1, 72 - slope), (3, 72 - slope),
                   per_octave=per_octave)  # fmt: skip
    judged = breakup._judge(curve, curve, Peak(1000.0, 72.0, float(slope)))
    assert judged.verdict == verdict
    if verdict == "coarse":
        assert f"{per_octave + 1} in the octave around it" in judged.why


@pytest.mark.parametrize(("octave", "hump"), [(0.48, False), (0.52, True)])
def test_a_hump_takes_half_an_octave_to_fall_by_three_decibels(octave, hump):
    slow = gables((-2, 72 - 6 / octave), (0, 72), (2, 72 - 4 / octave))
    judged = breakup._judge(slow, slow, Peak(1000.0, 72.0, 6.0))
    assert (judged.verdict == "hump" and "too slowly" in judged.why) == hump


@pytest.mark.parametrize(("other_side", "verdict"), [(0.45, "resonance"), (0.9, "unclear")])
def test_where_no_pole_pair_is_found_both_flanks_have_to_be_steep(
    monkeypatch, other_side, verdict
):
    monkeypatch.setattr(breakup, "fit_pole_pair", lambda *_: None)
    monkeypatch.setattr(breakup, "fundamental_peak", lambda *_: False)
    curve = gables((-2, 72 - 9 / 0.25), (0, 72), (3, 72 - 9 / other_side))
    peak = Peak(1000.0, 72.0, 6.0)
    assert breakup._judge(curve, curve, peak).verdict == verdict
    mirrored = Response(1e6 / curve.frequency[::-1], curve.level[::-1])
    assert breakup._judge(mirrored, mirrored, peak).verdict == verdict


FITS = [  # Q, sd of ln Q, rms, verdict with one steep flank, with two
    (2.3, 0.25, 0.1, "resonance", "resonance"),  # 1.52 at the low end of 90 %
    (1.6, 0.10, 0.1, "resonance", "resonance"),  # carried
    (1.6, 0.25, 0.1, "unclear", "resonance"),
    (1.4, 0.10, 0.1, "hump", "hump"),
    (1.4, 0.25, 0.1, "unclear", "resonance"),
    (0.95, 0.25, 0.1, "hump", "hump"),  # 1.43 at the high end
    (1.02, 0.25, 0.1, "unclear", "resonance"),  # 1.54
    (8.0, 0.10, 0.9, "unclear", "resonance"),  # not described
    (45.0, 0.10, 0.1, "resonance", "resonance"),  # 1/16 octave apart, half-power width 1/31
    (48.0, 0.10, 0.1, "unclear", "resonance"),
    (None, 0, 0, "unclear", "resonance"),
]


@pytest.mark.parametrize(("q", "sd", "rms", "one", "two"), FITS)
def test_what_a_pole_pair_decides(monkeypatch, q, sd, rms, one, two):
    """A Q of 1.5 makes a resonance (from -1.645 to 1.645 standard deviations lie 90 %)."""
    fit = None if q is None else PolePair(1000.0, q, sd, rms)
    monkeypatch.setattr(breakup, "fit_pole_pair", lambda *_: fit)
    curve = gables(*ROOF, per_octave=16)
    for steep, verdict in ((False, one), (True, two)):
        judged = breakup._by_poles(curve, curve, TOP, steep=steep)
        assert judged.verdict == verdict
        if q == 48.0:
            assert judged.fit.sd_log_q == np.inf
        else:
            assert judged.fit is fit


@pytest.mark.parametrize(
    ("q", "sd", "rise", "later", "doubted"),
    [(5.9, 0.1, 4, 9.0, True), (6.1, 0.1, 4, 30.0, False), (3.0, 0.1, 4, 4.6, True),
     (3.0, 0.1, 4, 4.4, False), (1.2, 0.5, 4, 2.3, True), (1.2, 0.5, 4, 2.2, False),
     (3.0, 0.1, 3.2, 9.0, True), (3.0, 0.1, 2.8, 9.0, False)],
)  # fmt: skip
def test_a_damped_first_peak_beside_a_sharper_later_one(monkeypatch, q, sd, rise, later, doubted):
    """Under Q 6, outdone by 3 dB of prominence and half as much Q again (1.5 at least)."""
    curve = gables((-1, 60), (0, 65), (1, 60), (2, 65 + rise), (3, 60))
    first = Candidate(Peak(1000.0, 65.0, 5.0), "resonance", "", PolePair(1000.0, q, sd, 0.1))
    other = PolePair(4000.0, later, 0.1, 0.1)
    monkeypatch.setattr(breakup, "_judge", lambda *a: Candidate(a[2], "resonance", "", other))
    found = breakup._against(first, curve, curve, 3.0)
    assert (found.verdict == "unclear") == doubted
    assert found.peak is first.peak
    if doubted:
        assert ("no Q can be told" in found.why) == (sd > 0.2)
    monkeypatch.setattr(breakup, "_judge", lambda *a: Candidate(a[2], "hump", "", other))
    assert breakup._against(first, curve, curve, 3.0) is first


@pytest.mark.parametrize(
    ("below", "slope", "doubted"), [(1.2, 7, True), (1.3, 7, False), (1.2, 5, False)]
)
def test_a_peak_near_the_start_of_rising_data_may_be_the_fundamental(below, slope, doubted):
    """Within 1.25 octaves, where the curve starts at over 6 dB an octave."""
    curve = gables((-below, 60), (0, 60 + slope * below), (2, 60), per_octave=240)
    first = Candidate(Peak(1000.0, 60 + slope * below, 6.0), "resonance")
    assert (breakup._at_the_start(first, curve).verdict == "unclear") == doubted


def test_the_search_starts_at_its_frequency():
    for at, found in ((310.0, True), (295.0, False)):
        curve = gables((-4, 60), (-1, 60), (0, 66), (1, 60), (4, 60))
        moved = Response(curve.frequency * at / 1000, curve.level)
        result = find_break_up(moved, moved)
        seen = [one.peak.frequency for one in (result.found, result.doubt, *result.passed) if one]
        assert (seen == pytest.approx([at])) == found
        assert (result.below is None) == found


def test_noise_moves_a_magnitude_from_crest_to_trough_as_far_as_three_deviations(known):
    """Against drawn noise: 20 dB under the response, half of its power in phase."""
    f = np.geomspace(500, 2000, 97)
    curve = Response(f, np.full(97, 80.0), noise_db=np.full(97, 60.0))
    rng = np.random.default_rng(0)
    drawn = 1 + 0.1 / np.sqrt(2) * (rng.normal(size=200000) + 1j * rng.normal(size=200000))
    low, high = np.quantile(decibels(drawn), [0.00135, 0.99865])  # three standard deviations
    assert breakup._noise_ripple(curve, 1000.0) == pytest.approx(high - low, rel=0.03)
    assert breakup._over_noise(curve, Peak(1000.0, 80.0, 9.0)) == pytest.approx(20.0)
    # Eight lines in a window of 1/24 octave, 28.8 Hz: the mean of as many is steadier.
    lined = Response(f, curve.level, floor_hz=1000 * np.log(G) / 24 / 8, noise_db=curve.noise_db)
    means = decibels(np.mean(drawn.reshape(8, -1), axis=0))
    low, high = np.quantile(means, [0.00135, 0.99865])
    assert breakup._noise_ripple(lined, 1000.0) == pytest.approx(high - low, rel=0.05)
    coarse = Response(f, curve.level, floor_hz=100.0, noise_db=curve.noise_db)
    assert breakup._noise_ripple(coarse, 1000.0) == breakup._noise_ripple(curve, 1000.0)
    loud = Response(f, curve.level, noise_db=np.full(97, 75.0))
    assert breakup._noise_ripple(loud, 1000.0) == np.inf


@pytest.mark.parametrize(("noise_db", "prominence", "buried"), [
    (69.5, 20.0, False), (70.5, 20.0, True), (60.0, 3.6, True), (60.0, 3.9, False)
])  # fmt: skip
def test_a_peak_must_stand_clear_of_measured_noise(noise_db, prominence, buried):
    """By 10 dB, and by more than the noise's own ripple, 3.74 dB at 20 dB."""
    f = np.geomspace(500, 2000, 97)
    curve = Response(f, np.full(97, 80.0), noise_db=np.full(97, noise_db))
    assert breakup._in_noise(curve, Peak(f[48], 80.0, prominence)) == buried


@pytest.mark.parametrize("per_octave", [48, 480])
def test_ripple_is_the_deviation_of_what_smoothing_leaves(per_octave):
    """The mean of n points of white noise deviates by 1/sqrt n as much."""
    at = np.arange(-per_octave, per_octave + 1) / per_octave
    y = 80 + np.random.default_rng(1).normal(0, 0.5, (40, at.size))
    found = np.mean([breakup._ripple(Response(1000 * G**at, row), 1000.0) for row in y])
    assert found == pytest.approx(0.5 / np.sqrt(per_octave / 24), rel=0.05)
    assert breakup._ripple(Response(1000 * G ** at[:7], y[0, :7]), 1000 * G**-0.9) == 0.0
    coarse = Response(1000 * G ** (np.arange(-9, 10) / 12), y[0, :19])
    bends = np.abs(coarse.level[1:-1] - (coarse.level[:-2] + coarse.level[2:]) / 2)
    assert breakup._ripple(coarse, 1000.0) == pytest.approx(
        np.median(bends) / 0.6745 / np.sqrt(1.5)
    )


def test_the_search_curve_has_four_points_a_window():
    curve = search_curve(Response(np.geomspace(90.0, 9000.0, 3000), np.zeros(3000)))
    steps = np.diff(np.log(curve.frequency)) / np.log(G)
    np.testing.assert_allclose(steps, 1 / 96, rtol=1e-9)
    assert curve.frequency[0] == pytest.approx(90.0)
    assert curve.frequency[-1] == pytest.approx(9000.0, rel=0.008)
    for per_octave, same in ((23, True), (25, False)):
        given = Response(100 * G ** (np.arange(90) / per_octave), np.zeros(90))
        assert (search_curve(given) is given) == same
    few = Response(np.linspace(1000, 1010, 7), np.zeros(7))
    assert search_curve(few) is few
