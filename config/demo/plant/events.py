"""What goes wrong in the demo plant: ordinary trouble, and the planted stories."""

from datetime import datetime

import numpy as np

from config.demo.plant.calendar import Axis
from config.demo.plant.layout import ZONE, DemoCell, DemoLine
from config.demo.plant.running import Event

SHIFT_S = 440 * 60
#: Breakdowns per shift and cell, and their mean minutes.
BREAKDOWNS = {"FR1": 0.50, "FR2": 0.30, "CL1": 1.00, "CL4": 0.55}
BREAKDOWN_MIN = 16.0
#: How often per shift the line's exit is full, and for how many minutes.
EXIT_FULL = {"FR1": 1.8, "FR2": 1.2, "CL1": 5.0, "CL4": 2.6}
EXIT_FULL_MIN = 14.0
MINORS = 3.0
MINOR_MIN = 0.8
LOGGED = 0.55
#: Stop classes that no cell can help, per shift and cell.
FOREIGN = {"no-operator": 0.05, "no-part": 0.05, "wrong-part": 0.02, "air": 0.008}

BREAKDOWNS_OF = {
    "weld": ["gun-force", "drive", "cable", "water"],
    "seal": ["pump", "drive"],
    "hem": ["hem-roller", "drive"],
    "handling": ["drive", "network"],
    "vision": ["network"],
}
MINORS_OF = {
    "weld": ["tip-stuck"],
    "seal": ["nozzle"],
    "hem": ["part-not-seen"],
    "handling": ["part-not-seen", "clamp"],
    "vision": ["gate"],
}


def events_of(
    line: DemoLine, cell: DemoCell, axis: Axis, rng: np.random.Generator
) -> list[Event]:
    """All that holds this cell, at working seconds of its line."""
    shifts = axis.length / SHIFT_S
    found = _drawn(
        rng,
        BREAKDOWNS[line.code] * shifts,
        axis.length,
        BREAKDOWN_MIN,
        0.8,
        _of(cell, BREAKDOWNS_OF) + ["not-known"] * (rng.random() < 0.3),
    )
    found += _drawn(
        rng,
        MINORS * shifts,
        axis.length,
        MINOR_MIN,
        0.4,
        _of(cell, MINORS_OF),
        logged=LOGGED,
    )
    for reason, rate in FOREIGN.items():
        found += _drawn(rng, rate * shifts, axis.length, 8.0, 0.6, [reason])
    found += _drawn(
        rng,
        0.04 * shifts,
        axis.length,
        12.0,
        0.5,
        ["touch-up", "first-body", "weld-check"],
    )
    return found + _stories(cell.code, axis, rng)


def exit_full(line: DemoLine, axis: Axis, rng: np.random.Generator) -> list[Event]:
    mean = EXIT_FULL[line.code] * axis.length / SHIFT_S
    return _drawn(rng, mean, axis.length, EXIT_FULL_MIN, 0.6, ["downstream-full"])


def _of(cell: DemoCell, table: dict[str, list[str]]) -> list[str]:
    return [reason for kind in cell.kinds for reason in table[kind]]


def _drawn(
    rng: np.random.Generator,
    mean: float,
    length: int,
    minutes: float,
    sigma: float,
    reasons: list[str],
    logged: float = 1.0,
) -> list[Event]:
    """A Poisson number of log-normal holds with this mean length."""
    number = int(rng.poisson(mean))
    scale = np.log(minutes * 60) - sigma**2 / 2
    return [
        Event(
            at=float(rng.uniform(0, length)),
            seconds=float(np.exp(rng.normal(scale, sigma))),
            reason=str(rng.choice(reasons)),
            logged=bool(rng.random() < logged),
        )
        for _ in range(number)
    ]


def _stories(code: str, axis: Axis, rng: np.random.Generator) -> list[Event]:
    story = {
        "FR2-030": _feeder,
        "FR2-060": _part_not_seen,
        "CL4-020": _tool_changes,
        "CL1-050": _clock_change_night,
    }.get(code)
    return story(axis, rng) if story else []


def _feeder(axis: Axis, rng: np.random.Generator) -> list[Event]:
    """Gun force at FR2-030, more every week; FR2-040 behind it only waits."""
    events = []
    for week, number in enumerate([3, 5, 7, 9]):
        for _ in range(number):
            at = rng.uniform(week, week + 1) / 4.2 * axis.length
            seconds = float(rng.uniform(9, 26) * 60)
            events.append(Event(at=float(at), seconds=seconds, reason="gun-force"))
    return events


def _part_not_seen(axis: Axis, rng: np.random.Generator) -> list[Event]:
    """FR2-060: ten times a shift, 40 s each. Chronic, and first by count."""
    step = SHIFT_S / 10
    return [
        Event(
            at=float(k * step + rng.uniform(0, step / 2)),
            seconds=40.0,
            reason="part-not-seen",
        )
        for k in range(int(axis.length / step))
    ]


def _tool_changes(axis: Axis, rng: np.random.Generator) -> list[Event]:
    """CL4: one tool change a shift, 18 min; the Late shift takes 27."""
    events = []
    for index in range(int(axis.length / SHIFT_S)):
        minutes = 18 if index % 2 == 0 else 27
        at = (index + 0.55) * SHIFT_S
        seconds = float(minutes * 60 + rng.uniform(-60, 60))
        events.append(Event(at=at, seconds=seconds, reason="tool-change"))
    return events


def _clock_change_night(axis: Axis, rng: np.random.Generator) -> list[Event]:
    """CL1-050 stands from 01:30 to 03:30 on the wall: one hour, less no break."""
    start = datetime(2026, 3, 29, 1, 30, tzinfo=ZONE).timestamp()
    return [
        Event(at=float(axis.working(int(start))), seconds=3600.0, reason="hem-roller")
    ]
