"""The picture of files that were heard says no more than their data tell."""

from __future__ import annotations

import pytest
from matplotlib.text import Text

from experiments.acoustics import Options, listen
from optimiser.heard import value_text
from optimiser.heard_picture import draw_heard


@pytest.fixture
def coarse(tmp_path):
    """Eleven points, so that the limits are known to half an octave or so."""
    pairs = (
        (20, 71.5), (50, 77.2), (100, 82.0), (200, 85.1), (500, 86.0), (1000, 85.2),
        (2000, 86.4), (4000, 88.9), (8000, 83.1), (12000, 74.0), (20000, 61.0),
    )  # fmt: skip
    file = tmp_path / "mine.txt"
    file.write_text("Hz;dB\n" + "\n".join(f"{hertz};{level}" for hertz, level in pairs) + "\n")
    return listen(file)


def plain(words: str) -> str:
    """Turn the space that keeps a number and its unit together into a plain one."""
    return words.replace("\N{NO-BREAK SPACE}", " ")


def test_a_limit_between_coarse_points_is_as_rough_as_in_the_table(coarse):
    figure = draw_heard([coarse], Options())
    words = [plain(text.get_text()) for text in figure.findobj(Text)]
    assert plain(value_text(coarse.metrics["lower_limit_hz"])) == "about 60 Hz"
    assert "from about 60 Hz" in words
    assert "to about 10 kHz" in words


def test_a_value_of_fine_data_is_written_as_it_is(coarse):
    assert plain(value_text(coarse.metrics["level_db"])) == "84.26 dB"
    assert value_text(coarse.metrics["breakup_hz"]) == "–"
