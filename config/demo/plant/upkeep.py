"""Routines, meters, readings and what was done, in the demo plant.

Routine texts are in our own words; intervals are invented around common practice.
"""

from datetime import date, timedelta
from decimal import Decimal

import numpy as np

from config.demo.plant.layout import FIRST_DAY, LINES, TODAY, DemoCell

PLACED = date(2023, 9, 4)
#: code: name, kinds, days, units, meter, anchor, minutes, skills, lockout, safety,
#: running allowed, follows, hazards are on the plant's own sheets.
ROUTINES = [
    (
        "gun-force",
        "Weld force at two set points",
        "weld",
        28,
        150_000,
        "spots",
        "completion",
        15,
        "W",
        False,
        False,
        False,
        "machine",
    ),
    (
        "shunts",
        "Secondary circuit: shunts, links and bolts",
        "weld",
        90,
        450_000,
        "spots",
        "completion",
        25,
        "W",
        True,
        False,
        False,
        "machine",
    ),
    (
        "dress-pack",
        "Cable pack by eye",
        "weld",
        28,
        None,
        "",
        "completion",
        6,
        "M",
        False,
        False,
        False,
        "machine",
    ),
    (
        "reference",
        "Tool centre point against the pin",
        "weld;seal;handling;hem",
        28,
        None,
        "",
        "completion",
        4,
        "C",
        False,
        False,
        False,
        "place",
    ),
    (
        "robot-eye",
        "Robot by eye: leaks, noise, covers, cables",
        "weld;seal;handling;hem;vision",
        90,
        None,
        "",
        "completion",
        12,
        "M",
        False,
        False,
        False,
        "machine",
    ),
    (
        "grease",
        "Grease change, all axes",
        "weld;seal;handling;hem;vision",
        1080,
        10_000,
        "motion hours",
        "completion",
        180,
        "M",
        True,
        False,
        False,
        "machine",
    ),
    (
        "brakes",
        "Brake holding test, each axis",
        "weld;seal;handling;hem;vision",
        180,
        None,
        "",
        "completion",
        15,
        "C",
        False,
        False,
        False,
        "machine",
    ),
    (
        "base-bolts",
        "Base bolts: torque and marks",
        "weld;seal;handling;hem;vision",
        720,
        None,
        "",
        "completion",
        30,
        "M",
        True,
        False,
        False,
        "place",
    ),
    (
        "controller-fan",
        "Controller: filter, fans, door seal",
        "weld;seal;handling;hem;vision",
        90,
        None,
        "",
        "completion",
        20,
        "E",
        False,
        False,
        True,
        "machine",
    ),
    (
        "nozzle",
        "Nozzle tip and needle",
        "seal",
        14,
        None,
        "",
        "completion",
        15,
        "S",
        True,
        False,
        False,
        "machine",
    ),
    (
        "hem-roller",
        "Hem roller: bearing and surface",
        "hem",
        14,
        None,
        "",
        "completion",
        20,
        "M",
        True,
        False,
        False,
        "machine",
    ),
    (
        "gripper",
        "Gripper: jaws, pads, pins, screws",
        "handling",
        28,
        None,
        "",
        "completion",
        20,
        "M",
        True,
        False,
        False,
        "machine",
    ),
    (
        "camera",
        "Camera window, light and reference part",
        "vision",
        7,
        None,
        "",
        "completion",
        10,
        "C",
        False,
        False,
        False,
        "machine",
    ),
    (
        "gate-test",
        "Gate interlock test, each gate",
        "gate",
        180,
        None,
        "",
        "calendar",
        12,
        "X",
        False,
        True,
        False,
        "place",
    ),
    (
        "curtain-test",
        "Light curtain: test rod at three heights",
        "light curtain",
        28,
        None,
        "",
        "calendar",
        6,
        "X",
        False,
        True,
        False,
        "place",
    ),
    (
        "dresser",
        "Tip dresser: motor, holder, blow-off",
        "tip dresser",
        180,
        None,
        "",
        "completion",
        40,
        "M",
        True,
        False,
        False,
        "machine",
    ),
]
COLUMNS = (
    "code",
    "name",
    "kinds",
    "every_days",
    "every_units",
    "meter",
    "anchor",
    "minutes",
    "skill",
    "lockout",
    "safety",
    "running_allowed",
    "follows",
)

#: (routine, order, text, unit, act low, watch low, watch high, act high, repeat)
STEPS = [
    ("gun-force", 1, "Force at 2.0 kN set", "kN", "1.84", "1.90", "2.10", "2.16", 1),
    ("gun-force", 2, "Force at 3.5 kN set", "kN", "3.22", "3.33", "3.68", "3.78", 1),
    ("shunts", 1, "Bolts tightened to the sheet's torque", "", "", "", "", "", 1),
    ("shunts", 2, "Loop resistance over as new", "%", "", "", "15", "20", 1),
    ("dress-pack", 1, "Chafe, deepest place", "mm", "", "", "1", "2", 1),
    ("reference", 1, "Deviation from the pin", "mm", "", "", "0.5", "1.0", 1),
    ("robot-eye", 1, "Walk round: leaks, noise, loose covers", "", "", "", "", "", 1),
    ("grease", 1, "Grams in over grams out", "%", "-10", "-5", "5", "10", 6),
    ("brakes", 1, "Drift in 60 s at the tool", "mm", "", "", "1", "2", 6),
    ("base-bolts", 1, "Marks moved", "count", "", "", "0", "1", 1),
    ("controller-fan", 1, "Inside temperature", "°C", "", "", "40", "45", 1),
    ("nozzle", 1, "Bead width after the change", "mm", "6", "7", "9", "10", 1),
    ("hem-roller", 1, "Run-out", "mm", "", "", "0.04", "0.05", 1),
    ("gripper", 1, "Pin wear", "mm", "", "", "0.10", "0.15", 1),
    ("camera", 1, "Deviation on the reference part", "mm", "", "", "0.10", "0.20", 1),
    (
        "gate-test",
        1,
        "Opening the gate stops the cell; reset only outside",
        "",
        "",
        "",
        "",
        "",
        1,
    ),
    (
        "curtain-test",
        1,
        "Rod detected at top, middle and bottom",
        "",
        "",
        "",
        "",
        "",
        1,
    ),
    ("dresser", 1, "Holder floats free, chips blown off", "", "", "", "", "", 1),
]
STEP_COLUMNS = (
    "routine",
    "order",
    "text",
    "unit",
    "act_low",
    "watch_low",
    "watch_high",
    "act_high",
    "repeat",
)

#: Swapped on 12 March; the old one's hours go with its serial number.
SWAP = ("FR2-050", "R2", date(2026, 3, 12))
#: Its force falls a quarter of a percent a week.
WEAK_GUN = "FR1030-04"
#: Two curtain tests that nobody did (routine, cell).
FORGOTTEN = [("curtain-test", "CL1-020"), ("curtain-test", "FR2-040")]
CURTAINS = (
    "FR1-010",
    "FR2-010",
    "FR2-040",
    "CL1-010",
    "CL1-020",
    "CL1-040",
    "CL1-050",
    "CL4-010",
)
DRESSERS = ("FR1-020", "FR1-030", "FR1-050", "FR2-020", "FR2-030", "FR2-050", "FR2-070")
TEAMS = [
    ("Night maintenance", skill, "", "mon-thu", "22:00", "06:00", heads)
    for skill, heads in (("M", 3), ("W", 1), ("E", 1), ("C", 1), ("S", 1), ("X", 1))
] + [
    ("Saturday maintenance", skill, "", "sat", "06:00", "14:00", heads)
    for skill, heads in (("M", 2), ("W", 1), ("C", 1))
]


def robots(cell: DemoCell) -> list[tuple[str, str, str]]:
    """(position, kind, serial) of each robot of a cell."""
    return [
        (f"R{n}", kind, f"{cell.code.replace('-', '')}-{n:02d}")
        for n, kind in enumerate(cell.kinds, start=1)
    ]


def machine_rows() -> list[dict[str, object]]:
    rows: list[dict[str, object]] = []
    for line in LINES:
        for cell in line.cells:
            for position, kind, serial in robots(cell):
                rows += _robot_rows(cell.code, position, kind, serial)
            rows.append(_row(f"G-{cell.code}", "gate", cell.code, "Gate 1"))
            if cell.code in CURTAINS:
                serial = f"LC-{cell.code}"
                rows.append(_row(serial, "light curtain", cell.code, "Curtain 1"))
            if cell.code in DRESSERS:
                serial = f"TD-{cell.code}"
                rows.append(_row(serial, "tip dresser", cell.code, "Dresser 1"))
    return rows


def _row(serial: str, kind: str, cell: str, position: str) -> dict[str, object]:
    return {
        "serial": serial,
        "kind": kind,
        "cell": cell,
        "position": position,
        "placed_on": PLACED,
        "model": "",
        "removed_on": "",
    }


def _robot_rows(
    cell: str, position: str, kind: str, serial: str
) -> list[dict[str, object]]:
    row = _row(serial, kind, cell, position) | {"model": "210 kg class"}
    if (cell, position) != SWAP[:2]:
        return [row]
    spare = _row("SPARE-01", kind, cell, position) | {
        "placed_on": SWAP[2],
        "model": "210 kg class",
    }
    return [row | {"removed_on": SWAP[2]}, spare]


def meters_and_readings(
    machines: list[dict[str, object]], rng: np.random.Generator
) -> tuple[list[dict[str, object]], list[dict[str, object]]]:
    """Motion hours of every robot, spots of every weld robot; read every Monday."""
    meters, readings = [], []
    for machine in machines:
        serial, kind = machine["serial"], machine["kind"]
        if kind in ("gate", "light curtain", "tip dresser"):
            continue
        for meter, unit, most, weekly, low, high in _meters_of(str(kind)):
            meters.append(
                {"serial": serial, "meter": meter, "unit": unit, "max_per_hour": most}
            )
            readings += _readings(machine, meter, weekly, rng.uniform(low, high), rng)
    return meters, readings


def _meters_of(kind: str) -> list[tuple[str, str, str, float, float, float]]:
    hours = ("motion hours", "h", "1", 62.0, 5_500.0, 9_800.0)
    spots = ("spots", "spots", "1200", 30_500.0, 900_000.0, 1_200_000.0)
    return [hours, spots] if kind == "weld" else [hours]


def _readings(
    machine: dict[str, object],
    meter: str,
    weekly: float,
    start: float,
    rng: np.random.Generator,
) -> list[dict[str, object]]:
    rows = []
    value = start if machine["serial"] != "SPARE-01" else 1_450.0
    for week in range(-9, 5):
        day = FIRST_DAY + timedelta(weeks=week)
        gone = machine["removed_on"] and day >= SWAP[2]
        if day >= TODAY or gone or day < machine["placed_on"]:  # type: ignore[operator]
            continue
        value += weekly * rng.uniform(0.9, 1.1)
        # Nobody has read this one for more than a month.
        if machine["serial"] == "FR1040-03" and week > -2:
            continue
        rows.append(
            {
                "serial": machine["serial"],
                "meter": meter,
                "read_at": f"{day}T06:30",
                "value": round(value),
            }
        )
    return rows


def done_rows(
    machines: list[dict[str, object]],
    readings: list[dict[str, object]],
    rng: np.random.Generator,
) -> list[dict[str, object]]:
    """Each routine's last completions before today, mostly inside their windows."""
    rows = []
    for routine in ROUTINES:
        fields = dict(zip(COLUMNS, routine, strict=True))
        for machine in machines:
            if machine["kind"] not in str(fields["kinds"]).split(";"):
                continue
            if machine["removed_on"] or machine["serial"] == "SPARE-01":
                continue
            rows += _done_of(fields, machine, readings, rng)
    return rows


def _done_of(
    routine: dict[str, object],
    machine: dict[str, object],
    readings: list[dict[str, object]],
    rng: np.random.Generator,
) -> list[dict[str, object]]:
    interval = int(str(routine["every_days"]))
    if routine["anchor"] == "calendar":
        return _tests_done(routine, machine, interval)
    # Back from a day within the last interval, so that what comes next is spread.
    day = TODAY - timedelta(days=int(rng.integers(1, max(2, int(interval * 0.98)))))
    if rng.random() < 0.04:
        day -= timedelta(days=int(interval * 0.3))
    rows = []
    while day > FIRST_DAY - timedelta(days=60) or not rows:
        if day <= PLACED:
            break
        rows.append(_done(routine, machine, day, readings, rng))
        slip = rng.integers(-2, 3) if rng.random() < 0.93 else interval // 5
        day -= timedelta(days=max(5, interval + int(slip)))
    return rows


def _tests_done(
    routine: dict[str, object], machine: dict[str, object], interval: int
) -> list[dict[str, object]]:
    """On the grid from the day it was placed; the forgotten ones stop short."""
    days = (TODAY - PLACED).days // interval
    last = days if (routine["code"], machine["cell"]) not in FORGOTTEN else days - 1
    rows = []
    for k in range(max(1, last - 4), last + 1):
        day = PLACED + timedelta(days=k * interval - 1)
        rows.append(_done_row(routine, machine, day, "13:10", "normal", ""))
    return rows


def _done(
    routine: dict[str, object],
    machine: dict[str, object],
    day: date,
    readings: list[dict[str, object]],
    rng: np.random.Generator,
) -> dict[str, object]:
    found = "as_new" if routine["code"] == "controller-fan" else "normal"
    if rng.random() < 0.06:
        found = "worn"
    minutes = round(int(str(routine["minutes"])) * float(rng.uniform(0.8, 1.4)))
    reading = _reading_on(str(machine["serial"]), str(routine["meter"]), day, readings)
    row = _done_row(routine, machine, day, "23:30", found, reading)
    return row | {"minutes": minutes}


def _done_row(
    routine: dict[str, object],
    machine: dict[str, object],
    day: date,
    clock: str,
    found: str,
    reading: object,
) -> dict[str, object]:
    row = {
        "routine": routine["code"],
        "done_at": f"{day}T{clock}",
        "minutes": routine["minutes"],
        "found": found,
        "reading": reading,
    }
    if routine["follows"] == "place":
        return row | {
            "serial": "",
            "cell": machine["cell"],
            "position": machine["position"],
        }
    return row | {"serial": machine["serial"], "cell": "", "position": ""}


def _reading_on(
    serial: str, meter: str, day: date, readings: list[dict[str, object]]
) -> object:
    """Between the weekly readings, so that the meter never runs back."""
    if not meter:
        return ""
    known = [
        (str(row["read_at"])[:10], Decimal(str(row["value"])))
        for row in readings
        if row["serial"] == serial and row["meter"] == meter
    ]
    before = [value for at, value in known if at <= f"{day}"]
    after = [value for at, value in known if at > f"{day}"]
    if not before or not after:
        return before[-1] if before else ""
    return (before[-1] + after[0]) // 2


def step_results(
    done: list[dict[str, object]], rng: np.random.Generator
) -> list[dict[str, object]]:
    """Force readings of every gun; the gun of one geo robot slowly loses force."""
    rows = []
    for row in done:
        if row["routine"] != "gun-force":
            continue
        weeks = (date.fromisoformat(str(row["done_at"])[:10]) - FIRST_DAY).days / 7
        drift = -0.02 - 0.0025 * (weeks + 9) if row["serial"] == WEAK_GUN else 0.0
        for order, force in ((1, 2.0), (2, 3.5)):
            value = force * (1 + drift + float(rng.normal(0, 0.004)))
            rows.append(
                {
                    "routine": row["routine"],
                    "serial": row["serial"],
                    "done_at": row["done_at"],
                    "order": order,
                    "value": f"{value:.2f}",
                }
            )
    return rows


#: Spread by the planner when the routine was new.
FIRST_DUE = [
    {
        "routine": "camera",
        "serial": "FR1060-02",
        "due": "2026-04-02",
        "why": "new camera routine spread over the week",
    },
]
