"""Both sides of random vehicles through the command line: nothing but answers, and nothing written of a bad input."""

from tests.attack.command_line import run
from tests.attack.generator import features, tiny


def pytest_generate_tests(metafunc):
    """Two vehicles, forty at night."""
    if "vehicle" in metafunc.fixturenames:
        nightly = metafunc.config.getoption("--nightly")
        metafunc.parametrize("vehicle", range(20_000, 20_040) if nightly else (20_003, 20_008))


def test_every_command_ends_with_an_answer(vehicle, tmp_path):
    """Codes 0 to 3, no traceback, something said, nothing written with code 2."""
    assert [(each.words, each.wrong) for each in run(vehicle, tmp_path) if each.wrong] == []


def test_the_vehicles_of_the_oracle_ask_every_rule_often():
    """Of the two hundred vehicles in CI five and more ask each rule; a feature nobody names has no test here."""
    seen = [features(tiny(seed)) for seed in range(200)]
    for word in seen[0][1]:
        assert sum(word in asked for asked, _ in seen) >= 5, word
