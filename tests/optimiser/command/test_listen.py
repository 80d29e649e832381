"""The verb listen over several files at once, with the demo's own."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import demo_trials

RAW = Path(demo_trials.__file__).parent / "raw"
RESPONSE = RAW / "cone_01" / "evening-1-response.txt"
DISTORTION = RAW / "cone_01" / "evening-1-distortion.txt"
IMPULSE = RAW / "cone_01" / "evening-1-impulse.wav"
OTHERS = [RAW / "cone_03" / each.name for each in (RESPONSE, DISTORTION, IMPULSE)]


def height(picture: Path) -> float:
    """Height of an SVG in inches."""
    found = re.search(r'height="([\d.]+)pt"', picture.read_text(encoding="utf-8"))
    assert found is not None
    return float(found[1]) / 72


@pytest.mark.parametrize(
    ("files", "panels"),
    [
        ([DISTORTION], 1),
        ([IMPULSE], 2),  # itself, and its decay over frequency
        ([RESPONSE, OTHERS[0]], 1),
        pytest.param([IMPULSE, OTHERS[2]], 3, marks=pytest.mark.slow),
        ([RESPONSE, DISTORTION, IMPULSE, *OTHERS], 5),
    ],
)
def test_every_kind_of_file_is_drawn(run, tmp_path, files, panels):
    picture = tmp_path / "heard.svg"
    assert run("listen", *files, "--svg", picture, "--json").status == 0
    assert height(picture) == pytest.approx(2.5 * panels)
