"""The command line as a builder meets it: what it prints, what it writes, how it exits."""

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

import pdm_alloc as pa
from pdm_alloc.cli import main
from pdm_alloc.diagnose.explain import _STOPPED
from pdm_alloc.diagnose.shortfall import Shortfall
from pdm_alloc.domain.module import Unit
from pdm_alloc.printed import Progress
from tests.chain.small import write_small

DATA = Path(__file__).parent.parent.parent / "data"
COUPE = str(DATA / "rally_coupe")
VERDICTS = [
    "module",
    "verdict",
    "outcome",
    "channels_used",
    "channels",
    "spare",
    "tightest",
    "tightest_pct",
    "mass_g",
    "price",
]
PIN_MAP = ["module", "connector", "pins", "channel", "command", "loads", "running_a", "inrush_a", "limit_a"]


def said(capsys, *words):
    code = main([str(w) for w in words])
    printed = capsys.readouterr()
    return code, printed.out, printed.err


def test_help_loads_nothing_heavy():
    """Help must come at once: no pandas, no solver."""
    probe = (
        "import sys, pdm_alloc.cli as c\n"
        "try: c.main(['--help'])\n"
        "except SystemExit: pass\n"
        "print(sorted({'pandas', 'pulp', 'highspy', 'numpy', 'matplotlib'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    assert "usage: pdm-alloc" in done.stdout
    assert done.stdout.strip().endswith("[]")


def test_size_names_the_smallest_that_is_enough(capsys):
    """The main job on the demo: a verdict for each module, the smallest that is enough, why the smaller is not.

    README shows it word for word.
    """
    code, out, err = said(capsys, "size", COUPE)
    assert code == 0
    assert "is the smallest that is enough" in out
    assert "compact-31 is not enough: " in out
    assert "or give up: " in out
    assert err == ""
    readme = (DATA.parent / "README.md").read_text(encoding="utf-8")
    shown = readme.split("## What the first command says")[1].split("```")[1].removeprefix("text\n")
    assert [line.rstrip() for line in out.splitlines()] == [line.rstrip() for line in shown.splitlines()]


def test_size_for_machines(tmp_path):
    """JSON has the verdicts in the agreed columns and nothing else is printed, no greeting of the solver either."""
    command = [sys.executable, "-m", "pdm_alloc.cli", "size", write_small(tmp_path), "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    study = json.loads(done.stdout)
    assert [list(row) for row in study["verdicts"]] == [VERDICTS] * 2
    assert [(row["module"], row["outcome"]) for row in study["verdicts"]] == [
        ("two", "not enough"),
        ("six", "proven best"),
    ]
    assert study["smallest"] == "six"
    assert done.stderr == ""


def test_allocate_writes_the_pin_map(capsys, tmp_path):
    """The pin map on disk is the table that was printed, in the agreed columns."""
    code, out, _ = said(
        capsys, "allocate", COUPE, "--module", "middle-42", "--place", "boot", "--out", tmp_path / "out"
    )
    assert code == 0
    table = pd.read_csv(tmp_path / "out" / "pin_map.csv")
    assert list(table.columns)[: len(PIN_MAP)] == PIN_MAP
    assert any(column.startswith("x_") for column in table.columns)
    assert "proven best" in out


def test_dangers_are_said_and_the_rest_is_counted(capsys):
    """Who only reads the screen sees every danger; machines get all warnings."""
    _, out, _ = said(capsys, "allocate", COUPE, "--module", "middle-42", "--place", "boot")
    _, printed, _ = said(capsys, "allocate", COUPE, "--module", "middle-42", "--place", "boot", "--json")
    warnings = json.loads(printed)["warnings"]
    dangers = [row for row in warnings if row["severity"] == "danger"]
    assert dangers
    assert all(f"danger, {row['code']}: {row['sentence']} {row['remedy']}\n" in out for row in dangers)
    counted = {word: sum(row["severity"] == word for row in warnings) for word in ("warning", "note")}
    assert f"{counted['warning']} warnings and {counted['note']} notes: " in out


def test_not_enough_exits_with_1_and_writes_nothing(capsys, tmp_path):
    """The answer that a module is not enough is an answer, with its reason; there is nothing to wire by."""
    code, out, _ = said(capsys, "allocate", write_small(tmp_path), "--module", "two", "--out", tmp_path / "out")
    assert code == 1
    assert "two is not enough: " in out
    assert "give up, set 1" in out
    assert not (tmp_path / "out").exists()


def test_unknown_module_is_unusable_input(capsys):
    """A misspelt module is named with the nearest one there is."""
    code, _, err = said(capsys, "allocate", COUPE, "--module", "midle-42")
    assert code == 2
    assert "midle-42" in err
    assert "middle-42" in err
    assert "Traceback" not in err


def test_no_time_is_no_answer(capsys):
    """Without time there is neither an allocation nor a refusal."""
    code, _, err = said(capsys, "allocate", COUPE, "--module", "middle-42", "--time-limit", "0")
    assert code == 3
    assert "no answer in time" in err


def test_a_study_without_a_terminal_says_where_it_is(capsys):
    """Five hundred modules would else print nothing for minutes: a line now and then, none for machines."""
    with Progress(2, quiet=False, every_s=0.0) as step:
        step("first")
        step("second")
        step("first and second")
    assert capsys.readouterr().err.splitlines() == [
        "pdm-alloc: module 1 of 2: first",
        "pdm-alloc: module 2 of 2: second",
        "pdm-alloc: first and second",
    ]
    with Progress(500, quiet=True, every_s=0.0) as step:
        step("first")
    with Progress(500, quiet=False) as step:
        step("at once")
    assert capsys.readouterr().err == ""


def test_stopped_explanations_do_not_say_that_nothing_was_found(capsys):
    """Without time nothing is known of the limits, which is not the same as that no one or two of them are short."""
    vehicle, catalogue = pa.read_vehicle(COUPE), pa.read_catalogue(DATA / "catalogue")
    with pytest.raises(pa.NotEnough) as refused:
        pa.allocate(vehicle, catalogue["compact-31"])
    stopped = pa.explain(refused.value, stop=lambda: True)
    assert "no one or two" not in stopped.why()
    assert replace(stopped, growth=Shortfall()).why() == _STOPPED
    assert replace(stopped, growth=Shortfall(), is_stopped=False).why() != _STOPPED


@pytest.mark.parametrize("text", ["soon", "-1", "nan", "1e99"])
def test_a_time_that_is_none_is_refused(capsys, text):
    """The clock takes a number of seconds."""
    with pytest.raises(SystemExit) as stop:
        main(["size", COUPE, f"--time-limit={text}"])
    assert stop.value.code == 2


def test_new_tables_can_be_checked_at_once(capsys, tmp_path):
    """Blank tables with their example rows are a vehicle already; a second time would overwrite and is refused."""
    folder = tmp_path / "mine"
    assert said(capsys, "new", folder)[0] == 0
    assert said(capsys, "check", folder)[0] == 0
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    assert said(capsys, "new", folder)[0] == 2
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before


def test_missing_vehicle(capsys, tmp_path):
    """A path with nothing at its end is said in one line."""
    code, _, err = said(capsys, "check", tmp_path / "nowhere")
    assert code == 2
    assert "nowhere" in err
    assert len(err.strip().splitlines()) == 1


def test_faults_of_vehicle_and_catalogue_come_together(capsys, tmp_path):
    """Whoever has two tables to mend should be told of both at once."""
    (tmp_path / "van").mkdir()
    (tmp_path / "van" / "loads.csv").write_text("load,command,running_a,kind\nlamp,light,much,electronics\n")
    (tmp_path / "catalogue").mkdir()
    (tmp_path / "catalogue" / "modules.csv").write_text("module,total_a,total_peak_a\nm,much,100\n")
    (tmp_path / "catalogue" / "channels.csv").write_text("module,channel,continuous_a,peak_a,peak_ms\nm,1,10,60,50\n")
    code, _, err = said(capsys, "size", tmp_path / "van")
    assert code == 2
    assert "loads, row 2, column running_a" in err
    assert "modules, row 2, column total_a" in err


@pytest.mark.parametrize("vehicle", ["rally_coupe", "expedition_truck"])
def test_check_counts_what_was_read(capsys, vehicle):
    """Check tells what it understood, so that a builder sees a missing row."""
    code, out, _ = said(capsys, "check", DATA / vehicle)
    assert code == 0
    assert "loads" in out
    assert "commands" in out


VAN = {
    "loads": "load,command,running_a,kind,place\npump,fuel,6,motor,rear\necu,run,4,electronics,rear\n"
    "horn,horn,3,coil,tank\n",
    "places": "place,x_m,y_m,compartment,mount,contains\nfront,0,0,front,yes,battery\nrear,3,0,rear,yes,\n"
    "tank,4,0,tank,yes,fuel\n",
    "routes": "from,to,length_m\nfront,rear,\nrear,tank,\n",
    "modules": "module,total_a,total_peak_a,mass_g\nsix,60,600,400\n",
    "channels": "module,channel,continuous_a,peak_a,peak_ms,max_wire_mm2\n"
    + "".join(f"six,{n},12,120,60,4\n" for n in range(1, 7)),
}


@pytest.fixture
def van(tmp_path):
    """A van with three mounting places, the heaviest loads at the tank, and a catalogue of one module."""
    names = {"van": ("loads", "places", "routes"), "catalogue": ("modules", "channels")}
    for folder, tables in names.items():
        (tmp_path / folder).mkdir()
        for name in tables:
            (tmp_path / folder / f"{name}.csv").write_text(VAN[name])
    (tmp_path / "van" / "settings.toml").write_text('battery_place = "front"\nspare_channels = 0\n')
    return tmp_path / "van"


def test_enough_if_is_no_enough_for_scripts(tmp_path, capsys):
    """`size` and `allocate` exit with 1 where a guess at its top is not borne; the verdict says which, in words too."""
    tables = {
        "van/loads": "load,command,running_a,kind,tolerance_pct,volt_exponent\ncompressor,cool,16,electronics,15,0\n",
        "catalogue/modules": "module,total_a,total_peak_a\none,60,300\n",
        "catalogue/channels": "module,channel,continuous_a,peak_a,peak_ms\none,1,22.5,90,50\n",
    }
    for name, text in tables.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / f"{name}.csv").write_text(text)
    code, out, _ = said(capsys, "size", tmp_path / "van")
    assert code == 1 and "one is enough if: compressor: 18.4 A if the 15 % guess is at its top" in out
    code, out, _ = said(capsys, "size", tmp_path / "van", "--json")
    assert code == 1 and [row["verdict"] for row in json.loads(out)["verdicts"]] == ["enough if"]
    code, out, _ = said(capsys, "allocate", tmp_path / "van", "--module", "one")
    assert code == 1 and "at 16 A it is fine: measure it" in out


def test_not_enough_for_machines(van, capsys):
    """JSON of a refusal says which kind of limit, by how much, and what could be given up."""
    channels = VAN["channels"].splitlines(keepends=True)[:3]
    (van.parent / "catalogue" / "channels.csv").write_text("".join(channels))
    loads = VAN["loads"].replace("kind,place", "kind,importance,place").replace("motor,", "motor,needed,")
    loads = loads.replace("electronics,", "electronics,needed,").replace("coil,", "coil,comfort,")
    (van / "loads.csv").write_text(loads)
    code, out, _ = said(capsys, "allocate", van, "--module", "six", "--place", "front", "--json")
    refusal = json.loads(out)
    assert code == 1
    assert refusal["outcome"] == "not enough"
    assert (refusal["shortfall"][0]["kind"], refusal["shortfall"][0]["short"]) == ("channels", 1)
    assert [(row["rank"], row["subject"]) for row in refusal["concessions"]] == [(1, "horn"), (2, "six #2")]


def test_a_place_that_no_route_leads_to_is_not_called_lightest_without_a_word(van, capsys):
    """Wires of unknown length weigh nothing, so the place without routes was the lightest: said."""
    assert "relied" not in said(capsys, "allocate", van, "--module", "six")[2]
    assert "relied" not in said(capsys, "size", van, "--places", "--objective", "mass")[1]
    (van / "routes.csv").unlink()
    err = said(capsys, "allocate", van, "--module", "six")[2]
    assert "the wires of 1 of 3 loads have no known length there and count nothing; give routes" in err
    out = said(capsys, "size", van, "--places", "--objective", "mass")[1]
    assert "Not to be relied on: the wires of 1 of 3 loads have no known length" in out


def test_without_a_place_the_lightest_is_taken(van, capsys):
    """Allocating without a place takes the lightest harness away from the fuel and says so once, on standard error."""
    code, _, err = said(capsys, "allocate", van, "--module", "six")
    assert code == 0
    taken = err.partition("six at ")[2].partition(",")[0]
    assert err.count(f"six at {taken}, where the harness is lightest (of front, rear); --place names another") == 1
    masses = {}
    for place in ("front", "rear"):
        unit = Unit("six", pa.read_catalogue(van.parent / "catalogue")["six"], place)
        allocation = pa.allocate(pa.read_vehicle(van), unit)
        masses[place] = allocation.wires["mass_g"].sum() + allocation.feeds["mass_g"].sum()
    assert taken == min(masses, key=masses.get)


def test_where_it_is_mounted_is_told_to_machines(van, capsys):
    """JSON names the place, the one given or the one chosen."""
    _, out, _ = said(capsys, "allocate", van, "--module", "six", "--place", "tank", "--json")
    assert json.loads(out)["modules"] == [{"module": "six", "place": "tank"}]


@pytest.mark.once
def test_places_beside_fuel_are_never_recommended_in_silence(van, capsys):
    """Where the tank's compartment is the only place, the table, the sentence below it and a danger say so."""
    places = VAN["places"].replace("front,0,0,front,yes", "front,0,0,front,no").replace("rear,yes", "rear,no")
    (van / "places.csv").write_text(places)
    priced = VAN["modules"].replace("mass_g", "mass_g,price").replace(",400", ",400,100")
    (van.parent / "catalogue" / "modules.csv").write_text(priced)
    code, out, _ = said(capsys, "size", van, "--places")
    assert code == 0 and "six at tank" in out
    assert out.count("in one compartment with fuel") >= 3
    assert "Careful: this is in one compartment with fuel; no choice outside one is enough." in out
    assert "danger, C19: six is" in out
    code, out, _ = said(capsys, "allocate", van, "--module", "six")
    assert code == 0 and "danger, C19: six is in one compartment with fuel, tank." in out


def test_enough_at_no_place_is_said(van, capsys):
    """Where drop rules out every place it is allocated without one, and the line says what stays unjudged."""
    text = VAN["loads"].replace("place\n", "place,max_drop_pct\n").replace("tank\n", "tank,0.01\n")
    (van / "loads.csv").write_text(text.replace("rear\n", "rear,0.01\n"))
    code, _, err = said(capsys, "allocate", van, "--module", "six")
    assert code == 0
    assert err.count("at none of its places (front, rear, tank) is it known to be enough") == 1


def test_without_a_place_one_note_asks_for_it(van):
    """From Python nothing is chosen: one note for all loads names what has no place, and the places there are."""
    allocation = pa.allocate(pa.read_vehicle(van), pa.read_catalogue(van.parent / "catalogue")["six"])
    [note] = allocation.warnings[allocation.warnings.code == "C11"].itertuples()
    assert note.sentence.endswith("it is not said where six is mounted.")
    assert note.remedy == "Give its place: front, rear, tank."
