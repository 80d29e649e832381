"""The write-ahead log as SQLite writes it, whole and damaged."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing

import numpy as np
import pytest

from experiments import write_ahead
from experiments.errors import LedgerError
from experiments.ledger import Ledger
from experiments.write_ahead import committed_pages, frames_of, lost_commits


def fletcher(words, state):
    """The checksum as https://www.sqlite.org/fileformat2.html, section 4.2 spells it out."""
    s0, s1 = state
    for i in range(0, len(words), 2):
        s0 = (s0 + int(words[i]) + s1) % 2**32
        s1 = (s1 + int(words[i + 1]) + s0) % 2**32
    return s0, s1


@pytest.mark.parametrize("count", [2, 6, 1024])
def test_the_checksum_is_that_of_the_format(count):
    words = np.random.default_rng(count).integers(0, 2**32, count, dtype=np.uint32)
    assert write_ahead._checksum(words, (5, 2**32 - 7)) == fletcher(words, (5, 2**32 - 7))


@pytest.fixture
def crashed(ledger, resin, tmp_path):
    """A folder as a killed process leaves it: the changes lie in the log."""
    for _ in range(6):
        ledger.add(resin)
    return shutil.copytree(ledger.folder, tmp_path / "crashed")


def test_every_page_is_read_as_sqlite_reads_it(crashed, tmp_path):
    log = (crashed / "experiment.db-wal").read_bytes()
    frames = list(frames_of(log))
    assert all(frame.whole for frame in frames)
    assert sum(1 for frame in frames if frame.size) >= 7  # the start and six cones
    content = bytearray((crashed / "experiment.db").read_bytes())
    for number, page in sorted(committed_pages(log).items()):
        content[(number - 1) * 4096 : number * 4096] = page
    (tmp_path / "merged.db").write_bytes(content)
    with (
        closing(sqlite3.connect(crashed / "experiment.db")) as by_sqlite,
        closing(sqlite3.connect(tmp_path / "merged.db")) as by_us,
    ):
        assert list(by_us.iterdump()) == list(by_sqlite.iterdump())


@pytest.mark.parametrize("place", [3, 20, 40, 5000, 20000])
def test_a_damaged_log_is_noticed_before_changes_are_lost(crashed, place):
    path = crashed / "experiment.db-wal"
    log = bytearray(path.read_bytes())
    log[place] ^= 4
    path.write_bytes(log)
    with pytest.raises(LedgerError, match="write-ahead log"):
        Ledger.open(crashed)
    assert path.read_bytes() == log


def test_a_change_that_was_never_whole_is_dropped_in_silence(crashed):
    path = crashed / "experiment.db-wal"
    path.write_bytes(path.read_bytes()[:-100])
    assert lost_commits(path) == 0
    with Ledger.open(crashed) as ledger:
        assert len(ledger.cones()) == 5
        assert ledger.check() == []
