"""What the rows of the signal side must keep to beyond one cell."""

from collections import defaultdict

from pdm_alloc.domain.signals import FUNCTIONS, QUALIFIERS, SIGNAL_KINDS, SUPPLIES
from pdm_alloc.files.faults import Faults
from pdm_alloc.files.tables.vehicle_rows import VehicleLines

__all__ = ["check_signal_pins", "check_signals"]

_PWM_KINDS = ("low_side", "high_side", "half_bridge", "full_bridge")

_PAIRED = tuple(sorted({kind.function for kind in SIGNAL_KINDS.values() if kind.labelled}))


def check_signals(tables: VehicleLines, faults: Faults) -> None:
    """Note every signal, message and reader of an input that contradicts itself or another row.

    Parameters
    ----------
    tables : VehicleLines
        All rows.
    faults : Faults
        Where faults are noted.
    """
    for line in tables.rows["signals"]:
        _check_current(line, faults)
        _check_needs(line, faults)
    for line in tables.rows["inputs"]:
        _check_reader(line, faults)
    _check_names(tables, faults)
    _check_priorities(tables.rows["messages"], faults)


def _check_current(line, faults):
    row = line.values
    if row.kind is None or row.needs is None or row.current_a is not None or "spare" in row.needs:
        return
    if SIGNAL_KINDS[row.kind].current_ma is None:
        message = f"is empty, and nothing is assumed for the current of a {row.kind}"
        faults.add("signals", line.number, "current_a", None, message, "give its current")


def _check_needs(line, faults):
    row = line.values
    if row.kind is None or row.needs is None:
        return
    if "pwm" in row.needs and row.kind not in _PWM_KINDS:
        message, remedy = f"is not for a {row.kind}", f"it is for {', '.join(_PWM_KINDS)}; leave it out"
        faults.add("signals", line.number, "needs", "pwm", message, remedy)
    for word in SUPPLIES if SIGNAL_KINDS[row.kind].is_output else ():
        if word in row.needs:
            message = f"is for sensors, and a {row.kind} is an output"
            faults.add("signals", line.number, "needs", word, message, "leave it out")


def _check_reader(line, faults):
    row = line.values
    if row.read_by is not None and row.kind == "bus":
        message = "is for inputs with a wire, and this one is a message on the bus"
        faults.add("inputs", line.number, "read_by", row.read_by, message, "leave it empty, or correct the kind")
    elif row.read_by == "keypad" and row.kind == "analog":
        message = "reads keys, and this input is analog"
        faults.add("inputs", line.number, "read_by", "keypad", message, "write module or control_unit")


def _check_names(tables, faults):
    """An input that is read by a pin is a signal too, so both names stand on one pin map."""
    read = {line.values.input: line.number for line in tables.rows["inputs"] if line.values.read_by}
    for line in tables.rows["signals"]:
        name = line.values.signal
        if name is not None and name in read:
            message = f"is already an input with a reader (inputs, row {read[name]})"
            faults.add("signals", line.number, "signal", name, message, "list it once")


def _check_priorities(lines, faults):
    seen: dict[int, int] = {}
    for line in lines:
        row = line.values
        if row.priority is not None and row.priority in seen:
            message = f"is already the priority of row {seen[row.priority]}"
            faults.add("messages", line.number, "priority", str(row.priority), message, "every identifier is sent once")
        seen.setdefault(row.priority, line.number)
        if None not in (row.deadline_ms, row.period_ms) and row.deadline_ms > row.period_ms:
            message, remedy = "is after the next one", "a deadline is at most period_ms"
            faults.add("messages", line.number, "deadline_ms", f"{row.deadline_ms / 1000:g}", message, remedy)


def check_signal_pins(rows, broken, faults: Faults) -> None:
    """Note every row of the catalogue's signal tables that contradicts itself or another.

    Parameters
    ----------
    rows : dict of str to list of Line
        By table.
    broken : collection of str
        Tables that are there but could not be read.
    faults : Faults
        Where faults are noted.
    """
    for line in rows["signal_pins"]:
        _check_limit(line, faults)
        _check_functions(line, faults)
    _check_pin_pairs(rows["signal_pins"], faults)
    if not {"modules", "control_units", "signal_pins"} & set(broken):
        _check_boxes(rows, faults)


def _check_limit(line, faults):
    row = line.values
    limited = sorted(word for word in row.functions or () if FUNCTIONS[word].limited)
    if limited and row.max_a is None and row.functions is not None:
        message = f"is empty, and a pin with {limited[0]} has a limit"
        faults.add("signal_pins", line.number, "max_a", None, message, "give what it may carry")


def _check_functions(line, faults):
    words = line.values.functions or frozenset()
    shown = " ".join(sorted(words))
    if words & set(SUPPLIES) and len(words) > 1:
        message = "has a supply or ground beside another function"
        faults.add("signal_pins", line.number, "functions", shown, message, "such a pin does nothing else")
    if words & set(QUALIFIERS) and not words & {"low_side", "high_side", "half_bridge"}:
        message, remedy = "has pwm and no output", "add low_side, high_side or half_bridge"
        faults.add("signal_pins", line.number, "functions", shown, message, remedy)


def _check_pin_pairs(lines, faults):
    pairs = defaultdict(list)
    for line in lines:
        row = line.values
        if row.pair is not None:
            pairs[row.box, row.pair].append(line)
        for word in sorted(set(row.functions or ()) & set(_PAIRED)) if row.pair is None else ():
            message = f"is empty, and {word} works on two pins"
            faults.add("signal_pins", line.number, "pair", None, message, "give both pins one label")
    for (box, label), twins in pairs.items():
        if len(twins) != 2:
            message = f"is on {len(twins)} pin{'' if len(twins) == 1 else 's'} of {box}"
            faults.add("signal_pins", twins[0].number, "pair", label, message, "a pair is two pins with one label")


def _check_boxes(rows, faults):
    modules = [line.values.module for line in rows["modules"] if line.values.module]
    units = [line.values.box for line in rows["control_units"] if line.values.box]
    known = dict.fromkeys([*units, *modules])
    pinned = {line.values.box for line in rows["signal_pins"]}
    for line in rows["signal_pins"]:
        if line.values.box is not None and line.values.box not in known:
            message = "is neither a control unit nor a module"
            remedy = "add a row for it to the table control_units"
            faults.unknown("signal_pins", line.number, "box", line.values.box, known, message, remedy)
    folded = {module.casefold() for module in modules}
    for line in rows["control_units"]:
        _check_unit(line, folded, pinned, faults)


def _check_unit(line, modules, pinned, faults):
    name = line.values.box
    if name is None:
        return
    if name.casefold() in modules:
        faults.add("control_units", line.number, "box", name, "is a module already", "give it another name")
    if name not in pinned and None not in pinned:
        remedy = "add rows for them to the table signal_pins"
        faults.add("control_units", line.number, "box", name, "has no signal pins", remedy)
