"""Settings as TOML of every type, for every setting."""

import tempfile
from pathlib import Path

from hypothesis import example, given
from hypothesis import strategies as st

from pdm_alloc.files.faults import InputError
from pdm_alloc.files.rows import columns_of
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.files.tables.settings_rows import SettingsRow
from tests.fuzz.mutate import damaged, many
from tests.fuzz.refused import refused_in_words
from tests.tables.good import VEHICLE, write_files

VALUES = st.sampled_from(
    [
        *("1", "-1", "0", "+12", "1_2", "0x1F", "1e400", "-0.0", "nan", "-inf", "9" * 400, "12.5", ".5", "1,5", "true"),
        *('""', "''", '"12"', "'a'", '"""a\nb"""', '"\\u0000"', '"\\ud800"', '"=1"', "1979-05-27", "07:32:00"),
        *("1979-05-27T07:32:00Z", "[]", "[12]", "[[1]]", "{}", "{a = 1}", '["isolate"]', "isolate", '"isolate"'),
    ]
)
KEYS = st.sampled_from([*columns_of(SettingsRow), "x_mine", "System_V", '"system_v"', "a.b", "ø", '""', "battery_ah.x"])


def usable_or_refused(content: bytes) -> None:
    """A vehicle, or faults of one line each."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            assert read_vehicle(write_files(Path(folder), {**VEHICLE, "settings.toml": content}))
        except InputError as error:
            refused_in_words(error)


@given(st.lists(st.tuples(KEYS, VALUES), max_size=5))
@example([("headroom_pct", "1e400"), ("time_limit_s", "nan")])
@many(250)
def test_settings_of_any_type(rows):
    """Whatever type a setting has: it is used, or said to be what it cannot be."""
    usable_or_refused("".join(f"{key} = {value}\n" for key, value in rows).encode())


@given(damaged(VEHICLE["settings.toml"].encode()))
@many(120)
def test_damaged_settings(content):
    """Bytes of the file damaged."""
    usable_or_refused(content)
