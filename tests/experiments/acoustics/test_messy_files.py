"""Messy files as programs and people write them: each is read right, or refused with its line.

The curves are invented. Every entry is one file; a file that is read must give the metrics of the
clean one, and one that is refused must name the file, the line and what was expected.
"""

from __future__ import annotations

import numpy as np
import pytest

from experiments.acoustics import Options, listen
from experiments.errors import CurveError, Problem

BAND = Options(band=(200.0, 4000.0))
F = np.round(np.geomspace(50, 16000, 160), 2)
LEVEL = np.round(
    84
    - 10 * np.log10(1 + (90 / F) ** 4)
    - 10 * np.log10(1 + (F / 7000) ** 8)
    + 1.5 * np.exp(-((np.log(F / 2000) / 0.3) ** 2)),
    3,
)
PHASE = np.round(-40 * np.log10(F), 1)
THD = np.round(0.8 + 2.4 * np.exp(-((np.log(F[:100] / 300) / 0.5) ** 2)), 4)
HD2, HD3 = np.round(0.9 * THD, 4), np.round(0.4 * THD, 4)
TIME = np.arange(900) / 48000
PULSE = np.round(
    np.concatenate(
        (np.zeros(60), np.exp(-TIME[:840] / 0.002) * np.sin(2 * np.pi * 900 * TIME[:840]))
    ),
    6,
)


def lines(*columns, sep=";", form="{:.4f}", comma=False):
    rows = [sep.join(form.format(value) for value in row) for row in zip(*columns, strict=True)]
    return [row.replace(".", ",") if comma else row for row in rows]


def text(head, rows, end="\n", encoding="utf-8"):
    return end.join([*head, *rows, ""]).encode(encoding)


PLAIN = lines(F, LEVEL)
HEAD = ["Frequency (Hz);SPL (dB)"]


def without(rows, place):
    return [*rows[:place], *rows[place + 1 :]]


def blanked(rows, place):
    return [*rows[:place], rows[place].split(";")[0] + ";", *rows[place + 1 :]]


def shuffle(rows, seed):
    return [rows[i] for i in np.random.default_rng(seed).permutation(len(rows))]


def with_row(place, row):
    return [*PLAIN[:place], row, *PLAIN[place:]]


RESPONSES = {
    "semicolons": text(HEAD, PLAIN),
    "tabs": text(["Freq(Hz)\tSPL(dB)"], lines(F, LEVEL, sep="\t")),
    "commas": text(["Frequency,Level dB"], lines(F, LEVEL, sep=",")),
    "comma and space": text(["Frequency [Hz], Level [dB]"], lines(F, LEVEL, sep=", ")),
    "bars": text(["Hz | dB"], lines(F, LEVEL, sep=" | ")),
    "one space": text(["Freq(Hz) SPL(dB)"], lines(F, LEVEL, sep=" ")),
    "many spaces": text(
        ["  Freq [Hz]    Level [dB]"], ["   " + r for r in lines(F, LEVEL, sep="     ")]
    ),
    "decimal comma, semicolon": text(HEAD, lines(F, LEVEL, comma=True)),
    "decimal comma, tab": text(["Frequenz Hz\tPegel dB"], lines(F, LEVEL, sep="\t", comma=True)),
    "decimal comma, spaces": text(["# Hz dB"], lines(F, LEVEL, sep="  ", comma=True)),
    "decimal comma, quoted, commas between": text(
        ['"Hz","dB"'],
        ['"{}","{}"'.format(*r.split(";")) for r in lines(F, LEVEL)],
    ),
    "decimal commas in quoted cells, commas between": text(
        ['"Frequenz (Hz)","Pegel (dB)"'],
        ['"{}","{}"'.format(*r.split(";")) for r in lines(F, LEVEL, comma=True)],
    ),
    "decimal commas in quoted cells, heading without": text(
        ["Hz,dB"], ['"{}", "{}"'.format(*r.split(";")) for r in lines(F, LEVEL, comma=True)]
    ),
    "star comments": text(["* invented", "* Freq(Hz) SPL(dB)"], lines(F, LEVEL, sep=" ")),
    "hash comments": text(["# made by hand", "# Hz, dB"], lines(F, LEVEL, sep=",")),
    "semicolon comments": text(["; Hz dB", ";"], lines(F, LEVEL, sep="\t")),
    "quote comments": text(['" a remark', "' another", "' Hz dB"], lines(F, LEVEL, sep=" ")),
    "percent comments": text(["% Hz dB"], lines(F, LEVEL, sep=" ")),
    "comments among rows": text(HEAD, [*PLAIN[:50], "# pause", "", *PLAIN[50:]]),
    "remarks after the rows": text(HEAD, [*PLAIN, "", "end of data"]),
    "many remarks before": text(
        ["Workshop, bench 2", "Date: 3 May", "Points: 160", "Gain 12 dB", "", *HEAD], PLAIN
    ),
    "units in a second line": text(["Frequency;Level", "Hz;dB"], PLAIN),
    "only units": text(["Hz;dB"], PLAIN),
    "quoted cells": text(
        ['"Frequency (Hz)";"SPL (dB)"'], ['"{}";"{}"'.format(*r.split(";")) for r in PLAIN]
    ),
    "units in the cells": text(
        ["Frequency;Level"], [r.replace(";", " Hz;") + " dB" for r in PLAIN]
    ),
    "windows line ends": text(HEAD, PLAIN, end="\r\n"),
    "old line ends": text(HEAD, PLAIN, end="\r"),
    "no line end at the end": text(HEAD, PLAIN).rstrip(),
    "blank lines": text(HEAD, [r + "\n" for r in PLAIN]),
    "byte order mark": text(HEAD, PLAIN, encoding="utf-8-sig"),
    "utf-16": text(HEAD, PLAIN, encoding="utf-16"),
    "utf-16 big-endian, no mark": text(HEAD, PLAIN, encoding="utf-16-be"),
    "utf-16 little-endian, no mark": text(HEAD, PLAIN, encoding="utf-16-le"),
    "latin-1": text(["# Prüfling, µ", "Fréquence (Hz);Niveau (dB)"], PLAIN, encoding="latin-1"),
    "accents": text(["Fréquence (Hz);Niveau (dB)"], PLAIN),
    "kilohertz": text(["Frequency (kHz);SPL (dB)"], lines(F / 1000, LEVEL, form="{:.5f}")),
    "kilohertz, spaced": text(
        ["f [kHz]   L [dB]"], lines(F / 1000, LEVEL, sep=" ", form="{:.5f}")
    ),
    "exponents": text(HEAD, lines(F, LEVEL, form="{:.8E}")),
    "exponents, decimal comma": text(HEAD, lines(F, LEVEL, form="{:.8e}", comma=True)),
    "fortran exponents": text(
        ["Hz dB"], [r.replace("e", "D") for r in lines(F, LEVEL, sep=" ", form="{:.8e}")]
    ),
    "phase column": text(["Freq(Hz)\tSPL(dB)\tPhase(deg)"], lines(F, LEVEL, PHASE, sep="\t")),
    "phase first": text(["Phase(deg);Freq(Hz);SPL(dB)"], lines(PHASE, F, LEVEL)),
    "coherence column": text(["Hz;dB;Coherence"], lines(F, LEVEL, np.full(F.size, 0.9))),
    "trailing delimiter": text(["Hz;dB;"], [r + ";" for r in PLAIN]),
    "falling": text(HEAD, PLAIN[::-1]),
    "shuffled": text(HEAD, shuffle(PLAIN, 1)),
    "every row twice": text(HEAD, [r for r in PLAIN for _ in (0, 1)]),
    "gap: blank": text(HEAD, with_row(5, "60.5;")),
    "gap: NaN": text(HEAD, with_row(5, "60.5;NaN")),
    "gap: dashes": text(HEAD, with_row(5, "60.5;---")),
    "gap: n/a": text(HEAD, with_row(5, "60.5;n/a")),
    "gap: infinity": text(HEAD, with_row(0, "0.5;-inf")),
    "row at zero hertz": text(HEAD, with_row(0, "0;20.5")),
    "unicode minus": text([*HEAD, "0;\u221220.5"], PLAIN),
    "plus signs": text(HEAD, [r.replace(";", ";+") for r in PLAIN]),
    "end of file mark": text(HEAD, PLAIN) + b"\x1a",
    "no heading, levels": text([], PLAIN),
    "thousands marks that cannot be decimals": text(
        HEAD, [f"{a:,.2f};{b:.4f}" for a, b in zip(F, LEVEL, strict=True)]
    ),
    "pascal": text(["Hz;Pressure [Pa]"], lines(F, 20e-6 * 10 ** (LEVEL / 20), form="{:.9g}")),
    "real and imaginary part": text(
        ["Freq (Hz);Real;Imag"],
        lines(F, 10 ** (LEVEL / 20) * 0.6, -(10 ** (LEVEL / 20)) * 0.8, form="{:.9g}"),
    ),
}


@pytest.fixture(scope="module")
def clean():
    return listen(RESPONSES["semicolons"], options=BAND)


@pytest.mark.parametrize("name", RESPONSES)
def test_responses_are_read(name, clean):
    heard = listen(RESPONSES[name], name=name, options=BAND)
    assert heard.kind == "response"
    for key, item in clean.metrics.items():
        found = heard.metrics[key].value
        if item.value is None:
            assert found is None
        elif key.startswith("breakup"):
            assert found == pytest.approx(item.value, rel=0.01)
        else:
            assert found == pytest.approx(item.value, rel=2e-4, abs=1e-3), key


PERCENT = text(["Frequency (Hz);THD (%);HD2 (%);HD3 (%)"], lines(F[:100], THD, HD2, HD3))
DISTORTIONS = {
    "percent": PERCENT,
    "decibels below the fundamental": text(
        ["Hz;THD (dB);H2 (dB);H3 (dB)"],
        lines(F[:100], *(20 * np.log10(x / 100) for x in (THD, HD2, HD3)), form="{:.6f}"),
    ),
    "levels with the fundamental": text(
        ["Hz;Fundamental (dB);THD (dB);H2 (dB);H3 (dB)"],
        lines(
            F[:100],
            LEVEL[:100],
            *(LEVEL[:100] + 20 * np.log10(x / 100) for x in (THD, HD2, HD3)),
            form="{:.6f}",
        ),
    ),
    "ordinals": text(
        ["Frequency [Hz]\tTotal harmonic distortion [%]\t2nd harmonic [%]\t3rd harmonic [%]"],
        lines(F[:100], THD, HD2, HD3, sep="\t"),
    ),
    "other order": text(["H3 %,H2 %,THD %,Hz"], lines(HD3, HD2, THD, F[:100], sep=",")),
    "german": text(
        ["Frequenz (Hz);Klirrfaktor (%);K2 (%);K3 (%)"], lines(F[:100], THD, HD2, HD3, comma=True)
    ),
    "gaps in the high harmonics": text(
        ["Hz;THD %;HD2 %;HD3 %"],
        [
            *lines(F[:90], THD[:90], HD2[:90], HD3[:90]),
            *(row + ";" for row in lines(F[90:100], THD[90:], HD2[90:])),
        ],
    ),
    "levels without a unit beside the fundamental": text(
        ["Freq;Fundamental;H2;H3;THD"],
        lines(
            F[:100],
            LEVEL[:100],
            *(LEVEL[:100] + 20 * np.log10(x / 100) for x in (HD2, HD3, THD)),
            form="{:.6f}",
        ),
    ),
    "levels without a unit beside a fundamental in dB": text(
        ["Freq (Hz);Fundamental (dB);H2;H3;THD"],
        lines(
            F[:100],
            LEVEL[:100],
            *(LEVEL[:100] + 20 * np.log10(x / 100) for x in (HD2, HD3, THD)),
            form="{:.6f}",
        ),
    ),
    "percent without a unit beside the fundamental": text(
        ["Freq;SPL;THD;H2;H3"], lines(F[:100], LEVEL[:100], THD, HD2, HD3)
    ),
    "ratios": text(
        ["Freq;THD ratio;HD2 ratio;HD3 ratio"],
        lines(F[:100], THD / 100, HD2 / 100, HD3 / 100, form="{:.7f}"),
    ),
    "decibels in the cells": text(
        ["Frequency;THD;HD2;HD3"],
        [
            ";".join(f"{20 * np.log10(x / 100):.6f} dB" if i else f"{x}" for i, x in enumerate(r))
            for r in zip(F[:100], THD, HD2, HD3, strict=True)
        ],
    ),
    "percent signs in the cells": text(
        ["Frequency;THD;HD2;HD3"],
        [f"{a} Hz;{b}%;{c}%;{d}%" for a, b, c, d in zip(F[:100], THD, HD2, HD3, strict=True)],
    ),
}


@pytest.mark.parametrize("name", DISTORTIONS)
def test_distortions_are_read(name):
    heard = listen(DISTORTIONS[name], name=name)
    assert heard.kind == "distortion"
    best = int(np.argmax(THD))
    assert heard.metrics["thd_peak_percent"].value == pytest.approx(THD[best], rel=1e-3)
    assert heard.metrics["thd_peak_hz"].value == pytest.approx(F[best], rel=1e-4)
    assert heard.metrics["hd2_percent"].value == pytest.approx(HD2[best], rel=1e-3)
    assert heard.metrics["hd3_percent"].value == pytest.approx(HD3[best], rel=1e-3)
    assert heard.metrics["hd4_percent"].value is None


PULSE_TIME = np.arange(PULSE.size) / 48000
IMPULSES = {
    "seconds": text(["Time (s);Amplitude"], lines(PULSE_TIME, PULSE, form="{:.9f}")),
    "milliseconds": text(
        ["t [ms]\th(t)"], lines(1000 * PULSE_TIME, PULSE, sep="\t", form="{:.6f}")
    ),
    "few digits": text(
        ["Time (ms),Pressure (Pa)"], lines(1000 * PULSE_TIME, PULSE, sep=",", form="{:.4f}")
    ),
    "starts before zero": text(
        ["Time (s);Amplitude"], lines(PULSE_TIME - 0.001, PULSE, form="{:.9f}")
    ),
    "rate in a remark": text(
        ["# sampling rate: 48000 Hz", "Amplitude"], lines(PULSE, form="{:.6f}")
    ),
    "rate in kilohertz": text(
        ["* Sample rate 48 kHz", "* Impulse response"], lines(PULSE, form="{:.6f}")
    ),
    "interval in a remark": text(["; dt = 2.0833333e-5 s", "value"], lines(PULSE, form="{:.6f}")),
    "index column": text(
        ["# fs = 48000", "n;h"], lines(np.arange(PULSE.size), PULSE, form="{:.6f}")
    ),
    "rate alone": text(["# sampling rate: 48000 Hz"], lines(PULSE, form="{:.6f}")),
    "rate in a cell": text(["Sample rate;48000"], lines(PULSE, form="{:.6f}")),
    "numbered, rate alone": text(
        ["# sampling rate: 48000 Hz"], [f"{i}\t{v:.6f}" for i, v in enumerate(PULSE)]
    ),
    "numbered, shuffled": text(
        ["# fs = 48000 Hz", "n;h"], shuffle([f"{i};{v:.6f}" for i, v in enumerate(PULSE)], 3)
    ),
    "samples and amplitudes": text(
        ["# fs = 48000 Hz", "Sample;Amplitude"], [f"{i};{v:.6f}" for i, v in enumerate(PULSE)]
    ),
    "decimal comma": text(
        ["Zeit (s);Amplitude"], lines(PULSE_TIME, PULSE, form="{:.9f}", comma=True)
    ),
    "no heading": text([], lines(PULSE_TIME, PULSE, sep=" ", form="{:.9f}")),
    "shuffled": text(["Time (s);Amplitude"], shuffle(lines(PULSE_TIME, PULSE, form="{:.9f}"), 2)),
}


@pytest.mark.parametrize("name", IMPULSES)
def test_impulses_are_read(name):
    heard = listen(IMPULSES[name], name=name)
    clean = listen(IMPULSES["seconds"])
    assert heard.kind == "impulse"
    digits = name == "few digits"
    assert heard.curve.rate == pytest.approx(48000, rel=1e-3 if digits else 1e-6)
    assert heard.metrics["decay_ms"].value == pytest.approx(
        clean.metrics["decay_ms"].value, rel=2e-3 if digits else 2e-4
    )


REFUSED = {
    "nothing": (b"", "empty", ""),
    "white space": (b" \n\t\n", "empty", ""),
    "words": (b"the quick brown fox\njumps over\n", "1", "rows of numbers"),
    "a picture": (b"\x89PNG\r\n\x1a\n" + bytes(100), "picture", ""),
    "a spreadsheet": (b"PK\x03\x04" + bytes(100), "spreadsheet", "CSV"),
    "random bytes": (np.random.default_rng(5).bytes(3000), "", "text file"),
    "one number with a comma": (b"1,234\n", ":1", "one way only"),
    "two readings of the comma": (b"20,5,80,2\n21,5,81,3\n22,5,82,1\n", ":1", "one way only"),
    "commas twice under a heading for two": (
        b"Freq (Hz),SPL (dB)\n20,5,80,2\n21,5,81,3\n22,5,82,1\n",
        ":2",
        "one way only",
    ),
    "thousands or decimals": (
        b"Frequency (Hz);SPL (dB)\n1,000;81\n1,250;82\n1,600;83\n2,000;84\n",
        ":2",
        "one way only",
    ),
    "points as thousands": (
        b"Hz;dB\n500;80.5\n630;80.25\n800;80.5\n1.000;80.1\n1.250;80.1\n1.600;80.0\n",
        ":5",
        "one way",
    ),
    "decimal commas between commas": (
        text([], lines(F, LEVEL, sep=",", comma=True)),
        ":",
        "semicolons or tabs",
    ),
    "decimal or thousands in quoted cells": (
        b'"Hz","dB"\n"20,000","62,021"\n"25,000","64,100"\n"31,500","66,000"\n',
        ":2",
        "one way only",
    ),
    "a typing error": (text(HEAD, with_row(20, "70.5;8S.2")), ":22", "a number"),
    "a column too many": (text(HEAD, with_row(20, "70.5;80.1;3")), ":22", "2 columns"),
    "a negative frequency": (text(HEAD, with_row(20, "-70.5;80.1")), ":22", "from 0 on"),
    "an impossible level": (text(HEAD, with_row(20, "70.5;8000")), ":22", "a level"),
    "two curves": (text(HEAD, [*PLAIN, "Frequency (Hz);SPL (dB)", *PLAIN]), ":163", "one curve"),
    "two level columns": (text(["Hz;SPL 1 (dB);SPL 2 (dB)"], lines(F, LEVEL, LEVEL)), ":2", "one"),
    "no heading, percent or decibels": (text([], lines(F[:100], THD)), ":1", "headings or units"),
    "no heading, all negative": (text([], lines(F, LEVEL - 120)), ":1", "headings or units"),
    "amplitude without unit": (text(["Hz;Amplitude"], lines(F, LEVEL)), ":2", ""),
    "harmonics as levels": (
        text(["Hz;H2 (dB);H3 (dB)"], lines(F, LEVEL - 40, LEVEL - 50)),
        ":2",
        "ratio",
    ),
    "harmonics without a unit, percent or levels": (
        text(["Hz;Fundamental;H2"], lines(F[:100], LEVEL[:100], LEVEL[:100] - 75)),
        ":2",
        "unit is stated",
    ),
    "harmonics without a unit that only levels reach": (
        text(["Hz;H2;H3"], lines(F[:100], LEVEL[:100] - 40, LEVEL[:100] - 50)),
        ":2",
        "'HD2 (dB)'",
    ),
    "harmonics beside a linear fundamental": (
        text(["Hz;Fundamental;H2"], lines(F[:100], THD, HD2 / 100)),
        ":2",
        "not in dB",
    ),
    "a ratio over 1": (text(["Hz;THD ratio"], lines(F[:100], THD)), ":", "write % if"),
    "samples without a rate": (text(["Amplitude"], lines(PULSE)), ":2", "time"),
    "a sample is missing": (
        text(["Time (s);Amplitude"], without(lines(PULSE_TIME, PULSE, form="{:.9f}"), 400)),
        ":402",
        "even steps of 2.08",
    ),
    "many samples are missing": (
        text(
            ["Time (s);Amplitude"],
            [*(r := lines(PULSE_TIME, PULSE, form="{:.9f}"))[:400], *r[700:]],
        ),
        ":402",
        "even steps of 2.08",
    ),
    "a numbered sample is missing": (
        text(["# fs = 48000", "n;h"], without([f"{i};{v}" for i, v in enumerate(PULSE)], 400)),
        ":403",
        "even steps of 1",
    ),
    "numbers without a rate": (
        text(["Time;Amplitude"], [f"{i};{v:.6f}" for i, v in enumerate(PULSE)]),
        ":2",
        "--rate 48000",
    ),
    "a rate that contradicts the time": (
        text(["# fs = 44100 Hz", "Time (s);Amplitude"], lines(PULSE_TIME, PULSE, form="{:.9f}")),
        ":3",
        "44100",
    ),
    "a sample is blank": (
        text(["Time (s);Amplitude"], blanked(lines(PULSE_TIME, PULSE, form="{:.9f}"), 400)),
        ":402",
        "sample",
    ),
    "too few rows": (b"Hz;dB\n100;80\n200;81\n", "", "at least 3"),
    "only gaps": (b"Hz;dB\n100;NaN\n200;NaN\n300;NaN\n", "", ""),
    "percent below zero": (text(["Hz;THD %"], lines(F[:100], -THD)), ":2", "from 0 %"),
    "level in time": (text(["Time (s);Level (dB)"], lines(PULSE_TIME, PULSE)), ":2", "linear"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_refusals_name_place_and_remedy(name):
    raw, place, expected = REFUSED[name]
    with pytest.raises(CurveError) as caught:
        listen(raw, name="cone 7.txt")
    problem = caught.value.problems[0]
    assert isinstance(problem, Problem)
    assert problem.where.startswith("cone 7.txt")
    said = str(problem)
    assert place in said
    assert expected in said
    assert problem.found
    assert problem.expected


def test_there_are_enough():
    assert len(RESPONSES) + len(DISTORTIONS) + len(IMPULSES) + len(REFUSED) >= 100
