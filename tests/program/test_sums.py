"""What the rally car of the record lets be on at once, where mean currents once said that there was room."""

from dataclasses import replace
from pathlib import Path

import pdm_alloc as pa
from pdm_alloc.circuits.items import item_types
from pdm_alloc.domain.module import units_of
from pdm_alloc.program.sums import Sums, everything

FROZEN = Path(__file__).parents[1] / "data" / "rally_frozen"


def sums_as_stated(lowest_ambient_c=20.0):
    """The car on the module, every current as stated in the table; copper draws what is stated at 20 deg C."""
    vehicle = pa.read_vehicle(FROZEN / "vehicle")
    stated = replace(vehicle.settings, tolerance_loads=0, lowest_ambient_c=lowest_ambient_c)
    vehicle = replace(vehicle, settings=stated)
    units = units_of([pa.read_catalogue(FROZEN / "catalogue")["middle-36"]])
    return Sums(vehicle, units, item_types(vehicle, units))


def worst_in(sums, state, kind):
    limit = next(limit for limit in sums.limits if limit.kind == kind)
    [scene] = [scene for scene in sums.scenes if scene.state == state]
    return sums.worst(limit, everything(sums.types), scene)


def test_night_rain_is_more_at_once_than_in_the_mean():
    """111 A in the mean over the duties, 171.5 A at once against 161.7 A derated: the module is not enough."""
    worst = worst_in(sums_as_stated(), "stage night rain", "total")
    assert round(worst.amount_ma / 1000, 1) == 171.5
    assert {"main beam", "wipe fast", "horn"} <= worst.cut.on
    assert "dipped beam" not in worst.cut.on
    assert worst.amount_ma > 161_700 > worst.limit.most_ma


def test_sums_count_currents_as_stated():
    """A limit on heating is met in the heat: the cold, in which coils draw more, is for trip settings."""
    cold, stated = (worst_in(sums_as_stated(c), "stage night rain", "total") for c in (-20.0, 20.0))
    assert cold.amount_ma == stated.amount_ma


def test_one_flick_switches_several_commands():
    """One input brings main, spot and wide lamps at once: far above the 480 A peak, though no one circuit is."""
    worst = worst_in(sums_as_stated(), "stage night rain", "peak")
    assert worst.amount_ma >= 698_000 > worst.limit.most_ma == 480_000
    assert {"main beam", "spot lamps", "wide lamps"} <= worst.cut.switched_on
