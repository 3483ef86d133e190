"""What to buy for a harness: wire by size and colour, ends, splices, fuses, sleeves."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from math import ceil

import pandas as pd

from pdm_alloc.domain.bench import part_for
from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.result.cut_list import ENDS_OF, Cut, sides_of

__all__ = ["SHOPPING", "WASTE", "shopping_table"]

SHOPPING = ("item", "detail", "part", "count", "length_m", "note")

WASTE = 1.1  # wire bought over wire cut; common practice, no source


def shopping_table(
    vehicle: Vehicle, units: Sequence[Unit], made: Sequence[Cut], links: pd.DataFrame, segments: pd.DataFrame
) -> pd.DataFrame:
    """What to buy, in the columns `SHOPPING`: wire with 10 % for waste, m; everything else counted."""
    rows = [*_wire(made), *_ends(vehicle, made), *_connectors(vehicle, units), *_fuses(vehicle, links)]
    rows += _sleeves(vehicle, segments)
    return pd.DataFrame(rows, columns=list(SHOPPING))


def _wire(made: Sequence[Cut]) -> Iterator[tuple[object, ...]]:
    kinds: dict[tuple[float, str, str], list[Cut]] = defaultdict(list)
    for cut in made:
        kinds[cut.size.area_mm2, cut.size.name, cut.colour].append(cut)
    for (_, size, colour), here in sorted(kinds.items()):
        metres = sum(cut.length_m or 0.0 for cut in here)
        missing = sum(cut.length_m is None for cut in here)
        note = f"{missing} pieces without a length are not counted" if missing else "with 10 % for waste"
        yield ("wire", f"{size} {colour}".strip(), "", len(here), ceil(10 * metres * WASTE) / 10, note)


def _ends(vehicle: Vehicle, made: Sequence[Cut]) -> Iterator[tuple[object, ...]]:
    sides = sides_of(made)
    counts: Counter[tuple[str, str, str]] = Counter()
    for name, area in sides.items():
        counts["splice", f"{area:g} mm² together", part_for(vehicle.parts, "splice", "*", area)] += bool(name)
    for cut in made:
        for spot in (cut.start, cut.end):
            for item in ENDS_OF[spot.kind] if spot.kind != "splice" else ():
                where = spot.at if spot.kind == "pin" else spot.kind
                part = part_for(vehicle.parts, item, spot.at or "*", cut.size.area_mm2)
                counts[item.replace("_", " "), f"{cut.size.name}, {where}".rstrip(", "), part] += 1
    for (item, detail, part), count in sorted(counts.items(), key=lambda pair: tuple(map(natural_key, pair[0]))):
        yield (item, detail, part, count, None, "")


def _connectors(vehicle: Vehicle, units: Sequence[Unit]) -> Iterator[tuple[object, ...]]:
    for unit in units:
        pins: Counter[str] = Counter()
        for channel in unit.module.channels:
            pins[channel.connector] += len(channel.pins)
        for name in sorted(pins, key=natural_key):
            yield (
                "connector",
                f"{unit.label} {name}".strip(),
                part_for(vehicle.parts, "connector", name, None),
                1,
                None,
                f"{pins[name]} pins",
            )


def _fuses(vehicle: Vehicle, links: pd.DataFrame) -> Iterator[tuple[object, ...]]:
    for amps, count in sorted(Counter(a for a in links["fuse_a"] if a == a and a is not None).items()):
        yield (
            "fuse holder and fuse",
            f"{amps:g} A",
            part_for(vehicle.parts, "fuse_holder", "*", amps),
            count,
            None,
            "",
        )


def _sleeves(vehicle: Vehicle, segments: pd.DataFrame) -> Iterator[tuple[object, ...]]:
    metres: Counter[int] = Counter()
    for row in segments.to_dict("records"):
        if row["bundle_mm"] > 0:
            metres[ceil(row["bundle_mm"])] += row["length_m"]
    for across, length in sorted(metres.items()):
        part = part_for(vehicle.parts, "sleeve", "*", float(across))
        yield (
            "sleeving",
            f"bundle up to {across} mm",
            part,
            None,
            ceil(10 * length * WASTE) / 10,
            "with 10 % for waste",
        )
