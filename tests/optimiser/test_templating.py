from __future__ import annotations

import os

import jinja2
import pytest

from optimiser import templating
from optimiser.templating import environment, write_whole


def test_text_is_escaped_and_a_missing_name_is_an_error():
    page = environment().from_string("<p>{{ text }}</p>")
    assert page.render(text="<b>&\"'") == "<p>&lt;b&gt;&amp;&#34;&#39;</p>"
    with pytest.raises(jinja2.UndefinedError, match="text"):
        page.render()


def test_a_file_is_replaced_as_a_whole(tmp_path):
    path = tmp_path / "new" / "page.html"
    assert write_whole(path, "first\n") == path
    write_whole(path, "zweite Zeile: ü\n")
    assert path.read_bytes() == "zweite Zeile: ü\n".encode()
    assert os.listdir(path.parent) == ["page.html"]


def test_a_failed_write_leaves_the_old_file_and_no_rest(tmp_path, monkeypatch):
    path = write_whole(tmp_path / "page.html", "old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(templating.os, "replace", full)
    with pytest.raises(OSError, match="No space"):
        write_whole(path, "new")
    assert path.read_text(encoding="utf-8") == "old"
    assert os.listdir(tmp_path) == ["page.html"]
