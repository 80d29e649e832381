"""What is read back from a figure: names and units, words on axes, bars and bands."""

from __future__ import annotations

import csv
import io

import numpy as np
from matplotlib.figure import Figure

from optimiser.page.pictures import Picture, picture
from optimiser.page.series import band_series, drawn_series, tell_value


def told(figure: Figure) -> list[tuple[str, tuple[str, str]]]:
    """Each series' name with what its first point tells."""
    return [(each.name, each.texts()[0]) for _, each in drawn_series(figure)]


def rows(shown: Picture) -> list[list[str]]:
    return list(csv.reader(io.StringIO(shown.csv())))


def test_bars_tell_their_ends_and_words_stand_for_places():
    figure = Figure()
    lying, standing = figure.subplots(1, 2)
    lying.barh([2.0], [0.7], label="process")
    lying.set_yticks([1, 2], ["filament", "=resin"])
    lying.set_xlabel("probability")
    standing.bar([0.5, 1.5], [3.0, 4.0])
    standing.set(xlabel="wall (mm)", ylabel="score (0–1)")
    assert told(figure) == [
        ("process", ("probability 0.7", "=resin")),
        ("", ("wall 0.5\xa0mm", "score 3")),
    ]
    taken = rows(picture(figure, "bars", "Bars."))
    assert ["process", "0.7", "'=resin"] in taken
    assert ["", "1.5", "4"] in taken


def test_a_panel_without_names_takes_them_from_its_neighbours_or_its_title():
    figure = Figure()
    above, below = figure.subplots(2, 1, sharex=True)
    for axes, name in ((above, "level (dB)"), (below, "mass (g)")):
        axes.plot([0.0, 0.95], [-1.0, 2.0])
        axes.set_title(name, loc="left")
    below.set_xticks([0, 1], ["Monday", "Tuesday"])
    below.set_xlabel("session")
    assert told(figure) == [
        ("", ("session Monday", "level -1\xa0dB")), ("", ("session Monday", "mass -1\xa0g")),
    ]  # fmt: skip
    assert [series.texts()[1][0] for _, series in drawn_series(figure)] == ["session Tuesday"] * 2
    only = Figure()
    strip = only.subplots()
    strip.plot([-0.5, 0.5], [0.0, 0.0])
    strip.set_yticks([])
    strip.set_title("upper limit (kHz)", loc="left")
    assert told(only) == [("", ("upper limit -0.5\xa0kHz", ""))]


def test_plain_ticks_are_no_words_also_where_they_are_set():
    figure = Figure()
    axes = figure.subplots()
    axes.plot([0.0, 1.0], [0.25, 0.5])
    axes.set_yticks([0, 0.5, 1])
    axes.set(xlabel="x", ylabel="share")
    assert told(figure) == [("", ("x 0", "share 0.25"))]
    assert tell_value("passes with", 0.5) == "passes with 0.5"


def test_the_ends_of_a_band_are_data_to_take_along():
    figure = Figure()
    axes = figure.subplots()
    x = np.array([1.0, 2.0, 4.0])
    axes.fill_between(x, x - 0.5, x + 1.5)
    low, high = band_series(figure)
    assert np.allclose([low.x, low.y, high.y], [x, x - 0.5, x + 1.5])


def test_ends_of_intervals_and_marked_ranges_can_be_taken_along():
    figure = Figure()
    upright, lying = figure.subplots(1, 2)
    upright.errorbar([1.0, 2.0], [5.0, 6.0], yerr=[[1.0, 2.0], [0.5, 1.5]], fmt="o")
    upright.set(xlabel="wall (mm)", ylabel="loss (%)")
    upright.axvspan(1.2, 1.4)
    upright.axhspan(3.0, 3.5)
    lying.hlines([1.0, 2.0], [0.1, 0.2], [0.7, 0.9])
    lying.set(xlabel="expected (dB)", ylabel="measured (dB)")
    taken = rows(picture(figure, "ends", "Ends."))
    for low, high in ((["1", "4"], ["1", "5.5"]), (["2", "4"], ["2", "7.5"]),
                      (["0.1", "1"], ["0.7", "1"]), (["0.2", "2"], ["0.9", "2"])):  # fmt: skip
        assert ["low end of the interval", *low] in taken
        assert ["high end of the interval", *high] in taken
    for low, high in ((["1.2", ""], ["1.4", ""]), (["", "3"], ["", "3.5"])):
        assert ["low end of the marked range", *low] in taken
        assert ["high end of the marked range", *high] in taken
