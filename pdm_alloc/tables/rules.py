"""What the rows of a vehicle must keep to beyond one cell: inrush, settings, supply, what is locked."""

from pdm_alloc.kinds import KINDS
from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.lines import Line, refuse_twins
from pdm_alloc.tables.locks import check_locks
from pdm_alloc.tables.together import check_together
from pdm_alloc.tables.vehicle_lines import VehicleLines

__all__ = ["check_rules"]

MOST_ITEMS = 50_000
# A 24 V supply on a 12 V vehicle (a jump start) is 2; beyond that a decimal point is missing.
_MOST_OVER_NOMINAL = 2.5
# Cranking pulls a battery down to about half of its voltage; below a quarter nothing works.
_LEAST_OF_NOMINAL = 0.25


def check_rules(tables: VehicleLines, faults: Faults) -> None:
    """Note every row that contradicts itself or another.

    Parameters
    ----------
    tables : VehicleLines
        All rows.
    faults : Faults
        Where faults are noted.
    """
    for line in tables.rows["loads"]:
        _check_inrush(line, faults)
    for line in tables.rows["places"]:
        _check_heat(line, tables.settings.insulation_c, faults)
    for line in tables.rows["commands"]:
        _check_times(line, faults)
    _check_items(tables.rows["loads"], faults)
    _check_settings(tables, faults)
    _check_supply(tables, faults)
    check_locks(tables, faults)
    check_together(tables, faults)
    refuse_twins(tables.rows["concessions"], ("kind", "subject"), "concessions", faults)


def _check_inrush(line: Line, faults: Faults) -> None:
    row = line.values
    if None in (row.running_a, row.inrush_a, row.kind):
        return
    if row.inrush_a < row.running_a:
        message = f"is below running_a ({_amps(row.running_a)})"
        remedy = "give the peak of one item, running current included, or leave it empty for the kind's multiple"
        faults.add("loads", line.number, "inrush_a", _amps(row.inrush_a), message, remedy)
    elif row.inrush_a > row.running_a:
        _check_inrush_length(line, faults)


def _check_inrush_length(line, faults):
    row, remedy = line.values, "give the time until the excess has fallen to 5 %"
    if row.inrush_ms == 0:
        message = "is no time for an inrush_a above running_a"
        faults.add("loads", line.number, "inrush_ms", "0", message, remedy)
    elif row.inrush_ms is None and KINDS[row.kind].inrush_ms == 0:
        message = f"is empty, and a {row.kind} has no usual length of inrush"
        faults.add("loads", line.number, "inrush_ms", None, message, remedy)


def _amps(milliamps):
    return f"{milliamps / 1000:.9g}"


def _check_heat(line, insulation, faults):
    """Wires end at a place or pass it: none of them bears more than its insulation."""
    around = line.values.ambient_c
    if None not in (around, insulation) and around >= insulation:
        message = f"is not below insulation_c ({insulation:g} °C)"
        remedy = "give insulation of a higher class in the settings, or take wires another way"
        faults.add("places", line.number, "ambient_c", f"{around:g}", message, remedy)


def _check_times(line, faults):
    on, cycle = line.values.on_s, line.values.cycle_s
    if on is None and cycle is not None:
        message, remedy = "needs on_s beside it", "give the longest time on in one go, or leave cycle_s empty"
        faults.add("commands", line.number, "cycle_s", f"{cycle:g}", message, remedy)
    elif None not in (on, cycle) and cycle < on:
        message = f"is below on_s ({on:g} s)"
        remedy = "give the time from one switch-on to the next, the time on included"
        faults.add("commands", line.number, "cycle_s", f"{cycle:g}", message, remedy)


def _check_items(lines, faults):
    items = sum(line.values.count or 0 for line in lines)
    if items > MOST_ITEMS:
        message = f"has {items:,} items, more than {MOST_ITEMS:,}"
        faults.add("loads", None, "count", None, message, "no vehicle has so many")


def _check_settings(tables, faults):
    settings, rows = tables.settings, tables.setting_rows
    around, insulation = settings.wire_ambient_c, settings.insulation_c
    if None not in (around, insulation) and around >= insulation:
        message, remedy = f"is not below insulation_c ({insulation:g} °C)", "give insulation of a higher class"
        faults.add("settings", rows.get("wire_ambient_c"), "wire_ambient_c", f"{around:g}", message, remedy)
    if _is_far(settings.reference_v, settings.system_v):
        value, row = f"{settings.reference_v:g}", rows.get("reference_v")
        faults.add("settings", row, "reference_v", value, *_far(settings.reference_v, settings.system_v))


def _check_supply(tables, faults):
    nominal = tables.settings.system_v
    for line in tables.rows["supply"]:
        if _is_far(line.values.supply_v, nominal):
            faults.add(
                "supply", line.number, "supply_v", f"{line.values.supply_v:g}", *_far(line.values.supply_v, nominal)
            )
        _check_top(line, nominal, faults)


def _check_top(line, nominal, faults):
    low, top = line.values.supply_v, line.values.supply_top_v
    if _is_far(top, nominal):
        faults.add("supply", line.number, "supply_top_v", f"{top:g}", *_far(top, nominal))
    elif None not in (low, top) and top < low:
        remedy = "give the highest voltage in this state, or leave it empty"
        faults.add("supply", line.number, "supply_top_v", f"{top:g}", f"is below supply_v ({low:g} V)", remedy)


def _is_far(volts, nominal) -> bool:
    return None not in (volts, nominal) and not (_LEAST_OF_NOMINAL * nominal <= volts <= _MOST_OVER_NOMINAL * nominal)


def _far(volts, nominal):
    far = f"more than {_MOST_OVER_NOMINAL:g}" if volts > nominal else f"less than {_LEAST_OF_NOMINAL:g}"
    return f"is {far} times system_v ({nominal:g} V)", "correct it, or system_v in the settings"
