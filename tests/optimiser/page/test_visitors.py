"""Sessions, form tokens and access codes."""

from __future__ import annotations

import pytest

from optimiser.page.visitors import TRIES, Visitors


def test_a_session_is_known_only_where_it_was_opened():
    here, there = Visitors(), Visitors()
    cookie = here.open_session()
    name = here.session(cookie)
    assert name
    assert there.session(cookie) is None
    for forged in (None, "", ".", name, f"{name}.", f"x{cookie}", cookie[:-1], f"{name}.é"):
        assert here.session(forged) is None


def test_a_form_token_belongs_to_one_session():
    visitors = Visitors()
    one, other = (visitors.session(visitors.open_session()) for _ in range(2))
    assert visitors.is_token(one, visitors.token(one))
    assert not visitors.is_token(one, visitors.token(other))
    assert not visitors.is_token(one, "")
    assert not visitors.is_token(one, visitors.open_session())


@pytest.fixture
def shared():
    told, now = [], [0.0]
    return Visitors(shared=True, tell=told.append, clock=lambda: now[0]), told, now


def test_a_code_is_good_once_however_it_is_typed(shared):
    visitors, told, _ = shared
    assert visitors.take_code(f" {told[0].lower().replace('-', ' ')} ") is True
    assert len(told) == 2
    assert told[0] != told[1]
    assert visitors.take_code(told[0]) is False
    assert visitors.take_code(told[1]) is True


def test_wrong_codes_are_limited_in_time(shared):
    visitors, told, now = shared
    for _ in range(TRIES):
        assert visitors.take_code("WRONG") is False
        now[0] += 1.0
    assert visitors.take_code(told[0]) is None
    now[0] = 61.0
    assert visitors.take_code(told[0]) is True


def test_a_page_that_is_not_shared_has_no_code():
    told = []
    Visitors(tell=told.append)
    assert told == []
