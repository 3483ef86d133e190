"""The commissioning sheet: complete, right, and dead circuits first."""

from dataclasses import replace

import pytest

from pdm_alloc.domain.condition import parse_condition
from pdm_alloc.domain.vehicle import Command
from pdm_alloc.electrics.current import running_at_voltage_ma
from pdm_alloc.export.commissioning import FILLED, commissioning, dead_checks, expected_current, trials
from pdm_alloc.result.link_tables import always_on
from tests.export.made_up import solved

DEMOS = [("rally_coupe", "middle-36"), ("expedition_truck", "compact-31")]


@pytest.fixture(scope="module", params=DEMOS, ids=lambda demo: demo[0])
def made(request):
    """A demonstration allocation and its sheet."""
    allocation = solved(*request.param)
    return allocation, commissioning(allocation)


def test_every_channel_is_tried_on_and_off(made):
    """Each circuit has a step with the channel on and one with it off, and its current is measured once."""
    allocation, sheet = made
    for circuit in allocation.circuits:
        rows = sheet[(sheet.module == circuit.unit) & (sheet.channel == circuit.channel)]
        assert set(rows.expected) == {"on", "off"}
        assert rows.expected_a.notna().sum() == 1
        assert rows[rows.expected_a.notna()].expected.tolist() == ["on"]
    assert len(sheet.groupby(["module", "channel"])) == len(allocation.circuits)


def test_steps_agree_with_the_conditions(made):
    """What is expected in each step is what the condition gives for the inputs that are set."""
    allocation, sheet = made
    for row in sheet.itertuples():
        condition = parse_condition(allocation.vehicle.command(row.command).condition)
        on = {part.removesuffix(" on") for part in row.set.split(", ") if part.endswith(" on")}
        assert condition.evaluate(on) == (row.expected == "on")


def test_expected_currents_are_those_of_the_loads(made):
    """The current expected is the sum over the items at the reference voltage, within its limits."""
    allocation, sheet = made
    by_place = {(c.unit, c.channel): c for c in allocation.circuits}
    for row in sheet[sheet.expected_a.notna()].itertuples():
        items = by_place[row.module, row.channel].items
        total = sum(allocation.vehicle.load(name).running_ma for name, _ in items)
        assert row.expected_a == total / 1000
        assert row.least_a <= 0.9 * row.expected_a
        assert row.most_a >= 1.1 * row.expected_a or row.most_a < row.trip_a


def test_what_may_trip_a_channel_is_never_accepted(made):
    """No row accepts a current at its trip setting: three of 34 did, when a draw was set against one voltage only."""
    _, sheet = made
    rows = sheet[sheet.expected_a.notna()]
    single = rows[~rows.channel.str.contains("+", regex=False)]
    assert (single.expected_a < single.trip_a).all() and (single.most_a < single.trip_a).all()


def test_trip_settings_are_those_to_enter(made):
    """Trip setting and inrush window stand beside each channel as in the channel settings."""
    allocation, sheet = made
    wanted = {(row.module, row.channel): (row.trip_a, row.window_ms) for row in allocation.settings.itertuples()}
    for row in sheet.itertuples():
        assert (row.trip_a, row.window_ms) == wanted[row.module, row.channel]


def test_space_to_write_is_empty(made):
    """Nothing is filled in beforehand but remarks."""
    _, sheet = made
    assert sheet[[name for name in FILLED if name != "remark"]].isna().all().all()


def test_limits_follow_tolerance_and_voltage():
    """A load that may be off by 15 % has wider limits than one that is known; at another voltage all of them move."""
    allocation = solved(*DEMOS[0])
    vehicle = allocation.vehicle
    for circuit in allocation.circuits:
        for volt in (12.0, 14.0):
            found = expected_current(allocation, circuit, volt)
            loads = [vehicle.load(name) for name, _ in circuit.items]
            middle = sum(running_at_voltage_ma(x.running_ma, x.volt_exponent, volt, 12.0) for x in loads)
            assert found.expected_ma == middle
            off = sum(float(x.running_ma * max(x.tolerance_pct, 10)) / 100 for x in loads)
            off *= middle / sum(x.running_ma for x in loads)
            assert middle - found.least_ma == pytest.approx(off + 50, abs=1.01) or found.least_ma == 0
            assert found.most_ma <= middle + off + 51.01


def test_starter_is_tried_with_the_clutch_released():
    """The sheet asks for the starter to stay off with everything set but the clutch."""
    sheet = commissioning(solved(*DEMOS[0]))
    rows = sheet[sheet.command == "starter"]
    released = rows[rows.set.str.contains("clutch off") & rows.set.str.contains("start_button on")]
    assert released.expected.tolist() == ["off"]


@pytest.mark.parametrize("condition", ["", "a or not a", " or ".join(f"i{n}" for n in range(30))])
def test_command_without_steps_is_tried_off_and_on(condition):
    """No condition, one that never changes, or one too large: the command itself is switched."""
    made = trials(Command("horn", condition))
    assert [(trial.set, trial.on) for trial in made] == [("horn off", False), ("horn on", True)]


def test_remarks_for_what_flashes_dims_or_turns(made):
    """A flashing lamp is read while lit, a dimmed load at full duty, a reversing motor in both directions."""
    allocation, sheet = made
    words = {"flash": "read while lit", "pwm": "read at full duty", "steady": ""}
    rows = sheet[sheet.expected_a.notna()]
    for circuit, row in zip(allocation.circuits, rows.itertuples(), strict=True):
        expected = words[allocation.vehicle.command(circuit.command).action]
        assert row.remark == ("both directions" if circuit.use == "bridge" else expected)


def test_dead_checks_name_connectors_spares_and_what_moves(made):
    """The list before the first power names every connector, every spare channel and every load that will move."""
    allocation, _ = made
    checks = dead_checks(allocation)
    text = "\n".join(checks.check)
    assert checks.number.tolist() == list(range(1, len(checks) + 1))
    assert "Battery disconnected" in checks.check[0]
    for unit in allocation.units:
        for connector in {channel.connector for channel in unit.module.channels}:
            assert f"{unit.label}, connector {connector}" in text
    for row in allocation.spare.itertuples():
        assert f"{row.module} {row.channel}" in text
    (moving,) = [check for check in checks.check if "clear of what will move" in check]
    for load in allocation.vehicle.loads:
        assert (load.name in moving) == (load.kind in ("motor", "fan", "solenoid")) or load.kind == "filament"


def test_first_power_up_leaves_out_what_is_always_on(made):
    """A fridge that no switch turns on would blow the small fuse: so it is unplugged, by name."""
    allocation = made[0]
    (plain,) = [check for check in dead_checks(allocation).check if check.startswith("First power-up")]
    assert plain.endswith("all commands off") == (not always_on(allocation.vehicle))
    load = allocation.vehicle.loads[0]
    commands = tuple(
        replace(c, condition="not kill") if c.name == load.command else c for c in allocation.vehicle.commands
    )
    vehicle = replace(allocation.vehicle, commands=commands)
    (named,) = [c for c in dead_checks(replace(allocation, vehicle=vehicle)).check if c.startswith("First power-up")]
    fed = [x.name for x in vehicle.loads if x.command == load.command]
    assert all(name in named for name in fed) and "unplugged, as they are on with every input off" in named


def test_dead_checks_measure_what_would_fail(made):
    """A ground of 0.1 ohm costs a load of 10 A a whole volt: grounds are judged by drop under load, 0.1 V at most.

    A filament is nearly a dead short when cold, so shorts are tested with loads unplugged; an isolator that leaves the
    alternator connected stops nothing, so it is opened with the engine running (common practice, no source).
    """
    checks = dead_checks(made[0])
    must_be = dict(zip(checks.check, checks.must_be, strict=True))
    (ground,) = [check for check in must_be if "Ground of every load" in check]
    assert must_be[ground] == "at most 0.1 V" and "switched on" in ground
    assert not any("ohm" in words for words in must_be.values())
    shorts = [check for check in must_be if "to its neighbours" in check]
    assert shorts and all("loads unplugged" in check and must_be[check] == "no continuity" for check in shorts)
    (isolator,) = [check for check in must_be if check.startswith("Isolator")]
    assert "engine running" in isolator and "alternator" in isolator
