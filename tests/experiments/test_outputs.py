"""Files that a person asks for: what is refused, and that no half of one is ever there."""

from __future__ import annotations

import io
import os

import pytest
from PIL import Image

from experiments import outputs
from experiments.errors import OutputError
from experiments.outputs import (
    MARK,
    Kind,
    check_output,
    is_mark,
    is_sealed,
    is_sealed_png,
    seal,
    seal_png,
    write_whole,
)

LETTER = Kind("a letter", (".txt", ".text"), lambda content: content.startswith(b"Dear"))


@pytest.mark.parametrize("name", ["new.txt", "new.TEXT", "letter.txt"])
def test_a_new_file_and_one_of_ours_may_be_written(tmp_path, name):
    (tmp_path / "letter.txt").write_bytes(b"Dear maker")
    check_output(tmp_path / name, LETTER)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("letter.csv", "the ending '.csv', expected .txt or .text"),
        ("letter", "no ending, expected"),
        ("-", "no ending, expected"),
        ("nowhere/letter.txt", "no folder"),
        ("folder.txt", "no file"),
        ("raw.txt", "a file that is not a letter of coneloop's making"),
    ],
)
def test_what_must_not_be_written_is_refused(tmp_path, name, words):
    (tmp_path / "folder.txt").mkdir()
    (tmp_path / "raw.txt").write_bytes(b"20 80\n")
    with pytest.raises(OutputError, match=words) as refusal:
        check_output(tmp_path / name, LETTER)
    assert len(refusal.value.problems) == 1
    assert not (tmp_path / "nowhere").exists()


def test_force_overwrites_a_stranger_but_mends_no_name(tmp_path):
    (tmp_path / "raw.txt").write_bytes(b"20 80\n")
    (tmp_path / "folder.txt").mkdir()
    check_output(tmp_path / "raw.txt", LETTER, force=True)
    for name in ("raw.csv", "folder.txt", "nowhere/raw.txt"):
        with pytest.raises(OutputError):
            check_output(tmp_path / name, LETTER, force=True)


def test_a_file_is_replaced_as_a_whole(tmp_path):
    path = tmp_path / "page.html"
    assert write_whole(path, b"first\n") == path
    write_whole(path, "zweite Zeile: ü\n".encode())
    assert path.read_bytes() == "zweite Zeile: ü\n".encode()
    assert os.listdir(tmp_path) == ["page.html"]


def test_a_failed_write_leaves_the_old_file_and_no_rest(tmp_path, monkeypatch):
    path = write_whole(tmp_path / "page.html", b"old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(outputs.os, "replace", full)
    with pytest.raises(OutputError, match="No space"):
        write_whole(path, b"new")
    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["page.html"]


@pytest.mark.parametrize(
    "text", ["{}", "a;{}\nü;1\n", "{} and coneloop 0123456789abcdef", "{}\n{}"]
)
def test_a_sealed_file_is_known_until_one_byte_of_it_changes(text):
    sealed = seal(text.format(MARK, MARK).encode())
    assert is_sealed(sealed)
    for at in range(len(sealed)):
        assert not is_sealed(sealed[:at] + bytes([sealed[at] ^ 1]) + sealed[at + 1 :])
        assert not is_sealed(sealed[:at] + sealed[at + 1 :])
    assert not is_sealed(sealed + b"\n")
    assert not is_sealed(b"20 80\n")


def test_a_mark_is_told_from_other_words():
    assert is_mark(seal(MARK.encode()).decode())
    assert not is_mark(f"{MARK} ")
    assert not is_mark("coneloop")


def test_a_sealed_picture_is_still_a_picture_and_known_until_it_changes():
    """Read back by Pillow, which checks the digest of each chunk of a PNG."""
    plain = io.BytesIO()
    Image.new("RGB", (3, 2), (250, 120, 10)).save(plain, "png")
    sealed = seal_png(plain.getvalue())
    picture = Image.open(io.BytesIO(sealed))
    picture.load()
    assert picture.getpixel((2, 1)) == (250, 120, 10)
    assert is_mark(picture.text["Comment"])
    assert is_sealed_png(sealed)
    assert not is_sealed_png(plain.getvalue())
    for at in range(len(sealed)):
        assert not is_sealed_png(sealed[:at] + bytes([sealed[at] ^ 1]) + sealed[at + 1 :])
