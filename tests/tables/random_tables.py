"""Random vehicles as tables of text, without a fault, for property tests; and catalogues."""

from hypothesis import strategies as st

from pdm_alloc.domain.kinds import IMPORTANCES, KINDS
from pdm_alloc.files.cells import Number
from pdm_alloc.files.rows import cell_of, columns_of, unmistakable
from pdm_alloc.files.tables.catalogue_rows import CATALOGUE_ROWS
from pdm_alloc.files.tables.vehicle_rows import VEHICLE_ROWS

__all__ = ["free_texts", "is_number", "names", "vehicles_as_tables"]

Tables = dict[str, list[dict[str, str]]]

# What spreadsheets, CSV and XLSX each find hard: separators, quotes, formulas, digits, letters outside ASCII, spaces.
_HARD = (
    "=1+1",
    "+12 V feed",
    "-",
    "@home",
    "'quoted",
    'a "b"',
    "a,b",
    "a;b",
    "1.5",
    "007",
    "true",
    "x",
    "Ölkühler",
    "灯",
)
_WORDS = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S")), min_size=1, max_size=12)


def names(count: int):
    """That many names, distinct whatever their case."""
    name = st.one_of(
        st.sampled_from(_HARD), _WORDS.map(_usable), st.from_regex(r"[a-z]{1,4} [0-9]{1,2}", fullmatch=True)
    )
    folded = st.lists(name, min_size=count, max_size=count, unique_by=lambda n: n.casefold())
    return folded.filter(lambda found: all(_is_name(n) for n in found))


def _usable(text):
    from pdm_alloc.files.cells import clean

    return clean(text) or "a"


def _is_name(text):
    """Neither an error of a spreadsheet, nor a header of its own meaning, nor one openpyxl alters."""
    return not text.startswith(("#", "x_", "X_", "Err:")) and "x005F_" not in text and text.casefold() != "command"


def free_texts():
    """Texts of free columns and notes: anything but control characters."""
    text = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Zl", "Zp")), max_size=20)
    return st.one_of(st.just(""), st.sampled_from(_HARD), text).filter(_is_note)


def _is_note(text):
    return not text.startswith(("#", "Err:")) and "_x" not in text and text == text.strip()


def _decimals(low, high, digits=3):
    steps = 10**digits
    return st.integers(int(low * steps), int(high * steps)).map(
        lambda n: unmistakable(f"{n / steps:.{digits}f}".rstrip("0").rstrip("."))
    )


@st.composite
def vehicles_as_tables(draw) -> Tables:
    """Tables of a vehicle: loads always, the others now and then."""
    commands, places = draw(names(3)), draw(st.one_of(st.just([]), names(3)))
    loads = [draw(_load(name, commands, places)) for name in draw(names(draw(st.integers(1, 4))))]
    tables = {"loads": loads, **draw(_states(commands, loads))}
    if draw(st.booleans()):
        tables["commands"] = [draw(_command(name)) for name in commands]
    if places:
        tables["places"] = [draw(_place(name)) for name in places]
        tables["routes"] = [
            {"from": places[0], "to": other, "length_m": draw(_decimals(9, 20))} for other in places[1:]
        ]
    if draw(st.booleans()):
        tables["locked"] = draw(_locks(loads[0]))
        tables["concessions"] = [{"kind": "leave_out", "subject": loads[-1]["load"], "weight": "never"}]
        tables["wire_colours"] = [{"by": "load", "subject": loads[0]["load"], "colour": draw(names(1))[0]}]
        tables["parts"] = [{"item": "terminal", "least": "0.5", "most": "2.5", "part": draw(names(1))[0]}]
        tables["removed"] = [{"part": draw(names(1))[0], "mass_g": draw(_decimals(0, 5000)), "count": "2"}]
        tables["fitted"] = [{"part": draw(names(1))[0], "mass_g": draw(_decimals(0, 5000)), "note": "weighed"}]
        ground = {"ground": "G1", "use": "sensor", "stud": "M6", "max_a": "40.5", "max_wires": "9"}
        tables["grounds"] = [ground | {"place": place} for place in places[:1]]
    return tables


@st.composite
def _load(draw, name, commands, places):
    running = draw(_decimals(0.001, 40))
    peak = draw(st.one_of(st.just(""), st.integers(1, 9).map(lambda n: f"{float(running) * n:.3f}")))
    return {
        "load": name,
        "command": draw(st.sampled_from(commands)),
        "running_a": running,
        "count": draw(st.sampled_from(("", "1", "3"))),
        "kind": draw(st.sampled_from(tuple(KINDS))),
        "inrush_a": peak,
        "inrush_ms": draw(_decimals(0.5, 200, 1)) if peak else "",
        "importance": draw(st.sampled_from(("", *IMPORTANCES))),
        "share": draw(st.sampled_from(("", "yes", "no"))),
        "needs": draw(st.sampled_from(("", "pwm", "pwm reversing"))),
        "place": draw(st.sampled_from(("", *places))),
        "tolerance_pct": draw(st.one_of(st.just(""), _decimals(0, 50, 1))),
        "note": draw(free_texts()),
        "x_part": draw(free_texts()),
    }


@st.composite
def _locks(draw, load):
    """One channel for all items, or one for each where they are each alone."""
    rows = int(load["count"] or 1) if load["share"] == "no" else 1
    wired = zip(draw(names(rows)), draw(names(rows)), strict=True)
    return [{"load": load["load"], "module": module, "channel": channel} for module, channel in wired]


@st.composite
def _states(draw, commands, loads):
    states = draw(names(draw(st.integers(0, 3))))
    if not states:
        return {}
    duty = st.one_of(st.sampled_from(("", "0", "1", "0.5")), _decimals(0, 1))
    rows = [{"command": name, **{state: draw(duty) for state in states}} for name in _used(commands, loads)]
    supply = [{"state": s, "supply_v": draw(_decimals(9, 15)), "charging_a": draw(_decimals(0, 90))} for s in states]
    return {"states": rows, **({"supply": supply} if draw(st.booleans()) else {})}


def _used(commands, loads):
    return [name for name in commands if any(load["command"] == name for load in loads)]


@st.composite
def _command(draw, name):
    return {
        "command": name,
        "action": draw(st.sampled_from(("", "steady", "flash", "pwm"))),
        "x_wire": draw(free_texts()),
    }


@st.composite
def _place(draw, name):
    at = {axis: draw(_decimals(-3, 3)) for axis in ("x_m", "y_m")}
    return {"place": name, **at, "mount": draw(st.sampled_from(("", "no", "yes"))), "ambient_c": "40"}


def is_number(table: str, column: str) -> bool:
    """Whether the cells of a column are numbers."""
    if table == "states":
        return column != "command"
    model = VEHICLE_ROWS.get(table) or CATALOGUE_ROWS.get(table)
    columns = columns_of(model) if model else {}
    return column in columns and isinstance(cell_of(columns[column]), Number)
