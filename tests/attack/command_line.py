"""Random vehicles with both sides through the command line: codes, tracebacks, what is written, the clock.

    python -m tests.attack.command_line [--first 20000] [--vehicles 40]

prints what is wrong, the longest beyond its limit, and how often each verb ended with each code.
"""

import argparse
import contextlib
import io
import random
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path

from pdm_alloc.cli import main
from pdm_alloc.domain.module import Box, Keypad, Message, Signal, SignalPin
from pdm_alloc.files.write_tables import write_catalogue, write_vehicle
from tests.chain.chain import made, several

__all__ = ["Ended", "commands", "run"]

CODES = (0, 1, 2, 3)
KINDS = ("voltage", "resistance", "switch_to_ground", "frequency", "frequency_pair", "low_side", "full_bridge", "bus")
JUNK = ("", "?", "-1", "1e999", "nan", "1,440", "=1+1", "\u200b", "yes", "9" * 40, "x" * 500)


@dataclass(frozen=True)
class Ended:
    """How one command ended: its words, exit code, processor time beyond what its limit allows (s), what is wrong."""

    words: tuple[str, ...]
    code: int
    beyond_s: float
    wrong: str


def _pin(chance, n):
    words = chance.choice(("voltage_input", "voltage_input resistance_input", "switch_to_ground", "low_side pwm"))
    return SignalPin(str(n), "A", frozenset(words.split()), 2000 if "low_side" in words else None)


def _pins(chance):
    pins = [_pin(chance, n) for n in range(chance.randint(2, 14))]
    pins += [SignalPin(f"f{side}", "B", frozenset(["frequency_pair", "frequency"]), None, "f") for side in "+-"]
    pins += [SignalPin(f"h{n}", "C", frozenset(["half_bridge", "low_side"]), 4000) for n in range(chance.randint(0, 3))]
    pins += [SignalPin(f"b{side}", "B", frozenset(["bus"]), None, "b") for side in "hl"]
    supplies = (("supply_5v", 100), ("sensor_ground", 100))
    return tuple(pins + [SignalPin(word, "D", frozenset([word]), limit) for word, limit in supplies])


def _signal(chance, n, places):
    kind = chance.choice(KINDS)
    needs = {"supply_5v", "sensor_ground"} if kind in ("voltage", "frequency") and chance.random() < 0.6 else set()
    needs |= {"spare"} if chance.random() < 0.1 else set()
    current = chance.choice((200, 900, 3000)) if kind in ("low_side", "full_bridge") else 10
    place = chance.choice([*places, None]) if places else None
    return Signal(f"signal {n}", kind, chance.choice((1, 1, 2)), place, needs=frozenset(needs), current_ma=current)


def _signal_side(chance, vehicle, catalogue):
    """Both with signals, messages, keypads and control units; every place a mount, every module with price and mass."""
    places = tuple(replace(place, mount=True) for place in vehicle.places)
    names = [place.name for place in places]
    modules = [replace(m, price=m.price or 100.0 + n, mass_g=m.mass_g or 500.0) for n, m in enumerate(catalogue)]
    inputs = tuple(replace(i, read_by=_reader(chance, i)) for i in vehicle.inputs)
    signals = tuple(_signal(chance, n, names) for n in range(chance.choice((0, 1, 3, 8))))
    messages = tuple(Message(f"message {n}", 8, 10_000 * (n + 1), 100 + n) for n in range(chance.randint(0, 3)))
    roles = ["control_unit"] * chance.choice((0, 1, 2, 2)) + ["expander"] * chance.choice((0, 1))
    boxes = tuple(Box(f"box {n}", _pins(chance), role, 300.0, 100.0 + n) for n, role in enumerate(roles))
    keypads = tuple(Keypad(f"keypad {n}", n, price=90.0) for n in chance.sample((2, 4, 8), chance.randint(0, 2)))
    car = replace(vehicle, places=places, inputs=inputs, signals=signals, messages=messages)
    return car, replace(catalogue, modules=tuple(modules), boxes=boxes, keypads=keypads)


def _reader(chance, each):
    readers = {"switch": ("module", "control_unit", "keypad"), "analog": ("module", "control_unit"), "bus": ()}
    return chance.choice((None, *readers[each.kind]))


def _damaged(chance, folder):
    """One cell of one table replaced by something odd."""
    path = chance.choice(sorted(folder.glob("*.csv")))
    lines = path.read_text(encoding="utf-8-sig").splitlines()
    at = chance.randrange(len(lines))
    cells = lines[at].split(",")
    cells[chance.randrange(len(cells))] = chance.choice(JUNK)
    path.write_text("\n".join([*lines[:at], ",".join(cells), *lines[at + 1 :]]) + "\n", encoding="utf-8")


def commands(seed: int, folder: Path) -> tuple[list[list[str]], int]:
    """Commands on one random vehicle, and how many boxes each limit is for; its tables are written to a folder."""
    chance = random.Random(f"command line {seed}")
    (folder / "made").mkdir()
    one = made(seed, folder / "made")
    car, catalogue = _signal_side(chance, one.vehicle, one.catalogue)
    paths = write_vehicle(car, folder / "car"), write_catalogue(catalogue, folder / "catalogue")
    if chance.random() < 0.2:
        _damaged(chance, Path(chance.choice(paths)))
    where = [str(paths[0]), f"--catalogue={paths[1]}"]
    limit = f"--time-limit={chance.choice(('0', '0.5', '1', '2'))}"
    json = ["--json"] if seed % 2 else []
    modules = [f"--module={name}" for name in several(one)]
    objective = f"--objective={chance.choice(('price', 'mass', 'front'))}"
    verbs = [
        ["check", *where, *json],
        ["size", *where, limit, *json],
        ["size", *where, limit, "--why", *json],
        ["size", *where, limit, "--places", objective, *json],
        ["allocate", *where, limit, *modules, f"--out={folder / 'out'}", *json],
    ]
    return verbs, len(catalogue) + sum(box.role == "control_unit" for box in catalogue.boxes)


def _ended(words, boxes, out) -> Ended:
    said, told = io.StringIO(), io.StringIO()
    before = time.process_time()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(told):
        code = main(words)
    took = time.process_time() - before
    limit = next((float(w.partition("=")[2]) for w in words if w.startswith("--time-limit")), 0)
    limit *= boxes if words[0] == "size" else 1
    wrong = "" if code in CODES else f"code {code}"
    wrong += " traceback" if "Traceback" in told.getvalue() + said.getvalue() else ""
    wrong += " written" if code == 2 and out.exists() else ""
    wrong += " nothing said" if not (said.getvalue() or told.getvalue()).strip() else ""
    beyond = took - 1.2 * limit - 2 if words[0] != "allocate" else -1.0  # documents take their time besides
    return Ended(tuple(words), code, beyond, wrong + (f": {told.getvalue()[-300:]}" if wrong else ""))


def run(seed: int, folder: Path) -> list[Ended]:
    """All commands of one vehicle."""
    words, boxes = commands(seed, folder)
    return [_ended(each, boxes, folder / "out") for each in words]


def _main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--first", type=int, default=20_000)
    parser.add_argument("--vehicles", type=int, default=40)
    options = parser.parse_args()
    seen: Counter = Counter()
    for seed in range(options.first, options.first + options.vehicles):
        with tempfile.TemporaryDirectory() as folder:
            for each in run(seed, Path(folder)):
                verb = " ".join([each.words[0], *(w for w in each.words if w in ("--why", "--places"))])
                seen[verb, each.code] += 1
                if each.wrong or each.beyond_s > 0:
                    print(seed, f"{each.beyond_s:+.1f} s", each.wrong, " ".join(each.words), flush=True)
    for (verb, code), times in sorted(seen.items()):
        print(f"{verb:16} code {code}: {times}")
    print(f"{sum(seen.values())} commands")


if __name__ == "__main__":
    _main()
