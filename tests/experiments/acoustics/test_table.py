from __future__ import annotations

import time

import numpy as np
import pytest

from experiments.acoustics import table
from experiments.acoustics.table import MAX_BYTES, read_table
from experiments.errors import CurveError


def test_lines_are_counted_from_one_with_blanks_and_remarks():
    found = read_table(b"# x\n\nHz;dB\n1;2\n\n# pause\n3;4\n", "a")
    assert found.lines.tolist() == [4, 7]
    assert found.where(1) == "a:7"
    np.testing.assert_array_equal(found.values, [[1, 2], [3, 4]])


def test_short_rows_between_white_space_are_left_out_and_named():
    found = read_table(b"Hz dB\n1 2\n3\n4 5\n", "a")
    assert found.values.shape == (2, 2)
    assert any("lines 3" in note for note in found.notes)


def test_missing_cells_between_marks_are_gaps():
    found = read_table(b"a;b;c\n1;2;3\n4;;6\n7;8\n", "a")
    assert np.isnan(found.values[1, 1])
    assert np.isnan(found.values[2, 2])


def test_kilo_in_a_cell():
    found = read_table(b"f;L\n500 Hz;80\n1.2k;81\n2 kHz;82\n", "a")
    np.testing.assert_allclose(found.values[:, 0], [500, 1200, 2000])


def test_too_large_files_are_refused_at_once():
    raw = b"1;2\n" * (MAX_BYTES // 4 + 1)
    start = time.process_time()
    with pytest.raises(CurveError, match="MB of text"):
        read_table(raw, "a")
    assert time.process_time() - start < 0.5


@pytest.mark.slow
def test_a_million_rows_in_bounded_memory():
    import tracemalloc

    raw = b"Hz;dB\n" + b"".join(b"%d;80.5\n" % i for i in range(1, 1_000_001))
    tracemalloc.start()
    found = read_table(raw, "a")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert found.values.shape == (1_000_000, 2)
    assert peak < 12 * len(raw)


def test_twenty_thousand_rows_are_read_quickly():
    rows = "\n".join(f"{20 + i * 0.9990:.4f};{80 + i % 7}.123" for i in range(20_000))
    raw = f"Hz;dB\n{rows}\n".encode()
    best = min(_timed(raw) for _ in range(3))
    assert best < 0.3


def _timed(raw):
    start = time.process_time()
    read_table(raw, "a")
    return time.process_time() - start


def test_quick_and_careful_ways_agree(monkeypatch):
    raw = b"Hz;dB\n" + b"".join(b"%d.25;%d,5e1\n" % (i, i) for i in range(3)).replace(b",", b".")
    quick = read_table(raw, "a")
    monkeypatch.setattr(table._Reader, "_quickly", lambda self, line: None)
    careful = read_table(raw, "a")
    np.testing.assert_array_equal(quick.values, careful.values)


def test_an_ambiguous_comma_blames_the_cell_and_its_line():
    text = "# gain 1,000 V\nHz;dB\n100,125;80,125\n200,250;81,250\n400,500;82,123\n"
    with pytest.raises(CurveError) as caught:
        read_table(text.encode(), "a.txt")
    problem = caught.value.problems[0]
    assert problem.where == "a.txt:3"
    assert "the cell '100,125'" in problem.found
    # A comma in a remark settles nothing.
    with pytest.raises(CurveError, match="the cell"):
        read_table(text.replace("1,000 V", "1,5 V").encode(), "a.txt")


def test_two_headings_over_three_cells_are_a_decimal_comma():
    with pytest.raises(CurveError, match="part columns or mark decimals"):
        read_table(b"Frequency (Hz), level (dB)\n100,80,5\n200,81,5\n400,82,5\n", "a.txt")
    assert read_table(b"100,80,5\n200,81,5\n400,82,5\n", "a.txt").values.shape == (3, 3)


def test_lines_with_both_marks_are_blamed_themselves():
    with pytest.raises(CurveError) as caught:
        read_table(b"# by hand\nHz;dB\n100,5;80.2\n200,5;80.3\n", "a.txt")
    problem = caught.value.problems[0]
    assert problem.where == "a.txt:3"
    assert "one decimal mark" in problem.remedy
