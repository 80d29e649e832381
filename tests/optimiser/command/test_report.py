"""The verb `report`, and the demo that ends with one."""

from __future__ import annotations

import pytest

from experiments.ledger import Ledger
from optimiser.command import demo, demo_data
from optimiser.gathering import gather_material
from tests.pages import Page


def test_the_report_lands_in_the_experiment(run, folder, response):
    told = run("measure", 8, response, "--session", "june", "--value", "loss=3", "--in", folder)
    assert told.status == 0
    told = run("report", "--in", folder)
    assert told.status == 0
    path = folder / "report.html"
    assert str(path) in told.out
    page = Page(path.read_text(encoding="utf-8"))
    assert page.fetched == []
    assert page.ids[0] == "summary"
    assert page.ids[-1] == "methods"
    assert "front" not in page.ids
    assert "Responses of 1 cones" in page.text or "Responses of 1 cone" in page.text
    assert "Proposed" in page.text


def test_the_report_of_nothing(run, fresh, tmp_path):
    path = tmp_path / "out.html"
    told = run("report", path, "--json", "--in", fresh)
    assert told.status == 0
    assert told.json["file"] == str(path)
    assert "Cannot tell yet" in Page(path.read_text(encoding="utf-8")).text


def test_a_report_that_cannot_be_written(run, fresh):
    told = run("report", fresh / "experiment.toml" / "x.html", "--in", fresh)
    assert told.status == 2
    assert "x.html" in told.err


def test_the_demo_is_found():
    folder = demo_data.demo_folder()
    rows = demo_data.read_trials(folder)
    assert {row["status"] for row in rows} >= {"measured", "failed"}
    assert all((folder / name).is_file() for row in rows for name in row["files"].split())


def test_a_missing_demo_is_a_clear_error(run, tmp_path, monkeypatch):
    monkeypatch.setattr(demo_data.optimiser, "__file__", str(tmp_path / "optimiser" / "x.py"))
    told = run("demo", tmp_path / "radio")
    assert told.status == 2
    assert "demo_trials" in told.err
    assert not (tmp_path / "radio").exists()


def test_the_demo_spares_what_is_not_its_own(run, tmp_path):
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "notes.txt").write_text("mine", encoding="utf-8")
    for flag in ((), ("--again",)):
        told = run("demo", mine, *flag)
        assert told.status == 2
        assert "other files" in told.err
    assert [path.name for path in mine.iterdir()] == ["notes.txt"]
    file = tmp_path / "file"
    file.write_text("x", encoding="utf-8")
    assert run("demo", file).status == 2


ROWS = """
cone,status,plate,process,wall,cure_time,session,age_days,light_hours,mass_g,minutes,note,why,files
1,measured,1,resin,0.3,10,may,1,0.0,2.2,70,first,,raw/1.txt
1,measured,1,resin,0.3,10,june,30,0.0,2.2,70,again,,raw/1_again.txt
2,measured,1,filament,0.6,,may,1,,2.4,65,,,raw/2.txt
3,measured,2,resin,0.9,20,may,1,,2.9,80,,,raw/3.txt
4,failed,3,resin,1.2,0,,,,,30,,tore off,
"""


@pytest.fixture
def small_demo(monkeypatch, tmp_path, small_plan, write_raw):
    """A demo of a few trials in place of the whole."""
    source = tmp_path / "source"
    (source / "raw").mkdir(parents=True)
    (source / "experiment.toml").write_text(small_plan, encoding="utf-8")
    (source / "trials.csv").write_text(ROWS.lstrip(), encoding="utf-8")
    for number in (1, 2, 3):
        write_raw(source / "raw" / f"{number}.txt", 4000 + 1500 * number)
    write_raw(source / "raw" / "1_again.txt", 5501)
    monkeypatch.setattr(demo, "demo_folder", lambda: source)


@pytest.fixture
def undrawn(monkeypatch):
    """Leave the pictures out; `test_the_report_lands_in_the_experiment` draws them."""
    monkeypatch.setattr("optimiser.report.to_inline_svg", lambda *_, **__: "<svg></svg>")


@pytest.fixture
def gathered_once(monkeypatch):
    """Gather the report's material once; the same demo made again gives the same."""
    kept = []

    def gather(ledger, **given):
        kept.extend([] if kept else [gather_material(ledger, **given)])
        return kept[0]

    monkeypatch.setattr(demo, "gather_material", gather)


def test_the_demo_runs_the_loop(run, tmp_path, small_demo, undrawn, gathered_once):
    folder = tmp_path / "kitchen-radio"
    told = run("demo", folder)
    assert told.status == 0, told.err
    for wanted in ("invented", "Cone 5, plate 4", "report: ", "card:   ", "Knobs", "Outlook"):
        assert wanted in told.out, wanted
    with Ledger.open(folder) as ledger:
        cones = ledger.cones()
        assert [cone.status for cone in cones] == ["measured"] * 3 + ["failed", "planned"]
        assert (cones[0].mass, cones[0].minutes, cones[0].note) == (2.2, 70.0, "first")
        assert cones[3].why == "tore off"
        assert ledger.check() == []
        measurements = ledger.measurements()
        assert [each.session for each in measurements] == ["may", "june", "may", "may"]
        assert [each.age_days for each in measurements] == [1, 30, 1, 1]
        # 10 dB below a second-order Butterworth low-pass lies at fc * 9 ** (1 / 4).
        limits = [each.values["upper_limit"] for each in measurements]
        wanted = [fc * 9**0.25 for fc in (5.5, 5.5, 7.0, 8.5)]
        assert limits == pytest.approx(wanted, rel=0.01)
        assert ledger.table()["mass"].tolist()[:4] == [2.2, 2.2, 2.4, 2.9]
    assert (folder / "cards" / "cone_05.html").is_file()
    assert "window-sill radio" in Page((folder / "report.html").read_text(encoding="utf-8")).text

    again = run("demo", folder)
    assert again.status == 2
    assert "--again" in again.err
    (folder / "kept.txt").write_text("kept", encoding="utf-8")
    told = run("demo", folder, "--again", "--json").json
    assert told["picks"][0]["cone"] == 5
    assert told["outlook"] == run("outlook", "--json", "--in", folder).json
    assert (folder / "kept.txt").read_text(encoding="utf-8") == "kept"


@pytest.mark.slow
def test_the_whole_demo(run, tmp_path):
    folder = tmp_path / "kitchen-radio"
    told = run("demo", folder, "--json")
    assert told.status == 0, told.err
    rows = demo_data.read_trials(demo_data.demo_folder())
    with Ledger.open(folder) as ledger:
        assert len(ledger.measurements()) == len([r for r in rows if r["status"] == "measured"])
        assert len(ledger.cones()) == len({row["cone"] for row in rows}) + 1
    # What the demo tells is what the verbs tell of what it left behind.
    assert told.json["outlook"] == run("outlook", "--json", "--in", folder).json
    assert told.json["knobs"] == run("knobs", "--json", "--in", folder).json
    (pick,) = told.json["picks"]
    assert pick["score"]["low"] < pick["score"]["mean"] < pick["score"]["high"]


def test_a_report_replaces_reports_only(run, fresh, tmp_path, undrawn):
    page = tmp_path / "page.html"
    page.write_text("<!DOCTYPE html><p>my own page</p>", encoding="utf-8")
    told = run("report", page, "--in", fresh)
    assert told.status == 2
    assert "--force" in told.err
    assert "my own page" in page.read_text(encoding="utf-8")
    assert run("report", page, "--force", "--in", fresh).status == 0
    assert run("report", page, "--in", fresh).status == 0
    with page.open("a", encoding="utf-8") as file:
        file.write("<p>my own remark</p>")
    assert run("report", page, "--in", fresh).status == 2
    assert "my own remark" in page.read_text(encoding="utf-8")
    assert run("report", tmp_path / "report.pdf", "--in", fresh).status == 2


def test_a_report_as_markdown(run, fresh, tmp_path):
    told = run("report", tmp_path / "post.md", "--json", "--in", fresh)
    assert told.status == 0
    pictures = sorted((tmp_path / "post_pictures").iterdir())
    assert sorted(told.json["pictures"]) == [str(each) for each in pictures]
    assert len(pictures) > 5
    assert "# window-sill radio" in (tmp_path / "post.md").read_text(encoding="utf-8")
    again = run("report", tmp_path / "post.md", "--in", fresh)
    assert f"{len(pictures)} pictures" in again.out
    (tmp_path / "other_pictures").write_text("mine", encoding="utf-8")
    assert run("report", tmp_path / "other.md", "--in", fresh).status == 2
