"""``pdm-alloc size --places`` from outside."""

import json
import time
from pathlib import Path

import pandas as pd
import pytest

from pdm_alloc.circuits import columns
from pdm_alloc.circuits.columns import OutOfTime, TooManyCircuits
from pdm_alloc.cli import main
from pdm_alloc.result.allocation import Unsolved
from pdm_alloc.studies import mounting

DATA = Path(__file__).parents[2] / "data"
CAR = str(DATA / "rally_coupe")


@pytest.mark.once
def test_the_best_and_what_it_was_compared_with(capsys):
    """A table of choices, the best in a sentence, and what conventional wiring would weigh with its assumptions."""
    assert main(["size", CAR, "--places", "--objective", "mass"]) == 0
    out = capsys.readouterr().out
    assert "proven best" in out and "of 230 choices solved" in out
    assert "Why choices are not enough, what most of them lack first:" in out and "no channel bears cooling fan" in out
    assert "Conventional wiring with its box at" in out and "common practice" not in out.split("Conventional")[0]


@pytest.fixture(scope="module")
def two_modules(tmp_path_factory):
    """The demo catalogue cut down to its two smallest modules, without boxes of the signal side."""
    folder = tmp_path_factory.mktemp("two")
    for name in ("modules", "channels", "banks", "derating"):
        table = pd.read_csv(DATA / "catalogue" / f"{name}.csv", dtype=str, keep_default_na=False)
        table[table["module"].isin(["compact-31", "middle-36"])].to_csv(folder / f"{name}.csv", index=False)
    return str(folder)


@pytest.mark.once
def test_json_for_machines(two_modules, capsys):
    """The best choice and every other, in one object; two processes find the same best."""
    words = ["size", CAR, "--places", "--catalogue", two_modules, "--json", "--jobs", "2"]
    assert main(words) == 0
    study = json.loads(capsys.readouterr().out)
    assert study["best"] == study["choices"][0]["choice"] == "middle-36 at glove box"
    assert len(study["choices"]) == 44
    refused = [row["choice"] for row in study["choices"] if row["outcome"] == "not enough"]
    assert refused and {name for row in study["reasons"] for name in row["choices"].split(", ")} == set(refused)


@pytest.mark.parametrize("words", [["--jobs", "0"], ["--jobs", "two"], ["--objective", "colour"]])
def test_words_that_mean_nothing(words, capsys):
    """Refused in one line with what would be right."""
    with pytest.raises(SystemExit) as end:
        main(["size", CAR, "--places", *words])
    assert end.value.code == 2 and "usage" in capsys.readouterr().err


def test_no_place_for_a_module(tmp_path, capsys):
    """A vehicle without places is refused with the remedy, and exit code 2."""
    (tmp_path / "loads.csv").write_text("load,command,running_a,kind\nlamp,light,1,electronics\n")
    words = ["size", str(tmp_path), "--places", "--catalogue", str(DATA / "catalogue")]
    assert main(words) == 2
    assert capsys.readouterr().err.startswith("pdm-alloc: unusable input: no place can take a module: set mount")


@pytest.mark.once
def test_more_loads_on_one_command_than_can_be_listed(tmp_path, capsys, monkeypatch):
    """Many different loads on one command end in one line and exit code 3, not in a traceback."""
    monkeypatch.setattr(columns, "MOST_CIRCUITS", 300)  # of 20,000, which take minutes for all modules
    rows = [f"load {n},all,{0.1 + n / 1000:.3f},joint,led" for n in range(120)]
    (tmp_path / "loads.csv").write_text("\n".join(["load,command,running_a,place,kind", *rows, ""]))
    (tmp_path / "places.csv").write_text("place,x_m,y_m,mount\njoint,0,0,yes\n")
    words = ["size", str(tmp_path), "--places", "--catalogue", str(DATA / "catalogue")]
    assert main(words) == 3
    assert capsys.readouterr().err == (
        "pdm-alloc: failed: the command all has too many different loads to list its circuits: "
        "split it, or merge like loads\n"
    )


@pytest.mark.once
def test_listing_the_circuits_keeps_the_time_limit(tmp_path, capsys):
    """120 different loads on one command and no time: one line that says so, not minutes of listing."""
    rows = [f"load {n},all,{0.1 + n / 1000:.3f},joint,led" for n in range(120)]
    (tmp_path / "loads.csv").write_text("\n".join(["load,command,running_a,place,kind", *rows, ""]))
    (tmp_path / "places.csv").write_text("place,x_m,y_m,mount\njoint,0,0,yes\n")
    words = ["size", str(tmp_path), "--places", "--catalogue", str(DATA / "catalogue"), "--time-limit", "0"]
    assert main(words) == 3
    assert "time ran out while the circuits of all were listed" in capsys.readouterr().err


def test_allocate_at_a_place(tmp_path, capsys):
    """With a place the wires have lengths; two modules take two places in the same order."""
    words = ["allocate", CAR, "--module", "compact-31", "--module", "compact-31", "--place", "boot"]
    assert main([*words, "--place", "bulkhead", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert {row["module"] for row in found["channels"]} == {"compact-31 #1", "compact-31 #2"}


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["--place", "attic"], "'attic' is not in table places"),
        (["--place", "engine"], "it cannot take a module; set mount to yes"),
        (["--place", "boot", "--place", "boot"], "are 2 places, and 1 modules are named"),
    ],
)
def test_places_that_are_none(words, line, capsys):
    """Each fault is one line with its remedy, and exit code 2."""
    assert main(["allocate", CAR, "--module", "middle-36", *words]) == 2
    assert line in capsys.readouterr().err


@pytest.mark.parametrize(("why", "outcome"), [(OutOfTime, "no answer in time"), (TooManyCircuits, "failed")])
def test_circuits_that_are_not_listed(why, outcome):
    """Where that was for want of time the study has no answer in time; it has failed only where more would not help."""
    with pytest.raises(Unsolved) as stopped, mounting._listed():
        raise why("all")
    assert stopped.value.outcome == outcome


def test_what_follows_the_search_has_what_is_left_of_the_limit(two_modules, capsys, monkeypatch):
    """Reasons and the signal side were given the whole limit once more: of a limit of 14 s 15.3 s were taken."""
    given = []
    late = [0.0]
    now, mounted = time.monotonic, mounting.mounted

    def slow(search):
        late[0] += 1e6
        return mounted(search)

    def told(self, limit_s=None):
        given.append(limit_s)
        return reasons(self, limit_s)

    reasons = mounting.Mounting.reasons
    monkeypatch.setattr(time, "monotonic", lambda: now() + late[0])
    monkeypatch.setattr(mounting, "mounted", slow)
    monkeypatch.setattr(mounting.Mounting, "reasons", told)
    main(["size", CAR, "--places", "--catalogue", two_modules, "--time-limit", "3"])
    assert given == [0.0]
