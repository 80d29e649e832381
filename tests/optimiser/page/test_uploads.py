"""Files that wait are bounded and belong to the session that sent them."""

from __future__ import annotations

from optimiser.page.uploads import Upload, Uploads


def test_only_the_session_that_sent_it_gets_an_upload_back():
    uploads = Uploads()
    name = uploads.keep(Upload(3, "me", "files", 10))
    assert uploads.find(name, "me").content == "files"
    assert uploads.find(name, "another") is None
    assert uploads.find("guess", "me") is None
    uploads.drop(name)
    assert uploads.find(name, "me") is None


def test_the_oldest_is_dropped_where_the_memory_is_full():
    uploads = Uploads(most_bytes=100)
    names = [uploads.keep(Upload(1, "me", each, 40)) for each in range(4)]
    assert [uploads.find(name, "me") is not None for name in names] == [False, False, True, True]
    last = uploads.keep(Upload(1, "me", "large", 500))
    assert uploads.find(last, "me") is not None
