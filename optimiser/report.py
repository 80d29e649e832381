"""The report: one self-contained page that says what was done, found and left open."""

from __future__ import annotations

from pathlib import Path

from markupsafe import Markup

from experiments.outputs import MARK, seal, write_whole
from optimiser import wording
from optimiser.document import Picture, Section
from optimiser.figures import to_inline_svg
from optimiser.material import Material
from optimiser.report_grounds import ground_sections, versions
from optimiser.report_sections import answer_sections
from optimiser.report_summary import summary_section
from optimiser.templating import environment

__all__ = ["counts", "report_html", "report_sections", "versions", "write_report"]


def report_sections(material: Material) -> list[Section]:
    """Give all that a report says, in order: the summary first, methods and sources last.

    Parameters
    ----------
    material : Material
        What to show.
    """
    return [summary_section(material), *answer_sections(material), *ground_sections(material)]


def report_html(material: Material) -> str:
    """Write the report as one page.

    Parameters
    ----------
    material : Material
        What to show.

    Returns
    -------
    str
        HTML that fetches nothing; every text is escaped. Equal material gives equal text.
    """
    return (
        environment()
        .get_template("report.html.j2")
        .render(
            plan=material.plan,
            sections=report_sections(material),
            counts=counts(material),
            made=material.made,
            inline=_InlinePictures(),
        )
    )


class _InlinePictures:
    """Draws pictures into the page; a picture that comes twice is drawn under two keys."""

    def __init__(self) -> None:
        self._drawn: dict[str, int] = {}

    def __call__(self, picture: Picture) -> Markup:
        """Give a picture as an ``<svg>`` element; `to_inline_svg` escapes its words."""
        again = self._drawn.get(picture.key, 0)
        self._drawn[picture.key] = again + 1
        key = f"{picture.key}{again or ''}"
        return Markup(to_inline_svg(picture.draw(), key, alternative=picture.alternative))


def write_report(material: Material, path: Path) -> Path:
    """Write the report to a file; a reader never sees half of it."""
    page = f"{report_html(material)}<!-- {MARK} -->\n"
    return write_whole(path, seal(page.encode("utf-8")))


def counts(material: Material) -> str:
    """Say how many cones there are in which state."""
    cones = material.trials.drop_duplicates("cone") if len(material.trials) else material.trials
    if not len(cones):
        return "no cone yet"
    found = cones["status"].value_counts()
    order = ("measured", "printed", "planned", "failed", "set aside")
    parts = [f"{found[status]} {status}" for status in order if status in found]
    return f"{wording.many(len(cones), 'cone')}: {', '.join(parts)}"
