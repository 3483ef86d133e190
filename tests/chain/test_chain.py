"""Random vehicles and catalogues through the whole chain by the thousand: no violation, no traceback."""

from tests.chain.chain import check_refusal, made, run

SEEDS = 2000


def seeds(config):
    """All with --nightly, otherwise a few, on a second Python others."""
    if config.getoption("--second"):
        return range(60, 80)
    return range(SEEDS if config.getoption("--nightly") else 60)


def pytest_generate_tests(metafunc):
    """Those whose documents are written have a file of their own."""
    metafunc.parametrize("seed", [seed for seed in seeds(metafunc.config) if seed % 10 not in (0, 5)])


def test_every_answer_holds(seed, tmp_path):
    """Written, read, sized, allocated: every limit is kept, every refusal can be told, nothing else escapes."""
    one = run(made(seed, tmp_path))
    if seed % 8 == 1:
        for refusal in one.refusals[:1]:
            check_refusal(refusal)
