"""Long work is done once, in order, and can be looked at while it runs."""

from __future__ import annotations

import threading

import pytest

from experiments.errors import LedgerError
from optimiser.page import work as module
from optimiser.page.work import Busy, Outdated, Work


@pytest.fixture
def work():
    made = Work(most_results=3, most_waiting=2, workers=1)
    yield made
    made.close()


def test_the_same_question_is_worked_out_once_and_tells_how_far_it_is(work):
    go, told, runs = threading.Event(), threading.Event(), []

    def answer(tell):
        runs.append(1)
        tell(0.4, "half way")
        told.set()
        go.wait(5)
        return 7

    job = work.ask("key", "finding out", answer)
    assert told.wait(5)
    assert work.ask("key", "finding out", answer) is job
    assert work.find(job.token) is job
    assert (job.share, job.said, job.done) == (0.4, "half way", False)
    go.set()
    assert job.result == 7
    assert work.once("key", "", answer) == 7
    assert runs == [1]
    assert job.told


def test_a_shared_part_is_worked_out_in_the_thread_that_needs_it(work):
    names = []

    def part(_tell):
        names.append(threading.current_thread().name)
        return 2

    job = work.ask("whole", "", lambda _tell: work.once("part", "", part) + 1)
    assert job.result == 3
    assert work.once("part", "", part) == 2
    assert names == ["work"]


def test_results_are_forgotten_in_the_order_of_their_last_use(work):
    jobs = [work.ask(each, "", lambda _tell, each=each: each) for each in "ab"]
    assert [job.result for job in jobs] == ["a", "b"]
    for each in "cd":
        work.ask("a", "", None)
        assert work.ask(each, "", lambda _tell, each=each: each).result == each
    work.ask("e", "", lambda _tell: "e")
    assert work.find(jobs[0].token) is jobs[0]
    assert work.find(jobs[1].token) is None


def test_too_many_questions_at_once_are_refused(work):
    go = threading.Event()
    for key in range(2):
        work.ask(key, "", lambda _tell: go.wait(5))
    with pytest.raises(Busy):
        work.ask("another", "", lambda _tell: 0)
    go.set()


def test_something_long_does_not_hold_up_something_short():
    work, go = Work(), threading.Event()
    work.ask("long", "", lambda _tell: go.wait(5))
    assert work.ask("short", "", lambda _tell: 1).wait(4)
    go.set()
    work.close()


def test_a_question_of_an_older_state_makes_room_for_a_newer_one(work):
    go = threading.Event()
    running = work.ask(("old", 0), "", lambda _tell: go.wait(5))
    while running.said != running.title:
        pass
    waiting = work.ask(("old", 1), "", lambda _tell: 1)
    newer = work.ask(("new", 1), "", lambda _tell: 2)
    assert waiting.look().overtaken
    assert not running.done
    go.set()
    assert newer.result == 2
    assert work.ask(("old", 1), "", lambda _tell: 3).result == 3


def test_what_failed_says_why_and_is_not_tried_again(work, monkeypatch):
    def refuse(_tell):
        raise LedgerError("the table has a hole")

    job = work.ask("key", "", refuse)
    with pytest.raises(LedgerError):
        _ = job.result
    assert job.problems == ["the table has a hole"]
    assert work.ask("key", "", lambda _tell: 0) is job

    def fail(_tell):
        raise ZeroDivisionError("a secret")

    monkeypatch.setattr(module, "write_diagnosis", lambda _error: None)
    other = work.ask("other", "", fail)
    other.wait(5)
    assert other.problems == ["coneloop failed by a fault of its own (ZeroDivisionError)"]


def test_what_was_overtaken_by_a_change_is_tried_again(work):
    def overtaken(_tell):
        raise Outdated("changed")

    job = work.ask("key", "", overtaken)
    job.wait(5)
    assert work.ask("key", "", lambda _tell: 5).result == 5
