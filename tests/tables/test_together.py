"""Commands whose loads are to share one channel, against what the rows of the loads say."""

import pytest

from pdm_alloc.files.faults import InputError
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from tests.tables.good import write_files

COMMANDS = "command,together\nwinch,yes\n"


def fault_of(folder, **tables):
    """What is said of the tables, a line a fault."""
    files = {f"{name}.csv": text for name, text in tables.items()}
    try:
        read_vehicle(write_files(folder / "car", {name: text.encode() for name, text in files.items()}))
    except InputError as error:
        return str(error)
    return ""


@pytest.mark.parametrize(
    ("loads", "said"),
    [
        (
            "reel,winch,5,1,reversing,motor\nlamp,winch,1,1,,led\n",
            "loads, row 2, column needs: 'reversing' takes a bridge",
        ),
        ("reel,winch,5,1,reversing,motor\nbrake,winch,1,1,reversing,coil\n", ""),
        ("reel,winch,5,1,,motor\nlamp,winch,1,1,,led\n", ""),
    ],
)
def test_reversing(tmp_path, loads, said):
    found = fault_of(tmp_path, loads=f"load,command,running_a,count,needs,kind\n{loads}", commands=COMMANDS)
    assert found.startswith(said) and bool(found) == bool(said)


@pytest.mark.parametrize(("share", "count", "wrong"), [("no", 1, False), ("no", 2, True), ("yes", 2, False)])
def test_one_item_alone_is_together(tmp_path, share, count, wrong):
    loads = f"load,command,running_a,count,share,kind\nreel,winch,5,{count},{share},motor\n"
    assert bool(fault_of(tmp_path, loads=loads, commands=COMMANDS)) == wrong


@pytest.mark.parametrize(("channel", "said"), [("1", ""), ("2", "locked, row 3, column channel: '2' is not where")])
def test_locked_apart(tmp_path, channel, said):
    loads = "load,command,running_a,kind\nreel,winch,5,electronics\nlamp,winch,1,electronics\n"
    locked = f"load,module,channel\nreel,small,1\nlamp,small,{channel}\n"
    found = fault_of(tmp_path, loads=loads, commands=COMMANDS, locked=locked)
    assert found.startswith(said) and bool(found) == bool(said)
