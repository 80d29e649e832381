"""The answers' benchmark, shortened: a whole command and a peer run on the same cones."""

from __future__ import annotations

import sys

import numpy as np
import pytest

from tests.benchmarks.answer_time import COMMANDS, OURS, PEERS, least, store, write_peers

pytestmark = pytest.mark.slow


def test_a_command_and_its_peer_are_timed(tmp_path):
    folder, file = tmp_path / "workshop", tmp_path / "cones.npz"
    store(folder, 12)
    write_peers(folder, file)
    with np.load(file) as given:
        assert given["recipes"].shape == (12, 8)
        assert given["rises"].shape == (12, 5)
        assert (given["recipes"] >= 0).all()
        assert (given["recipes"] <= 1).all()
    peer, words = COMMANDS["deadends"]
    wall, spent = least([sys.executable, "-c", OURS, *words, "--in", str(folder)], 1)
    theirs = least([sys.executable, str(PEERS), peer, str(file)], 1)
    print(f"deadends {wall:.1f} s, cpu {spent:.1f}; {peer} {theirs[0]:.1f} s, cpu {theirs[1]:.1f}")
    assert 0 < spent < 4 * 5  # generous, for tests share their machine
    assert theirs[1] > 0
