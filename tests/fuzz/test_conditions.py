"""Conditions as people paste them, and anything else that may stand in their place."""

import unicodedata

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pdm_alloc.domain.condition import ConditionError, condition_names, parse_condition
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from tests.tables.good import VEHICLE, write_files

NAMES = ("a", "b_2", "Ölstand", "left door", "灯", "x and y")
PIECES = st.sampled_from(
    (*"abc()&|~!'\"“”‘’ \t\n\\=<>,.;:-+0\u0301\u200d", "and ", "or ", "not ", "AND", "&&", "||", '"left door"', "é")
)
TEXTS = st.one_of(st.text(max_size=60), st.lists(PIECES, max_size=30).map("".join))
MANY = settings(max_examples=600)


@given(TEXTS)
@example("(" * 5000)
@example("not " * 5000 + "a")
@example("a and " * 5000 + "a")
@example('"' * 4999)
@example("ſ or İ")
@example("'two\nlines' name")
@MANY
def test_any_text_is_read_or_refused_with_its_place(text):
    """Whatever stands there: names, or where the trouble is; and what is read can be evaluated."""
    try:
        names = condition_names(text)
    except ConditionError as error:
        assert 1 <= error.position <= len(text) + 1
        assert "\n" not in str(error).replace(text, "")
        return
    if text.strip():
        condition = parse_condition(text)
        assert set(condition.names) == names
        assert condition.evaluate(names) in (True, False)


@pytest.mark.parametrize(
    "typed",
    [
        unicodedata.normalize("NFD", "Ölstand"),
        "Öl\u00adstand",
        "\ufeffÖlstand",
        '"Ölstand\u200b"',
        "\xa0Ölstand\xa0or\xa0not\nÖlstand",
    ],
)
def test_an_input_is_known_however_its_name_came_in(tmp_path, typed):
    """Names are made plain in every table; so they are inside a condition, or no input would be found there."""
    files = {
        "commands.csv": f'command,condition\nengine,"{typed.replace(chr(34), chr(34) * 2)}"\nlights,\ncooling,\n',
        "inputs.csv": "input,place\nÖlstand,dash\n",
    }
    vehicle = read_vehicle(write_files(tmp_path, {**VEHICLE, **files}))
    assert condition_names(vehicle.command("engine").condition) == {"Ölstand"}


@given(TEXTS)
@settings(max_examples=150)
def test_any_condition_in_the_table(tmp_path_factory, text):
    """In a table the same is a vehicle or a fault of one line; nothing else escapes."""
    quoted = text.replace('"', '""').encode("utf-8", "replace").decode()
    files = {"commands.csv": f'command,condition\nengine,"{quoted}"\nlights,\ncooling,\n'}
    try:
        assert read_vehicle(write_files(tmp_path_factory.mktemp("car"), {**VEHICLE, **files}))
    except InputError as error:
        assert all("\n" not in str(fault) for fault in error.faults)
