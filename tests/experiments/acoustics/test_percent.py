from __future__ import annotations

import pytest

from experiments.acoustics import Options, listen
from experiments.acoustics.percent import with_noise
from experiments.errors import CurveError


def rows(head, *values):
    body = [f"{100 * 2**i};" + ";".join(map(str, row)) for i, row in enumerate(values)]
    return "\n".join([head, *body, ""]).encode()


def peak(head, *values):
    """What the columns are taken for shows in the THD peak: percent, and the notes."""
    heard = listen(rows(head, *values), kind="distortion")
    return heard.metrics["thd_peak_percent"].value, " ".join(heard.notes)


def codes(heard):
    return [item.code for item in heard.warnings]


def test_a_thd_below_one_of_its_harmonics_warns():
    heard = listen(rows("Hz;THD %;HD2 %", (0.7, 0.6), (1.73, 4.19), (0.5, 0.4)))
    text = next(item.text for item in heard.warnings if item.code == "thd_implausible")
    assert "1.73 % at 200 Hz beside a harmonic of 4.19 %" in text


def test_rounding_and_the_total_as_reference_are_allowed():
    # d / sqrt(1 + d^2) of a harmonic of 50 % of the fundamental is 44.7 %.
    heard = listen(rows("Hz;THD %;HD2 %", (0.01, 0.015), (44.7, 50.0), (0.5, 0.505)))
    assert "thd_implausible" not in codes(heard)


def test_more_distortion_than_signal_is_remarked_upon():
    assert "thd_implausible" in codes(listen(rows("Hz;THD %", (17,), (207,), (40,))))


def test_small_numbers_without_a_unit_may_be_ratios():
    heard = listen(rows("Hz;THD", (0.004,), (0.052,), (0.01,)))
    assert "unit_assumed" in codes(heard)
    assert "unit_assumed" not in codes(listen(rows("Hz;THD %", (0.004,), (0.052,), (0.01,))))


@pytest.mark.parametrize("heading", ["THD+N (%)", "thd + n", "THD&N"])
def test_thd_plus_noise_is_noted(heading):
    assert with_noise(heading)
    heard = listen(rows(f"Hz;{heading}", (1,), (3,), (2,)))
    assert any("holds noise too" in note for note in heard.notes)


def test_thd_is_preferred_to_thd_plus_noise():
    heard = listen(rows("Hz;THD+N %;THD %", (2, 1), (5, 3), (4, 2)))
    assert heard.metrics["thd_peak_percent"].value == 3
    assert not any("holds noise" in note for note in heard.notes)


def test_a_sibling_in_percent_makes_the_others_percent():
    heard = listen(rows("Hz;Fundamental (dB);THD %;HD2", (80, 40, 30), (82, 50, 45), (81, 30, 25)))
    assert heard.metrics["hd2_percent"].value == 45


def test_harmonics_over_the_fundamental_are_refused():
    with pytest.raises(CurveError, match="exceed the fundamental"):
        listen(rows("Hz;Fundamental;H2", (60, 70), (61, 75), (62, 80)))


def test_the_note_says_what_cut_the_search_short():
    values = [(1, 1), (3, 2), (2, 1), (1, 1), (1, 1), (1, 1), (1, 1), (1, 1)]
    heard = listen(rows("Hz;THD %;HD2 %", *values), options=Options(band=(50, 12000)))
    note = next(note for note in heard.notes if "sought" in note)
    assert "below, no data" in note
    assert "above, harmonics lie beyond the bandwidth" in note
    whole = listen(rows("Hz;THD %;HD2 %", *values), options=Options(band=(100, 6000)))
    assert any("6 kHz (the band stated)" in note for note in whole.notes)


def test_an_empty_fundamental_decides_nothing():
    # The level's column holds no number at all.
    heard = listen(b"Hz,Fundamental dB,HD2\n100,NaN,-30\n200,NaN,-40\n400,NaN,-35\n")
    assert "HD2 in dB taken as relative to the fundamental" in heard.notes
    for head in ("Hz,Level dB,THD %", "Hz,Fundamental dB,THD", "Hz,Level dB,HD2"):
        heard = listen(f"{head}\n100,NaN,1.5\n200,NaN,2\n400,NaN,1\n".encode())
        assert heard.kind == "distortion"


@pytest.mark.parametrize(
    ("head", "values", "percent", "note"),
    [
        ("Hz;THD ratio", [(0,), (1,), (0.5,)], 100, "THD is a ratio: 0.01 is 1 %"),
        ("Hz;THD", [(0.5,), (4,), (2,)], 4, "THD without a unit taken as percent"),
        ("Hz;THD", [(18,), (19.9,), (19.9,)], 19.9, "taken as percent"),
        ("Hz;THD", [(0,), (0.9,), (0.5,)], 0.9, "taken as percent"),
        # -26.0206 dB is 5 %.
        ("Hz;THD", [(-40,), (-26.0206,), (-60,)], 5, "column 2 is negative throughout"),
        ("Hz;HD2 (dB)", [(-40,), (-26.0206,), (-60,)], 5, "relative to the fundamental"),
        ("Hz;HD2 (dB)", [(-40,), (6,), (-60,)], 199.526, "relative to the fundamental"),
        ("Hz;Level (dB);HD2 (dB)", [(80, -40), (82, 6), (81, -60)], 199.526, "as relative to"),
        ("Hz;Fundamental (%);HD2 (dB)", [(100, -40), (100, -26.0206), (100, -60)], 5, "relative"),
        ("Hz;Fundamental (%);HD2", [(100, 2), (100, 4), (100, 3)], 4, "taken as percent"),
        ("Hz;Fundamental (dB);HD2", [(80, 2), (82, 4.9), (81, 4.9)], 4.9, "taken as percent"),
        ("Hz;Fundamental;HD2", [(21, 1), (21, 4), (21, 3)], 4, "taken as percent"),
        # 82 - 26.0206 dB and 80 - 26.0206 dB
        ("Hz;Fundamental (dB);HD2", [(80, 20), (82, 55.9794), (81, 20)], 5, "like the funda"),
        ("Hz;Fundamental (dB);HD2 (dB)", [(80, 53.9794), (82, 30), ("NaN", 40)], 5, "as a level"),
        ("Hz;Level (dB);HD2 (dB)", [(80, 53.9794), (82, 30), (81, 40)], 5, "as a level"),
        # The unit may stand in the cells: 15 - 80 dB.
        ("Hz;Fundamental (dB);HD2", [(80, "15 dB"), (82, "9 dB"), (81, "7 dB")], 0.056234, ""),
        ("Hz;THD", [("2 %",), ("30 %",), ("25 %",)], 30, ""),
    ],
)  # fmt: skip
def test_how_distortion_is_stated(head, values, percent, note):
    found, notes = peak(head, *values)
    assert found == pytest.approx(percent, rel=1e-5)
    assert note in notes


@pytest.mark.parametrize(
    ("head", "values", "place", "said"),
    [
        ("Hz;THD ratio", [(0.1,), (-0.01,), (0.1,)], ":3", "from 0 on"),
        ("Hz;THD ratio", [(0.1,), (0.2,), (1.01,)], ":4", "up to 1"),
        ("Hz;THD %", [(0,), (-0.1,), (0.1,)], ":3", "from 0 % on"),
        ("Hz;THD", [(0,), (-20,), (-40,)], ":3", "from 0 % on"),
        ("Hz;THD", [(20,), (20,), (1,)], ":2", "around 20, percent or dB"),
        ("Hz;THD", [("1 %",), ("-30 dB",), ("2 %",)], ":3", "from 0 % on"),
        ("Hz;THD (V)", [(1,), (2,), (1,)], ":2", "THD in v"),
        ("Hz;HD2 (dB)", [(-40,), (6.5,), (-60,)], ":2", "a level, not a ratio"),
        ("Hz;Fundamental;HD2", [(20, 1), (20, 4), (20, 3)], ":2", "not in dB"),
        ("Hz;Fundamental (dB);HD2", [(80, 5), (82, 5), (81, 3)], ":2", "around 5, percent or dB"),
        ("Hz;Fundamental (dB);HD2", [("NaN", 25), ("NaN", 25), ("NaN", 3)], ":2", "around 25"),
        ("Hz;Fundamental (dB);HD2", [(80, 19), (82, 19), (81, 3)], ":2", "around 19"),
        ("Hz;Fundamental (dB);HD2", [(80, 80), (80, 80), (80, 90)], ":2", "exceed the funda"),
        ("Hz;Fundamental (dB);HD2 (dB)", [(-9, -40), (-8, -50), (-9, -60)], ":2", "negative dB"),
    ],
)  # fmt: skip
def test_what_is_no_distortion_is_refused_at_its_place(head, values, place, said):
    with pytest.raises(CurveError, match=said) as caught:
        peak(head, *values)
    assert place in str(caught.value)


def test_small_numbers_are_named_as_the_percent_they_would_be():
    heard = listen(rows("Hz;THD;HD2", (0.1, 0.1), (0.99, 0.98), (1, 0.2)))
    text = next(item.text for item in heard.warnings if item.code == "unit_assumed")
    assert text.startswith("THD, HD2 up to 1 without a unit taken as percent; as a ratio 1 is")
    text = listen(rows("Hz;THD", (0.1,), (0.99,), (0.1,))).warnings[0].text
    assert "as a ratio 0.99 is 99 %" in text
    assert "up to 0.004 without" in listen(rows("Hz;THD", (0.001,), (0.004,))).warnings[0].text
    assert "unit_assumed" not in codes(listen(rows("Hz;THD", (0.1,), (1.05,), (0.1,))))
