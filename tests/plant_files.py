"""A small plant as files: every file of the contract, with a few rows each.

``SMALL`` holds their texts; ``load_files`` writes some texts into a directory and loads
it; ``fault_texts`` gives what a load refused, as the command prints it. A test changes
a file with ``with_rows``.
"""

from datetime import UTC, datetime
from pathlib import Path

from config.loading import Report, load

#: Wednesday noon by the plant's clock.
NOW = datetime(2026, 3, 4, 11, 0, tzinfo=UTC)

SMALL = {
    "plant.csv": "name,time_zone\nTestwerk,Europe/Berlin\n",
    "areas.csv": "code,name,oee_target,target_from\nBODY,Body shop,0.77,2026-01-01\n",
    "lines.csv": (
        "code,area,name,order,counting_cell\n"
        "L1,BODY,Underbody,1,L1-20\n"
        "L2,BODY,Doors,2,\n"
    ),
    "cells.csv": (
        "code,line,name,order,leg,criticality,heads_limit,lockout_sheet,"
        "lockout_revision,lockout_date\n"
        "L1-10,L1,Load,10,,A,2,LS-10,3,2025-11-03\n"
        "L1-20,L1,Geo,20,,B,2,,,\n"
        "L2-10,L2,Left,10,L,C,2,,,\n"
        "L2-20,L2,Right,20,R,C,2,,,\n"
    ),
    "banks.csv": "from,to,capacity\nL1-10,L1-20,4\n",
    "machines.csv": (
        "serial,kind,cell,position,placed_on,model,tags,removed_on\n"
        "R1,weld,L1-10,R01,2025-01-06,210 kg class,gun;pack,\n"
        "R2,handling,L1-20,R01,2025-01-06,,,2026-02-02\n"
        "R2,handling,L1-20,R02,2026-02-02,,,\n"
    ),
    "meters.csv": (
        "serial,meter,unit,max_per_hour\nR1,spots,spots,1200\nR2,hours,h,1\n"
    ),
    "shift_patterns.csv": (
        "area,line,name,weekdays,start,end,breaks,valid_from,valid_to,date_offset\n"
        "BODY,,Early,mon-fri,06:00,14:00,09:00-09:10;11:30-12:00,2026-03-02,,0\n"
        "BODY,,Late,mon-fri,14:00,22:00,18:00-18:30,2026-03-02,,\n"
    ),
    "days_off.csv": "date,area,line,name\n2026-03-06,,L2,maintenance\n",
    "shifts.csv": (
        "area,line,name,starts_at,ends_at,breaks\n"
        "BODY,L1,Early,2026-03-07T06:00,2026-03-07T12:00,09:00-09:10\n"
    ),
    "reasons.csv": (
        "code,name,loss_class,group,subgroup\n"
        "gun,Gun fault,breakdown,Spot weld,Gun\n"
        "tip,Tip stick,minor,,\n"
        "meeting,Shift meeting,planned,,\n"
    ),
    "variants.csv": "code,name\nH,hatch\nS,saloon\n",
    "ideal_cycles.csv": (
        "cell,variant,seconds,valid_from\n"
        "L1-10,H,44.5,2026-01-01\n"
        "L1-20,H,48,2026-01-01\n"
    ),
    "planned_stops.csv": (
        "ref,at,starts_at,ends_at,reason,declared_at\n"
        "P1,L1,2026-03-03T06:00,2026-03-03T06:15,meeting,2026-02-27T10:00\n"
    ),
    "stops.csv": (
        "ref,cell,position,reason,started_at,ended_at,note,called_at,arrived_at,"
        "cause_found_at,parts_wait_s,repaired_at,restarted_at,first_good_at,cause,"
        "withdrawn\n"
        "S1,L1-10,R01,gun,2026-03-02T07:00,2026-03-02T07:30,=1+1,2026-03-02T07:02,"
        "2026-03-02T07:05,2026-03-02T07:10,60,2026-03-02T07:25,2026-03-02T07:28,"
        "2026-03-02T07:29,loose shunt,no\n"
        "S2,L1-20,,gun,2026-03-04T11:40,,,,,,,,,,,no\n"
        "S3,L1-20,,gun,2026-03-02T10:00,2026-03-02T10:10,,,,,,,,,,yes\n"
    ),
    "tallies.csv": (
        "cell,date,shift,reason,times,seconds\nL1-10,2026-03-02,Early,tip,7,540\n"
    ),
    "counts.csv": (
        "at,date,shift,starts_at,ends_at,variant,total,good,rework,scrap\n"
        "L1,2026-03-02,Early,,,H,500,490,8,2\n"
        "L2/L,2026-03-02,Early,,,H,300,300,,\n"
        "L1-10,2026-03-02,Early,,,H,505,500,,\n"
        "L1-20,,,2026-02-28T08:00,2026-02-28T10:00,H,20,20,,\n"
    ),
    "plan.csv": "line,date,shift,bodies\nL1,2026-03-02,Early,520\n",
    "confirmations.csv": (
        "line,date,shift,confirmed_at\nL1,2026-03-02,Early,2026-03-02T14:05\n"
    ),
    "worked_breaks.csv": (
        "cell,date,shift,break_start\nL1-10,2026-03-02,Early,2026-03-02T09:00\n"
    ),
    "routines.csv": (
        "code,name,kinds,every_days,every_units,meter,anchor,minutes,heads,skill,"
        "lockout,safety,running_allowed,follows,tags,valid_from\n"
        "force,Weld force,weld,28,150000,spots,completion,15,1,W,no,no,no,machine,gun,"
        "2025-06-01\n"
        "pin,Against the pin,weld;handling,28,,,completion,4,1,C;M,no,no,yes,place,,\n"
    ),
    "first_due.csv": "routine,serial,due,why\nforce,R1,2026-04-01,spread\n",
    "steps.csv": (
        "routine,order,text,unit,act_low,watch_low,watch_high,act_high,repeat\n"
        "force,1,Force at 2 kN,kN,1.84,1.90,2.10,2.16,2\n"
        "force,2,Cables by eye,,,,,,\n"
    ),
    "readings.csv": (
        "serial,meter,read_at,value\n"
        "R1,spots,2026-02-02T06:00,1000\n"
        "R1,spots,2026-03-02T06:00,9000\n"
    ),
    "done.csv": (
        "routine,serial,cell,position,done_at,minutes,found,reading\n"
        "force,R1,,,2026-02-16T23:30,17,normal,5000\n"
        "pin,,L1-20,R01,2026-01-19T23:30,5,as_new,\n"
    ),
    "step_results.csv": (
        "routine,serial,done_at,order,value\n"
        "force,R1,2026-02-16T23:30,1,2.01\n"
        "force,R1,2026-02-16T23:30,1,1.99\n"
    ),
    "crews.csv": (
        "crew,skill,area,weekdays,start,end,heads,valid_from,valid_to\n"
        "Nights,W,BODY,mon-thu,22:00,06:00,2,2026-01-01,\n"
    ),
}


def with_rows(file: str, *rows: str, header: str = "") -> dict[str, str]:
    """The small plant with other rows in one file; its own header, unless given."""
    top = header or SMALL[file].splitlines()[0]
    return {**SMALL, file: "\n".join([top, *rows, ""])}


def and_rows(file: str, *rows: str) -> dict[str, str]:
    """The small plant with more rows in one file."""
    return {**SMALL, file: SMALL[file] + "\n".join([*rows, ""])}


def write_files(directory: Path, files: dict[str, str | bytes]) -> Path:
    """Write the files into the directory, which then holds no others."""
    for old in directory.iterdir():
        old.unlink()
    for name, text in files.items():
        data = text if isinstance(text, bytes) else text.encode()
        (directory / name).write_bytes(data)
    return directory


def load_files(
    directory: Path, files: dict[str, str | bytes], *, check: bool = False
) -> Report:
    return load(write_files(directory, files), check=check)


def fault_texts(directory: Path, files: dict[str, str | bytes]) -> list[str]:
    return [str(fault) for fault in load_files(directory, files).faults]
