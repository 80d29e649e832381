"""What was done is told once asked for by its name, and forgotten in time."""

from __future__ import annotations

from optimiser.page.told import MOST, News, Told


def test_news_is_found_by_its_name_alone():
    told = Told()
    name = told.keep(News("cone 7 printed", 12, ("heavy",)))
    assert told.find(name) == News("cone 7 printed", 12, ("heavy",))
    assert told.find("") is None
    assert told.find(name[:-1]) is None


def test_the_oldest_news_is_forgotten():
    told = Told()
    names = [told.keep(News(str(place))) for place in range(MOST + 1)]
    assert told.find(names[0]) is None
    assert told.find(names[1]) == News("1")
