"""Everything that is wrong, at once, and looked for anew."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.usefixtures("still")


def checked(browser):
    path = browser.send("/plan/check").headers["location"]
    browser.get(path)
    for upload in browser.desk.uploads._waiting.values():
        upload.content.run()
    return browser.get(path)


def test_a_sound_experiment(browser):
    assert "/plan/check" in browser.get("/plan").fetched
    assert "Check it" in browser.get("/plan/check").text
    assert "Nothing is wrong." in checked(browser).text
    assert browser.get("/plan/check/guess").text


def test_a_broken_plan_is_told_with_all_its_faults(browser):
    plan = browser.folder / "experiment.toml"
    token = browser.token()
    text = plan.read_text(encoding="utf-8").replace("low = 0.3", "low = 9")
    plan.write_text(text.replace('"choice"', '"colour"'), encoding="utf-8")
    browser.token = lambda: token
    page = checked(browser)
    assert "variables.process.kind" in page.text
    assert "variables.wall" in page.text


def test_a_link_is_not_followed(browser, tmp_path):
    token = browser.token()
    plan = browser.folder / "experiment.toml"
    (tmp_path / "secret").write_text("password = 1", encoding="utf-8")
    plan.unlink()
    plan.symlink_to(tmp_path / "secret")
    browser.token = lambda: token
    assert "password" not in browser.send("/plan/check", status=422).text
