"""How many channels more must be able to dim, how many pairs more to reverse."""

from dataclasses import replace

from pdm_alloc.allocation.arithmetic import plural
from pdm_alloc.allocation.not_enough import Short
from pdm_alloc.allocation.shortfall.trial import Growth, Trial, with_channels
from pdm_alloc.module import Channel, Unit, natural_key
from pdm_alloc.program.task import Column, Task

__all__ = ["BRIDGES", "PWM", "Bridges", "Pwm"]

PWM, BRIDGES = "pwm channels", "reversing channels"
_NEW = " new bridge "  # no label in a table begins with a space


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
        return _bridged(unit, {name: f"{_NEW}{n + 1}" for n, pair in enumerate(pairs) for name in pair})

    def least(self, trial: Trial, unit: Unit) -> Growth | None:
        """Fewest bridges more."""
        opened = self.opened(trial, unit)
        labels = {c.name: c.bridge for c in opened.module.channels if (c.bridge or "").startswith(_NEW)}

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
