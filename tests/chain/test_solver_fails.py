"""A solver that raises, stops, lies or finds nothing: no answer is given out, and the outcome says so."""

import re
from dataclasses import replace

import highspy
import pulp
import pytest

import pdm_alloc as pa
from pdm_alloc.cli import main
from pdm_alloc.program import allocation_solve as solve
from pdm_alloc.program import solver
from pdm_alloc.program.solver import BEST_SO_FAR, PROVEN_BEST
from tests.chain.small import write_small


@pytest.fixture
def small(tmp_path):
    path = write_small(tmp_path)
    return path, pa.read_vehicle(path), pa.read_catalogue(tmp_path / "catalogue")


@pytest.mark.parametrize(
    "error",
    [
        pulp.PulpSolverError("lost"),
        RuntimeError("lost"),
        MemoryError(),
        OSError(9, "lost"),
        ValueError("1"),
        KeyError(1),
    ],
    ids=lambda error: type(error).__name__,
)
def test_solver_that_raises(small, tmp_path, monkeypatch, capsys, error):
    """Whatever it raises: failed, exit code 3, one line, no traceback."""

    def broken(*_, **__):
        raise error

    monkeypatch.setattr(pulp.LpProblem, "solve", broken)
    path, vehicle, catalogue = small
    with pytest.raises(pa.Unsolved, match="the solver failed") as caught:
        pa.allocate(vehicle, catalogue["six"])
    assert caught.value.outcome == "failed"
    assert main(["allocate", path, "--module", "six", "--out", str(tmp_path / "out")]) == 3
    assert capsys.readouterr().err == "pdm-alloc: failed: the solver failed on this program\n"
    assert not (tmp_path / "out").exists()


def test_solver_that_raises_does_not_end_a_study(small, monkeypatch):
    """A module without an answer is told as such, beside the others."""

    def broken(*_, **__):
        raise RuntimeError("lost")

    monkeypatch.setattr(pulp.LpProblem, "solve", broken)
    _, vehicle, catalogue = small
    study = pa.size(vehicle, catalogue)
    assert dict(zip(study.verdicts.module, study.verdicts.outcome, strict=True))["six"] == "failed"
    assert study.smallest is None
    assert study.summary().startswith("No module is known to be enough. No answer for two (failed), six (failed), ")


def test_the_smallest_known_is_not_called_the_smallest(small):
    """Where a smaller module has no answer, nobody knows that it is not enough."""
    _, vehicle, catalogue = small
    three = replace(catalogue["six"], name="three", channels=catalogue["six"].channels[:3])
    study = pa.size(vehicle, replace(catalogue, modules=(*catalogue.modules, three)))
    assert study.summary() == "three is the smallest that is enough."
    unsolved = {**study.results, "three": pa.Unsolved("no answer in time", "")}
    assert replace(study, results=unsolved).summary() == (
        "six is the smallest known to be enough. No answer for three (no answer in time)."
    )


def _moved(solved):
    """The items of one circuit also on another channel."""
    unit, use, _, command, items = solved.circuits[0]
    return (*solved.circuits, (unit, use, ("5",), command, items))


def _crowded(solved):
    """Two commands on one channel."""
    unit, use, channels, command, items = solved.circuits[0]
    other = solved.circuits[1]
    return ((unit, use, channels, command, items), (other[0], other[1], channels, *other[3:]), *solved.circuits[2:])


LIES = {
    "an item is nowhere": lambda solved: solved.circuits[1:],
    "an item is twice": _moved,
    "a channel is twice": _crowded,
    "a channel there is not": lambda solved: ((*solved.circuits[0][:2], ("99",), *solved.circuits[0][3:]),),
    "nothing at all": lambda solved: (),
    "everything on one channel": lambda solved: (
        (0, "single", ("1",), solved.circuits[0][3], tuple(i for c in solved.circuits for i in c[4])),
    ),
}


@pytest.mark.parametrize("lie", LIES)
@pytest.mark.parametrize("outcome", [PROVEN_BEST, BEST_SO_FAR])
def test_solver_that_lies(small, monkeypatch, capsys, lie, outcome):
    """What breaks a limit is refused by the recount, whatever the solver says of it."""
    honest = solve.solve

    def lying(*arguments):
        solved = honest(*arguments)
        return replace(solved, outcome=outcome, circuits=LIES[lie](solved))

    monkeypatch.setattr("pdm_alloc.allocator.solve", lying)
    path, vehicle, catalogue = small
    with pytest.raises(pa.Unsolved, match="independent check refused") as caught:
        pa.allocate(vehicle, catalogue["six"])
    assert caught.value.outcome == "failed"
    assert main(["allocate", path, "--module", "six", "--json"]) == 3
    printed = capsys.readouterr()
    assert "independent check refused" in printed.err
    assert '"outcome": "failed"' in printed.out


@pytest.mark.parametrize("value", [0.0, 2.0, 1e9, float("nan"), -3.0])
def test_solver_with_numbers_of_nothing(small, monkeypatch, value):
    """Values that satisfy no row end as failed: nothing is made of them."""
    honest = pulp.LpProblem.solve

    def solved(problem, *arguments):
        status = honest(problem, *arguments)
        for variable in problem.variables():
            variable.varValue = value
        return status

    monkeypatch.setattr(pulp.LpProblem, "solve", solved)
    _, vehicle, catalogue = small
    with pytest.raises(pa.Unsolved) as caught:
        pa.allocate(vehicle, catalogue["six"])
    assert caught.value.outcome == "failed"


class _Stopped:
    """A model that the clock stopped with a point in hand and no bound."""

    def __init__(self, bound):
        self.bound = bound

    def getModelStatus(self):
        return highspy.HighsModelStatus.kTimeLimit

    def getInfo(self):
        info = highspy.HighsInfo()
        info.primal_solution_status, info.objective_function_value, info.mip_dual_bound = 2, 5.0, self.bound
        return info


@pytest.mark.parametrize(("bound", "proved"), [(3.2, 4.0), (float("-inf"), float("-inf")), (5.0, 5.0)])
def test_stopped_with_or_without_a_bound(bound, proved):
    """What the clock stopped is best so far, whatever the bound; costs are whole, so a bound is rounded up."""
    stopped = solver._read(_Stopped(bound), [], [])
    assert (stopped.outcome, stopped.objective, stopped.bound) == (BEST_SO_FAR, 5.0, proved)


@pytest.mark.parametrize("seconds", ["0", "1e-9", "0.001", "0.01", "0.05"])
def test_hardly_any_time(small, capsys, seconds):
    """An answer or none, whichever: never a traceback, and no documents without an answer."""
    path, *_ = small
    code = main(["allocate", path, "--module", "six", "--time-limit", seconds])
    printed = capsys.readouterr()
    assert (code, "no answer in time" in printed.err, bool(printed.out)) in ((3, True, False), (0, False, True))
    code = main(["size", path, "--time-limit", seconds])
    printed = capsys.readouterr()
    said = "six is the smallest (that is|known to be) enough|No single module is known to be enough; .* together are"
    assert code == (0 if re.search(rf"^({said})\.", printed.out, re.MULTILINE) else 3)
    assert "No single module is enough" not in printed.out  # six is
    assert "Empty DataFrame" not in printed.out
    assert "Traceback" not in printed.err
