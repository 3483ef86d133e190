"""Studies beside the panel: results, how far they are, cancelling, and what is said when the tables change."""

import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

pytest.importorskip("anywidget", reason="the extra 'notebook' is not installed")

import pdm_alloc as pa
from pdm_alloc.panel.long_work import LongWork, Report, Task, _chance, _give_up, _work

DATA = Path(__file__).parents[2] / "data"
CATALOGUE = pa.read_catalogue(DATA / "catalogue")
SMALL = replace(CATALOGUE, modules=(CATALOGUE["compact-31"], CATALOGUE["middle-36"]))
WAIT_S = 240
TABLES = {
    "loads": "load,command,running_a,kind,place,tolerance_pct\nlamp,on,4.6,filament,nose,9\npump,pump,6,motor,nose,20",
    "places": "place,x_m,y_m,mount\nnose,0,0,no\ndash,2,0,yes\nboot,4,0,yes\n",
    "routes": "from,to\nnose,dash\ndash,boot\n",
}


@pytest.fixture(scope="module")
def vehicle(tmp_path_factory):
    folder = tmp_path_factory.mktemp("car")
    for name, text in TABLES.items():
        (folder / f"{name}.csv").write_text(text)
    (folder / "settings.toml").write_text('battery_place = "boot"\n')
    return pa.read_vehicle(folder)


@pytest.fixture(scope="module")
def demo():
    """The demo, for what takes long enough to be cancelled."""
    return pa.read_vehicle(DATA / "rally_coupe")


def result_of(vehicle, module):
    try:
        return pa.allocate(vehicle, module)
    except pa.NotEnough as refusal:
        return refusal


def until(happened):
    end = time.monotonic() + WAIT_S
    while not happened():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.05)


class Desk:
    """Long work with a stand-in for the panel around it."""

    def __init__(self, vehicle, module, catalogue=SMALL, place=None):
        self.ask(vehicle, catalogue[module], place)
        self.answer = SimpleNamespace(question=self.question, result=result_of(vehicle, catalogue[module]))
        self.work = LongWork(lambda: self.question, lambda: self.answer, lambda: catalogue)

    def ask(self, vehicle, module, place=None):
        self.question = SimpleNamespace(vehicle=vehicle, module=module, place=place)

    def shown(self, study):
        return self.work._rows[study].shown.value

    @property
    def words(self):
        return self.work._words.value


@pytest.mark.once
def test_places_beside_the_panel(vehicle):
    """The search over places runs in its own process and gives what `mount` gives; after an edit it is marked old."""
    desk = Desk(vehicle, "middle-36")
    desk.work.start("places")
    run, before = desk.work.run, desk.question
    desk.ask(replace(vehicle, loads=vehicle.loads[:1]), SMALL["middle-36"])
    assert run.wait(WAIT_S)
    assert "Old: for the previous tables." in desk.shown("places")
    desk.question = before
    desk.work.show(None)
    assert "Old" not in desk.shown("places")
    expected = pa.mount(vehicle, SMALL, "price")
    assert expected.best.label in desk.shown("places")
    assert "proven best" in desk.shown("places") and "<img" in desk.shown("places")
    assert desk.work._bar.value == 1.0 and "done" in desk.words


@pytest.mark.once
def test_module_counts_for_a_chance_and_not_for_places(vehicle):
    """A chance is of one module: another one makes it old; a search over all modules stays."""
    desk = Desk(vehicle, "middle-36")
    units = (pa.Unit("middle-36", SMALL["middle-36"]),)
    for study in ("chance", "places"):
        desk.work._rows[study].result = (Task(study, vehicle, SMALL, units, None, "1"), Report("so it is"))
    desk.ask(vehicle, SMALL["compact-31"])
    desk.work.stale()
    assert "Old: for the previous tables." in desk.shown("chance")
    assert "Old" not in desk.shown("places")


@pytest.mark.once
def test_chance_is_that_of_the_studies(vehicle):
    """The draws are those of `module_risk` and `allocation_risk`, and it is told how many are done."""
    allocation = pa.allocate(vehicle, SMALL["middle-36"])
    told = []
    task = Task("chance", vehicle, SMALL, allocation.units, allocation, "20")
    report = _chance(task, lambda *progress: told.append(progress))
    study = pa.module_risk(vehicle, allocation.units, 20)
    assert f"enough in {100 * study.chance:.1f} % of 20 draws" in report.sentence
    assert pa.allocation_risk(allocation).summary() in report.sentence
    assert [share for share, _ in told] == [0.0, 0.5, 1.0]


def test_cancel_ends_the_process_and_keeps_the_last_result(demo, vehicle):
    """After Cancel nothing runs any more, the result there was before stays, and another study may begin."""
    desk = Desk(demo, "compact-31", CATALOGUE)
    report = Report("an earlier result")
    desk.work._rows["chance"].result = (
        Task("chance", demo, CATALOGUE, (pa.Unit("a", CATALOGUE["compact-31"]),), None, "1"),
        report,
    )
    desk.work._rows["chance"].choice.value = "400"
    desk.work.start("chance")
    run = desk.work.run
    assert "a new one is on its way" in desk.shown("chance")
    assert not desk.work._cancel.disabled
    assert all(row.start.disabled for row in desk.work._rows.values())
    until(lambda: "draw" in desk.words)
    desk.work.cancel()
    assert run.wait(WAIT_S)
    assert run.process.exitcode is not None and run.process.exitcode < 0
    assert "cancelled" in desk.words and "an earlier result" in desk.shown("chance")
    assert "on its way" not in desk.shown("chance")
    assert desk.work._cancel.disabled and desk.work.run is None


@pytest.mark.once
def test_what_could_be_given_up(demo):
    """Where the module is not enough, what is short and the ways to make it fit come as tables and figures."""
    refusal = result_of(demo, CATALOGUE["compact-31"])
    told = []
    task = Task("give up", demo, CATALOGUE, refusal.units, refusal, "8")
    report = _give_up(task, lambda *progress: told.append(progress))
    assert report.sentence.startswith("compact-31 is not enough")
    assert len(report.tables[0][1]) and "What is short" in report.html
    assert told and len(report.pictures) >= 1


@pytest.mark.once
def test_what_is_not_to_be_studied_says_why(vehicle):
    """Enough needs no concessions; without tolerances nothing is drawn; without a mount there are no places."""
    allocation = pa.allocate(vehicle, SMALL["middle-36"])
    task = Task("give up", vehicle, SMALL, allocation.units, allocation, "1")
    assert "nothing has to be given up" in _give_up(task, lambda *_: None).sentence
    sure = replace(vehicle, loads=tuple(replace(load, tolerance_pct=0) for load in vehicle.loads))
    assert "no guess to be drawn" in _chance(replace(task, vehicle=sure), lambda *_: None).sentence
    sent = []
    nowhere = replace(task, study="places", vehicle=replace(vehicle, places=(), routes=()), choice="price")
    _work(SimpleNamespace(send=sent.append), nowhere)
    assert sent[-1].sentence.startswith("No result: no place can take a module")


@pytest.mark.once
def test_nothing_starts_before_the_verdict(vehicle):
    """A study is of the tables as they stand: while their verdict is awaited none begins."""
    desk = Desk(vehicle, "middle-36")
    desk.ask(replace(vehicle, loads=vehicle.loads[:1]), SMALL["middle-36"])
    desk.work.start("places")
    assert desk.work.run is None and "Wait for the verdict" in desk.words
    desk.question = None
    desk.work.start("places")
    assert desk.work.run is None


ORPHAN = """
import sys, time
from pathlib import Path
import pdm_alloc as pa
from pdm_alloc.panel.long_work import Run, Task
if __name__ == "__main__":
    data = Path(sys.argv[1])
    vehicle, catalogue = pa.read_vehicle(data / "rally_coupe"), pa.read_catalogue(data / "catalogue")
    unit = pa.Unit("middle-42", catalogue["middle-42"])
    run = Run(Task("chance", vehicle, catalogue, (unit,), None, "400"), lambda *told: print(told[2], flush=True), print)
    print("pid", run.process.pid, flush=True)
    run.wait()
"""


@pytest.mark.once
def test_a_killed_kernel_leaves_no_solver_behind(tmp_path):
    """The process of a study ends by itself when the kernel is killed."""
    script = tmp_path / "kernel.py"
    script.write_text(ORPHAN)
    kernel = subprocess.Popen([sys.executable, script, DATA], stdout=subprocess.PIPE, text=True)
    pid = None
    for line in kernel.stdout:
        pid = int(line.split()[1]) if line.startswith("pid") else pid
        if "draws" in line or "drawing" in line:
            break
    kernel.kill()
    kernel.wait()
    until(lambda: not is_running(pid))


def is_running(pid):
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False
