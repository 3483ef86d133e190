"""The rows of the program, one tiny example for each kind of limit, readable by hand."""

import ast
import inspect
from dataclasses import replace
from fractions import Fraction

import pytest

from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Channel, Module, Unit, units_of
from pdm_alloc.domain.vehicle import PPM, Command, Load, Lock, State, Vehicle
from pdm_alloc.program import partition as rows
from pdm_alloc.program.partition import task_of
from pdm_alloc.program.solver import Program
from pdm_alloc.program.sums import Sums

INF = float("inf")
CHANNEL = Channel("1", 12_000, 60_000, 50.0)
LAMP = Load("lamp", "light", 3000, count=2, kind="heater", inrush_ma=3000, volt_exponent=1.0)
PUMP = Load("pump", "water", 5000, kind="heater", inrush_ma=9000, inrush_ms=30.0, volt_exponent=1.0)


def vehicle_of(*loads, **settings):
    names = dict.fromkeys(x.command for x in loads)
    state = State("night", 12.0, dict.fromkeys(names, PPM // 2))
    plain = Settings(lowest_ambient_c=20.0, headroom_pct=Fraction(0), module_headroom_pct=Fraction(0))
    return Vehicle("v", loads, tuple(map(Command, names)), (state,), replace(plain, **settings), states_given=True)


def module_of(*channels, **more):
    named = tuple(replace(c, name=str(n + 1)) for n, c in enumerate(channels))
    return Module("m", more.pop("total_ma", 99_000), more.pop("total_peak_ma", 99_000), named, **more)


def built(add, vehicle, *modules, with_sums=False, **more):
    """Columns as (command, counts, use, unit), and the rows one function adds."""
    task = task_of(vehicle, units_of(modules), CircuitBook(vehicle.settings.tolerance_loads))
    program = Program()
    if with_sums:
        more["sums"] = Sums(vehicle, task.units, task.types)
    for column in task.columns:
        program.variable(column.most)
    add(program, task, **more)
    classes = task.classes
    names = [(c.command, c.counts, classes[c.channel_class].use, classes[c.channel_class].unit) for c in task.columns]
    return names, program.rows


def every_item_once():
    """Two lamps: singly twice, or both at once."""
    names, found = built(rows._every_item_once, vehicle_of(LAMP), module_of(CHANNEL, CHANNEL))
    assert [n[1] for n in names] == [((0, 1),), ((0, 2),)]
    assert found == [({0: 1, 1: 2}, 2, 2)]


def capacities():
    """Three equal channels, two of which may be paralleled: singles and twice the pairs within three, one pair."""
    pair = replace(CHANNEL, pair="p")
    names, found = built(rows._capacities, vehicle_of(replace(LAMP, count=1)), module_of(CHANNEL, pair, pair))
    assert [n[2] for n in names] == ["single", "pair"]
    assert found == [({0: 1, 1: 2}, -INF, 3), ({1: 1}, -INF, 1)]


def spares():
    """One of three channels stays free."""
    vehicle = vehicle_of(replace(LAMP, count=1), spare_channels=1)
    _, found = built(rows._spares, vehicle, module_of(CHANNEL, CHANNEL, CHANNEL))
    assert found == [({0: 1}, -INF, 2)]


def locks():
    """A locked lamp is on its channel, which is a class of its own; it has no column elsewhere."""
    vehicle = replace(vehicle_of(replace(LAMP, count=1)), locked=(Lock("lamp", "m", "2"),))
    names, found = built(rows._locks, vehicle, module_of(CHANNEL, CHANNEL))
    assert len(names) == 1
    assert found == [({0: 1}, 1, INF)]

    # A lock on 1+2 is met by the two paralleled alone, one on 1 by the channel alone.
    pair = replace(CHANNEL, pair="p")
    for name, use in (("1+2", "pair"), ("2+1", "pair"), ("1", "single")):
        vehicle = replace(vehicle_of(replace(LAMP, count=1)), locked=(Lock("lamp", "m", name),))
        names, found = built(rows._locks, vehicle, module_of(pair, pair, CHANNEL))
        assert [n[2] for n in names] == [use]
        assert found == [({0: 1}, 1, INF)]


def banks():
    """Bank b: three lamps of 3 A, in halves of a milliamp, within 4 A, whatever their duty."""
    module = module_of(replace(CHANNEL, bank="b"), CHANNEL, bank_ma={"b": 4000})
    names, found = built(rows._banks, vehicle_of(replace(LAMP, count=3)), module, with_sums=True, grown={})
    assert [n[1][0][1] for n in names] == [1, 2, 3, 1, 2, 3]
    assert found == [({0: 6000, 1: 12000, 2: 18000}, -INF, 8000)]


def totals():
    """The whole module: every column counts, within 4 A; what comes and goes counts with its effective current."""
    _, found = built(
        rows._totals, vehicle_of(replace(LAMP, count=3)), module_of(CHANNEL, total_ma=4000), with_sums=True
    )
    assert found == [({0: 6000, 1: 12000, 2: 18000}, -INF, 8000)]
    vehicle = vehicle_of(replace(LAMP, count=3))
    vehicle = replace(vehicle, commands=(Command("light", on_s=10.0, cycle_s=40.0),))
    _, found = built(rows._totals, vehicle, module_of(CHANNEL, total_ma=4000, settle_s=1000.0), with_sums=True)
    # 3000 sqrt((1 - e^-0.01) / (1 - e^-0.04)) = 1511.3: 1512 mA an item
    assert found == [({0: 3024, 1: 6048, 2: 9072}, -INF, 8000)]


def peaks():
    """Two modules: the pump's inrush of 9 A beside a lamp that stays on, and the lamp's beside the pump, in 10 A."""
    small = module_of(CHANNEL, total_peak_ma=10_000)
    names, found = built(rows._peaks, vehicle_of(PUMP, replace(LAMP, count=1)), small, small, with_sums=True)
    assert [(n[0], n[3]) for n in names] == [("light", 0), ("light", 1), ("water", 0), ("water", 1)]
    assert found == [({0: 6000, 2: 18_000}, -INF, 20_000), ({1: 6000, 3: 18_000}, -INF, 20_000)]


EXAMPLES = [every_item_once, capacities, spares, locks, banks, totals, peaks]


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda e: e.__name__)
def test_example(example):
    """A row says what the limit says."""
    example()


def test_every_kind_of_row_has_its_example():
    """A limit without an example is a limit nobody can check by eye."""
    source = inspect.getsource(rows.partition)
    called = {n.id for n in ast.walk(ast.parse(source)) if isinstance(n, ast.Name) and n.id.startswith("_")}
    assert called - {"_MOST_STEPS", "_NONE"} == {f"_{e.__name__}" for e in EXAMPLES}


def test_largest_rises_are_added_whichever_they_are():
    """With two loads 20 % uncertain and one at once, the bank must bear the larger rise beside both currents."""
    uncertain = [
        replace(LAMP, name=n, command=n, count=1, tolerance_pct=Fraction(20), running_ma=r)
        for n, r in (("a", 3000), ("b", 2000))
    ]
    module = module_of(replace(CHANNEL, bank="b"), replace(CHANNEL, bank="b"), bank_ma={"b": 5400})
    vehicle = vehicle_of(*uncertain, tolerance_loads=1)
    _, found = built(rows._banks, vehicle, module, with_sums=True, grown={})
    (first, second, total) = found
    assert first[0] == {2: 1, 3: 1, 0: -2 * 600}
    assert second[0] == {2: 1, 4: 1, 1: -2 * 400}
    assert total == ({0: 6000, 1: 4000, 2: 1, 3: 1, 4: 1}, -INF, 10_800)


def test_only_what_can_be_on_together_is_in_a_row():
    """Dipped and main beam are never on together: the bank bears the larger, and each has no row with the other."""
    beams = [replace(LAMP, name=n, command=n, count=1, running_ma=r) for n, r in (("dipped", 3000), ("main", 4000))]
    conditions = {"dipped": "head and not stalk", "main": "head and stalk"}
    vehicle = replace(vehicle_of(*beams), commands=tuple(Command(n, c) for n, c in conditions.items()))
    module = module_of(replace(CHANNEL, bank="b"), replace(CHANNEL, bank="b"), bank_ma={"b": 3900})
    _, found = built(rows._banks, vehicle, module, with_sums=True, grown={})
    assert found == [({1: 8000}, -INF, 7800)]
    wide = module_of(replace(CHANNEL, bank="b"), replace(CHANNEL, bank="b"), bank_ma={"b": 4000})
    assert built(rows._banks, vehicle, wide, with_sums=True, grown={})[1] == []


def test_a_unit_is_what_a_module_becomes():
    """Two of one module are told apart by number."""
    assert [u.label for u in units_of([module_of(CHANNEL)] * 2)] == ["m #1", "m #2"]
    assert isinstance(units_of(module_of(CHANNEL))[0], Unit)
