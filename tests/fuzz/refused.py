"""What every refusal of damaged input owes."""

from pdm_alloc.files.faults import InputError

__all__ = ["refused_in_words"]


def refused_in_words(error: InputError) -> None:
    """Faults, one line each."""
    assert error.faults
    assert all("\n" not in str(fault) and fault.message for fault in error.faults)
