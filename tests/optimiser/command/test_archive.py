"""The verbs pack and unpack."""

from __future__ import annotations


def test_an_experiment_goes_out_and_in_again(run, folder, tmp_path):
    file, there = tmp_path / "radio.zip", tmp_path / "there"
    told = run("pack", file, "--in", folder)
    assert told.status == 0, told.err
    assert f"wrote {file}: " in told.out
    assert "names who did what" in told.out
    shown = run("unpack", file, there, "--dry-run")
    assert shown.status == 0
    assert "experiment 'window-sill radio', packed" in shown.out
    assert "experiment.db: " in shown.out
    assert shown.out.endswith("nothing was written\n")
    assert not there.exists()
    assert run("unpack", file, there, typed="n\n").out.endswith("nothing was written\n")
    assert not there.exists()
    asked = run("unpack", file, there, typed="y\n")
    assert asked.status == 0
    assert f"coneloop check --in {there}" in asked.out
    assert run("check", "--in", there).status == 0
    assert run("table", "--json", "--in", there) == run("table", "--json", "--in", folder)


def test_as_json(run, folder, tmp_path):
    file, there = tmp_path / "radio.zip", tmp_path / "there"
    packed = run("pack", file, "--json", "--in", folder).json
    assert packed["bytes"] == file.stat().st_size
    taken = run("unpack", file, there, "--yes", "--json").json
    assert taken["done"] is True
    assert taken["files"] == packed["files"]
    assert [one["name"] for one in taken["files"]] == ["experiment.toml", "experiment.db"]


def test_what_must_not_be_is_one_error(run, folder, tmp_path):
    file = tmp_path / "radio.zip"
    assert run("pack", file, "--in", folder).status == 0
    for words, wanted in (
        (("pack", file, "--in", folder), "--force overwrites it"),
        (("unpack", file, folder, "--yes"), "other files"),
        (("unpack", file, tmp_path / "new", "--most", "0.000001"), "allow more with --most"),
        (("unpack", folder / "experiment.db", tmp_path / "new"), "an archive of an experiment"),
        (("unpack", tmp_path / "none.zip", tmp_path / "new"), "none.zip"),
    ):
        told = run(*words)
        assert told.status == 2
        assert "error: " in told.err
        assert wanted in told.err
    assert run("pack", file, "--force", "--in", folder).status == 0
