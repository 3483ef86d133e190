"""Commands that a state has on although no setting of the inputs allows it."""

from pathlib import Path

import pytest

from pdm_alloc.cli import main
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from tests.tables.good import write_files

DATA = Path(__file__).parents[2] / "data"
_FITTED = {
    "size": ("--catalogue", str(DATA / "catalogue")),
    "allocate": ("--catalogue", str(DATA / "catalogue"), "--module", "middle-36"),
}


def said_of(folder, conditions, states):
    """What is said of a vehicle with these conditions, in the order of its commands, and this table of states."""
    loads = "".join(f"load of {name},{name},1,led\n" for name in conditions)
    commands = "".join(f"{name},{text}\n" for name, text in conditions.items())
    files = {
        "loads.csv": f"load,command,running_a,kind\n{loads}",
        "commands.csv": f"command,condition\n{commands}",
        "states.csv": states,
    }
    try:
        read_vehicle(write_files(folder / "car", files))
    except InputError as error:
        return [str(fault) for fault in error.faults]
    return []


def test_condition_that_contradicts_itself(tmp_path):
    """Said with the row and the state; a state that keeps the command off is not at fault."""
    conditions = {"lamp": "key and not key", "fan": "key"}
    assert said_of(tmp_path, conditions, "command,day,night\nfan,1,1\nlamp,,50 %\n") == [
        "states, row 3, column night: '0.5' can never be, as the condition 'key and not key' contradicts itself; "
        "leave this cell empty, or correct the condition of 'lamp' in the table commands"
    ]


def test_command_that_comes_with_one_kept_off(tmp_path):
    """Main beam is on with the head switch alone, so side lamps cannot be off; the dead horn has no part in it."""
    conditions = {"side": "head or side_switch", "main": "head and stalk", "horn": "button"}
    assert said_of(tmp_path, conditions, "command,night\nside,0\nmain,1\nhorn,\n") == [
        "states, row 3, column night: '1' can never be: whatever turns 'main' on also turns on 'side', which this "
        "state keeps off; give 'side' a duty in this state, or leave this cell empty, or correct the condition of "
        "'main' in the table commands"
    ]


def test_command_that_comes_with_one_of_two(tmp_path):
    """Either of two commands is on with it, whichever way the stalk is: both are named."""
    conditions = {"dipped": "head and not stalk", "main": "head and stalk", "fog": "head and fog_key"}
    (line,) = said_of(tmp_path, conditions, "command,rain\nfog,1\nmain,\ndipped,\n")
    assert line.startswith("states, row 2, column rain: '1' can never be: whatever turns 'fog' on also turns on ")
    assert "'dipped' or 'main', which" in line or "'main' or 'dipped', which" in line


def test_state_that_no_setting_brings_about(tmp_path):
    """A command that is on without an input cannot be kept off; said once, not for each command of the state."""
    conditions = {"lamp": "not dark_switch", "fan": "key", "spare": "dark_switch"}
    assert said_of(tmp_path, conditions, "command,camp,day\nlamp,,1\nfan,1,1\nspare,,1\n") == [
        "states, row 2, column camp: '0' cannot be: this state keeps 'lamp' and 'spare' off, but one of them is on "
        "whatever the inputs are; give one of them a duty in this state, or correct the condition in the table commands"
    ]


def test_command_on_without_inputs_needs_the_input_that_ends_it(tmp_path):
    """A lamp that is on until a switch is on can be kept off, alone or beside what does not need that switch off."""
    conditions = {"lamp": "not switch", "fan": "key", "bell": "key and not switch"}
    assert said_of(tmp_path / "a", conditions, "command,day\nlamp,\nfan,1\nbell,\n") == []
    (line,) = said_of(tmp_path / "b", conditions, "command,day\nlamp,\nfan,1\nbell,1\n")
    assert "row 4, column day: '1' can never be: whatever turns 'bell' on also turns on 'lamp'," in line


def test_states_left_alone(tmp_path):
    """Commands without conditions, and one that contradicts itself but is off in every state: nothing is said."""
    assert said_of(tmp_path / "a", {"lamp": "", "fan": ""}, "command,day\nlamp,1\nfan,\n") == []
    assert said_of(tmp_path / "b", {"lamp": "key and not key", "fan": "key"}, "command,day\nlamp,\nfan,1\n") == []


@pytest.mark.parametrize("inputs", [None, "input,kind\nkey,switch\n"])
def test_condition_that_contradicts_itself_without_a_table_of_states(inputs, tmp_path, capsys):
    """Everything may be on then, so a command that cannot be is a fault of its condition, read and from the shell."""
    files = {
        "loads.csv": "load,command,running_a,kind\nlamp,lamp,1,led\nfan,fan,2,fan\n",
        "commands.csv": "command,condition\nlamp,key and not key\nfan,key\n",
    } | ({} if inputs is None else {"inputs.csv": inputs})
    folder = write_files(tmp_path / "car", files)
    said = (
        "commands, row 2, column condition: 'key and not key' contradicts itself: no setting of the inputs turns "
        "'lamp' on; correct the condition"
    )
    with pytest.raises(InputError) as refused:
        read_vehicle(folder)
    assert [str(fault) for fault in refused.value.faults] == [said]
    for verb in ("check", "size", "allocate"):
        assert main([verb, str(folder), *_FITTED.get(verb, ())]) == 2
        assert said in capsys.readouterr().err
    assert sorted(path.name for path in folder.iterdir()) == sorted(files)


@pytest.mark.parametrize(
    ("idle", "line"),
    [
        ({}, None),
        (
            {"horn": "key and button"},
            "states, row 3: 'horn' is off in every state: 1 load counts in no bank, module or battery sum (load of "
            "horn); give it a duty in each state it may be on in; 'horn' could be on in day, night",
        ),
        (
            {"bell": "key or button", "fan": "not key and not door"},
            "states, row 3: 'bell' and 1 more command are off in every state: 2 loads count in no bank, module or "
            "battery sum (load of bell, load of fan); give them a duty in each state they may be on in; 'bell' could "
            "be on in day, night",
        ),
        (
            {"main": "light and stalk"},  # which turns on the lamp too, so only a state with both could have it
            "states, row 3: 'main' is off in every state: 1 load counts in no bank, module or battery sum (load of "
            "main); give it a duty in each state it may be on in; 'main' could be on in night",
        ),
    ],
)
def test_loads_that_are_off_in_every_state_are_named(idle, line, tmp_path):
    """They count in no sum, which nobody wants without knowing: one note, and states that let the first of them on."""
    conditions = {"lamp": "light", **idle}
    loads = "".join(f"load of {name},{name},1,led\n" for name in conditions)
    files = {
        "loads.csv": f"load,command,running_a,kind\n{loads}",
        "commands.csv": "command,condition\n" + "".join(f"{name},{text}\n" for name, text in conditions.items()),
        "states.csv": "command,day,night\nlamp,,1\n" + "".join(f"{name},,\n" for name in idle),
    }
    notes = []
    read_vehicle(write_files(tmp_path / "car", files), notes)
    assert [str(note) for note in notes] == ([line] if line else [])


@pytest.mark.parametrize("inputs", [False, True])
def test_command_that_can_never_be_on_is_refused_from_the_shell(inputs, tmp_path, capsys):
    """Whether by its own condition or by what the state keeps off, with a table of inputs and without one."""
    states = "command,day,night\nlamp,1,\nfan,1,1\nhorn,,1\n"
    files = {
        "loads.csv": "load,command,running_a,kind\nlamp,lamp,1,led\nfan,fan,2,fan\nhorn,horn,3,solenoid\n",
        "commands.csv": "command,condition\nlamp,key and not key\nfan,key\nhorn,key and lamp_key and not lamp_key\n",
        "states.csv": states,
    } | ({"inputs.csv": "input,kind\nkey,switch\nlamp_key,switch\n"} if inputs else {})
    assert main(["check", str(write_files(tmp_path / "car", files))]) == 2
    said = capsys.readouterr().err
    assert "states, row 2, column day: '1' can never be, as the condition 'key and not key' contradicts itself" in said
    assert "states, row 4, column night: '1' can never be" in said


@pytest.mark.parametrize("folder", sorted(path.name for path in DATA.iterdir() if (path / "states.csv").exists()))
def test_states_of_the_data_can_all_be(folder):
    """Every vehicle that comes along has states in which each of their commands can be on."""
    assert read_vehicle(DATA / folder).states


def test_conditions_are_not_evaluated_for_every_pair_of_commands(tmp_path, monkeypatch):
    """Two hundred commands behind switches of their own, in three states: a few evaluations of each condition."""
    from pdm_alloc.domain.condition import Condition

    asked = []
    evaluate = Condition.evaluate
    monkeypatch.setattr(Condition, "evaluate", lambda self, on: asked.append(self) or evaluate(self, on))
    conditions = {f"command_{n}": f"key and switch_{n} and night" for n in range(200)} | {"lamp": "not key"}
    rows = "".join(f"{name},1,0.5,1\n" for name in conditions if name != "lamp")
    assert said_of(tmp_path, conditions, f"command,a,b,c\n{rows}lamp,,1,1\n") == []
    assert len(asked) < 10 * len(conditions)
