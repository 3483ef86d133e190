"""What is wrong with a condition, and where."""

__all__ = ["ConditionError"]


class ConditionError(ValueError):
    """A condition that cannot be read.

    Parameters
    ----------
    text : str
        The whole condition.
    position : int
        Where the trouble is, in characters counted from 1.
    found, expected : str
        What stands there; what could.
    hint : str
        A remedy, or nothing.
    two_names : bool
        Two names follow each other, which a name with a space in it may explain.
    """

    def __init__(self, text: str, position: int, found: str, expected: str, hint: str = "", two_names: bool = False):
        self.text, self.position, self.found, self.expected = text, position, found, expected
        self.two_names = two_names
        super().__init__(f"at character {position}: found {found}, expected {expected}{hint and f' ({hint})'}")
