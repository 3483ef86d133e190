"""The column guide: what every column of every table means, made from the same models that check the cells."""

from pydantic.fields import FieldInfo

from pdm_alloc.tables.row import Row, cell_of, columns_of

__all__ = ["column_guide", "example_row"]


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


def _otherwise(info):
    return info.json_schema_extra["otherwise"]


def _example(info):
    return info.examples[0] if info.examples else ""


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
