"""Pictures as files: PNG, SVG, and SVG for the inside of a page."""

from __future__ import annotations

import io
import re
import threading

import matplotlib
from matplotlib.figure import Figure

from optimiser.figures.style import LIGHT

__all__ = ["to_inline_svg", "to_png", "to_svg"]

_SVG_LOCK = threading.Lock()


def to_png(figure: Figure, dpi: int = 200) -> bytes:
    """Draw a figure as a PNG file.

    Returns
    -------
    bytes
        The file's content; equal figures give equal bytes.
    """
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=dpi, metadata={"Software": "coneloop"})
    return out.getvalue()


def to_svg(figure: Figure, *, alternative: str = "") -> str:
    """Draw a figure as an SVG file.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        What to draw.
    alternative : str, optional
        Words for a reader who cannot see it; becomes the picture's title.

    Returns
    -------
    str
        The file's content; equal figures give equal text (no date, fixed identifiers).
    """
    out = io.StringIO()
    metadata: dict[str, str | None] = {"Date": None, "Creator": "coneloop"}
    if alternative:
        metadata["Title"] = alternative
    # matplotlib has no other way to fix the identifiers; the settings are put back at once, and
    # the lock keeps two threads from putting back each other's.
    with _SVG_LOCK, matplotlib.rc_context({"svg.hashsalt": "coneloop", "svg.fonttype": "path"}):
        figure.savefig(out, format="svg", metadata=metadata, facecolor=LIGHT["paper"])
    return out.getvalue()


def to_inline_svg(figure: Figure, key: str, *, alternative: str) -> str:
    """Draw a figure for the inside of a page.

    Identifiers get the prefix `key` (a page holds many pictures), and each colour becomes a CSS
    variable ``--fig-ROLE`` with the printed colour as fallback, so that a dark page can recolour
    the picture.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        What to draw.
    key : str
        Prefix of its identifiers; unique within the page.
    alternative : str
        Words for a reader who cannot see it.

    Returns
    -------
    str
        An ``<svg>`` element with ``role="img"`` and an ``aria-label``.
    """
    text = to_svg(figure)
    text = text[text.index("<svg") :]
    text = re.sub(r' d="([^"]*)"', _shorter_path, text)
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r' id="([^"]+)"', rf' id="{key}-\1"', text)
    text = re.sub(r'href="#([^"]+)"', rf'href="#{key}-\1"', text)
    text = re.sub(r"url\(#([^)]+)\)", rf"url(#{key}-\1)", text)
    # Only clip paths and glyphs are pointed at; other identifiers are weight.
    pointed = set(re.findall(r'href="#([^"]+)"', text)) | set(re.findall(r"url\(#([^)]+)\)", text))
    text = re.sub(r' id="([^"]+)"', lambda m: m[0] if m[1] in pointed else "", text)
    for role, colour in LIGHT.items():
        text = text.replace(colour, f"var(--fig-{role}, {colour})")
    escaped = _escape(alternative)
    return re.sub(
        r"<svg [^>]*?viewBox=\"([^\"]+)\"[^>]*>",
        rf'<svg viewBox="\1" role="img" aria-label="{_quoted(escaped)}" class="figure" '
        r'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">',
        text,
        count=1,
    )


def _shorter_path(match: re.Match[str]) -> str:
    """Round a path's coordinates to hundredths of a point, which no screen shows."""
    return re.sub(r"(\.\d\d)\d+", r"\1", match[0])


def _escape(text: str) -> str:
    """Escape text for an XML attribute."""
    for raw, safe in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;")):
        text = text.replace(raw, safe)
    return text


def _quoted(text: str) -> str:
    """Keep backslashes as they are in a replacement pattern."""
    return text.replace("\\", r"\\")
