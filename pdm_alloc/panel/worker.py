"""Answers in the background: the newest question counts, whatever was asked before it is dropped."""

import atexit
import threading
from collections.abc import Callable, Iterator
from itertools import islice
from typing import Any, Generic, TypeVar
from weakref import WeakSet

__all__ = ["Failure", "Stop", "Worker"]

Question = TypeVar("Question")
Stop = Callable[[], bool]
_LAST_S = 10.0
_workers: "WeakSet[Worker[Any]]" = WeakSet()
_threads: WeakSet[threading.Thread] = WeakSet()


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
        Called with each part while the lock is held; never with a part of an older question.
    delay_s : float
        Questions closer together than this are one: the last.

    Attributes
    ----------
    lock : RLock
        Whoever shares something with `deliver` holds it. A notebook hands messages of widgets to one thread and
        cells to another, so even without this worker there would be two.

    Notes
    -----
    A solver cannot be interrupted within one solve. An overtaken thread ends at its next look at `stop`; meanwhile
    the new question has a thread of its own, so that nothing waits.
    """

    def __init__(
        self,
        work: Callable[[Question, Stop], Iterator[object]],
        deliver: Callable[[object], None],
        delay_s: float = 0.02,
    ):
        self._work, self._deliver, self._delay_s = work, deliver, delay_s
        self._newest = 0
        self._thread: threading.Thread | None = None
        self.lock = threading.RLock()
        _workers.add(self)

    @property
    def asked(self) -> int:
        """How many questions have been asked."""
        return self._newest

    def ask(self, question: Question) -> None:
        """Ask; the question asked before is overtaken from now on."""
        with self.lock:
            number = self.overtake()
            stream = self._stream(number, question)
            self._begin(threading.Timer(self._delay_s, self._drain, (number, stream)))

    def answer_now(self, question: Question, parts: int = 1) -> None:
        """Answer in the caller's thread, as far as so many parts; the rest follows in the background."""
        with self.lock:
            number = self.overtake()
            stream = self._stream(number, question)
            for part in islice(stream, parts):
                self._deliver(part)
            self._begin(threading.Thread(target=self._drain, args=(number, stream)))

    def overtake(self) -> int:
        """Drop whatever is being worked on; number of the question that may follow."""
        with self.lock:
            self._newest += 1
            if isinstance(self._thread, threading.Timer):
                self._thread.cancel()
            return self._newest

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until all of the latest question has been delivered; False where that took too long."""
        thread = self._thread
        if thread is not None:
            thread.join(timeout_s)
        return thread is None or not thread.is_alive()

    def _begin(self, thread: threading.Thread) -> None:
        thread.daemon = True  # a notebook that is closed does not wait for a solve
        self._thread = thread
        _threads.add(thread)
        thread.start()

    def _stream(self, number: int, question: Question) -> Iterator[object]:
        try:
            yield from self._work(question, lambda: number != self._newest)
        except Exception as exception:
            yield Failure(exception)

    def _drain(self, number: int, stream: Iterator[object]) -> None:
        for part in stream:
            with self.lock:
                if number != self._newest:
                    return
                self._deliver(part)


@atexit.register
def _finish() -> None:
    """Let threads come out of the solver before Python ends: one caught in there brings the process down."""
    for worker in list(_workers):
        worker.overtake()
    for thread in list(_threads):
        thread.join(_LAST_S)
