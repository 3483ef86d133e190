"""The switches in a real browser: pressed by mouse and by keyboard alone until the starter runs."""

import re
from datetime import datetime, timedelta
from types import SimpleNamespace

import pandas as pd
import pytest
from playwright.sync_api import expect

import pdm_alloc as pa
from pdm_alloc.domain.module import Channel, Module
from pdm_alloc.panel.switches import Switches
from tests.browser.stage import Stage

STEP_MS = 1900  # a little longer than a step stays in sight


def car():
    """A starter, two lamps, an indicator, a fan that is dimmed and a horn that has no condition."""
    commands = {
        "command": ["starter", "dipped beam", "main beam", "indicate left", "cooling fan", "horn"],
        "condition": [
            "master and start_button and clutch",
            "head_switch and not main_stalk",
            "head_switch and main_stalk",
            "left_stalk",
            "coolant_hot",
            None,
        ],
        "action": ["steady", "steady", "steady", "flash", "pwm", "steady"],
        "on_s": [None, None, None, 0.1, None, None],
        "cycle_s": [None, None, None, 0.2, None, None],
    }
    loads = {
        "load": ["starter relay", "dipped lamp", "main lamp", "indicator", "fan", "horn"],
        "command": commands["command"],
        "running_a": [2, 5, 6, 2, 12, 4],
        "kind": ["electronics", "filament", "filament", "led", "fan", "coil"],
    }
    inputs = {
        "input": ["master", "start_button", "clutch", "head_switch", "main_stalk", "left_stalk", "coolant_hot"],
        "kind": ["switch", "switch", "switch", "switch", "bus", "bus", "analog"],
        "place": ["dash", "dash", "column", "dash", "dash", "dash", "dash"],
        "read_by": [None, None, None, "keypad", "keypad", "keypad", None],
    }
    states = {"command": commands["command"], "ready": [0, 1, 1, 1, 1, 1], "cranking": [1, 0, 0, 0, 1, 1]}
    supply = {"state": ["ready", "cranking"], "supply_v": [12.4, 9.6], "charging_a": [0, 0], "other_a": [0, 180]}
    return pa.vehicle(
        loads=pd.DataFrame(loads),
        commands=pd.DataFrame(commands),
        inputs=pd.DataFrame(inputs),
        states=pd.DataFrame(states),
        supply=pd.DataFrame(supply),
        places=pd.DataFrame({"place": ["dash", "column"]}),
        settings={"battery_ah": 60},
        name="car",
    )


@pytest.fixture(scope="module")
def answer():
    vehicle = car()
    channels = tuple(
        Channel(str(n), 25_000, 150_000, 200.0, pins=(f"p{n}",), bank="A", features=frozenset({"pwm"}))
        for n in range(1, 9)
    )
    allocation = pa.allocate(vehicle, Module("box", 60_000, 400_000, channels, {"A": 60_000}))
    return SimpleNamespace(result=allocation, allocation=allocation, question=SimpleNamespace(vehicle=vehicle))


@pytest.fixture
def stage(page, answer):
    switches = Switches()
    switches.show(answer)
    stage = Stage(page, switches.box, switches.act)
    stage.switches = switches
    yield stage
    stage.end()


def control(page, name):
    return page.locator(f"[data-input='{name}']")


def lamp(page, command):
    return page.locator(f".pdm-sw-lamp[data-command='{command}']")


def test_pressing_until_the_starter_runs(stage, page):
    """By mouse: what holds the starter off is said after every press, until it lights up and its current counts."""
    off = page.locator(".pdm-sw-off")
    expect(off).to_contain_text("starter: master is off, start button is not pressed and clutch is not pressed")
    control(page, "master").click()
    control(page, "start_button").click()
    expect(off).to_contain_text("starter: clutch is not pressed")
    expect(lamp(page, "starter")).to_contain_text("off")
    control(page, "clutch").click()
    expect(lamp(page, "starter")).to_have_class("pdm-sw-lamp pdm-sw-on")
    expect(lamp(page, "starter")).to_contain_text("2 A")
    expect(off).not_to_contain_text("starter:")
    expect(page.locator(".pdm-sw-press")).to_contain_text("clutch on: switches on starter. Inrush: channel")
    expect(page.locator("[data-bar='modules']")).to_contain_text("2 A")
    assert stage.switches.result.on == {"starter"}


def test_by_keyboard_alone(stage, page):
    """Tab goes from group to group, arrows within one, Space presses; the notebook around it hears none of it."""
    page.evaluate("() => document.addEventListener('keydown', (ev) => { (window.leaked ||= []).push(ev.key); })")
    page.locator(".pdm-sw-next").focus()
    for name in ("clutch", "master", "start_button"):
        walk_to(page, name)
        page.keyboard.press("Space")
        expect(control(page, name)).to_have_attribute("aria-checked", "true")
        expect(control(page, name)).to_be_focused()
    expect(lamp(page, "starter")).to_contain_text("2 A")
    walk_to(page, "coolant_hot")
    page.keyboard.press("ArrowUp")
    slider = page.get_by_role("slider", name="coolant hot")
    expect(slider).to_have_attribute("aria-valuetext", "on")
    page.keyboard.press("ArrowDown")
    expect(slider).to_have_attribute("aria-valuetext", "off")
    control(page, "coolant_hot").evaluate(TWICE_UP)  # a key held down repeats before the answer to the first is there
    stage.settles()
    expect(slider).to_have_attribute("aria-valuetext", "on")
    assert not page.evaluate("window.leaked")


TWICE_UP = """(slider) => {
  for (let n = 0; n < 2; n++) slider.dispatchEvent(new KeyboardEvent('keydown', {key: 'ArrowUp', bubbles: true}));
}"""


def walk_to(page, name):
    """Tab to its group, arrows to the control."""
    at = control(page, name)
    for _ in range(6):
        if at.evaluate("e => e.parentElement.contains(document.activeElement)"):
            break
        page.keyboard.press("Tab")
    page.keyboard.press("Home")
    for _ in range(8):
        if at.evaluate("e => e === document.activeElement"):
            return
        page.keyboard.press("ArrowRight")
    raise AssertionError(f"{name} is not reached with keys")


def test_controls_are_those_of_dash_and_keypad(stage, page):
    """Keys of a keypad in a group of their own, the analog input a slider, a command without condition a switch."""
    pad = page.get_by_role("group", name="dash: keypad")
    expect(pad.get_by_role("switch")).to_have_count(3)
    expect(page.get_by_role("group", name="column").get_by_role("switch")).to_have_count(1)
    expect(page.get_by_role("slider", name="coolant hot")).to_have_attribute("aria-valuetext", "off")
    page.get_by_role("group", name="Commands without a condition").get_by_role("switch", name="horn").click()
    expect(lamp(page, "horn")).to_contain_text("4 A")
    expect(page.locator(".pdm-sw-model")).to_contain_text("A model of the conditions")


def test_flashing_and_dimming(stage, page):
    """A flasher flashes, never faster than twice a second, and stands still for who wants no motion; pwm is told."""
    control(page, "left_stalk").click()
    control(page, "coolant_hot").click()
    bulb = lamp(page, "indicate left").locator(".pdm-sw-bulb")
    expect(lamp(page, "indicate left")).to_contain_text("flashing, 2 A")
    style = "e => [getComputedStyle(e).animationName, getComputedStyle(e).animationDuration]"
    assert bulb.evaluate(style) == ["pdm-sw-flash", "0.5s"]
    page.emulate_media(reduced_motion="reduce")
    expect(bulb).to_have_css("animation-name", "none")
    expect(lamp(page, "cooling fan")).to_contain_text("PWM, at most 12 A")


def test_state_and_supply(stage, page):
    """A state keeps commands off and says so; its span of voltage and the starter motor count."""
    for name in ("master", "start_button"):
        control(page, name).click()
    page.locator(".pdm-sw-state").select_option("ready")
    expect(page.locator(".pdm-sw-off")).to_contain_text(
        "starter: clutch is not pressed; state ready keeps it off as well"
    )
    control(page, "clutch").click()
    expect(page.locator(".pdm-sw-press")).to_have_text(
        "clutch on: switches nothing on. State ready keeps off: starter."
    )
    page.locator(".pdm-sw-state").select_option("cranking")
    expect(lamp(page, "starter")).to_contain_text("2.5 A")
    expect(page.locator("[data-bar='supply']")).to_contain_text("9.6 V")
    expect(page.locator("[data-bar='past the modules']")).to_contain_text("180 A")
    expect(page.locator("[data-bar='battery gives']")).to_contain_text("182 A")
    page.get_by_role("button", name="All inputs off").click()
    expect(page.locator(".pdm-sw-lamp.pdm-sw-on")).to_have_count(0)


def test_worst_button(stage, page, answer):
    """The button of a limit, by mouse or by key, sets the inputs to what `pa.worst` found; its amps are shown."""
    worst = pa.worst(answer.allocation).table
    row = next(worst[worst.limit == "whole module"].itertuples())
    page.get_by_role("button", name="worst combination of whole module", exact=True).click()
    stage.await_change(lambda: stage.switches.box.shown["on"])
    limits = stage.switches.result.limits.set_index("limit")
    assert limits.counted_a["whole module"] == row.current_a
    expect(page.locator("[data-bar='whole module']")).to_contain_text(f"{row.used_pct:.0f} %")
    expect(page.locator(".pdm-sw-state")).to_have_value(row.state)
    set_on = page.locator("[aria-checked='true'], [aria-valuenow='1']")
    expect(set_on).to_have_count(len(stage.switches.result.inputs))
    peak = next(worst[worst.limit == "whole module, peak"].itertuples())
    page.get_by_role("button", name="worst combination of whole module, peak").press("Enter")
    expect(page.locator(".pdm-sw-press")).to_contain_text(f"{peak.changed}: switches on {peak.switched_on}.")
    limits = stage.switches.result.limits.set_index("limit")
    assert limits.counted_a["whole module, peak"] == peak.current_a


def test_commissioning_steps_play(stage, page):
    """Play goes on by itself and pauses, Step goes one further, each sets the inputs and says what is expected."""
    told, play = page.locator(".pdm-sw-step"), page.locator(".pdm-sw-play")
    page.clock.install()
    page.clock.pause_at(datetime.now() + timedelta(days=1))  # a busy machine would look too late
    play.press("Enter")
    expect(told).to_contain_text(re.compile("^1 of "))
    for number in (2, 3):
        page.clock.run_for(STEP_MS)
        expect(told).to_contain_text(re.compile(f"^{number} of "))
    play.press("Enter")
    expect(play).to_have_text("Play")
    page.clock.run_for(5 * STEP_MS)
    stage.settles()
    expect(told).to_contain_text(re.compile("^3 of "))
    page.locator(".pdm-sw-back").click()
    expect(told).to_contain_text(re.compile("^2 of "))
    steps_on(page, told, "starter, 1 of")
    expect(told).to_contain_text("must be off")
    steps_on(page, told, "must be on")
    expect(told).to_contain_text("master on, start button on, clutch on; must be on: channel")
    expect(told).to_contain_text("2 A (1.75 to 2.25)")
    expect(lamp(page, "starter")).to_contain_text("2 A")
    expect(page.locator(".pdm-sw-step")).not_to_contain_text("does not do this")


def steps_on(page, told, words):
    """Step by step until it says so."""
    for _ in range(60):
        said = told.inner_text()
        if words in said:
            return
        page.locator(".pdm-sw-next").click()
        expect(told).not_to_have_text(said)
    raise AssertionError(said)
