"""The column guide, and what was read in a few lines."""

from pydantic.fields import FieldInfo

from pdm_alloc.domain.module import Catalogue
from pdm_alloc.domain.vehicle import PPM, State, Vehicle
from pdm_alloc.files.rows import Row, cell_of, columns_of

__all__ = ["column_guide", "example_row", "vehicle_summary"]


def column_guide(title: str, models: dict[str, type[Row]], more: dict[str, str], first: str = "") -> str:
    """A column guide in Markdown.

    Parameters
    ----------
    title : str
        First line.
    models : dict of str to type of Row
        Row model by file name.
    more : dict of str to str
        Text for tables that have no model of their own, by file name.
    first : str
        Files to fill in first, all of which must be there; default: those of a vehicle.

    Returns
    -------
    str
        With a section a table.
    """
    beginning = f"Fill in `{first}` first; they must be there." if first else _FIRST_LOADS
    sections = [f"# {title}", f"{beginning} {_PREFACE}", *(_section(name, model) for name, model in models.items())]
    sections += [f"## {name}\n\n{text}" for name, text in more.items()]
    return "\n\n".join(sections) + "\n"


_FIRST_LOADS = "Fill in `loads.csv` first; it is the only table that must be there."
_PREFACE = """Delete the tables you do not need.

- The first row is the header; the order of rows and columns does not matter, and blank rows are skipped.
- Comma, semicolon or tab between cells; decimal point or comma. A number may carry its column's own unit (`1.5 A`).
- A column that must not be empty says so below. An empty cell in any other means what stands under "empty".
- Columns whose names start with `x_` are yours (part number, wire colour, ...): they go along untouched.
- The same tables may be the sheets of one XLSX workbook; the settings are then a sheet with columns setting and value.

The rows in these files are examples, and invented. Values are for design, to be checked by measurement and by someone
qualified."""


def _section(name: str, model: type[Row]) -> str:
    lines = [
        f"## {name}",
        "",
        f"{model.__doc__}",
        "",
        "| column | may hold | empty | meaning | example |",
        "| --- | --- | --- | --- | --- |",
    ]
    return "\n".join([*lines, *(_line(header, info) for header, info in columns_of(model).items())])


def _line(header: str, info: FieldInfo) -> str:
    empty = "must not be" if info.is_required() else _otherwise(info)
    return f"| {header} | {cell_of(info).accepts()} | {empty} | {info.description} | {_example(info)} |"


def _otherwise(info: FieldInfo) -> str:
    more = info.json_schema_extra
    return str(more["otherwise"]) if isinstance(more, dict) else ""


def _example(info: FieldInfo) -> str:
    return str(info.examples[0]) if info.examples else ""


def example_row(model: type[Row]) -> dict[str, str]:
    """The example of each column of a table.

    Parameters
    ----------
    model : type of Row
        The table's model.

    Returns
    -------
    dict of str to str
        Cells by column.
    """
    return {header: _example(info) for header, info in columns_of(model).items()}


def vehicle_summary(vehicle: Vehicle, catalogue: Catalogue | None = None) -> str:
    """A vehicle in a few lines.

    Parameters
    ----------
    vehicle : Vehicle
        As read.
    catalogue : Catalogue, optional
        As read.

    Returns
    -------
    str
        Several lines, without a line break at the end.
    """
    lines = [f"{vehicle.name}: no fault found.", _loads(vehicle), _assumed(vehicle), *_states(vehicle), _more(vehicle)]
    lines += [_signals(vehicle)]
    lines += [f"catalogue {catalogue.name}: {', '.join(module.name for module in catalogue)}"] if catalogue else []
    boxes = [box.name for box in catalogue.boxes if box.role != "module"] if catalogue else []
    lines += [f"control units and expanders: {', '.join(boxes)}"] if boxes else []
    return "\n".join(line for line in lines if line)


def _signals(vehicle: Vehicle) -> str:
    """What there is for control units, keypads and the bus; empty where there is none."""
    keys = sum(item.read_by == "keypad" for item in vehicle.inputs)
    inputs = sum(item.read_by == "control_unit" for item in vehicle.inputs)
    items = sum(signal.count for signal in vehicle.signals)
    counts = ((items + inputs, "signal"), (keys, "key"), (len(vehicle.messages), "message"))
    words = [_number(count, word) for count, word in counts if count]
    return f"signal side: {', '.join(words)}" if words else ""


def _loads(vehicle: Vehicle) -> str:
    items = sum(load.count for load in vehicle.loads)
    commands = len({load.command for load in vehicle.loads})
    total = sum(load.running_ma * load.count for load in vehicle.loads) / 1000
    return (
        f"{_number(len(vehicle.loads), 'load')} ({_number(items, 'item')}) on {_number(commands, 'command')}, "
        f"{total:.1f} A if all were on at {vehicle.settings.reference_v:g} V"
    )


def _number(count: int, word: str) -> str:
    return f"{count:,} {word}{'' if count == 1 else 's'}"


def _assumed(vehicle: Vehicle) -> str:
    assumed = sum(load.inrush_assumed for load in vehicle.loads)
    return f"inrush taken from the kind for {assumed} of {_number(len(vehicle.loads), 'load')}" if assumed else ""


def _states(vehicle: Vehicle) -> list[str]:
    if not vehicle.states_given:
        return ["no table states: whatever the conditions allow may be on at once"]
    return [_state(vehicle, state) for state in vehicle.states]


def _state(vehicle: Vehicle, state: State) -> str:
    on = sum(duty > 0 for duty in state.duty_ppm.values())
    mean = sum(load.running_ma * load.count * state.duty_ppm[load.command] for load in vehicle.loads) / PPM / 1000
    return (
        f"state {state.name}: {state.supply_v:g} V, {_number(on, 'command')} that may be on, "
        f"{mean:.1f} A average (at {vehicle.settings.reference_v:g} V)"
    )


def _more(vehicle: Vehicle) -> str:
    counts: dict[str, tuple[object, ...]] = {
        "input": vehicle.inputs,
        "place": vehicle.places,
        "route": vehicle.routes,
        "locked wire": vehicle.locked,
    }
    known = [_number(len(things), word) for word, things in counts.items() if things]
    return ", ".join(known)
