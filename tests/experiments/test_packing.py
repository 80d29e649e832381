"""Archives of whole experiments: out and in again is the same, and nothing else gets in."""

from __future__ import annotations

import json
import shutil
import sqlite3
import struct
import zipfile
from contextlib import closing
from hashlib import sha256
from pathlib import Path

import pytest

from experiments import unpacking
from experiments.errors import ArchiveError, LedgerError, OutputError
from experiments.ledger import Ledger
from experiments.packing import pack
from experiments.records import StoredCurve
from experiments.seals import reseal
from experiments.unpacking import inspect, unpack
from tests.experiments.conftest import FILAMENT, PLAN, RESIN

FILES = ["manifest.json", "experiment.toml", "experiment.db"]


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """An experiment of two cones, one with a raw file, and the history of an undo; and packed."""
    place = tmp_path_factory.mktemp("packing")
    with Ledger.create(place / "radio", PLAN, who="maker") as ledger:
        ledger.plan_cones([RESIN, FILAMENT], proposal={"seed": 1})
        ledger.printed(1, mass=2.25)
        ledger.measure(1, session="größer", curves=[StoredCurve("r.txt", "response", b"20 80")])
        ledger.printed(2)
        ledger.undo()
        pack(ledger, place / "radio.zip")
    return place


@pytest.fixture
def packed(made, tmp_path):
    """A copy of the archive."""
    return Path(shutil.copyfile(made / "radio.zip", tmp_path / "radio.zip"))


@pytest.fixture
def radio(made, tmp_path):
    """A copy of what was packed, open."""
    with Ledger.open(shutil.copytree(made / "radio", tmp_path / "radio")) as ledger:
        yield ledger


def contents(path):
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def write(path, entries):
    """Write an archive of any entries, the manifest's list made to fit unless it is given."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in entries:
            archive.writestr(name, content)
    return path


def listed(content, **keys):
    made = [
        {"name": name, "bytes": len(one), "sha256": sha256(one).hexdigest()}
        for name, one in content.items()
        if name != "manifest.json"
    ]
    return json.dumps(
        {"format": "coneloop experiment 1", "name": "x", "made": "today", "files": made} | keys
    )


def dump_text(folder):
    with closing(sqlite3.connect(folder / "experiment.db")) as connection:
        return list(connection.iterdump())


def test_pack_then_unpack_is_the_same_experiment(packed, radio, tmp_path):
    folder = tmp_path / "again"
    inside = inspect(packed, folder)
    assert not folder.exists()
    assert unpack(packed, folder) == inside
    assert inside.name == "window-sill radio"
    assert (folder / "experiment.toml").read_bytes() == (
        radio.folder / "experiment.toml"
    ).read_bytes()
    assert dump_text(folder) == dump_text(radio.folder)
    assert inside.size == sum((folder / name).stat().st_size for name in FILES[1:])
    with Ledger.open(folder) as other:
        assert other.data_digest() == radio.data_digest()
        assert other.table().equals(radio.table())
        assert [one.content for one in other.curves()] == [b"20 80"]
        assert other.check() == []
        assert other.undo() == radio.undo()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["again", "radio", "radio.zip"]


def test_an_equal_experiment_packs_to_equal_files(packed, radio, tmp_path):
    pack(radio, tmp_path / "twice.zip")
    assert contents(packed)["experiment.db"] == contents(tmp_path / "twice.zip")["experiment.db"]
    with zipfile.ZipFile(packed) as archive:
        assert archive.namelist() == FILES
        assert archive.testzip() is None


def test_silence_that_packs_too_well_is_stored_plainly(ledger, resin, tmp_path):
    cone = ledger.add(resin)
    silence = StoredCurve("silence.wav", "impulse", bytes(3_000_000))
    ledger.measure(cone, session="may", curves=[silence])
    pack(ledger, tmp_path / "silent.zip")
    with zipfile.ZipFile(tmp_path / "silent.zip") as archive:
        info = archive.getinfo("experiment.db")
    assert info.compress_type == zipfile.ZIP_STORED
    unpack(tmp_path / "silent.zip", tmp_path / "again")


def test_files_that_are_there_stay(packed, radio, tmp_path):
    with pytest.raises(OutputError, match=r"radio\.zip: found a file"):
        pack(radio, packed)
    assert pack(radio, packed, force=True)
    with pytest.raises(OutputError, match=r"the ending '\.db'"):
        pack(radio, tmp_path / "x.db")
    for folder, wanted in (
        (radio.folder, "other files"),
        (packed, "no folder"),
        (tmp_path / "no" / "where", "a folder that exists"),
    ):
        before = sorted(tmp_path.rglob("*"))
        with pytest.raises(OutputError, match=wanted):
            unpack(packed, folder)
        assert sorted(tmp_path.rglob("*")) == before
    (tmp_path / "empty").mkdir()
    unpack(packed, tmp_path / "empty")
    (tmp_path / "link").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(OutputError, match="no folder"):
        unpack(packed, tmp_path / "link")


def traversal(files):
    return [*files.items(), ("../evil.txt", b"x")]


def absolute(files):
    return [*files.items(), ("/evil.txt", b"x")]


def renamed(files):
    return [(n.replace("experiment.db", "..\\experiment.db"), c) for n, c in files.items()]


def twice(files):
    return [*list(files.items())[:2], ("experiment.toml", b"x")]


def link(files):
    info = zipfile.ZipInfo("experiment.toml")
    info.external_attr = 0o120777 << 16
    return [*[each for each in files.items() if each[0] != info.filename], (info, b"/etc/passwd")]


def folder_entry(files):
    return [*list(files.items())[:2], ("experiment.db/", b"")]


def bomb(files):
    return [*[each for each in files.items() if each[0] != FILES[2]], (FILES[2], bytes(9_000_000))]


def long_plan(files):
    return [*[each for each in files.items() if each[0] != FILES[1]], (FILES[1], b"#" * 2_000_000)]


def without_list(files):
    return list(files.items())[1:]


@pytest.mark.parametrize(
    ("make", "wanted"),
    [
        (traversal, "4 entries"),
        (absolute, "4 entries"),
        (renamed, "experiment.db"),
        (twice, "expected manifest.json, experiment.toml and experiment.db"),
        (link, "a link or a device"),
        (folder_entry, "experiment.db"),
        (bomb, "9,000,000 bytes out of"),
        (long_plan, "expected at most 1,000,000 bytes"),
        (without_list, "2 entries"),
    ],
)
@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_entries_that_pack_never_writes_are_refused(packed, tmp_path, make, wanted):
    odd = write(tmp_path / "odd.zip", make(contents(packed)))
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(ArchiveError, match=wanted):
        unpack(odd, tmp_path / "again")
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("[", "no JSON"),
        ("[" * 9000, "no JSON"),
        ("[]", "other keys"),
        (listed({}), "another list"),
        (listed({}, format="\x1b[31mother"), r"'\?\[31mother'"),
        (listed({}, files=[{"name": "experiment.toml"}]), "other keys"),
        ("x" * 30_000, "at most 20,000 bytes"),
    ],
)
def test_lists_that_pack_never_writes_are_refused(packed, tmp_path, text, wanted):
    files = {**contents(packed), "manifest.json": text.encode()}
    odd = write(tmp_path / "odd.zip", files.items())
    with pytest.raises(ArchiveError, match=wanted):
        inspect(odd, tmp_path / "again")


def test_other_bytes_or_sizes_than_listed_are_refused(packed, tmp_path):
    files = contents(packed)
    text = files["manifest.json"]
    for changed, wanted in (
        (files["experiment.toml"].replace(b"radio", b"ratio"), "other bytes"),
        (files["experiment.toml"] + b"#", "another size"),
    ):
        odd = write(tmp_path / "odd.zip", {**files, "experiment.toml": changed}.items())
        with pytest.raises(ArchiveError, match=wanted):
            unpack(odd, tmp_path / "again")
    for broken in (b"name = 3", b"name = ", b"\xff", b"a" + b".a" * 5000 + b" = 1"):
        no_plan = {**files, "experiment.toml": broken}
        no_plan["manifest.json"] = listed(no_plan).encode()
        with pytest.raises(ArchiveError, match=r"odd\.zip, experiment\.toml"):
            unpack(write(tmp_path / "odd.zip", no_plan.items()), tmp_path / "again")
    assert text == files["manifest.json"]
    assert not (tmp_path / "again").exists()


def test_the_size_is_bounded(packed, tmp_path):
    size = inspect(packed, tmp_path / "again").size
    with pytest.raises(ArchiveError, match=r"expected at most 1,000 bytes\. If you trust it"):
        inspect(packed, tmp_path / "again", most=1000)
    assert inspect(packed, tmp_path / "again", most=size)


def spoilt(packed, tmp_path, *statements):
    """An archive whose list is right and whose store was worked on by somebody else."""
    files = contents(packed)
    store = tmp_path / "spoilt.db"
    store.write_bytes(files["experiment.db"])
    with closing(sqlite3.connect(store, isolation_level=None)) as connection:
        connection.execute("BEGIN")
        for one in statements:
            connection.execute(one)
        if statements[0].startswith("INSERT"):
            reseal(connection)  # which anybody can do
        connection.execute("COMMIT")
    files["experiment.db"] = store.read_bytes()
    store.unlink()
    files["manifest.json"] = listed(files).encode()
    return write(tmp_path / "odd.zip", files.items())


@pytest.mark.parametrize(
    ("statement", "wanted"),
    [
        (
            "CREATE TRIGGER t AFTER UPDATE ON cones BEGIN DELETE FROM cones; END",
            "differs: 'trigger t'",
        ),
        ("CREATE VIEW v AS SELECT 1", "differs: 'view v'"),
        ("CREATE TABLE more (a)", "differs: 'table more'"),
        ("DROP TRIGGER history_no_delete", "differs: 'trigger history_no_delete'"),
        ("PRAGMA user_version = 99", "a later release"),
        ("PRAGMA application_id = 7", "a database that coneloop did not make"),
    ],
)
def test_a_store_with_more_than_data_is_refused(packed, tmp_path, statement, wanted):
    odd = spoilt(packed, tmp_path, statement)
    with pytest.raises(ArchiveError, match=wanted):
        unpack(odd, tmp_path / "again")
    assert not (tmp_path / "again").exists()


@pytest.mark.parametrize("text", ["\x1b[2J", '{"why": "\\u001b[2J"}', "a \x9b b"])
def test_a_text_that_gives_orders_to_a_terminal_is_refused(packed, tmp_path, text):
    row = (
        "INSERT INTO history (id, at, who, act, summary, arguments, changes) "
        f"VALUES (99, '2031', 'x', 'note', 'x', '{text}', '[]')"
    )
    with pytest.raises(ArchiveError, match="table history, row 99: found a text with orders"):
        unpack(spoilt(packed, tmp_path, row), tmp_path / "again")
    files = contents(packed)
    files["experiment.toml"] = files["experiment.toml"].replace(b"radio", b"\\u001b[2J", 1)
    files["manifest.json"] = listed(files).encode()
    with pytest.raises(ArchiveError, match="a text with orders to a terminal"):
        unpack(write(tmp_path / "plan.zip", files.items()), tmp_path / "again")


def test_a_store_with_a_text_that_is_no_text_is_refused(packed, tmp_path):
    files = contents(packed)
    files["experiment.db"] = files["experiment.db"].replace(b"INTEGER", b"INT\xff\xff\xffR", 3)
    files["manifest.json"] = listed(files).encode()
    with pytest.raises(ArchiveError, match=r"trouble: Could not decode.*, expected a sound"):
        unpack(write(tmp_path / "odd.zip", files.items()), tmp_path / "again")


TAMPERED = [
    '[["insert", "cones; --", 1, null]]',
    '[["update", "history", 1, {"who": "x"}]]',
    '[["update", "cones", 1, {"mass_g = 1 --": 1}]]',
    '[["drop", "cones", 1, null]]',
    '{"a": 1}',
    '[["delete", "cones", 1, {"id": [1]}]]',
    "[" * 900 + "]" * 900,
]


@pytest.mark.parametrize("changes", [*TAMPERED, "no JSON"], ids=lambda text: text[:30])
def test_a_history_that_would_change_anything_else_is_refused(packed, tmp_path, changes):
    row = (
        "INSERT INTO history (id, at, who, act, summary, arguments, changes) "
        f"VALUES (99, '2031', 'x', 'add', 'x', '{{}}', '{changes}')"
    )
    with pytest.raises(ArchiveError, match=r"experiment\.db"):
        unpack(spoilt(packed, tmp_path, row), tmp_path / "again")
    assert not (tmp_path / "again").exists()


def test_an_archive_that_ends_early_or_goes_on_is_refused(packed, tmp_path):
    whole = packed.read_bytes()
    odd = tmp_path / "odd.zip"
    many = bytearray(whole)
    many[-14:-12] = many[-12:-10] = struct.pack("<H", 60_000)
    far = whole[:-22] + b"PK\x06\x06" + bytes(52) + b"PK\x06\x07" + bytes(16) + whole[-22:]
    for content, wanted in (
        (whole[: len(whole) // 2], "ends otherwise"),
        (whole[:-1], "ends otherwise"),
        (whole + b"\0", "ends otherwise"),
        (b"", "ends otherwise"),
        (bytes(many), "60,000 entries"),
        (far, "ends otherwise"),
        (whole[40:], "a damaged archive|ends otherwise"),
    ):
        odd.write_bytes(content)
        with pytest.raises(ArchiveError, match=wanted):
            unpack(odd, tmp_path / "again")
    assert not (tmp_path / "again").exists()


def test_a_flipped_bit_is_never_taken_in_silently(packed, tmp_path):
    whole, odd = packed.read_bytes(), tmp_path / "odd.zip"
    unpack(packed, tmp_path / "good")
    good = dump_text(tmp_path / "good")
    for place in range(0, len(whole), 97):
        changed = bytearray(whole)
        changed[place] ^= 1 << place % 8
        odd.write_bytes(changed)
        folder = tmp_path / f"from {place}"
        try:
            unpack(odd, folder)
        except ArchiveError:
            assert not folder.exists()
        else:  # a bit that means nothing, such as one of a time
            assert dump_text(folder) == good


def test_a_folder_that_cannot_be_written_is_told(packed, radio, tmp_path, monkeypatch):
    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(unpacking, "stream", full)
    with pytest.raises(OutputError, match="No space left"):
        unpack(packed, tmp_path / "again")
    assert not (tmp_path / "again").exists()
    with pytest.raises((OutputError, LedgerError), match="trouble: No space left"):
        pack(radio, tmp_path / "other.zip")
    assert not (tmp_path / "other.zip").exists()
    assert sorted(one.name for one in tmp_path.iterdir()) == ["radio", "radio.zip"]
