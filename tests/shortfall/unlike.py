"""Vehicles nobody tuned to: camper vans, race boats, tractors and ambulances on modules unlike each other; invented."""

import random
from dataclasses import dataclass
from itertools import pairwise

from tests.attack.tables import Tables

__all__ = ["BODIES", "unlike"]

_VAN = ("engine -0.5 80", "dash 0.6 40", "seat 1.4 35", "kitchen 2.6 30", "roof 2.8 45", "bed 4.2 30", "rear 5.2 35")
_BOAT = ("bow 0 35", "helm 3.5 35", "cabin 2.2 35", "mast 2.6 40", "bilge 4.5 40", "engine 5.5 75", "stern 6.8 35")
_TRACTOR = ("nose 0 70", "engine 1 95", "cab 2.4 45", "roof 2.5 55", "rear 3.8 45", "implement 6.5 40")
# Load, command, A at 12 V, kind, importance, place; then words of the column needs, a count, alone.
_CAMPER_LOADS = """
engine computer|ignition|6|electronics|vital|engine
fuel pump|ignition|7|motor|vital|rear
glow plug|glow|11|heater|vital|engine|4
radiator fan|fan|19|fan|needed|engine|pwm
starter solenoid|starter|14|solenoid|vital|engine
dipped beam left|dipped|5|filament|needed|engine
dipped beam right|dipped|5|filament|needed|engine
side lamps|sides|0.5|filament|needed|rear|6
wiper|wiper|6|motor|needed|dash
blower|blower|9|fan|comfort|dash|pwm
fridge|camping|5.5|electronics|comfort|kitchen
water pump|water|7.5|motor|comfort|kitchen
diesel heater|heating|10|heater|needed|bed
ceiling lamp|cabin|0.7|led|comfort|roof|8
reading lamp|reading|0.3|led|comfort|bed|4
roof vent|vent|3|fan|comfort|roof|reversing
step|step|8|motor|comfort|seat|reversing
satellite mast|mast|4.5|motor|comfort|roof|reversing
inverter|inverter|65|electronics|comfort|seat
usb socket|cabin|2|electronics|comfort|bed|5
heated mirror|mirrors|2.2|heater|comfort|dash|2
bed heater|bed|6|heater|comfort|bed|2
reversing camera|reverse|0.8|electronics|needed|rear
awning lamp|awning|1.2|led|comfort|roof
waste valve|waste|2.5|solenoid|comfort|rear
"""
_BOAT_LOADS = """
injection|ignition|8|electronics|vital|engine
fuel pump low|ignition|5|motor|vital|stern
fuel pump high|ignition|9|motor|vital|engine
coil pack|ignition|3.5|solenoid|vital|engine|4
trim tab left|trim|12|motor|vital|stern|reversing
trim tab right|trim|12|motor|vital|stern|reversing
drive trim pump|drive trim|38|motor|vital|stern|reversing
steering pump|steering|45|motor|vital|stern
bilge pump|bilge|6|motor|vital|bilge|3 alone
bilge blower|blower|7|fan|vital|bilge
windlass|windlass|85|motor|comfort|bow|reversing
navigation lamp|navigation|0.4|led|needed|bow|4
anchor light|anchor light|0.3|led|needed|mast
deck lamp|deck|1.5|led|comfort|mast|4
radar|electronics|4|electronics|needed|mast
plotter|electronics|2.5|electronics|needed|helm|2
radio|radio|6|electronics|needed|helm
horn|horn|5|solenoid|needed|bow|2
searchlight|search|10|filament|comfort|bow|2
cooler|cooler|5|electronics|comfort|cabin
seat pump|seats|4|motor|comfort|helm|reversing
wiper|wiper|4.5|motor|needed|helm
underwater lamp|underwater|3.5|led|comfort|stern|4
"""
_TRACTOR_LOADS = """
engine computer|ignition|5|electronics|vital|engine
preheat grid|preheat|95|heater|vital|engine
fuel lift pump|ignition|4|motor|vital|engine
gearbox valve|gearbox|1.6|solenoid|vital|rear|8 pwm
hitch valve|hitch|2.4|solenoid|needed|rear|4 pwm
work lamp front|work front|4.5|led|needed|nose|6
work lamp roof|work roof|3.8|led|needed|roof|8
work lamp rear|work rear|4.5|filament|needed|rear|4
beacon|beacon|2|led|needed|roof|2
cab fan|climate|14|fan|comfort|roof|pwm
compressor clutch|climate|4|coil|comfort|engine
seat compressor|seat|11|motor|comfort|cab
heated rear screen|screens|12|heater|comfort|cab
heated windscreen|screens|16|heater|comfort|cab|2
implement socket|implement|25|electronics|needed|implement|2
section valve|sections|1.2|solenoid|needed|implement|12
spreader actuator|spreader|6|motor|needed|implement|2 reversing
terminal|ignition|2.5|electronics|needed|cab
wiper|wiper|5|motor|needed|cab|2
brake lamp|brake|1.8|filament|vital|rear|2
indicator left|left|1.8|filament|vital|rear|3
indicator right|right|1.8|filament|vital|rear|3
mirror|mirrors|1.5|motor|comfort|cab|2 reversing
grease pump|grease|7|motor|comfort|engine
"""
_AMBULANCE_LOADS = """
engine computer|ignition|6|electronics|vital|engine
fuel pump|ignition|8|motor|vital|rear
beacon bar|beacons|9|led|vital|roof|2 alone
grille strobe|beacons|1.2|led|vital|engine|4
siren|siren|16|electronics|vital|engine
scene lamp|scene|3|led|needed|roof|6
ventilator socket|medical|8|electronics|vital|bed|2
suction pump|medical|7|motor|vital|bed
incubator|incubator|22|heater|vital|bed
infusion warmer|warmer|9|heater|needed|bed
patient lamp|patient|1.1|led|needed|roof|6 pwm
examination lamp|examination|4|filament|needed|roof|2
rear heater fan|rear heat|8|fan|needed|bed|2 pwm
stretcher lift|stretcher|32|motor|needed|rear|reversing
step|step|7|motor|needed|seat|reversing
drug fridge|ignition off|4.5|electronics|vital|kitchen
radio|radio|9|electronics|vital|dash
dipped beam left|dipped|5|filament|vital|engine
dipped beam right|dipped|5|filament|vital|engine
heated screen|screens|13|heater|comfort|dash|2
radiator fan|fan|24|fan|needed|engine|2 pwm
door lock|locks|3|motor|needed|rear|4 reversing
wiper|wiper|6|motor|needed|dash
"""
BODIES = {
    "camper van": (12, _VAN, _CAMPER_LOADS),
    "race boat": (12, _BOAT, _BOAT_LOADS),
    "tractor": (24, _TRACTOR, _TRACTOR_LOADS),
    "ambulance": (24, _VAN, _AMBULANCE_LOADS),
}


@dataclass(frozen=True)
class _Shape:
    """A kind of module: channels and amperes by what the vehicle has, ratings, banks, terminals and the rest."""

    name: str
    channels: float
    amps: float
    ratings: tuple[float, ...]
    banks: int
    mm2: tuple[object, ...]
    pwm: float
    doubles: tuple[str, ...]
    inputs: float
    peak_ms: float
    more: tuple[tuple[str, object], ...] = ()


_SHAPES = (
    _Shape("few strong", 0.5, 1.2, (20, 25, 30), 1, (6,), 0.3, ("", "bridge"), 2, 100),
    _Shape("many weak", 1.7, 0.9, (4, 5, 7.5, 10), 4, (1.5, 2.5), 0.2, ("", "", "pair"), 1, 30),
    _Shape("mixed", 1.05, 0.6, (5, 8, 15, 25), 3, (2.5, 4), 0.5, ("", "bridge", "pair"), 0.7, 50),
    _Shape("plain", 1.3, 1.5, (10, 15, 20), 2, (2.5,), 0, ("",), 0.4, 8, (("supply_min_v", 0.9),)),
    _Shape("doubled", 0.9, 1, (6, 12, 18), 2, ("",), 0.4, ("pair", "bridge"), 2, 60, (("contact_a", 13),)),
    _Shape("ample", 1.5, 1.3, (5, 12, 20, 35), 2, (6, 10), 0.6, ("", "bridge"), 0.9, 60),
)


def unlike(body, seed):
    """Tables of one vehicle, and a catalogue of six modules."""
    chooser, (volts, places, text) = random.Random(f"unlike {body} {seed}"), BODIES[body]
    tables = Tables()
    rows = [_load(chooser, line.split("|"), volts) for line in text.strip().splitlines() if chooser.random() < 0.85]
    commands = list(dict.fromkeys(row["command"] for row in rows))
    tables.rows |= {"loads": rows, "commands": [_command(chooser, name) for name in commands]}
    whole = {row["command"] for row in tables.rows["commands"] if row["together"]}
    for row in (r for r in rows if r["command"] in whole):
        row["share"] = "yes"
    names = {word for row in tables.rows["commands"] for word in row["condition"].split() if word.endswith("_key")}
    tables.rows["inputs"] = [
        {"input": n, "kind": chooser.choices(("switch", "bus"), (4, 1))[0], "place": places[1].split()[0]}
        for n in sorted(names)
    ]
    _states(chooser, tables, commands, volts)
    _places(chooser, tables, places)
    tables.settings = _settings(chooser, body, volts)
    _catalogue(chooser, tables, volts)
    if chooser.random() < 0.3:
        load = chooser.choice([row for row in rows if row["count"] == 1 and "reversing" not in row["needs"]])
        module = chooser.choice(tables.rows["modules"])["module"]
        tables.rows["locked"] = [{"load": load["load"], "module": module, "channel": "1"}]
    return tables


def _load(chooser, parts, volts):
    name, command, amps, kind, importance, place, *more = parts
    words = more[0].split() if more else []
    running = round(float(amps) * 12 / volts * chooser.uniform(0.7, 1.4), 1)
    measured = chooser.random() < 0.3
    rise = chooser.uniform(1.2, {"motor": 6, "fan": 4, "filament": 10}.get(kind, 2))
    return {
        "load": name,
        "command": command,
        "running_a": max(0.1, running),
        "count": next((int(w) for w in words if w.isdigit()), 1),
        "kind": kind,
        "inrush_a": round(max(0.1, running) * rise, 1) if measured else "",
        "inrush_ms": round(chooser.uniform(2, 200), 1) if measured else "",
        "needs": " ".join(w for w in words if w in ("pwm", "reversing")),
        "importance": importance,
        "share": "no" if "alone" in words or chooser.random() < 0.04 else "yes",
        "separate": "sides" if name.endswith((" left", " right")) and chooser.random() < 0.5 else "",
        "place": place,
        "max_drop_pct": chooser.choice(("", "", "", 2, 4, 6)),
        "tolerance_pct": chooser.choice(("", "", 5, 15, 30)),
    }


def _command(chooser, name):
    key = f"{name.replace(' ', '_')}_key"
    form = chooser.choices(("{0}", "main_key and {0}", "{0} and not lock_key", ""), (4, 4, 1, 1))[0]
    action = {"left": "flash", "right": "flash", "beacons": "flash", "patient": "pwm"}.get(name, "steady")
    row = {"command": name, "condition": form.format(key), "action": action, "on_s": "", "cycle_s": ""}
    if action == "flash" or chooser.random() < 0.12:
        row |= {"on_s": 0.5, "cycle_s": 1} if action == "flash" else {"on_s": 8, "cycle_s": chooser.choice((10, 60))}
    return row | {"together": "yes" if chooser.random() < 0.05 else ""}


def _states(chooser, tables, commands, volts):
    """Parked, cranking, moving, at work; without a condition a command is on in all of them."""
    free = {row["command"] for row in tables.rows["commands"] if not row["condition"]}
    on = {"parked": 0.3, "cranking": 0.2, "moving": 0.8, "at work": 0.6}
    rows = []
    for name in commands:
        duties = {s: chooser.choice((0.3, 1)) if chooser.random() < p else "" for s, p in on.items()}
        must = name in free or not any(duties.values())
        rows.append({"command": name} | (dict.fromkeys(on, 1) if must else duties))
    tables.rows["states"] = rows
    spans = {"parked": (12.3, 12.7), "cranking": (9, 12.5), "moving": (13.4, 14.4), "at work": (12.8, 14)}
    tables.rows["supply"] = [
        {"state": s, "supply_v": round(low * volts / 12, 1), "supply_top_v": round(top * volts / 12, 1), "minutes": 5}
        for s, (low, top) in spans.items()
    ]


def _places(chooser, tables, places):
    names = [text.split() for text in places]
    tables.rows["places"] = [
        {"place": n, "x_m": x, "y_m": round(chooser.uniform(-0.7, 0.7), 1), "ambient_c": c}
        | {"mount": "yes" if i in (1, 2, 4) else "no", "compartment": n, "contains": "fuel" if i == 4 else ""}
        for i, (n, x, c) in enumerate(names)
    ]
    tables.rows["routes"] = [{"from": a, "to": b, "length_m": ""} for (a, *_), (b, *_) in pairwise(names)]


def _settings(chooser, body, volts):
    return {
        "system_v": volts,
        "reference_v": round(volts * chooser.choice((1, 1.125)), 1),
        "headroom_pct": chooser.choice((10, 20, 25, 30)),
        "module_headroom_pct": chooser.choice((0, 10, 15)),
        "spare_channels": chooser.choice((0, 0, 1, 2, 3)),
        "module_ambient_c": 40,
        "return_path": chooser.choice(("chassis", "wire")),
        "wire_sizes": chooser.choice(("metric", "awg")),
        "insulation_c": chooser.choice((105, 125, 150)),
        "wire_ambient_c": chooser.choice((30, 45)),
        "bundle_wires": chooser.choice((1, 3, 7)),
        "lowest_ambient_c": chooser.choice((-25, 0)),
        "tolerance_loads": chooser.choice((1, 3, 1000)),
        "rules": "boat" if "boat" in body else "general",
    }


def _catalogue(chooser, tables, volts):
    loads = tables.rows["loads"]
    drawn = sum(row["running_a"] * row["count"] for row in loads)
    circuits = len({row["command"] for row in loads}) + 0.3 * len(loads)
    for table in ("modules", "channels", "banks", "derating"):
        tables.rows[table] = []
    for shape in _SHAPES:
        number, amps = circuits * chooser.uniform(0.8, 1.2) * shape.channels, drawn * shape.amps
        _module(chooser, tables, shape, max(4, round(number)), amps * chooser.uniform(0.8, 1.6), volts)


def _module(chooser, tables, shape, number, amps, volts):
    more, wanted = dict(shape.more), sum(i["kind"] == "switch" for i in tables.rows["inputs"])
    tables.rows["modules"].append(
        {
            "module": shape.name,
            "total_a": round(amps, 1),
            "total_peak_a": round(amps * chooser.uniform(2, 4), 1),
            "mass_g": 250 + 15 * number,
            "price": 150 + 30 * number,
            "supply_min_v": round(chooser.choice((0.5, more.get("supply_min_v", 0.5))) * volts, 1),
            "supply_max_v": 34,
            "inputs": chooser.choice(("", max(1, round(wanted * shape.inputs)))),
            "trip_step_a": chooser.choice((0.1, 0.5, 1)),
            "trip_error_pct": chooser.choice((0, 3, 8)),
            "settle_s": chooser.choice(("", 10, 60)),
            "quiescent_ma": 3,
        }
    )
    kind = rating = pwm = mm2 = None
    for n in range(number):
        if n % 2 == 0:  # of two neighbours, which may belong together, both are the same
            kind, rating = chooser.choice(shape.doubles) if n + 1 < number else "", chooser.choice(shape.ratings)
            pwm, mm2 = "pwm" if chooser.random() < shape.pwm else "", chooser.choice(shape.mm2)
        tables.rows["channels"].append(
            {
                "module": shape.name,
                "channel": n + 1,
                "pins": " ".join(f"p{n}{x}" for x in "ab"[: 1 + (rating > more.get("contact_a", rating))]),
                "bank": f"bank {n // 2 % shape.banks + 1}",
                "continuous_a": rating,
                "peak_a": rating * 5,
                "peak_ms": shape.peak_ms,
                "features": pwm,
                "bridge": f"c{n // 2}" if kind == "bridge" else "",
                "pair": f"c{n // 2}" if kind == "pair" else "",
                "max_wire_mm2": mm2,
                "contact_a": more.get("contact_a", ""),
            }
        )
    for bank in range(shape.banks):
        limit = round(amps * chooser.uniform(0.7, 1.2) / shape.banks, 1)
        tables.rows["banks"].append({"module": shape.name, "bank": f"bank {bank + 1}", "limit_a": limit})
    for ambient, factor in ((-40, 1), (40, 1), (70, 0.8), (100, 0.5)):
        tables.rows["derating"].append({"module": shape.name, "ambient_c": ambient, "factor": factor})
