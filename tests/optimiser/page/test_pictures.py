"""Pictures in a page: no inline style, values in their places, data to take along."""

from __future__ import annotations

import csv
import io
import json
import re
from xml.etree import ElementTree

import numpy as np
import pytest

from optimiser.figures import Line, draw_response
from optimiser.page.pictures import picture

F = np.geomspace(100, 10000, 50)
LINE = Line(F, 80 - F / 1000, 7)


@pytest.fixture(scope="module")
def shown():
    return picture(draw_response([LINE], best=7), "response", "Responses.")


def test_nothing_in_the_drawing_needs_an_inline_style(shown):
    assert "style" not in shown.svg
    assert "<script" not in shown.svg
    assert "var(--fig-lead" in shown.svg
    assert 'fill="none"' in shown.svg


def test_the_data_are_those_that_were_drawn(shown):
    rows = list(csv.reader(io.StringIO(shown.csv())))
    assert rows[0][0] == "series"
    assert "(dB)" in rows[0][2]
    assert {row[0] for row in rows[1:]} == {"cone 7"}
    assert np.allclose([float(row[1]) for row in rows[1:]], F, rtol=1e-5)
    assert np.allclose([float(row[2]) for row in rows[1:]], LINE.y, rtol=1e-5)


def test_a_point_lies_where_the_drawing_has_it(shown):
    told = json.loads(shown.points)
    assert told[0]["name"] == "cone 7"
    ends = [told[0]["points"][place] for place in (0, -1)]
    # The curve is the one thick path in the leading colour: its ends in matplotlib's own drawing.
    curve = re.search(
        r'd="M ([\d.]+) ([\d.]+)[^"]*L ([\d.]+) ([\d.]+) *\n?"[^>]*--fig-lead', shown.svg
    )
    assert curve
    x0, y0, x1, y1 = map(float, curve.groups())
    assert np.allclose([ends[0][:2], ends[1][:2]], [[x0, y0], [x1, y1]], atol=0.11)
    assert ends[0][2:] == ["frequency 100\xa0Hz", "level 79.9\xa0dB"]


def test_a_name_that_is_a_formula_is_disarmed():
    shown = picture(draw_response([Line(F, F, None, "=1+1")]), "response", "Responses.")
    assert "\r\n'=1+1," in shown.csv()


def test_a_drawing_is_a_file_in_its_printed_colours(shown):
    file = shown.file()
    root = ElementTree.fromstring(file)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert "var(" not in file
    assert re.search(r'stroke="#[0-9a-f]{6}"', file)
