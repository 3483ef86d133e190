"""Settings of a vehicle, with what is assumed where it does not say."""

from dataclasses import dataclass
from fractions import Fraction

__all__ = ["Settings"]


@dataclass(frozen=True, slots=True)
class Settings:
    """``settings.toml`` with defaults filled in.

    Parameters
    ----------
    system_v, reference_v : float
        Nominal voltage; voltage at which the currents in ``loads`` are stated, V.
    headroom_pct, module_headroom_pct : Fraction
        Least headroom on a channel; on banks and the whole module, per cent.
    spare_channels : int
        Channels to stay free.
    strategy : str
        ``isolate`` or ``spare``.
    module_ambient_c : float
        Around the module where its place says nothing, deg C.
    return_path : str
        ``chassis`` or ``wire``.
    wire_sizes : str
        ``metric`` or ``awg``.
    insulation_c : float
        Temperature class of the wire's insulation, deg C.
    rules : str
        Rule pack for the least wire size and the distance of the main fuse: ``general`` or ``boat``.
    lowest_ambient_c : float
        Coldest the vehicle is used at, deg C: cold copper draws most.
    wire_ambient_c : float
        Around a wire where no place says otherwise, deg C.
    bundle_wires : int
        Loaded wires in a bundle where the harness is not known.
    battery_ah : float or None
        Battery capacity, Ah.
    battery_place : str or None
        Place of the battery.
    battery_floor_pct : float
        Charge at which the battery counts as empty, per cent of battery_ah.
    battery_chemistry : str
        ``flooded``, ``agm``, ``gel`` or ``lithium``.
    battery_rate_h : float
        Time over which battery_ah is stated, h.
    peukert : float or None
        Exponent of Peukert's law, 1 to 2; None: by chemistry.
    battery_mohm : float or None
        Internal resistance of the battery, milliohm; None: estimated from its capacity.
    isolator_place, starter_place, alternator_place : str or None
        Places of battery isolator, starter motor and alternator.
    slack_pct, end_allowance_m : float
        Allowance on every wire: per cent of its route, m at each end.
    tolerance_loads : int
        How many loads at once may be at the top of their tolerance and the allocation still hold.
    time_limit_s : float
        Clock for one allocation, s.
    """

    system_v: float = 12.0
    reference_v: float = 12.0
    headroom_pct: Fraction = Fraction(20)
    module_headroom_pct: Fraction = Fraction(10)
    spare_channels: int = 0
    strategy: str = "isolate"
    module_ambient_c: float = 25.0
    return_path: str = "chassis"
    wire_sizes: str = "metric"
    rules: str = "general"
    lowest_ambient_c: float = -20.0
    insulation_c: float = 105.0
    wire_ambient_c: float = 30.0
    bundle_wires: int = 1
    battery_ah: float | None = None
    battery_place: str | None = None
    battery_floor_pct: float = 50.0
    battery_chemistry: str = "flooded"
    battery_rate_h: float = 20.0
    peukert: float | None = None
    battery_mohm: float | None = None
    isolator_place: str | None = None
    starter_place: str | None = None
    alternator_place: str | None = None
    slack_pct: float = 5.0
    end_allowance_m: float = 0.15
    tolerance_loads: int = 3
    time_limit_s: float = 60.0
