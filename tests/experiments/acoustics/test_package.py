from __future__ import annotations

import doctest

import pytest

import experiments.acoustics as acoustics


@pytest.mark.parametrize("name", acoustics.__all__)
def test_every_exported_name_is_there(name):
    assert getattr(acoustics, name) is not None
    assert name in dir(acoustics)


def test_unknown_names_are_refused():
    with pytest.raises(AttributeError, match="loudness"):
        _ = acoustics.loudness


def test_the_example_runs():
    assert doctest.testmod(acoustics).failed == 0
