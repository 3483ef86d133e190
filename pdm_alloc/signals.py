"""What sensors say and actuators are told, and the boxes whose pins carry it: frozen objects, whole milliamps."""

from dataclasses import dataclass

from pdm_alloc.signal_kinds import SIGNAL_KINDS, SUPPLIES, SignalKind

__all__ = ["Box", "FittedBox", "Keypad", "Message", "Signal", "SignalPin", "fitted"]


@dataclass(frozen=True, slots=True)
class Signal:
    """One row of the table ``signals``: one sensor or actuator, or `count` identical ones.

    Parameters
    ----------
    name : str
        Unique name.
    kind : str
        A word of `pdm_alloc.signal_kinds.SIGNAL_KINDS`.
    count : int
        Identical ones.
    place : str or None
        Name of a place.
    importance : str
        vital, needed or comfort.
    needs : frozenset of str
        ``pwm``; ``supply_5v``, ``sensor_ground``: it shares such a pin of the box that reads it; ``spare``: pins to
        keep free for a signal of this kind.
    current_ma : int
        What one takes: a sensor from its supply and into its ground, an actuator through its pin, mA.
    current_assumed : bool
        True where it came from the kind and not from the table.
    reader : str or None
        Kind of box it must be on: ``module`` or ``control_unit``; None: any.
    note : str
        Free text.
    extra : tuple of (str, str)
        The ``x_`` columns, untouched, in table order.
    """

    name: str
    kind: str
    count: int = 1
    place: str | None = None
    importance: str = "needed"
    needs: frozenset[str] = frozenset()
    current_ma: int = 0
    current_assumed: bool = False
    reader: str | None = None
    note: str = ""
    extra: tuple[tuple[str, str], ...] = ()

    @property
    def rule(self) -> SignalKind:
        """What its kind takes."""
        return SIGNAL_KINDS[self.kind]

    @property
    def supplies(self) -> tuple[str, ...]:
        """The shared supplies it needs, in order; none for pins kept free."""
        return () if "spare" in self.needs else tuple(word for word in SUPPLIES if word in self.needs)


@dataclass(frozen=True, slots=True)
class SignalPin:
    """One pin of a box.

    Parameters
    ----------
    name, connector : str
        Name, unique on its connector; the connector.
    functions : frozenset of str
        Words of `pdm_alloc.signal_kinds.FUNCTIONS`; it does one of them at a time.
    max_ma : int or None
        What it may carry, mA; None: not judged.
    pair : str or None
        Two pins of a box with one label work as a pair.
    """

    name: str
    connector: str
    functions: frozenset[str]
    max_ma: int | None = None
    pair: str | None = None
    extra: tuple[tuple[str, str], ...] = ()

    @property
    def label(self) -> str:
        """Connector and pin, as on a pin map."""
        return f"{self.connector}-{self.name}" if self.connector else self.name


@dataclass(frozen=True, slots=True)
class Box:
    """A box with signal pins: a control unit, a bus expander, or a module of the catalogue.

    Parameters
    ----------
    name : str
        Unique name.
    pins : tuple of SignalPin
        In natural order of connector and name.
    role : str
        ``control_unit``, ``expander`` or ``module``.
    mass_g, price : float or None
        Mass, g; price in any currency.
    quiescent_ma : float or None
        Current drawn when parked, mA; None: not known.
    """

    name: str
    pins: tuple[SignalPin, ...]
    role: str = "control_unit"
    mass_g: float | None = None
    price: float | None = None
    quiescent_ma: float | None = None
    note: str = ""
    extra: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Keypad:
    """A keypad of the catalogue: how many keys, its wires, how many nodes of the bus it counts as."""

    name: str
    keys: int
    wires: int = 4
    bus_nodes: int = 1
    mass_g: float | None = None
    price: float | None = None
    quiescent_ma: float | None = None
    note: str = ""
    extra: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class FittedBox:
    """A box in the vehicle: a label unique in the vehicle, the box, the place it sits at (or None)."""

    label: str
    box: Box
    place: str | None = None


@dataclass(frozen=True, slots=True)
class Message:
    """A message on the bus.

    Parameters
    ----------
    name : str
        Unique name.
    size : int
        Data bytes, 0 to 8.
    period_us : int
        Shortest time from one to the next, us.
    priority : int
        The identifier: the lower, the sooner.
    deadline_us : int or None
        Latest arrival after it was due, us; None: `period_us`.
    jitter_us : int
        How late it may be queued, us.
    """

    name: str
    size: int
    period_us: int
    priority: int
    deadline_us: int | None = None
    jitter_us: int = 0
    note: str = ""
    extra: tuple[tuple[str, str], ...] = ()


def fitted(boxes, places=None) -> tuple[FittedBox, ...]:
    """Boxes as fitted to a vehicle: labels are their names, numbered where a name comes twice.

    Parameters
    ----------
    boxes : iterable of Box
        In any order.
    places : mapping of str to str, optional
        Place by label.

    Returns
    -------
    tuple of FittedBox
        Same order.
    """
    boxes = list(boxes)
    names = [box.name for box in boxes]
    labels = [
        f"{name} #{names[: at + 1].count(name)}" if names.count(name) > 1 else name for at, name in enumerate(names)
    ]
    return tuple(FittedBox(label, box, (places or {}).get(label)) for label, box in zip(labels, boxes, strict=True))
