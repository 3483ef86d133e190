"""A crash is no answer: a code of its own, one line, a traceback only for who asks; what ends a run ends it cleanly."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pandas as pd
import pytest

import pdm_alloc as pa
from pdm_alloc import commands
from pdm_alloc.allocator import allocate
from pdm_alloc.circuits.columns import OutOfTime
from pdm_alloc.cli import main
from tests.chain.small import write_small

COUPE = str(Path(__file__).resolve().parents[2] / "data" / "rally_coupe")


@pytest.mark.parametrize("error", [TypeError("two\nlines"), ImportError("no solver"), AssertionError(), MemoryError()])
@pytest.mark.parametrize("debug", [False, True])
def test_unexpected_errors(capsys, monkeypatch, error, debug):
    """Code 70 and one line that says how to report it; the traceback only with --debug."""

    def broken(_):
        raise error

    monkeypatch.setattr(commands, "_check", broken)
    assert main(["check", COUPE, *(["--debug"] if debug else [])]) == 70
    said = capsys.readouterr().err
    assert f"pdm-alloc: Internal error: {type(error).__name__}" in said
    assert ("Traceback" in said) == debug
    assert debug or ("--debug" in said and len(said.splitlines()) == 1)


@pytest.mark.parametrize("library", ["pulp", "highspy"])
def test_broken_solver(tmp_path, library):
    """An installation whose solver cannot be imported does not exit with 1, which would be an answer."""
    (tmp_path / f"{library}.py").write_text("raise ImportError('libsolver.so: cannot open')")
    path = os.pathsep.join([str(tmp_path), *sys.path])
    command = [sys.executable, "-m", "pdm_alloc", "size", COUPE]
    done = subprocess.run(command, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": path})
    assert done.returncode == 70
    assert done.stderr.startswith("pdm-alloc: Internal error: ImportError: libsolver.so")
    assert len(done.stderr.splitlines()) == 1


@pytest.mark.parametrize(("vehicle", "code"), [("VEHICLE", 0), ("nowhere", 2)])
def test_the_process_ends_at_once_with_all_that_was_said(tmp_path, vehicle, code):
    """Memory is not taken apart, which took 3 s after an answer; what was said arrives, and cleaning up runs."""
    folder = write_small(tmp_path / "v")
    start = "import atexit, sys; atexit.register(print, 'cleaned up')\n"
    start += "class Late:\n    def __del__(self): print('taken apart')\nlate = Late()\n"
    code_of = f"{start}from pdm_alloc.cli import program; sys.argv = ['pdm-alloc', 'check', sys.argv[1]]; program()"
    path = str(folder) if vehicle == "VEHICLE" else str(tmp_path / vehicle)
    done = subprocess.run([sys.executable, "-c", code_of, path], capture_output=True, text=True, check=False)
    assert done.returncode == code
    assert ("no fault found" in done.stdout) == (code == 0) and ("does not exist" in done.stderr) == (code == 2)
    assert done.stdout.endswith("cleaned up\n") and "taken apart" not in done.stdout


@pytest.mark.parametrize(
    "words", [["allocate", COUPE, "--module", "middle-36", "--out", ""], ["new", ""], ["new", " "]]
)
def test_a_folder_without_a_name(capsys, words):
    """An empty name (a shell variable that is not set) is refused, not taken for "do not write"."""
    with pytest.raises(SystemExit) as stop:
        main(words)
    assert stop.value.code == 2
    assert "the name of the folder is empty" in capsys.readouterr().err


TERMINATED = """
import os, signal, sys
from pdm_alloc.cli import main
from pdm_alloc.files import atomic
put = atomic.put
def slow(file, content):
    put(file, content)
    print("writing", flush=True)
    import time; time.sleep(30)
atomic.put = slow
sys.exit(main(["new", sys.argv[1]]))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no such signal")
def test_terminated_while_writing(tmp_path):
    """SIGTERM while files are written: code 143, and nothing is left behind."""
    process = subprocess.Popen([sys.executable, "-c", TERMINATED, str(tmp_path / "mine")], stdout=subprocess.PIPE)
    assert process.stdout.readline().strip() == b"writing"
    process.send_signal(signal.SIGTERM)
    assert process.wait() == 143
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(sys.platform == "win32", reason="pipes of POSIX")
def test_nobody_reads_what_is_printed(tmp_path):
    """`pdm-alloc ... | head -0`: no traceback."""
    process = subprocess.Popen(
        [sys.executable, "-m", "pdm_alloc", "check", COUPE], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    process.stdout.close()
    said = process.stderr.read()
    assert process.wait() == 141
    assert said == b""


def test_home_that_cannot_be_written(tmp_path):
    """Documents are written where the home folder takes no files (a service, a container)."""
    car = write_small(tmp_path)
    home = {"HOME": "/proc/none", "MPLCONFIGDIR": "", "XDG_CACHE_HOME": "", "XDG_CONFIG_HOME": ""}
    command = [sys.executable, "-m", "pdm_alloc", "allocate", car, "--module", "six", "--out", str(tmp_path / "out")]
    done = subprocess.run(command, capture_output=True, text=True, env={**os.environ, **home})
    assert (done.returncode, done.stderr) == (0, "")
    assert (tmp_path / "out" / "pin_map.csv").is_file()


def test_compare(tmp_path, capsys):
    """From two saved allocations, the rework list on the screen and as documents; the same twice: nothing to change."""
    car = write_small(tmp_path)
    assert main(["allocate", car, "--module", "six", "--out", str(tmp_path / "old")]) == 0
    table = Path(car) / "loads.csv"
    lines = table.read_text().splitlines()
    table.write_text("\n".join(lines[:-1]) + "\n")
    assert main(["allocate", car, "--module", "six", "--out", str(tmp_path / "new")]) == 0
    capsys.readouterr()
    assert main(["compare", str(tmp_path / "old"), str(tmp_path / "new"), "--out", str(tmp_path / "out")]) == 0
    said = capsys.readouterr().out
    assert "remove wire" in said
    assert (tmp_path / "out" / "rework_list.csv").is_file()
    assert main(["compare", str(tmp_path / "old"), str(tmp_path / "old" / "allocation.json")]) == 0
    assert "Nothing to change" in capsys.readouterr().out
    assert main(["compare", str(tmp_path / "old"), str(tmp_path / "none")]) == 2


def test_panel_passes_its_words_on(monkeypatch):
    """`pdm-alloc panel` opens the panel of the module with the same words."""
    from pdm_alloc.panel import page as panel

    given = []
    monkeypatch.setattr(panel, "main", lambda words: given.append(panel._parser().parse_args(words)) or 0)
    assert main(["panel", COUPE, "--module", "middle-36", "--port", "8901", "--dark", "--no-browser"]) == 0
    (options,) = given
    assert (options.vehicle, options.module, options.port) == (COUPE, "middle-36", 8901)
    assert (options.dark, options.no_browser, options.catalogue) == (True, True, None)


@pytest.mark.parametrize(("outcome", "code"), [("no answer in time", 3), ("not enough", 1)])
def test_places_without_time_are_no_answer(monkeypatch, capsys, outcome, code):
    """A study over places that the clock stopped before any choice was enough exits with 3, as one module does."""
    none = pd.DataFrame()
    study = SimpleNamespace(
        best=None, choices=none, is_enough=False, outcome=outcome, warnings=(), reasons=lambda _: none
    )
    monkeypatch.setattr("pdm_alloc.studies.mounting.search_places", lambda *_, **__: None)
    monkeypatch.setattr("pdm_alloc.studies.mounting.mounted", lambda _: study)
    assert main(["size", COUPE, "--places", "--time-limit", "0", "--json"]) == code
    capsys.readouterr()


def test_out_of_time_while_a_place_is_sought(tmp_path, monkeypatch, capsys):
    """A command with more circuits than there was time to list ends no run: the place is left open, which is said."""

    def late(*_):
        raise OutOfTime("engine")

    car = write_small(tmp_path)
    (Path(car) / "places.csv").write_text("place,x_m,y_m,mount\nfront,0,0,yes\n")
    monkeypatch.setattr("pdm_alloc.studies.mounting_search.lightest_places", late)
    assert main(["allocate", car, "--module", "six"]) == 0
    assert "no place chosen: time ran out while the circuits of engine were listed" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("limit_s", "before_s", "reading_s", "left_s"),
    [
        (5, 1, 0.1, 5),  # a small vehicle: reading is within the fifth and two seconds
        (5, 2, 0.5, 4.5),  # 8 s for the command, 2 s are over, and what follows takes three times as long as reading
        (12, 3, 2.9, 6),
        (5, 6, 4, 1.5),  # half of it or less where the fifth and two seconds leave no more
        (5, 60, 50, 0),  # over before anything was solved
        (0, 1, 0.1, 0),
    ],
)
def test_reading_counts_against_the_limit(monkeypatch, limit_s, before_s, reading_s, left_s):
    """A limit holds within a fifth and two seconds, reading and printing included."""
    monkeypatch.setattr(commands, "time", SimpleNamespace(monotonic=lambda: 100.0))  # a busy machine does not count
    options = SimpleNamespace(started=100.0 - before_s, reading=reading_s)
    assert commands._solving_s(options, limit_s) == pytest.approx(left_s, abs=0.5)


def test_pairs_are_not_listed_once_the_time_is_over(tmp_path, monkeypatch):
    """Nor are they counted through before anything can be asked: with the time over there is none to judge."""
    car = write_small(tmp_path)
    monkeypatch.setattr("pdm_alloc.studies.sizing.pairs_of", lambda *_: pytest.fail("pairs were listed"))
    vehicle, catalogue = pa.read_vehicle(car), pa.read_catalogue(tmp_path / "catalogue")
    assert pa.size(vehicle, catalogue, stop=lambda: True).results == {}


def test_pairs_are_not_tabled_where_none_is_enough(tmp_path, monkeypatch, capsys):
    """Five hundred modules have 125,000 pairs: the summary asks what they are better in only where one is enough."""
    car = write_small(tmp_path)
    monkeypatch.setattr("pdm_alloc.studies.sizing.pairs_table", lambda *_: pytest.fail("pairs were tabled"))
    assert main(["size", car]) == 0
    assert "six is the smallest that is enough." in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "late_s", "least_s", "where"),
    [
        (["allocate", "--module", "six"], 1e6, 0.0, "at row 1 of the table modules"),  # asked at every table
        (["size"], 1e6, 0.0, "at row 1 of the table modules"),
        (["allocate", "--module", "six"], 0.0, 1e6, "once the tables were read"),  # nothing would be ready in time
        (["size"], 0.0, 1e6, "once the tables were read"),
    ],
)
def test_reading_ends_with_the_limit(tmp_path, monkeypatch, capsys, words, late_s, least_s, where):
    """Nothing is read or begun once the limit is over, in `size` neither; the same tables are read where it is not."""
    car, now = write_small(tmp_path), time.monotonic()  # which stands still: on a busy machine reading takes seconds
    monkeypatch.setattr(commands, "time", SimpleNamespace(monotonic=lambda: now + late_s))
    monkeypatch.setattr(commands, "_least_s", lambda _: least_s)
    rows = "".join(f"lamp {n},lights,0.1,led\n" for n in range(300))
    (Path(car) / "loads.csv").write_text(f"load,command,running_a,kind\n{rows}")
    verb, *more = words
    assert main([verb, car, *more, "--time-limit", "1", "--json"]) == 3
    printed = capsys.readouterr()
    why = f"the time limit was reached {where}: give it more"
    assert printed.err == f"pdm-alloc: no answer in time: {why}\n"
    assert json.loads(printed.out) == {"outcome": "no answer in time", "why": why}
    late_s = least_s = 0.0
    assert main([verb, car, *more, "--time-limit", "5"]) in (0, 1, 3)
    assert "was reached at row" not in (told := capsys.readouterr().err) and "were read" not in told


def test_one_limit_for_all_steps_of_a_command(tmp_path, monkeypatch):
    """Placing, allocating and explaining share the limit that was given: each gets what the ones before left."""
    from pdm_alloc.diagnose.explain import explain
    from pdm_alloc.studies.mounting_search import lightest_places

    given, late_s = {}, 0.0

    def slow(name, step):
        def take(*words, **named):
            nonlocal late_s
            given[name] = words[2] if name == "place" else named["time_limit_s"]
            late_s += 2.0
            return step(*words, **named)

        return take

    clock = time.monotonic
    monkeypatch.setattr(
        "pdm_alloc.program.solver.time", SimpleNamespace(**vars(time) | {"monotonic": lambda: clock() + late_s})
    )
    monkeypatch.setattr("pdm_alloc.studies.mounting_search.lightest_places", slow("place", lightest_places))
    monkeypatch.setattr("pdm_alloc.allocator.allocate", slow("allocate", allocate))
    monkeypatch.setattr("pdm_alloc.diagnose.explain.explain", slow("explain", explain))
    car = write_small(tmp_path)
    (Path(car) / "places.csv").write_text("place,x_m,y_m,mount\nfront,0,0,yes\n")
    assert main(["allocate", car, "--module", "two", "--time-limit", "1000"]) == 1
    assert given["place"] <= 500
    assert given["allocate"] <= 998
    assert 0 < given["explain"] <= 996


def test_what_was_found_is_said_before_documents_that_take_long(tmp_path, capsys, monkeypatch):
    """Documents of 1,000 loads take 15 s, of 5,000 minutes: nothing was said until then."""
    folder = write_small(tmp_path)
    words = ["allocate", folder, "--module", "six", "--out", str(tmp_path / "out")]
    main(words)
    assert "documents take" not in capsys.readouterr().err
    monkeypatch.setattr(commands, "_MANY", 0)
    main(words)
    assert "circuits (proven best); their documents take a while" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["\u00a0six", "six\u200b", " six\t"])
def test_a_pasted_name_of_a_module_is_read_as_tables_are(tmp_path, capsys, name):
    """It was not in the catalogue, and what was meant instead looked the same."""
    assert main(["allocate", write_small(tmp_path), "--module", name]) == 0
    assert "proven best" in capsys.readouterr().out
