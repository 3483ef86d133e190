"""A vehicle of three loads whose names not every terminal can print, and two modules: one enough, one not."""

from pathlib import Path

from tests.tables.good import write_files

__all__ = ["NAMES", "write_small"]

NAMES = ("Ölkühler", "灯 🚨", "=pump")
_VEHICLE = {
    "loads.csv": "load,command,running_a,kind,importance\n"
    "Ölkühler,engine,8,motor,needed\n灯 🚨,lights,4,filament,comfort\n'=pump,engine,6,motor,vital\n",
    "settings.toml": "time_limit_s = 20\n",
}
_CHANNEL = "{module},{n},X1,{module}{n},15,90,100\n"
_CATALOGUE = {
    "modules.csv": "module,total_a,total_peak_a\ntwo,60,300\nsix,90,400\n",
    "channels.csv": "module,channel,connector,pins,continuous_a,peak_a,peak_ms\n"
    + "".join(_CHANNEL.format(module=m, n=n + 1) for m, count in (("two", 2), ("six", 6)) for n in range(count)),
}


def write_small(folder: Path) -> str:
    """The path of the vehicle; the catalogue lies beside it."""
    write_files(folder / "catalogue", _CATALOGUE)
    return str(write_files(folder / "car", _VEHICLE))
