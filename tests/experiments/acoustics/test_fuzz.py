"""Whatever the bytes, `listen` answers or refuses with a Problem; it never falls over."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from experiments.acoustics import Options, Sweep, listen
from experiments.errors import CurveError, Problem
from tests.studies import repeats

QUICK = 30

cells = st.one_of(
    st.floats(-1e4, 1e5).map(lambda x: f"{x:.3f}"),
    st.integers(-100, 30000).map(str),
    st.sampled_from(
        [
            "",
            "NaN",
            "---",
            "1,5",
            "1.000",
            "1e3",
            "-inf",
            "Hz",
            "dB",
            "THD %",
            "20 Hz",
            '"',
            "x",
            "١٢",
        ]
    ),
)
rows = st.lists(cells, min_size=1, max_size=4)


@st.composite
def tables(draw):
    mark = draw(st.sampled_from([";", ",", "\t", " ", "|", ", "]))
    head = draw(
        st.sampled_from(
            [
                "",
                "Hz;dB",
                "# Freq(Hz) SPL(dB)",
                "Time (s);Amplitude",
                "Hz;THD %;HD2 %",
                "a,b,c",
                "* fs = 48000",
            ]
        )
    )
    body = draw(st.lists(rows, max_size=30))
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    return end.join([head, *(mark.join(row) for row in body)])


@st.composite
def spoilt(draw, raws):
    raw = bytearray(draw(st.sampled_from(raws)))
    for _ in range(draw(st.integers(1, 6))):
        place = draw(st.integers(0, max(len(raw) - 1, 0)))
        act = draw(st.sampled_from(["flip", "cut", "add", "end"]))
        if act == "flip" and raw:
            raw[place] = draw(st.integers(0, 255))
        elif act == "cut":
            del raw[place : place + draw(st.integers(1, 30))]
        elif act == "add":
            raw[place:place] = draw(st.binary(min_size=1, max_size=8))
        else:
            del raw[place:]
    return bytes(raw)


def check(raw, kind=None, options=None):
    try:
        heard = listen(raw, name="x", kind=kind, options=options)
    except CurveError as error:
        problems = error.problems
    else:
        check_heard(heard)
        return
    assert problems
    for problem in problems:
        assert isinstance(problem, Problem)
        assert problem.where
        assert problem.found
        assert problem.expected


def check_heard(heard):
    for name, item in heard.metrics.items():
        assert item.value is None or math.isfinite(item.value), name
    if any(item.value is None for item in heard.metrics.values()):
        assert heard.warnings
    heard.to_dict()


def base_files(known):
    f = np.geomspace(30, 18000, 60)
    pulse = known.mode(800, 8, seconds=0.02, lead=20)
    time = "\n".join(f"{i / 48000:.8f};{v:.6f}" for i, v in enumerate(pulse))
    return [
        known.response_text(f, known.cone(f)).encode(),
        known.response_text(f, known.cone(f), decimal=",").encode("utf-16"),
        known.response_text(f, known.cone(f), delimiter=" ").encode(),
        f"Time (s);Amplitude\n{time}\n".encode(),
        b"Hz;THD %;HD2 %\n" + b"\n".join(b"%d;%d.5;1.25" % (100 * i, i) for i in range(1, 30)),
    ]


def wav_files(known):
    pulse = known.mode(800, 8, seconds=0.02, lead=20) * 0.5
    both = np.stack([pulse, pulse[::-1]], axis=1)
    return [
        *(known.wav(pulse, 48000, kind) for kind in ("PCM_U8", "PCM_16", "PCM_24", "FLOAT")),
        known.wav(both, 48000, "PCM_16"),
        known.wav(pulse, 48000, "PCM_24", "WAVEX"),
    ]


KINDS = st.sampled_from([None, "response", "distortion", "impulse"])
QUIET = settings(max_examples=QUICK, deadline=None, suppress_health_check=list(HealthCheck))


def run_tables(known):
    del known
    return lambda data: check(data.draw(tables()).encode(), data.draw(KINDS))


def run_bytes(known):
    del known
    return lambda data: check(data.draw(st.binary(max_size=400)), data.draw(KINDS))


choices = st.builds(
    Options,
    drop_db=st.floats(0.1, 60),
    smooth=st.none() | st.floats(0.25, 192),
    band=st.none() | st.tuples(st.floats(1, 5e3), st.floats(5001, 5e4)),
    thd_of=st.sampled_from(["fundamental", "total"]),
    prominence_db=st.floats(0.01, 40),
)


def run_spoilt(known):
    files = base_files(known)
    return lambda data: check(data.draw(spoilt(files)), data.draw(KINDS), data.draw(choices))


def run_wavs(known):
    files = wav_files(known)
    return lambda data: check(data.draw(spoilt(files)), None, Options(channel=1))


def run_recordings(known):
    """Samples of every sort as an impulse response."""
    del known

    def once(data):
        size = data.draw(st.integers(16, 3000))
        rng = np.random.default_rng(data.draw(st.integers(0, 99)))
        shape = data.draw(st.sampled_from(["zero", "one", "noise", "step", "steady", "tiny"]))
        h = {
            "zero": np.zeros(size),
            "one": np.eye(1, size, size // 3)[0],
            "noise": rng.standard_normal(size),
            "step": np.ones(size),
            "steady": np.sin(np.arange(size) * 0.3),
            "tiny": 1e-300 * rng.standard_normal(size),
        }[shape]
        text = "\n".join(f"{value:.6e}" for value in h)
        check(f"# fs = 48000 Hz\nAmplitude\n{text}\n".encode(), "impulse")

    return once


def run_responses(known):
    """Linear magnitudes written as decibels, and decibels with heavy noise."""

    def once(data):
        f = np.geomspace(20, 20000, data.draw(st.sampled_from([60, 200, 500, 1000])))
        rng = np.random.default_rng(data.draw(st.integers(0, 999)))
        level = known.cone(f)
        for _ in range(data.draw(st.integers(0, 3))):
            f0, q, a = 10 ** rng.uniform((2.5, 0.3, -1), (4.2, 3, 2))
            level = level + 20 * np.log10(np.abs(1 + a * known.second_order(f, f0, q, 1) / q))
        if data.draw(st.booleans()):
            level = data.draw(st.floats(1, 90)) * 10 ** ((level - level.max()) / 20)
        level = level + data.draw(st.floats(0, 6)) * rng.standard_normal(f.size)
        check(known.response_text(f, level, digits=4).encode(), "response")

    return once


# How many at length: those that are heard whole take ten times as long as those soon refused.
RUNS = {run_tables: 2500, run_bytes: 2500, run_spoilt: 2500, run_wavs: 1200, run_recordings: 800,
        run_responses: 800}  # fmt: skip


@pytest.mark.parametrize("run", RUNS)
def test_fuzz(known, run):
    once = run(known)

    @given(st.data())
    @QUIET
    def inner(data):
        once(data)

    inner()


@pytest.mark.slow
@pytest.mark.parametrize("run", RUNS)
def test_fuzz_at_length(known, run):
    once = run(known)

    @given(st.data())
    @settings(QUIET, max_examples=repeats(RUNS[run]))
    def inner(data):
        once(data)

    inner()


@pytest.mark.parametrize("seconds", [0.01, 0.5, 3.0])
@pytest.mark.parametrize("shape", ["zero", "noise", "short"])
def test_sweep_recordings_that_are_none(known, seconds, shape):
    rng = np.random.default_rng(0)
    y = {"zero": np.zeros(48000), "noise": 0.1 * rng.standard_normal(48000), "short": np.ones(20)}
    raw = known.wav(y[shape])
    with pytest.raises(CurveError):
        listen(raw, options=Options(sweep=Sweep(20, 20000, seconds)))
