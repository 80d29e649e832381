"""The report as Markdown, read back by a CommonMark parser."""

from __future__ import annotations

import dataclasses
import re
from urllib.parse import unquote

import pytest
from markdown_it import MarkdownIt

from experiments.errors import OutputError
from experiments.outputs import is_sealed, is_sealed_png
from optimiser import figures
from optimiser.answer_tables import Table
from optimiser.document import Beside
from optimiser.material import Curves
from optimiser.report import report_sections
from optimiser.report_markdown import pictures_folder, plain, report_markdown, write_markdown
from tests import answers
from tests.pages import Page
from tests.whole_report import whole_material

# CommonMark 0.31 with the pipe tables and struck text of GitHub Flavored Markdown.
READER = MarkdownIt("commonmark").enable(["table", "strikethrough"])

NASTY = (
    "# *a* | _b_ `c` <b>d</b> [e](http://f.g) ![h](i.png) ~~j~~ &amp; \\ $k$ www.l.m n@o.p "
    "<script>q</script> --- 1. r"
)


@pytest.fixture(scope="module")
def post():
    return report_markdown(whole_material(), "report_pictures")


def rendered(text: str) -> Page:
    return Page(READER.render(text))


def tables(blocks) -> list[Table]:
    found = []
    for block in blocks:
        if isinstance(block, Table):
            found.append(block)
        elif isinstance(block, Beside):
            found += tables([*block.left, *block.right])
    return found


def test_it_holds_every_section_and_every_table_cell_for_cell(post):
    sections = report_sections(whole_material())
    shown = READER.render(post.text)
    assert re.findall("<h2>(.*?)</h2>", shown) == [each.title for each in sections]
    wanted = [table for each in sections for table in tables(each.blocks)]
    read = re.findall("<table>(.*?)</table>", shown, re.DOTALL)
    assert len(read) == len(wanted) > 15
    for table, html in zip(wanted, read, strict=True):
        rows = [
            [Page(cell).text for cell in re.findall("<t[hd]>(.*?)</t[hd]>", row, re.DOTALL)]
            for row in re.findall("<tr>(.*?)</tr>", html, re.DOTALL)
        ]
        assert rows == [list(table.heads), *map(list, table.rows)], table.title


def test_every_picture_is_there_with_its_words_and_nothing_else_is_fetched(post):
    shown = rendered(post.text)
    images = [values for tag, values in shown.tags if tag == "img"]
    assert {values["src"] for values in images} == {
        f"report_pictures/{name}" for name in post.pictures
    }
    told = {f"report_pictures/{n}": each.alternative for n, each in post.pictures.items()}
    assert all(values["alt"] == told[values["src"]] for values in images)
    assert set(shown.fetched) == set(told)


def test_formulas_are_code(post):
    assert "<code>wall &gt;= 0.3</code>" in READER.render(post.text)


def test_user_text_reads_as_it_was_written():
    wall = {**answers.PLAN["variables"]["wall"], "label": NASTY, "note": NASTY}
    material = answers.material(
        plan=answers.plan(
            name=NASTY,
            note=f"{NASTY}\n\n# second",
            variables={**answers.PLAN["variables"], "wall": wall},
            rules={"odd": "wall >= 0.3"},
        ),
        trials=answers.TRIALS.assign(session=NASTY),
        notes=[NASTY],
    )
    shown = rendered(report_markdown(material, "p").text)
    assert shown.text.count(NASTY) >= 8
    tags = {tag for tag, _ in shown.tags}
    assert not tags & {"script", "b", "a", "s", "hr", "blockquote", "ol"}
    assert len([tag for tag, _ in shown.tags if tag == "h1"]) == 1


@pytest.mark.parametrize(
    "start", ["# a", "- a", "+ a", "1. a", "12) a", "> a", "= a", "~~~", "***"]
)
def test_no_text_starts_anything(start):
    note = f"{start} b"
    shown = READER.render(report_markdown(answers.material(notes=[note]), "p").text)
    assert f"<li>{note.replace('>', '&gt;')}</li>" in shown


def test_a_number_in_a_cell_is_not_cluttered():
    assert plain("-0.1 ms (-0.9 to 0.8)") == "-0.1 ms (-0.9 to 0.8)"


def test_an_experiment_without_a_cone_is_a_post_too():
    text = report_markdown(answers.empty_material(), "p").text
    assert "no cone yet" in text
    assert "\nNone" not in text
    assert " nan" not in text


@pytest.fixture
def undrawn(monkeypatch):
    """Draw one small picture in place of all."""
    made = figures.to_png(figures.draw_response([]), 40)
    monkeypatch.setattr("optimiser.report_markdown.to_png", lambda _figure: made)
    few = {"curves": Curves(), "calibration": []}
    return answers.material(**few)


@pytest.mark.slow
def test_it_is_written_with_its_pictures_and_replaces_only_its_own(tmp_path, undrawn):
    path = tmp_path / "my report.md"
    written = write_markdown(undrawn, path)
    folder = pictures_folder(path)
    assert written[0] == path
    assert is_sealed(path.read_bytes())
    assert sorted(written[1:]) == sorted(folder.iterdir())
    assert all(is_sealed_png(each.read_bytes()) for each in written[1:])
    links = [v["src"] for tag, v in rendered(path.read_text("utf-8")).tags if tag == "img"]
    assert {tmp_path / unquote(link) for link in links} == set(written[1:])
    assert write_markdown(undrawn, path) == written
    (folder / "mine.png").write_bytes(b"mine")
    written[-1].write_bytes(written[-1].read_bytes() + b"touched")
    before = path.stat().st_mtime_ns
    changed = dataclasses.replace(undrawn, made="2027-01-01")
    with pytest.raises(OutputError, match="--force"):
        write_markdown(changed, path)
    assert path.stat().st_mtime_ns == before
    write_markdown(changed, path, force=True)
    assert "2027-01-01" in path.read_text("utf-8")
    assert (folder / "mine.png").read_bytes() == b"mine"


def test_a_file_in_the_folders_place_is_left_alone(tmp_path, undrawn):
    (tmp_path / "report_pictures").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="a folder for the pictures"):
        write_markdown(undrawn, tmp_path / "report.md")
    assert [each.name for each in tmp_path.iterdir()] == ["report_pictures"]
