"""The copied tables themselves."""

import pytest

from tests.electrics.conftest import FOLDER, rows

NAMES = sorted(path.stem for path in FOLDER.glob("*.csv"))


@pytest.mark.parametrize("name", NAMES)
def test_every_row_says_where_it_is_from(name):
    """Each copied row carries a source and whether it was seen, derived or only remembered."""
    for row in rows(name):
        assert row["source"], row
        assert row["status"].startswith(("SEEN", "DERIVED", "FROM MEMORY", "variables SEEN", "inputs", "expression")), (
            row
        )


def test_nothing_rests_on_memory_alone():
    """Every table but the two named has rows that were seen."""
    recalled = {name for name in NAMES if not any("SEEN" in row["status"] for row in rows(name))}
    assert recalled == {"faa_harness_examples"}
