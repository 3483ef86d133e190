"""What is said of vehicles nobody tuned to is true: the growth, one step less of it, each set and each member of it."""

import pytest

import pdm_alloc as pa
from pdm_alloc.diagnose.concession_sets import units_with
from pdm_alloc.diagnose.growth_parts import applied, one_step_less
from pdm_alloc.domain.concession_options import concede
from pdm_alloc.domain.module import Unit
from tests.attack.tables import write_tables
from tests.shortfall.test_growth import is_enough
from tests.shortfall.unlike import BODIES, unlike

CI = (("ambulance", 0, "plain"), ("tractor", 0, "ample"), ("camper van", 0, "plain"), ("race boat", 0, "few strong"))
NIGHTLY = [(body, seed, "") for seed in range(6) for body in BODIES]


def refusals(body, seed, name, folder):
    """Of the modules with this name, or of all, those that are not enough."""
    write_tables(unlike(body, seed), folder / "v", folder / "c")
    vehicle, catalogue = pa.read_vehicle(folder / "v"), pa.read_catalogue(folder / "c")
    seats = [place.name for place in vehicle.places if place.mount and "fuel" not in place.contains]
    for module in (m for m in catalogue if name in ("", m.name)):
        try:
            pa.allocate(vehicle, Unit(module.name, module, seats[seed % len(seats)]))
        except pa.NotEnough as refusal:
            yield refusal


def check_growth(refusal, growth):
    """Enough as it is said; where it is not said that less may do, one step less of any part is not."""
    vehicle, units = refusal.vehicle, refusal.units
    assert growth.parts or growth.lost
    if growth.lost:
        return
    assert is_enough(*applied(vehicle, units, growth.parts)), growth.sentence
    ratings = sorted({c.continuous_ma for unit in units for c in unit.module.channels})
    for n, part in enumerate(growth.parts if not growth.may_be_less else ()):
        for less in one_step_less(part, ratings):
            fewer = [*growth.parts[:n], *([] if less is None else [less]), *growth.parts[n + 1 :]]
            assert not is_enough(*applied(vehicle, units, fewer)), (growth.sentence, less)


def check_set(refusal, made):
    """Enough; without any one member it is not."""

    def does(some):
        return is_enough(concede(refusal.vehicle, some), units_with(refusal.units, some))

    assert does(made), made
    assert not any(does([other for other in made if other != option]) for option in made), made


@pytest.mark.parametrize(
    ("body", "seed", "name"),
    [
        CI[0],
        *(pytest.param(*case, marks=pytest.mark.once) for case in CI[1:]),
        *(pytest.param(*case, marks=pytest.mark.nightly) for case in NIGHTLY),
    ],
)
def test_the_answer_is_true(body, seed, name, tmp_path):
    """Of campers, boats, tractors and ambulances on six modules unlike each other."""
    known = list(refusals(body, seed, name, tmp_path))
    assert known or not name
    for refusal in known:
        answer = pa.explain(refusal)
        check_growth(refusal, answer.growth)
        for one in answer.concession_sets:
            check_set(refusal, one.made)
