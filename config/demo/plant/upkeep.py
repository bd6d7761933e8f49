"""Machines, meters, readings and what was done, in the demo plant."""

from datetime import date, timedelta
from decimal import Decimal

import numpy as np

from config.demo.plant.layout import FIRST_DAY, LINES, TODAY, DemoCell
from config.demo.plant.routines_old import COLUMNS, ROUTINES
from maintenance.planning.routine_rule import tolerance_days

PLACED = date(2023, 9, 4)
#: Swapped on 12 March; the old one's hours go with its serial number.
SWAP = ("FR2-050", "R2", date(2026, 3, 12))
UNREAD = "FR1040-03"
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
    # Use is counted in production dates, and the calendar begins on the first day.
    for week in range(-1, 5):
        day = FIRST_DAY + timedelta(weeks=week)
        gone = machine["removed_on"] and day >= SWAP[2]
        if day >= TODAY or gone or day < machine["placed_on"]:  # type: ignore[operator]
            continue
        value += weekly * rng.uniform(0.9, 1.1)
        # One is not read any more; the others are read from the first day on.
        if (week == -1) != (machine["serial"] == UNREAD):
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
        fields: dict[str, object] = dict(zip(COLUMNS, routine, strict=True))
        for machine in machines:
            if machine["kind"] not in str(fields["kinds"]).split(";"):
                continue
            if machine["removed_on"] or (
                machine["serial"] == "SPARE-01" and fields["follows"] == "machine"
            ):
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
    rows: list[dict[str, object]] = []
    while day > FIRST_DAY - timedelta(days=60) or not rows:
        if day <= PLACED:
            break
        rows.append(_done(routine, machine, day, readings, rng))
        # Most are done within their window, a few long after it.
        window = tolerance_days(interval)
        slip = int(rng.integers(-window, window + 1))
        if rng.random() < 0.05:
            slip = window + max(2, interval // 5)
        day -= timedelta(days=interval + slip)
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
