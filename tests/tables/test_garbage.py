import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from pdm_alloc.files.faults import InputError
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from tests.strategies import examples
from tests.tables.good import CATALOGUE, VEHICLE, write_files
from tests.tables.raw_workbook import make_workbook, row

# Bytes of every kind, and text that comes close to a table.
pieces = st.sampled_from(
    [
        "load",
        "command",
        "running_a",
        "kind",
        "motor",
        "state",
        "x_",
        "1,5",
        "1.5 A",
        "-1",
        "NaN",
        "=",
        "'",
        '"',
        ",",
        ";",
        "\t",
        "\n",
        "\r",
        "\0",
        " ",
        "é",
        "%",
        "#REF!",
        "sep=;\n",
    ]
)
garbage = st.one_of(
    st.binary(max_size=300),
    st.text(max_size=200).map(lambda t: t.encode("utf-8", "replace")),
    st.lists(pieces, max_size=40).map(lambda p: "".join(p).encode()),
)
many = settings(max_examples=examples(300, 3000), deadline=None, suppress_health_check=[HealthCheck.too_slow])


def reads_or_refuses(reader, path):
    """Reading gives something or an InputError with a line for every fault; anything else fails the test."""
    try:
        assert reader(path)
    except InputError as error:
        assert str(error)
        assert all("\n" not in str(fault) and fault.message for fault in error.faults)


@pytest.mark.once
@given(st.sampled_from(sorted(VEHICLE)), garbage)
@example("loads.csv", b"")
@example("settings.toml", b"x = 1e999\nsystem_v = 1e999")
@example("settings.toml", b"system_v = " + b"9" * 5000)
@example("settings.toml", b"a." * 5000 + b"b = 1")
@example("states.csv", b"command,\xff\xfe\n")
@many
def test_garbage_in_place_of_a_table(name, content):
    """Any bytes in the place of any table of a vehicle."""
    with tempfile.TemporaryDirectory() as folder:
        reads_or_refuses(read_vehicle, write_files(Path(folder), {**VEHICLE, name: content}))


@given(st.sampled_from(sorted(VEHICLE)), st.data())
@many
def test_garbage_in_the_middle_of_a_table(name, data):
    """A good table with a stretch of it overwritten."""
    good = VEHICLE[name].encode()
    start = data.draw(st.integers(0, len(good)))
    end = data.draw(st.integers(start, min(len(good), start + 30)))
    content = good[:start] + data.draw(garbage) + good[end:]
    with tempfile.TemporaryDirectory() as folder:
        reads_or_refuses(read_vehicle, write_files(Path(folder), {**VEHICLE, name: content}))


@pytest.mark.once
@given(st.sampled_from(sorted(CATALOGUE)), garbage, st.integers(0, 200))
@many
def test_garbage_in_a_catalogue(name, content, at):
    """The same for a catalogue."""
    good = CATALOGUE[name].encode()
    with tempfile.TemporaryDirectory() as folder:
        path = write_files(Path(folder), {**CATALOGUE, name: good[:at] + content + good[at:]})
        reads_or_refuses(read_catalogue, path)


@given(st.binary(max_size=400), st.integers(0, 3000), st.integers(0, 50))
@many
def test_damaged_workbook(content, at, cut):
    """A workbook with a stretch of its bytes overwritten or cut away."""
    with tempfile.TemporaryDirectory() as folder:
        rows = row(1, "load", "command", "running_a", "kind") + row(2, "pump", "ignition", 6.5, "motor")
        path = make_workbook(Path(folder) / "car.xlsx", rows)
        good = path.read_bytes()
        path.write_bytes(good[:at] + content + good[at + cut :])
        reads_or_refuses(read_vehicle, path)


xml = st.one_of(
    st.text("<>/=\"' abcr0123456789tv&;", max_size=120),
    st.lists(
        st.sampled_from(
            [
                '<row r="2">',
                "</row>",
                "<c>",
                '<c t="s">',
                '<c t="d">',
                '<c r="ZZZ9">',
                '<c s="99">',
                "</c>",
                "<v>",
                "</v>",
                "<f>",
                "</f>",
                "1e999",
                "-1",
                "9" * 30,
                "<is><t>a</t></is>",
            ]
        ),
        max_size=30,
    ).map("".join),
)


@given(xml)
@many
def test_workbook_with_odd_cells(data):
    """A workbook whose sheet has XML in it that no spreadsheet writes."""
    with tempfile.TemporaryDirectory() as folder:
        path = make_workbook(Path(folder) / "car.xlsx", row(1, "load", "command", "running_a", "kind") + data)
        reads_or_refuses(read_vehicle, path)


@given(st.text(max_size=30))
@many
def test_any_text_as_path(text):
    """Any text as a path; the temporary folder holds the few that are relative."""
    with tempfile.TemporaryDirectory() as folder:
        reads_or_refuses(read_vehicle, f"{folder}/{text}" if not text.startswith("/") else f"{folder}{text}")
