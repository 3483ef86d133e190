"""How many channels more it takes, how strong, and with which features."""

from bisect import bisect_left
from dataclasses import replace
from functools import partial

from pdm_alloc.circuits.classes import Rating, channel_classes
from pdm_alloc.circuits.items import item_types
from pdm_alloc.diagnose.short_trial import Growth, Trial, Unproved, with_channels, with_module
from pdm_alloc.domain.module import Channel, Unit, natural_key
from pdm_alloc.program.task import Column, Task
from pdm_alloc.result.refusals import Short, amps, plural

__all__ = ["BRIDGES", "CHANNELS", "PWM", "STRENGTH", "Bridges", "Channels", "Pwm", "Strength"]

CHANNELS, STRENGTH = "channels", "channel strength"

_CHANNELS_NEW = " new "  # no name in a table begins with a space
_STEP_MA = 100
_MOST_MA = 10_000_000


class Channels:
    """More channels, outside every bank, of the weakest kind in the module that does."""

    name = CHANNELS

    def relevant(self, trial: Trial, unit: Unit) -> bool:
        """Always: a module can be short of channels whatever the vehicle is."""
        return True

    def opened(self, trial: Trial, unit: Unit) -> Unit:
        """As many strong channels more as the vehicle has items, and the spares wanted."""
        most = sum(load.count for load in trial.vehicle.loads) + trial.vehicle.settings.spare_channels
        return _more(unit, _strongest(unit), most)

    def least(self, trial: Trial, unit: Unit) -> Growth | None:
        """Fewest channels more; then the weakest kind of which so many will do."""
        opened = self.opened(trial, unit)
        most = len(opened.module.channels) - len(unit.module.channels)
        new = {c.name: "new" for c in opened.module.channels if _is_new(c.name)}
        try:
            used = trial.cheapest(opened, new, _new_width)
        except Unproved:  # too many circuits to list, perhaps: the verdict alone takes less
            number, by = self._counted(trial, unit, most), ""
        else:
            number = None if used is None else self._with_spares(trial, unit, used[0], most)
            by = ", ".join(dict.fromkeys(h[3] for h in used[1])) if used else ""
        if number is None:
            return None
        kind = next((k for k in _kinds(unit) if trial.enough(_more(unit, k, number))), None)
        like = next((c.name for c in unit.module.channels if _plain(c) == kind), None)
        return _new_channels(unit, like, number, by)

    def _counted(self, trial: Trial, unit: Unit, most: int) -> int | None:
        """Fewest channels more, from verdicts alone."""
        enough = partial(_is_enough_with, trial, unit)
        return bisect_left(range(most), True, key=enough) if enough(most) else None

    def _with_spares(self, trial: Trial, unit: Unit, number: int, most: int) -> int:
        """The new channels may all be in use while too few of the old ones stay free."""
        if not trial.vehicle.settings.spare_channels:
            return number
        return next((n for n in range(number, most) if _is_enough_with(trial, unit, n)), most)


def _is_enough_with(trial: Trial, unit: Unit, number: int) -> bool:
    return trial.enough(_more(unit, _strongest(unit), number))


def _new_channels(unit: Unit, like: str | None, number: int, by: str) -> Growth:
    """So many channels more, each like one that there is, or like the best of all of them in one."""
    kind = _like(unit, like)
    have = len(unit.module.channels)
    text = f"{plural(number, 'more channel')} of at least {amps(kind.continuous_ma)}"
    text += " with pwm" if "pwm" in kind.features else ""
    short = Short(CHANNELS, unit.label, "", have, have + number, "channels", text, by)
    return Growth(
        short,
        lambda other: _more(other, _like(other, like), number),
        lambda other: _new_channels(other, like, number, by),
    )


def _like(unit: Unit, name: str | None) -> Channel:
    return _strongest(unit) if name is None else _plain(unit.module.channel(name))


def _new_width(task: Task, column: Column) -> int:
    own = task.classes[column.channel_class]
    return own.width if _is_new(own.slots[0][0]) else 0


def _is_new(name: str) -> bool:
    return name.startswith(_CHANNELS_NEW)


def _more(unit: Unit, kind: Channel, number: int) -> Unit:
    new = tuple(replace(kind, name=f"{_CHANNELS_NEW}{n + 1}") for n in range(number))
    return with_module(unit, channels=(*unit.module.channels, *new))


def _plain(channel: Channel) -> Channel:
    return replace(channel, name="", connector="", pins=(), bank=None, bridge=None, pair=None, extra=())


def _kinds(unit: Unit) -> list[Channel]:
    kinds = set(map(_plain, unit.module.channels))
    return sorted(kinds, key=lambda c: (c.continuous_ma, len(c.features), c.peak_ma, c.peak_ms, c.max_wire_mm2 or 1e9))


def _strongest(unit: Unit) -> Channel:
    """Everything the channels of the module can do, in one."""
    every = unit.module.channels
    wires = [c.max_wire_mm2 for c in every]
    return Channel(
        name="",
        continuous_ma=max(c.continuous_ma for c in every),
        peak_ma=max(c.peak_ma for c in every),
        peak_ms=max(c.peak_ms for c in every),
        features=frozenset().union(*(c.features for c in every)),
        max_wire_mm2=None if None in wires else max(w for w in wires if w is not None),
    )


class Strength:
    """Stronger channels in place of some: as few as will do, then no stronger than they need be."""

    name = STRENGTH

    def relevant(self, trial: Trial, unit: Unit) -> bool:
        """Always."""
        return True

    def opened(self, trial: Trial, unit: Unit) -> Unit:
        """Every channel as strong as can be."""
        return _strong(unit, [c.name for c in unit.module.channels], _MOST_MA)

    def least(self, trial: Trial, unit: Unit) -> Growth | None:
        """Fewest channels to be stronger, then the lowest rating in steps of 0.1 A."""
        found = self._fewest(trial, unit, _MOST_MA)
        if found is None or not found[0]:
            return None
        number = found[0]
        low, high = 0, _MOST_MA // _STEP_MA
        while high - low > 1:
            middle = (low + high) // 2
            trial_found = self._fewest(trial, unit, middle * _STEP_MA)
            if trial_found is not None and trial_found[0] <= number:
                high, found = middle, trial_found
            else:
                low = middle
        return self._growth(trial, unit, number, high * _STEP_MA, found[1])

    def _fewest(self, trial: Trial, unit: Unit, rating_ma: int):
        """Width of the circuits that the channels as they are do not bear, and where they are."""
        names = [c.name for c in unit.module.channels]
        by_name = {c.name: repr(_plain(c)) for c in unit.module.channels}
        weak = _Weak(trial, unit, rating_ma)
        return trial.cheapest(_strong(unit, names, rating_ma), by_name, weak.cost)

    def _growth(self, trial: Trial, unit: Unit, number: int, rating_ma: int, handed) -> Growth:
        names = [name for h in handed for name in h[2]]
        for name in [*names]:  # of two used together, one may be strong enough
            rest = [other for other in names if other != name]
            if len(names) > number and trial.enough(_strong(unit, rest, rating_ma)):
                names = rest
        by = ", ".join(dict.fromkeys(load for h in handed for load, _ in h[4]))
        have = sum(c.continuous_ma >= rating_ma for c in unit.module.channels)
        text = f"{plural(number, 'channel')} of at least {amps(rating_ma)} in place of weaker ones"
        short = Short(STRENGTH, unit.label, "", have, have + number, "channels", text, by)
        return Growth(short, lambda other: _strong(other, names, rating_ma))


class _Weak:
    """Cost of a column on strengthened channels: how many channels of it had to be strengthened."""

    def __init__(self, trial: Trial, unit: Unit, rating_ma: int):
        self.trial, self.unit, self.rating_ma = trial, unit, rating_ma
        self.types = item_types(trial.vehicle, [unit])
        self.wiring = trial.book.wiring(trial.vehicle)
        self.ratings: dict[tuple[str, ...], dict[tuple, Rating]] = {}

    def cost(self, task: Task, column: Column) -> int:
        own = task.classes[column.channel_class]
        slot = own.slots[0]
        if self._fits(column, own.use, slot, ()):
            return 0
        return 1 if any(self._fits(column, own.use, slot, (name,)) for name in slot if own.width == 2) else own.width

    def _fits(self, column: Column, use: str, slot: tuple[str, ...], strong: tuple[str, ...]) -> bool:
        """Whether the channels bear the circuit when only those named are strengthened."""
        if strong not in self.ratings:
            classes, _ = channel_classes(self.trial.vehicle, [_strong(self.unit, strong, self.rating_ma)])
            self.ratings[strong] = {(c.use, s): c.rating for c in classes for s in c.slots}
        rating = self.ratings[strong][use, slot]
        return column.counts in self.trial.book.circuits(self.types[column.command], rating, self.wiring)


def _strong(unit: Unit, names, rating_ma: int) -> Unit:
    """Named channels at least so strong, with the inrush that goes with it and a terminal for the wire."""
    ratio = max(c.peak_ma / c.continuous_ma for c in unit.module.channels)
    peak = round(rating_ma * ratio)

    def stronger(c: Channel) -> Channel:
        if c.name not in names or c.continuous_ma >= rating_ma:
            return c
        return replace(c, continuous_ma=rating_ma, peak_ma=max(c.peak_ma, peak), max_wire_mm2=None)

    return with_channels(unit, stronger)


PWM, BRIDGES = "pwm channels", "reversing channels"

_FEATURES_NEW = " new bridge "  # no label in a table begins with a space


class Pwm:
    """Channels that can dim in place of channels that cannot."""

    name = PWM

    def relevant(self, trial: Trial, unit: Unit) -> bool:
        """Where a load wants pwm and a channel has none."""
        return any(t.pwm for t in trial.types()) and any("pwm" not in c.features for c in unit.module.channels)

    def opened(self, trial: Trial, unit: Unit) -> Unit:
        """Every channel can dim."""
        return _dimming(unit, [c.name for c in unit.module.channels])

    def least(self, trial: Trial, unit: Unit) -> Growth | None:
        """Fewest channels that must gain pwm."""
        plain = {c.name for c in unit.module.channels if "pwm" not in c.features}
        apart = {c.name: "plain" if c.name in plain else "" for c in unit.module.channels}

        def cost(task: Task, column: Column) -> int:
            own = task.classes[column.channel_class]
            wants = any(task.types[column.command][n].pwm for n, _ in column.counts)
            return sum(name in plain for name in own.slots[0]) if wants else 0

        found = trial.cheapest(self.opened(trial, unit), apart, cost)
        if found is None or not found[0]:
            return None
        names = [name for h in found[1] for name in h[2] if name in plain]
        have = len(unit.module.channels) - len(plain)
        text = f"{plural(found[0], 'more channel')} with pwm"
        by = ", ".join(dict.fromkeys(load for h in found[1] for load, _ in h[4]))
        short = Short(PWM, unit.label, "", have, have + found[0], "channels", text, by)
        return Growth(short, lambda other: _dimming(other, names))


def _dimming(unit: Unit, names) -> Unit:
    def dims(c: Channel) -> Channel:
        return replace(c, features=c.features | {"pwm"}) if c.name in names else c

    return with_channels(unit, dims)


class Bridges:
    """Reversing pairs made of channels of one kind that form none yet."""

    name = BRIDGES

    def relevant(self, trial: Trial, unit: Unit) -> bool:
        """Where a load reverses."""
        return any(t.reversing for t in trial.types())

    def opened(self, trial: Trial, unit: Unit) -> Unit:
        """As many bridges as the channels allow."""
        free: dict[tuple, list[str]] = {}
        for c in sorted(unit.module.channels, key=lambda c: natural_key(c.name)):
            if c.bridge is None:
                free.setdefault(_kind(c), []).append(c.name)
        pairs = [pair for names in free.values() for pair in zip(names[::2], names[1::2], strict=False)]
        return _bridged(unit, {name: f"{_FEATURES_NEW}{n + 1}" for n, pair in enumerate(pairs) for name in pair})

    def least(self, trial: Trial, unit: Unit) -> Growth | None:
        """Fewest bridges more."""
        opened = self.opened(trial, unit)
        labels = {c.name: c.bridge for c in opened.module.channels if (c.bridge or "").startswith(_FEATURES_NEW)}

        def cost(task: Task, column: Column) -> int:
            own = task.classes[column.channel_class]
            return int(own.use == "bridge" and own.slots[0][0] in labels)

        found = trial.cheapest(opened, dict.fromkeys(labels, "new"), cost)
        if found is None or not found[0]:
            return None
        names = {name: labels[name] or "" for h in found[1] for name in h[2]}
        have = len({c.bridge for c in unit.module.channels if c.bridge})
        text = f"{plural(found[0], 'more reversing pair')}"
        by = ", ".join(dict.fromkeys(load for h in found[1] for load, _ in h[4]))
        short = Short(BRIDGES, unit.label, "", have, have + found[0], "pairs", text, by)
        return Growth(short, lambda other: _bridged(other, names))


def _kind(c: Channel) -> tuple:
    return (
        c.continuous_ma,
        c.peak_ma,
        c.peak_ms,
        c.bank or "",
        tuple(sorted(c.features)),
        c.max_wire_mm2 or 0.0,
        c.pair or "",
    )


def _bridged(unit: Unit, labels: dict[str, str]) -> Unit:
    return with_channels(unit, lambda c: replace(c, bridge=labels[c.name]) if c.name in labels else c)
