"""Answers in the background: the newest question counts, whatever was asked before it is dropped."""

import asyncio
import threading
from collections.abc import Callable, Iterator
from itertools import islice
from typing import Generic, TypeVar

__all__ = ["Failure", "Stop", "Worker"]

Question = TypeVar("Question")
Stop = Callable[[], bool]


class Failure:
    """What is delivered when the work raised: the exception, to be shown and not to be lost in a thread.

    Parameters
    ----------
    exception : Exception
        What was raised.
    """

    def __init__(self, exception: Exception):
        self.exception = exception


class Worker(Generic[Question]):
    """Works on one question at a time in a thread of its own and delivers what comes of it, part by part.

    Parameters
    ----------
    work : callable
        Called with a question and a `stop` that returns True once a newer question was asked; yields parts.
    deliver : callable
        Called with each part, on the event loop; never with a part of an older question.
    delay_s : float
        Questions closer together than this are one: the last.

    Notes
    -----
    Without a running event loop (a script, a test) questions are answered at once, in the caller's thread. A solver
    cannot be interrupted within one solve; an overtaken thread ends at its next look at `stop`, and meanwhile the
    new question has a thread of its own, so that nothing waits.
    """

    def __init__(
        self,
        work: Callable[[Question, Stop], Iterator[object]],
        deliver: Callable[[object], None],
        delay_s: float = 0.03,
    ):
        self._work, self._deliver, self._delay_s = work, deliver, delay_s
        self._newest = 0
        self._timer: asyncio.TimerHandle | None = None
        self._loop = _running_loop()

    @property
    def asked(self) -> int:
        """How many questions have been asked."""
        return self._newest

    def ask(self, question: Question) -> None:
        """Ask; the question asked before is overtaken from now on."""
        number = self.overtake()
        if self._loop is None:
            self._run(number, question)
        else:
            self._timer = self._loop.call_later(self._delay_s, self._start, number, question)

    def overtake(self) -> int:
        """Drop whatever is being worked on; number of the question that may follow."""
        self._newest += 1
        if self._timer is not None:
            self._timer.cancel()
        return self._newest

    def answer_now(self, question: Question, parts: int = 1) -> None:
        """Answer in the caller's thread, as far as so many parts; the rest follows in the background."""
        number = self.overtake()
        stream = self._stream(number, question)
        for part in islice(stream, parts):
            self._deliver(part)
        if self._loop is not None:
            threading.Thread(target=self._drain, args=(number, stream), daemon=True).start()

    def _start(self, number: int, question: Question) -> None:
        threading.Thread(target=self._run, args=(number, question), daemon=True).start()

    def _run(self, number: int, question: Question) -> None:
        self._drain(number, self._stream(number, question))

    def _stream(self, number: int, question: Question) -> Iterator[object]:
        try:
            yield from self._work(question, lambda: number != self._newest)
        except Exception as exception:
            yield Failure(exception)

    def _drain(self, number: int, stream: Iterator[object]) -> None:
        for part in stream:
            if number != self._newest:
                return
            if self._loop is None:
                self._deliver(part)
            else:
                self._loop.call_soon_threadsafe(self._deliver_if_newest, number, part)

    def _deliver_if_newest(self, number: int, part: object) -> None:
        if number == self._newest:
            self._deliver(part)


def _running_loop() -> asyncio.AbstractEventLoop | None:
    try:
        return asyncio.get_running_loop()
    except RuntimeError:
        return None
