"""Reading figures in tests: what they say, and whether all of it is on the page and legible."""

from __future__ import annotations

from matplotlib.figure import Figure
from matplotlib.text import Text


def words(figure: Figure) -> str:
    """All text of a figure."""
    found = [text.get_text() for text in figure.findobj(Text) if text.get_visible()]
    return " | ".join(found).replace("\n", " ").replace("\N{NO-BREAK SPACE}", " ")


def assert_on_the_page_and_legible(figure: Figure) -> None:
    """A drawn figure is a column wide, holds all that was drawn, in type of 7.5 points or more."""
    assert figure.get_figwidth() == 3.5
    inside = figure.get_tightbbox()
    assert inside.x0 > 0
    assert inside.y0 > 0
    assert inside.x1 < figure.get_figwidth()
    assert inside.y1 < figure.get_figheight()
    sizes = [text.get_fontsize() for text in figure.findobj(Text) if text.get_text().strip()]
    assert min(sizes) >= 7.5
