"""Answers in the background: the newest question counts."""

import subprocess
import sys
import threading

import pytest

from pdm_alloc.panel import screen
from pdm_alloc.panel.screen import Failure, Worker

WAIT_S = 120


@pytest.fixture
def delivered():
    return []


def test_parts_are_delivered_in_order(delivered):
    """Everything that comes of a question arrives, one part after the other."""
    worker = Worker(lambda question, stop: iter([question, question + 1]), delivered.append)
    worker.ask(7)
    assert worker.wait(WAIT_S)
    assert delivered == [7, 8]


def test_questions_in_quick_succession_are_one(delivered):
    """Of edits closer together than the delay only the last is worked on."""
    worked = []

    def work(question, stop):
        worked.append(question)
        yield question

    worker = Worker(work, delivered.append, delay_s=3600)  # the delay of those overtaken is never over meanwhile
    for question in range(4):
        worker.ask(question)
    worker._delay_s = 0.0
    worker.ask(4)
    assert worker.wait(WAIT_S)
    assert (worked, delivered) == ([4], [4])


def test_newer_question_overtakes_a_running_one(delivered):
    """A solve that is overtaken delivers nothing, is told to stop, and does not hold the newer question up."""
    started, go_on, told = threading.Event(), threading.Event(), []

    def work(question, stop):
        if question == "old":
            started.set()
            go_on.wait(WAIT_S)
            told.append(stop())
        yield question

    worker = Worker(work, delivered.append, delay_s=0)
    worker.ask("old")
    old = worker._thread
    assert started.wait(WAIT_S)
    worker.ask("new")
    assert worker.wait(WAIT_S)
    assert delivered == ["new"]
    go_on.set()
    old.join(WAIT_S)
    assert (delivered, told) == (["new"], [True])


def test_nothing_is_delivered_once_overtaken_between_parts(delivered):
    """A question overtaken between two of its parts keeps the second to itself."""
    second = threading.Event()

    def work(question, stop):
        yield "first"
        second.wait(WAIT_S)
        yield "second"

    got_first = threading.Event()
    worker = Worker(work, lambda part: (delivered.append(part), got_first.set()), delay_s=0)
    worker.ask("question")
    assert got_first.wait(WAIT_S)
    worker.overtake()
    second.set()
    assert worker.wait(WAIT_S)
    assert delivered == ["first"]


def test_first_part_can_be_had_at_once(delivered):
    """A notebook run by a machine has the first answer when the cell ends; the rest follows."""
    worker = Worker(lambda question, stop: iter([1, 2, 3]), delivered.append)
    worker.answer_now("question", parts=2)
    assert delivered[:2] == [1, 2]
    assert worker.wait(WAIT_S)
    assert delivered == [1, 2, 3]


def test_exception_is_delivered_and_not_lost(delivered):
    """What goes wrong in a thread is shown like any other part."""

    def work(question, stop):
        yield "part"
        raise ZeroDivisionError("no such luck")

    worker = Worker(work, delivered.append)
    worker.ask("question")
    assert worker.wait(WAIT_S)
    assert delivered[0] == "part"
    assert isinstance(delivered[1], Failure)
    assert str(delivered[1].exception) == "no such luck"


def test_handlers_and_deliveries_exclude_each_other(delivered):
    """While a handler holds the lock nothing is delivered under its hands."""
    worker = Worker(lambda question, stop: iter([question]), delivered.append, delay_s=0)
    with worker.lock:
        worker.ask("question")
        assert not worker.wait(0.2)
        assert delivered == []
    assert worker.wait(WAIT_S)
    assert delivered == ["question"]


def test_stop_waits_while_a_message_is_dealt_with(delivered):
    """Between two solves a thread asks whether to go on; it is told only after an edit on its way, and then stops."""
    asking, told = threading.Event(), []

    def work(question, stop):
        asking.set()
        told.append(stop())
        yield question

    worker = Worker(work, delivered.append, delay_s=0)
    with worker.lock:  # as a handler of messages holds it
        worker.ask("old")
        assert asking.wait(WAIT_S)
        assert not worker.wait(0.1) and told == []
        worker.overtake()
    assert worker.wait(WAIT_S)
    assert (told, delivered) == ([True], [])


def test_a_part_is_sent_before_the_work_goes_on(monkeypatch):
    """After each part the thread sleeps, so that the one that sends it runs before the next solve begins."""
    order = []

    def work(question, stop):
        for part in (1, 2):
            order.append(f"solve {part}")
            yield part

    monkeypatch.setattr(screen.time, "sleep", lambda seconds: order.append("sleep" if seconds > 0 else "no sleep"))
    worker = Worker(work, lambda part: order.append(f"part {part}"), delay_s=0)
    worker.ask("question")
    assert worker.wait(WAIT_S)
    assert order == ["solve 1", "part 1", "sleep", "solve 2", "part 2", "sleep"]


# Twenty equal-looking knapsacks at once: the solver is still in there after a second, and is told to leave after two.
HARD_SOLVE = """
import highspy, random
from pdm_alloc.panel.screen import Worker

def work(question, stop):
    yield "begun"
    random.seed(1)
    solver = highspy.Highs()
    solver.setOptionValue("output_flag", False)
    solver.setOptionValue("time_limit", 2.0)
    picks = [solver.addBinary(obj=-random.randint(900, 1100)) for _ in range(60)]
    for _ in range(20):
        solver.addConstr(sum(random.randint(900, 1100) * pick for pick in picks) <= 30000)
    solver.run()

begun = []
worker = Worker(work, begun.append, delay_s=0)
worker.ask(1)
worker.wait(1.0)
"""


def test_python_ends_cleanly_while_a_solve_runs():
    """A notebook closed in the middle of a solve ends without a crash of the solver's thread."""
    done = subprocess.run([sys.executable, "-c", HARD_SOLVE], capture_output=True, text=True, timeout=120)
    assert (done.returncode, done.stderr) == (0, "")
