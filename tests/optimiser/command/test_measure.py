"""Verbs over raw files: measure, listen."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from experiments.ledger import Ledger


def test_measuring_a_cone_from_its_file(run, folder, response):
    told = run(
        "measure", 8, response, "--session", "june", "--value", "loss=3,5",
        "--age-days", "4,5", "--temperature", "21,5", "--humidity", 45, "--in", folder,
    )  # fmt: skip
    assert told.status == 0
    assert "note:" not in told.err
    assert "Cone 8 measured in session june" in told.out
    assert "kHz" in told.out
    with Ledger.open(folder) as ledger:
        (stored,) = ledger.measurements(8)
        (curve,) = ledger.curves(8)
    # 10 dB below a second-order Butterworth low-pass lies at fc * 9 ** (1 / 4).
    assert stored.values["upper_limit"] == pytest.approx(6.0 * 9**0.25, rel=0.01)
    assert stored.values["loss"] == 3.5
    assert (stored.age_days, stored.temperature_c, stored.humidity_percent) == (4.5, 21.5, 45.0)
    assert curve.content == response.read_bytes()


def test_an_odd_climate_is_stored_remarked_upon_and_shown(run, folder):
    words = ("--session", "june", "--value", "loss=2", "--temperature", 70, "--in", folder)
    told = run("measure", 8, *words)
    assert told.status == 0
    assert "temperature 70 °C is none of a room" in told.err
    assert "undo" in told.err
    assert "(°C)" in run("table", "--in", folder).out
    with Ledger.open(folder) as ledger:
        assert ledger.measurements(8)[0].temperature_c == 70.0


def test_a_metric_without_a_file_is_missing_and_says_so(run, folder):
    told = run("measure", 8, "--session", "june", "--value", "loss=2", "--json", "--in", folder)
    assert told.status == 0
    measurement = told.json["measurement"]
    assert measurement["values"] == {"upper_limit": None, "loss": 2.0}
    assert "no_file" in {warning["code"] for warning in measurement["warnings"]}


def test_only_what_the_plan_wants_is_told(run, folder, response):
    told = run("measure", 8, response, "--session", "june", "--json", "--in", folder)
    notes = told.json["notes"]
    assert any("limits where the curve falls" in note for note in notes)
    assert all(note.startswith(f"{response.name}: ") for note in notes)
    # The plan has an upper limit only: nothing of levels, deviation or break-up.
    assert [note for note in notes if "break-up" in note or "deviation" in note] == []
    response.write_text("# again\n" + response.read_text())
    said = run("measure", 8, response, "--session", "july", "--in", folder).out
    assert said.count(f"{response.name}: ") == 1


@pytest.mark.parametrize(
    "words",
    [
        (8, "nothing.txt", "--session", "june"),
        (8, "--session", "june"),
        (99, "--session", "june", "--value", "loss=2"),
        (8, "--session", "june", "--value", "loss=much"),
        (8, "--session", "june", "--value", "gloss=2"),
        (7, "--session", "june", "--value", "loss=2"),
        (8, "--value", "loss=2"),
        (8, "--session", "june", "--value", "loss=2", "--humidity", "120"),
    ],
)
def test_a_measurement_that_cannot_be_stores_nothing(run, folder, words):
    told = run("measure", *words, "--in", folder)
    assert told.status == 2
    assert told.err.startswith("error: ") or "listening" in told.err
    with Ledger.open(folder) as ledger:
        assert len(ledger.measurements()) == 6


def test_the_kind_of_a_file_can_be_said(run, folder, response):
    wrong = run("measure", 8, response, "--kind", "music", "--session", "june", "--in", folder)
    assert wrong.status == 2
    named = f"{response.name}=response"
    told = run("measure", 8, response, "--kind", named, "--session", "june", "--in", folder)
    assert told.status == 0


def test_listening_gives_the_contract_of_json(run, response):
    told = run("listen", response, "--drop", 6, "--band", "200:9000", "--json")
    assert told.status == 0
    (file,) = told.json["files"]
    assert set(file) == {"file", "kind", "metrics", "warnings", "notes"}
    assert file["kind"] == "response"
    metric = file["metrics"]["upper_limit_hz"]
    assert metric["unit"] == "Hz"
    # 6 dB: fc * (10 ** 0.6 - 1) ** (1 / 4)
    assert metric["value"] == pytest.approx(6000 * (10**0.6 - 1) ** 0.25, rel=0.01)
    assert file["metrics"]["breakup_hz"]["value"] is None
    assert "no_resonance" in {warning["code"] for warning in file["warnings"]}


def test_listening_for_people(run, response, tmp_path):
    picture = tmp_path / "curve.svg"
    told = run("listen", response, "--svg", picture)
    assert told.status == 0
    assert "upper limit" in told.out
    assert "no_resonance" in told.out
    assert picture.read_text(encoding="utf-8").startswith("<?xml")


@pytest.mark.parametrize(
    "words",
    [
        ("nothing.txt",),
        ("{response}", "--band", "3"),
        ("{response}", "--band", "900:100"),
        ("{response}", "--kind", "music"),
        ("{response}", "--smooth", "none"),
        ("{response}", "--sweep", "20:20000"),
        ("{response}", "--thd-of", "sum"),
        ("nothing.txt", "{response}", "nowhere.txt"),
    ],
)
def test_listening_refuses_what_cannot_be(run, response, words):
    told = run("listen", *[word.replace("{response}", str(response)) for word in words])
    assert told.status == 2
    assert told.out == ""
    assert told.err.startswith("error: ")
    missing = [word for word in words if word in ("nothing.txt", "nowhere.txt")]
    assert all(name in told.err for name in missing)


def test_a_value_typed_over_a_computed_one_is_told(run, folder, response):
    words = ("--session", "june", "--value", "upper_limit=9", "--value", "loss=300")
    told = run("measure", 8, response, *words, "--in", folder)
    assert told.status == 0
    shown = " ".join(told.out.replace("·", "").split())
    assert "upper limit: 9 kHz as entered by hand, in place of" in shown
    assert "from cone_response.txt" in shown
    assert "loss 300 %: the other 6 cones had" in told.err
    assert "upper limit" not in told.err


LEVELS = """
name = "level"
[variables.wall]
kind = "continuous"
low = 0.3
high = 1.2
step = 0.1
[metrics.level]
from = "response"
goal = "maximise"
poor = 70
good = 110
"""


def test_a_sessions_calibrator_makes_levels_absolute(run, tmp_path):
    """The excitation of -20 dBFS as its own recording, after a tone of 114 dB at -20 dBFS."""
    Ledger.create(tmp_path / "x", LEVELS, who="tester").close()
    tone = tmp_path / "cal.wav"
    t = np.arange(96000) / 48000
    soundfile.write(tone, 0.1 * np.sin(2 * np.pi * 1000 * t), 48000, "PCM_24")
    run("sweep", tmp_path / "play.wav", "--seconds", 2, "--level", "-20")
    run("add", "--set", "wall=0.5", "--in", tmp_path / "x")
    told = run(
        "measure", 1, tmp_path / "play.wav", "--session", "may", "--calibrator", f"{tone}:114",
        "--json", "--in", tmp_path / "x",
    )  # fmt: skip
    assert told.status == 0
    assert told.json["measurement"]["values"]["level"] == pytest.approx(114.0, abs=0.05)


def test_a_drive_unlike_the_other_cones_is_told(run, tmp_path, write_raw):
    Ledger.create(tmp_path / "x", LEVELS, who="tester").close()
    for number in range(1, 7):
        file = write_raw(tmp_path / "r.txt", 6000 + 100 * number)
        if number == 6:
            text = file.read_text(encoding="utf-8").splitlines()
            rows = [line.split("\t") for line in text[2:]]
            lower = [f"{f}\t{float(level) - 9:.3f}" for f, level in rows]
            file.write_text("\n".join([*text[:2], *lower]), encoding="utf-8")
        run("add", "--set", "wall=0.5", "--in", tmp_path / "x")
        told = run("measure", number, file, "--session", "may", "--in", tmp_path / "x")
        assert told.status == 0
        assert ("check that drive" in " ".join(told.out.split())) == (number == 6)


def test_a_mass_from_the_printing_is_shown_beside_what_was_heard(run, folder, small_plan):
    (folder / "experiment.toml").write_text(small_plan, encoding="utf-8")
    recipe = ("--set", "process=filament", "--set", "wall=0.5", "--mass", 2.34)
    assert run("add", *recipe, "--in", folder).status == 0
    told = run("measure", 9, "--session", "june", "--value", "upper_limit=9", "--in", folder)
    (line,) = (line for line in told.out.splitlines() if line.split()[:1] == ["mass"])
    assert line.split() == ["mass", "2.34", "g", "printing"]


def test_a_session_of_nearly_a_known_name_is_remarked_upon(run, folder):
    told = run("measure", 8, "--session", "May", "--value", "loss=2", "--in", folder)
    assert told.status == 0
    assert "note: session 'May' is new; there is a session 'may'" in told.err
    assert "coneloop undo" in told.err
    assert run("measure", 8, "--session", "may", "--value", "loss=2", "--in", folder).err == ""


def test_what_was_not_given_is_neither_by_hand_nor_listened_to(run, folder):
    told = run("measure", 8, "--session", "june", "--value", "loss=2", "--in", folder)
    assert "0 files" not in told.err
    limit, loss = (line.split() for line in told.out.splitlines()[2:4])
    assert limit == ["upper", "limit", "–", "–"]
    assert loss[-2:] == ["by", "hand"]
