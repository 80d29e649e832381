"""Binding: to this computer alone unless shared, to a free port, under known names."""

from __future__ import annotations

import socket

import pytest

from experiments.errors import OutputError
from optimiser.page.server import PORT, host_names, listening


def test_a_taken_port_is_refused_where_it_was_asked_for():
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(OutputError, match=f"port {port}: found .* expected a free port"):
            listening("127.0.0.1", port)


def test_the_first_free_port_is_taken():
    with listening("127.0.0.1", None) as one, listening("127.0.0.1", None) as other:
        ports = [each.getsockname()[1] for each in (one, other)]
        assert PORT <= ports[0] < ports[1]
        assert one.getsockname()[0] == "127.0.0.1"


def test_names_of_this_computer_count_only_where_the_page_is_shared():
    alone, shared = (host_names(8712, share=share) for share in (False, True))
    assert alone == ["127.0.0.1:8712", "localhost:8712"]
    assert shared[:2] == alone
    assert f"{socket.gethostname().lower()}:8712" in shared
    assert all(name.endswith(":8712") for name in shared)
