"""A small invented vehicle and catalogue without a fault, as files; bad inputs are made from them by one edit."""

from pathlib import Path

VEHICLE = {
    "loads.csv": """\
load,command,running_a,count,kind,inrush_a,inrush_ms,needs,importance,share,separate,place,tolerance_pct,x_part
fuel pump,engine,6.5,1,motor,32,120,,vital,,,tank,10,P-1
low beam left,lights,4.6,1,filament,,,,,,low beam,nose,,P-2
low beam right,lights,4.6,1,filament,,,,,,low beam,nose,,P-3
fan,cooling,12,2,motor,,,pwm,comfort,no,,nose,5,P-4
""",
    "commands.csv": """\
command,condition,action,note
engine,master and ignition,steady,
lights,flash,steady,
cooling,ignition,pwm,
""",
    "inputs.csv": """\
input,kind,place,note
master,switch,dash,
ignition,switch,dash,
flash,switch,dash,
""",
    "states.csv": """\
command,ready,night
engine,1,1
lights,,50 %
cooling,0.2,1
""",
    "supply.csv": """\
state,supply_v,charging_a,minutes
ready,12.4,0,10
night,13.8,60,90
""",
    "places.csv": """\
place,x_m,y_m,compartment,ambient_c,mount,contains
dash,0,0,cabin,35,yes,
nose,1.8,0.4,nose,60,no,
tank,-1.5,0,boot,35,no,fuel
""",
    "routes.csv": """\
from,to,length_m
dash,nose,2.6
dash,tank,
""",
    "locked.csv": """\
load,module,channel
fuel pump,small,1
fan,small,3
fan,small,4
""",
    "concessions.csv": """\
kind,subject,weight
leave_out,fan,5
separation,low beam,never
""",
    "settings.toml": """\
system_v = 12
headroom_pct = 20
spare_channels = 1
battery_place = "tank"
""",
}

CATALOGUE = {
    "modules.csv": """\
module,total_a,total_peak_a,mass_g,price,supply_min_v,supply_max_v,inputs,trip_step_a,note
small,60,150,300,400,6,18,8,0.1,invented
large,120,300,600,900,6,32,16,,invented
""",
    "channels.csv": """\
module,channel,connector,pins,bank,continuous_a,peak_a,peak_ms,features,bridge,pair,max_wire_mm2
small,1,X1,1 2,front,20,80,100,,,main,4
small,2,X1,3 4,front,20,80,100,,,main,4
small,3,X1,5,rear,10,40,100,pwm,turn,,2.5
small,4,X1,6,rear,10,40,100,pwm,turn,,2.5
large,1,X1,1,,25,100,100,pwm,,,6
""",
    "banks.csv": """\
module,bank,limit_a
small,front,30
small,rear,25
""",
    "derating.csv": """\
module,ambient_c,factor
small,0,1
small,60,0.8
""",
}


def write_files(folder: Path, files: dict[str, str | bytes]) -> Path:
    """The files in a folder, made where it is missing."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    return folder
