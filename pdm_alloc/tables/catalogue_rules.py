"""What the rows of a catalogue must keep to beyond one cell."""

from collections import Counter, defaultdict
from collections.abc import Collection
from itertools import pairwise

from pdm_alloc.tables.catalogue_rows import ASSUMED_PEAK_MS
from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.lines import Line

__all__ = ["check_catalogue", "note_assumed"]

Rows = dict[str, list[Line]]


def check_catalogue(rows: Rows, broken: Collection[str], faults: Faults) -> None:
    """Note every row of a catalogue that contradicts itself or another.

    Parameters
    ----------
    rows : dict of str to list of Line
        By table.
    broken : collection of str
        Tables that are there but could not be read; nothing is said about what refers to them.
    faults : Faults
        Where faults are noted.
    """
    for line in rows["modules"]:
        _check_module(line, faults)
    for line in rows["channels"]:
        _check_channel(line, faults)
    if not {"modules", "channels"} & set(broken):
        _check_owners(rows, faults)
        _check_ownerless(rows, faults)
    if rows["channels"] and not {"channels", "banks"} & set(broken):
        _check_banks(rows, faults)
    _check_joined_names(rows["channels"], faults)
    _check_pins(rows, faults)
    for label in ("bridge", "pair"):
        _check_labels(rows["channels"], label, faults)
    _check_derating(rows["derating"], faults)


def note_assumed(lines: list[Line], faults: Faults) -> None:
    """Note how many channels leave peak_ms to be assumed.

    Parameters
    ----------
    lines : list of Line
        Of the table channels.
    faults : Faults
        Where it is noted.
    """
    empty = [line for line in lines if line.values.peak_ms is None]
    if empty:
        message = f"is empty for {len(empty)} channels: {ASSUMED_PEAK_MS:g} ms is assumed"
        faults.note("channels", empty[0].number, "peak_ms", None, message)


def _check_module(line, faults):
    row = line.values
    if None not in (row.total_a, row.total_peak_a) and row.total_peak_a < row.total_a:
        message, remedy = f"is below total_a ({_amps(row.total_a)})", "the peak is at least the steady current"
        faults.add("modules", line.number, "total_peak_a", _amps(row.total_peak_a), message, remedy)
    if None not in (row.supply_min_v, row.supply_max_v) and row.supply_min_v > row.supply_max_v:
        message = f"is above supply_max_v ({row.supply_max_v:g})"
        faults.add("modules", line.number, "supply_min_v", f"{row.supply_min_v:g}", message, "swap the two")


def _amps(milliamps):
    return f"{milliamps / 1000:.9g}"


def _check_channel(line, faults):
    row = line.values
    if None not in (row.continuous_a, row.peak_a) and row.peak_a < row.continuous_a:
        message, remedy = f"is below continuous_a ({_amps(row.continuous_a)})", "the peak is at least the rating"
        faults.add("channels", line.number, "peak_a", _amps(row.peak_a), message, remedy)


def _check_owners(rows, faults):
    known = {line.values.module: None for line in rows["modules"] if line.values.module}
    for table in ("channels", "banks", "derating") if known else ():
        for line in rows[table]:
            name = line.values.module
            if name is not None and name not in known:
                faults.unknown(table, line.number, "module", name, known, "is not a module of the table modules")


def _check_ownerless(rows, faults):
    owners = {line.values.module for line in rows["channels"]}
    for line in rows["modules"] if owners - {None} else ():
        name = line.values.module
        if name is not None and name not in owners:
            faults.add(
                "modules", line.number, "module", name, "has no channels", "add rows for them to the table channels"
            )


def _check_banks(rows, faults):
    limits, used = (_banks_of(rows[table]) for table in ("banks", "channels"))
    for line in rows["channels"]:
        module, bank = line.values.module, line.values.bank
        if None not in (module, bank) and bank not in limits[module]:
            remedy = "add its limit_a to the table banks"
            faults.unknown(
                "channels", line.number, "bank", bank, limits[module], "has no row in the table banks", remedy
            )
    for line in rows["banks"]:
        module, bank = line.values.module, line.values.bank
        if None not in (module, bank) and bank not in used[module]:
            remedy = "name it in the table channels, or delete the row"
            faults.unknown("banks", line.number, "bank", bank, used[module], f"has no channels of {module}", remedy)


def _banks_of(lines) -> dict[str, dict[str, None]]:
    banks: dict[str, dict[str, None]] = defaultdict(dict)
    for line in lines:
        if line.values.bank is not None:
            banks[line.values.module][line.values.bank] = None
    return banks


def _check_joined_names(lines, faults):
    """1+2 is what the channels 1 and 2 are called when they are joined."""
    names: dict[str, set[str]] = defaultdict(set)
    for line in lines:
        names[line.values.module].add(line.values.channel)
    for line in lines:
        name = line.values.channel or ""
        parts = [part.strip() for part in name.split("+")]
        if len(parts) > 1 and set(parts) <= names[line.values.module]:
            message = f"is what the channels {' and '.join(parts)} are called when they are joined"
            faults.add("channels", line.number, "channel", name, message, "give the channel another name")


def _check_pins(rows, faults):
    seen: dict[tuple, int] = {}
    for line in rows["channels"]:
        row = line.values
        for pin in row.pins or ():
            key = (row.module, row.connector, pin)
            if key in seen:
                remedy = "a pin belongs to one channel"
                faults.add("channels", line.number, "pins", pin, f"is already a pin in row {seen[key]}", remedy)
            seen.setdefault(key, line.number)


def _check_labels(lines, label, faults):
    """A bridge or a pair is two channels of one module, no more and no fewer."""
    keys = [(line.values.module, getattr(line.values, label)) for line in lines]
    count = Counter(keys)
    for line, key in zip(lines, keys, strict=True):
        if None in key or count[key] == 2:
            continue
        number = "one channel" if count[key] == 1 else f"{count[key]} channels"
        remedy = f"a {label} is two channels with one label"
        faults.add("channels", line.number, label, key[1], f"is on {number} of {key[0]}", remedy)
        # Told once is enough.
        count[key] = 2


def _check_derating(lines, faults):
    """Factors must not rise with temperature."""
    points = defaultdict(list)
    for line in lines:
        row = line.values
        if None not in (row.module, row.ambient_c, row.factor):
            points[row.module].append((row.ambient_c, row.factor, line.number))
    for module in points.values():
        for (low, cool, _), (high, warm, number) in pairwise(sorted(module)):
            if warm > cool and high > low:
                message = f"is above the factor at a lower temperature ({float(cool):g})"
                remedy = "a module bears less when it is warmer"
                faults.add("derating", number, "factor", f"{float(warm):g}", message, remedy)
