"""Several kinds of curve in one picture: a panel each, none left out."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.text import Text

from experiments.acoustics import Impulse
from optimiser.figures import Line, Shown, draw_curves
from optimiser.heard import envelope_of, line_of, ringing_of

F = np.geomspace(50.0, 10000.0, 60)


def line(label, value=80.0):
    return Line(F, value + np.sin(F / 500), None, label)


def impulse(label, q=10.0):
    time = np.arange(4800) / 48000
    h = np.exp(-np.pi * 3000 * time / q) * np.sin(2 * np.pi * 3000 * time)
    curve = Impulse(np.concatenate((np.zeros(100), h)), 48000)
    return (line_of(curve, label=label), envelope_of(curve)), ringing_of(curve, None, label)


FIRST, RINGING = impulse("a.wav")
SECOND, OTHER = impulse("b.wav", 25.0)
EVERYTHING = Shown(
    responses=[line("one.txt"), line("two.txt", 84.0)],
    distortions=[line("thd.txt", 3.0)],
    impulses=[FIRST],
    ringing=[RINGING],
    limits={"from": 100.0, "break-up": 3000.0, "to": 3300.0},
    decay_ms=3.2,
)


def words(figure):
    return " | ".join(text.get_text() for text in figure.findobj(Text) if text.get_visible())


def test_every_kind_has_its_panel():
    figure = draw_curves(EVERYTHING)
    said = words(figure)
    for label in ("level (dB)", "THD (% of the fundamental)", "share of the peak", "3.2 ms"):
        assert label in said
    for label in ("one.txt", "two.txt", "thd.txt", "a.wav", "is the analysis itself"):
        assert label in said
    figure.draw_without_rendering()
    box = figure.get_tightbbox()
    assert box.x0 > 0
    assert box.y0 > 0
    assert box.x1 < figure.get_figwidth()
    assert box.y1 < figure.get_figheight()
    assert figure.get_figheight() == pytest.approx(4 * 2.5)


def test_several_impulses_lie_over_each_other_as_levels():
    figure = draw_curves(Shown(impulses=[FIRST, SECOND], ringing=[RINGING, OTHER]))
    said = words(figure)
    assert "envelope (dB re its peak)" in said
    assert said.count("a.wav") == 2
    axes = figure.axes[0]
    levels = [drawn for drawn in axes.lines if len(drawn.get_xdata()) > 10]
    assert len(levels) == 2
    for drawn, q in zip(levels, (10.0, 25.0), strict=True):
        x, y = np.asarray(drawn.get_xdata()), np.asarray(drawn.get_ydata())
        assert np.max(y) == pytest.approx(0.0, abs=1.0)
        seen = (x > 1) & (y > -40)
        slope = np.polyfit(x[seen], y[seen], 1)[0]
        assert slope == pytest.approx(-8.6859 * np.pi * 3.0 / q, rel=0.03)


def test_marks_that_lie_close_stand_on_rows_of_their_own():
    figure = draw_curves(EVERYTHING)
    figure.draw_without_rendering()
    axes = figure.axes[0]
    marks = [text for text in axes.texts if text.get_text().endswith("Hz")]
    boxes = [text.get_window_extent() for text in marks]
    assert len(boxes) == 3
    assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[:i])


def test_nothing_to_draw_is_said():
    assert "No curve" in words(draw_curves(Shown()))
    silent = (Line(F, 0 * F, None, "x"), 0 * F)
    assert "No curve" in words(draw_curves(Shown(impulses=[silent])))
