"""The settings of a vehicle: ``settings.toml``, or a table of settings and values."""

from fractions import Fraction
from typing import Annotated, ClassVar

from pdm_alloc.domain.kinds import CHEMISTRIES, Settings
from pdm_alloc.files.cells import Name, Number, Text, Word, whole
from pdm_alloc.files.rows import Row, column

__all__ = ["SettingRow", "SettingsRow"]

_D = Settings()

_Volts = Number("V", 0, 1_000, above=True)

_Celsius = Number("°C", -60, 200)


class SettingRow(Row):
    """One row of the table of settings: a setting and its value."""

    table: ClassVar[str] = "settings"
    key: ClassVar[tuple[str, ...]] = ("setting",)

    setting: Annotated[str, Name()] = column("name of a setting", "system_v")
    value: Annotated[str, Text()] = column("its value", "12")


class SettingsRow(Row):
    """What holds for the whole vehicle."""

    table: ClassVar[str] = "settings"

    name: Annotated[str, Name()] = column("name of the vehicle", "", "the folder's name", "")
    system_v: Annotated[float, _Volts] = column("nominal voltage", "12", "12", _D.system_v)
    reference_v: Annotated[float | None, _Volts] = column("voltage at which running_a is stated", "12", "system_v")
    headroom_pct: Annotated[Fraction, Number("%", 0, 95, to=Fraction)] = column(
        "least headroom wanted on every channel", "20", "20", _D.headroom_pct
    )
    module_headroom_pct: Annotated[Fraction, Number("%", 0, 95, to=Fraction)] = column(
        "least headroom wanted on banks and the whole module", "10", "10", _D.module_headroom_pct
    )
    spare_channels: Annotated[int, Number("", 0, 10_000, to=whole)] = column("channels to stay free", "1", "0", 0)
    strategy: Annotated[str, Word(("isolate", "spare"))] = column(
        "isolate: as many circuits as possible; spare: as few channels as possible", "isolate", "isolate", _D.strategy
    )
    module_ambient_c: Annotated[float, _Celsius] = column(
        "temperature around the module where its place says nothing", "40", "25", _D.module_ambient_c
    )
    return_path: Annotated[str, Word(("chassis", "wire"))] = column(
        "how current flows back", "chassis", "chassis", _D.return_path
    )
    wire_sizes: Annotated[str, Word(("metric", "awg"))] = column(
        "sizes of wire to choose from", "metric", "metric", "metric"
    )
    rules: Annotated[str, Word(("general", "boat"))] = column(
        "rules for the least wire size and for how near the battery its fuse must be", "general", "general", _D.rules
    )
    lowest_ambient_c: Annotated[float, _Celsius] = column(
        "coldest the vehicle is used at; cold copper draws most", "-20", "-20", _D.lowest_ambient_c
    )
    insulation_c: Annotated[float, Number("°C", 40, 300)] = column(
        "temperature class of the wire's insulation", "105", "105", _D.insulation_c
    )
    wire_ambient_c: Annotated[float, _Celsius] = column(
        "temperature around a wire where no place says otherwise", "30", "30", _D.wire_ambient_c
    )
    bundle_wires: Annotated[int, Number("", 1, 1_000, to=whole)] = column(
        "loaded wires in a bundle where the harness is not known", "1", "1", _D.bundle_wires
    )
    battery_ah: Annotated[float | None, Number("Ah", 0, 100_000, above=True)] = column(
        "capacity of the battery", "60", "not known"
    )
    battery_place: Annotated[str | None, Name()] = column(
        "place of the battery, from the table places", "", "not known"
    )
    battery_floor_pct: Annotated[float, Number("%", 0, 100, below=True)] = column(
        "charge at which the battery counts as empty, of battery_ah", "50", "50", _D.battery_floor_pct
    )
    battery_chemistry: Annotated[str, Word(tuple(CHEMISTRIES))] = column(
        "kind of battery", "flooded", "flooded", _D.battery_chemistry
    )
    battery_rate_h: Annotated[float, Number("", 0, 1_000, above=True)] = column(
        "hours over which battery_ah is stated", "20", "20", _D.battery_rate_h
    )
    peukert: Annotated[float | None, Number("", 1, 2)] = column("exponent of Peukert's law", "", "by chemistry")
    battery_mohm: Annotated[float | None, Number("mΩ", 0, 100_000, above=True)] = column(
        "internal resistance of the battery", "", "estimated from its capacity"
    )
    isolator_place: Annotated[str | None, Name()] = column(
        "place of the battery isolator, from the table places", "", "not known"
    )
    starter_place: Annotated[str | None, Name()] = column(
        "place of the starter motor, from the table places", "", "not known"
    )
    alternator_place: Annotated[str | None, Name()] = column(
        "place of the alternator, from the table places", "", "not known"
    )
    slack_pct: Annotated[float, Number("%", 0, 200)] = column("added to every wire's route", "5", "5", _D.slack_pct)
    end_allowance_m: Annotated[float, Number("m", 0, 10)] = column(
        "added at each end of a wire", "0.15", "0.15", _D.end_allowance_m
    )
    tolerance_loads: Annotated[int, Number("", 0, 10_000, to=whole)] = column(
        "how many loads at once may be at the top of their tolerance", "3", "3", _D.tolerance_loads
    )
    time_limit_s: Annotated[float, Number("s", 0, 86_400)] = column(
        "clock for one allocation", "60", "60", _D.time_limit_s
    )
