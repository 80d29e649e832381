from __future__ import annotations

import numpy as np

from optimiser.figures import draw_response
from optimiser.figures.overlay import Line, thin


def test_a_narrow_peak_and_dip_survive_thinning():
    x = np.geomspace(20, 20000, 100_000)
    y = np.zeros_like(x)
    y[40_000], y[70_000] = 9.0, -7.0
    seen_x, seen_y = thin(x, y, most=400)
    assert seen_x.size <= 400
    assert seen_y.max() == 9.0
    assert seen_y.min() == -7.0
    assert np.all(np.diff(seen_x) > 0)
    assert seen_x[seen_y.argmax()] == x[40_000]


def test_a_short_curve_stays_as_it_is_but_for_what_cannot_be_drawn():
    x = np.array([0.0, 10.0, 20.0, 30.0])
    y = np.array([1.0, 2.0, np.nan, 4.0])
    seen_x, seen_y = thin(x, y)
    assert list(seen_x) == [10.0, 30.0]
    assert list(seen_y) == [2.0, 4.0]


def shown(lines: list[Line], **options: object) -> set[str]:
    axes = draw_response(lines, **options).axes[0]
    return {text.get_text() for text in axes.texts}


def test_a_few_files_are_named_one_by_one():
    x = np.geomspace(100, 1000, 9)
    lines = [Line(x, x / 100 + place, None, f"file{place}.txt") for place in range(3)]
    assert shown(lines) == {"file0.txt", "file1.txt", "file2.txt"}
    figure = draw_response(lines)
    styles = {(line.get_color(), line.get_linestyle()) for line in figure.axes[0].lines}
    assert len(styles) == 3


def test_many_curves_are_counted_even_if_their_names_agree():
    x = np.geomspace(100, 1000, 9)
    assert shown([Line(x, x, None, "same.txt")] * 7) == {"7 curves"}
    cones = [Line(x, x, number) for number in range(1, 8)]
    assert shown(cones, best=4) == {"cone 4, the best so far", "6 other cones"}
    assert shown(cones, best=99) == {"7 cones"}
