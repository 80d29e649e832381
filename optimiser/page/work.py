"""Long work: jobs with progress that can be left and returned to, each done once.

A job has a key: the state of the experiment, and what is asked of it. Asking again with the same
key gives the same job, running or done; the oldest finished ones are forgotten. Two threads work
through the jobs in the order of asking: one long report does not hold up every picture, and many
browsers do not slow each other to a crawl.
"""

from __future__ import annotations

import queue
import secrets
import threading
import weakref
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Any

from experiments.errors import ExperimentError
from optimiser.diagnosing import write_diagnosis

__all__ = ["Busy", "Job", "Look", "Outdated", "Tell", "Work"]

Tell = Callable[[float, str], None]
"""Says how far the work is: the share done (0..1) and what is being done."""

MOST_RESULTS = 64
MOST_WAITING = 32
WORKERS = 2


class Busy(ExperimentError):
    """Too much work is waiting already."""


class Outdated(ExperimentError):
    """The experiment was changed after the question was asked."""


@dataclass(frozen=True)
class Look:
    """How a job stood at one moment; the attributes are those of `Job`.

    `result` is None unless the job was `told`.
    """

    token: str
    title: str
    share: float
    said: str
    done: bool
    error: Exception | None
    problems: tuple[str, ...]
    result: Any

    @property
    def told(self) -> bool:
        """Whether it had ended well."""
        return self.done and self.error is None

    @property
    def overtaken(self) -> bool:
        """Whether the experiment was changed meanwhile, so that asking again is the answer."""
        return isinstance(self.error, Outdated)


class Job:
    """One piece of long work.

    Attributes
    ----------
    token : str
        Its address: ``/waiting/TOKEN``.
    title : str
        What is being found out, in a few words.
    share, said : float, str
        How far it is (0..1), and what is being done.
    error : Exception or None
        Why it came to nothing.
    problems : list of str
        The same in words.
    """

    def __init__(self, title: str, answer: Callable[[Tell], Any]) -> None:
        self.token = secrets.token_urlsafe(12)
        self.title = title
        self.share, self.said = 0.0, "waiting for its turn"
        self.error: Exception | None = None
        self.problems: list[str] = []
        self._answer: Callable[[Tell], Any] | None = answer
        self._result: Any = None
        self._claimed = threading.Lock()
        self._done = threading.Event()

    @property
    def done(self) -> bool:
        """Whether it has ended, well or not."""
        return self._done.is_set()

    @property
    def told(self) -> bool:
        """Whether it has ended well."""
        return self.done and self.error is None

    @property
    def overtaken(self) -> bool:
        """Whether the experiment was changed meanwhile, so that asking again is the answer."""
        return isinstance(self.error, Outdated)

    @property
    def result(self) -> Any:
        """What was found out; waits for it.

        Raises
        ------
        Exception
            What the work raised.
        """
        self._done.wait()
        if self.error is not None:
            raise self.error
        return self._result

    def look(self) -> Look:
        """Give how it stands now, which does not change while a page is put together."""
        done = self.done  # before the rest: what is done changes no more
        told = done and self.error is None
        return Look(
            self.token,
            self.title,
            self.share,
            self.said,
            done,
            self.error if done else None,
            tuple(self.problems) if done else (),
            self._result if told else None,
        )

    def wait(self, seconds: float) -> bool:
        """Wait a moment; whether it is done then."""
        return self._done.wait(seconds)

    def run(self) -> None:
        """Do it in this thread, unless another one does or did."""
        if not self._claimed.acquire(blocking=False):
            return
        assert self._answer is not None
        self.said = self.title
        try:
            self._result = self._answer(self._tell)
        except ExperimentError as error:
            self.error = error
            self.problems = [str(problem) for problem in error.problems]
        except Exception as error:
            self.error = error
            kept = write_diagnosis(error)
            where = f"; details without personal data: {kept}" if kept else ""
            self.problems = [
                f"coneloop failed by a fault of its own ({type(error).__name__}){where}"
            ]
        finally:
            self._answer = None  # what it held on to is free now
            self.share, self.said = 1.0, "done"
            self._done.set()

    def give_up(self) -> bool:
        """End it as overtaken if nobody has begun with it; whether that was so."""
        if not self._claimed.acquire(blocking=False):
            return False
        self.error = Outdated("The experiment was changed meanwhile.")
        self.problems = ["The experiment was changed meanwhile."]
        self._answer = None
        self._done.set()
        return True

    def _tell(self, share: float, said: str) -> None:
        self.share, self.said = min(max(share, 0.0), 1.0), said


class Work:
    """The jobs of one experiment.

    Parameters
    ----------
    most_results : int
        Finished jobs that are remembered; the ones not asked for longest are forgotten.
    most_waiting : int
        Jobs that may wait for their turn.
    workers : int, optional
        Threads that work.
    """

    def __init__(
        self,
        *,
        most_results: int = MOST_RESULTS,
        most_waiting: int = MOST_WAITING,
        workers: int | None = None,
    ) -> None:
        self._most_results, self._most_waiting = most_results, most_waiting
        self._workers = WORKERS if workers is None else workers
        self._jobs: OrderedDict[Hashable, Job] = OrderedDict()
        self._loose: weakref.WeakValueDictionary[str, Job] = weakref.WeakValueDictionary()
        self._lock = threading.Lock()
        self._queue: queue.SimpleQueue[Job | None] = queue.SimpleQueue()
        self._threads: list[threading.Thread] = []

    def ask(self, key: Hashable, title: str, answer: Callable[[Tell], Any]) -> Job:
        """Have something found out in the background, or give the job that does or did.

        Parameters
        ----------
        key : hashable
            The state of the experiment and the question: equal keys have equal answers.
        title : str
            What is being found out.
        answer : callable
            Does the work; is given a `Tell`. It runs in another thread.

        Returns
        -------
        Job

        Raises
        ------
        Busy
            If too many jobs are waiting.
        """
        job, new = self._job(key, title, answer, bounded=True)
        if new:
            self._queue.put(job)
        return job

    def start(self, title: str, answer: Callable[[Tell], Any]) -> Job:
        """Have something worked out that nobody else can ask for.

        The job is not remembered here: whoever asked has to hold it.
        """
        job = Job(title, answer)
        with self._lock:
            self._loose[job.token] = job
            self._begin()
        self._queue.put(job)
        return job

    def once(self, key: Hashable, title: str, answer: Callable[[Tell], Any]) -> Any:
        """Find something out in this thread, unless that was or is being done already.

        For the parts that several answers share, such as the fitted model. Raises what the work
        raises.
        """
        job, _ = self._job(key, title, answer, bounded=False)
        job.run()
        return job.result

    def find(self, token: str) -> Job | None:
        """Give the job with an address; None where it is forgotten or never was."""
        with self._lock:
            loose = self._loose.get(token)
            return loose or next((job for job in self._jobs.values() if job.token == token), None)

    def close(self) -> None:
        """Let the threads end after the jobs at hand."""
        for _ in self._threads:
            self._queue.put(None)

    def _job(
        self, key: Hashable, title: str, answer: Callable[[Tell], Any], *, bounded: bool
    ) -> tuple[Job, bool]:
        with self._lock:
            job = self._jobs.get(key)
            # The same question to the same state fails in the same way; only what was overtaken
            # by a change is worth another try.
            if job is not None and not isinstance(job.error, Outdated):
                self._jobs.move_to_end(key)
                return job, False
            if bounded:
                self._make_room(key)
            job = self._jobs[key] = Job(title, answer)
            self._jobs.move_to_end(key)
            self._forget()
            self._begin()
            return job, True

    def _begin(self) -> None:
        if not self._threads:
            self._threads = [
                threading.Thread(target=self._run, name="work", daemon=True)
                for _ in range(self._workers)
            ]
            for thread in self._threads:
                thread.start()

    def _make_room(self, key: Hashable) -> None:
        """Where too many jobs wait, give up the oldest that was asked in another state."""
        waiting = [(each, job) for each, job in self._jobs.items() if not job.done]
        if len(waiting) < self._most_waiting:
            return
        for each, job in waiting:
            if _state(each) != _state(key) and job.give_up():
                del self._jobs[each]
                return
        raise Busy("The page is at work on many questions. Try again in a minute.")

    def _forget(self) -> None:
        finished = [key for key, job in self._jobs.items() if job.done]
        for key in finished[: max(0, len(finished) - self._most_results)]:
            del self._jobs[key]

    def _run(self) -> None:
        while (job := self._queue.get()) is not None:
            job.run()
            del job  # what it found is the asker's to hold


def _state(key: Hashable) -> Hashable:
    """Give what a key begins with: the state of the experiment in which was asked."""
    return key[0] if isinstance(key, tuple) and key else None
