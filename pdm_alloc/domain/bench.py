"""What the bench adds to a vehicle: ground points, wire colours, parts, and what comes out of and goes into it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

__all__ = [
    "COLOUR_RULES",
    "GROUND_USES",
    "PART_ITEMS",
    "Ground",
    "MassItem",
    "Part",
    "WireColour",
    "colour_of",
    "part_for",
    "signal_colour",
]

if TYPE_CHECKING:
    from pdm_alloc.domain.vehicle import Load

GROUND_USES = ("power", "sensor")

# Nearest rule first: a colour for one load stands above that of its command, and so on.
COLOUR_RULES = ("load", "command", "signal", "kind", "return", "feed", "supply_5v", "sensor_ground", "all")

PAIR_SIGN = " + "  # between the colours of the two wires of a pair

PART_ITEMS = ("connector", "terminal", "seal", "load_terminal", "ring", "splice", "fuse_holder", "sleeve")


@dataclass(frozen=True, slots=True)
class Ground:
    """One row of the table ``grounds``: a stud where returns meet the vehicle's metal or the negative bus.

    Parameters
    ----------
    name, place : str
        Unique name; the place it is at.
    use : str
        ``power`` or ``sensor``: the two are kept apart.
    stud : str
        Its thread, as the table writes it (``M8``).
    max_ma : int or None
        Current it bears for long, mA; None: not judged.
    max_wires : int or None
        Returns it takes; None: not judged.
    """

    name: str
    place: str
    use: str = "power"
    stud: str = ""
    max_ma: int | None = None
    max_wires: int | None = None
    note: str = ""
    extra: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class WireColour:
    """One row of the table ``wire_colours``: `by` a word of `COLOUR_RULES`, the name it is about, the colour."""

    by: str
    subject: str
    colour: str


@dataclass(frozen=True, slots=True)
class Part:
    """One row of the table ``parts``.

    Parameters
    ----------
    item : str
        A word of `PART_ITEMS`.
    at : str
        Connector, load or ground point it is for; ``*``: any.
    least, most : float or None
        Range it takes: conductors in mm2 (of a splice: all conductors of one side together), a fuse
        in A, a bundle in mm. None: no limit.
    part : str
        Part number.
    """

    item: str
    at: str
    least: float | None
    most: float | None
    part: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class MassItem:
    """One row of the tables ``removed`` and ``fitted``: a part, mass of one in g, how many."""

    part: str
    mass_g: float
    count: int = 1
    note: str = ""


def colour_of(colours: Iterable[WireColour], loads: "Iterable[Load]", role: str = "") -> str:
    """Colour of a wire by the rules of the table ``wire_colours``.

    Parameters
    ----------
    colours : iterable of WireColour
        The rules.
    loads : iterable of Load
        What the wire feeds, or returns from; may be empty.
    role : str
        ``return`` or ``feed``; empty: from a channel to its loads.

    Returns
    -------
    str
        Empty where no rule applies. A rule for its role stands above those for its loads.
    """
    rules = {(c.by, c.subject): c.colour for c in colours}
    listed = list(loads)
    keys = [(role, "*")] if role else []
    keys += [("load", x.name) for x in listed] + [("command", x.command) for x in listed]
    keys += [("kind", x.kind) for x in listed] + [("all", "*")]
    return next((rules[key] for key in keys if key in rules), "")


def signal_colour(colours: Iterable[WireColour], name: str, kind: str, wire: int = 0) -> str:
    """Colour of a wire of the signal side by the rules of the table ``wire_colours``.

    Parameters
    ----------
    colours : iterable of WireColour
        The rules.
    name : str
        Signal on the wire; empty: none, as on the trunk of the bus and on shared supplies and grounds.
    kind : str
        Kind of signal; ``supply_5v`` or ``sensor_ground`` of a wire that sensors share.
    wire : int
        0 or 1: which wire of a pair.

    Returns
    -------
    str
        Empty where no rule applies. A colour written as two with a plus between them gives each wire of a pair its own.
    """
    rules = {(c.by, c.subject): c.colour for c in colours}
    keys = (("signal", name), ("kind", kind), (kind, "*"), ("all", "*"))
    colour = next((rules[key] for key in keys if key in rules), "")
    both = colour.split(PAIR_SIGN)
    return both[wire].strip() if len(both) == 2 else colour


def part_for(parts: Iterable[Part], item: str, at: str, size: float | None) -> str:
    """Part number for an end, a splice, a fuse or a bundle.

    Parameters
    ----------
    parts : iterable of Part
        The table.
    item : str
        A word of `PART_ITEMS`.
    at : str
        Connector, load or ground point.
    size : float or None
        mm2, A or mm; None: any row does.

    Returns
    -------
    str
        Of a row for that place before one for any; of several the one whose range ends first. Empty: none.
    """
    fitting = [p for p in parts if p.item == item and p.at in (at, "*") and _takes(p, size)]
    best = min(fitting, key=lambda p: (p.at == "*", float("inf") if p.most is None else p.most, p.part), default=None)
    return "" if best is None else best.part


_ROUNDING = 1.01  # gauge sizes are rounded where parts are sold


def _takes(part: Part, size: float | None) -> bool:
    if size is None:
        return True
    return (part.least or 0.0) <= size * _ROUNDING and (part.most is None or size <= part.most * _ROUNDING)
