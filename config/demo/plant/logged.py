"""What the leaders wrote down of it: stops, tallies, counts, confirmations."""

from collections import Counter, defaultdict
from dataclasses import dataclass, field

import numpy as np

from cells.working_time.patterns import PlannedShift
from config.demo.plant.calendar import Axis
from config.demo.plant.layout import VARIANTS, DemoLine
from config.demo.plant.running import Event, Lived, Run

LONG_S = 5 * 60  # common practice: shorter is a minor stop, tallied
#: The Late team of this line writes no minor stops (a logging gap, not a feat).
NO_MINORS = ("FR1", "Late")
YIELD = 0.986


@dataclass(kw_only=True)
class Log:
    stops: list[dict[str, object]] = field(default_factory=list)
    tallies: list[dict[str, object]] = field(default_factory=list)
    counts: list[dict[str, object]] = field(default_factory=list)


def log_cell(
    line: DemoLine,
    code: str,
    lived: Lived,
    axis: Axis,
    planned: list[PlannedShift],
    rng: np.random.Generator,
) -> tuple[list[dict[str, object]], list[dict[str, object]]]:
    """The cell's stop and tally rows."""
    stops = []
    short: dict[tuple[int, str], list[float]] = defaultdict(list)
    starts = [int(shift.starts_at.timestamp()) for shift in planned]
    for event in _all(lived, rng):
        moment = axis.clock(event.at)
        shift = int(np.searchsorted(starts, moment, side="right")) - 1
        if event.seconds >= LONG_S:
            stops.append(_stop(code, event, axis, rng))
        elif event.logged and (line.code, planned[shift].name) != NO_MINORS:
            short[(shift, event.reason)].append(event.seconds)
    tallies = [
        {
            "cell": code,
            "date": planned[shift].production_date,
            "shift": planned[shift].name,
            "reason": reason,
            "times": len(seconds),
            # Leaders write whole minutes.
            "seconds": max(60, round(sum(seconds) / 60) * 60),
        }
        for (shift, reason), seconds in sorted(short.items())
    ]
    return stops, tallies


def _all(lived: Lived, rng: np.random.Generator) -> list[Event]:
    waits = [("nothing-upstream", lived.starved), ("downstream-full", lived.blocked)]
    events = list(lived.held)
    for reason, found in waits:
        for at, seconds in found:
            # Of the short waits a leader sees the longer half.
            seen = seconds >= LONG_S or (seconds > 45 and rng.random() < 0.5)
            events.append(Event(at=at, seconds=seconds, reason=reason, logged=seen))
    return events


def _stop(
    code: str, event: Event, axis: Axis, rng: np.random.Generator
) -> dict[str, object]:
    start = axis.clock(event.at) // 60 * 60
    end = axis.clock_end(event.at + event.seconds) // 60 * 60
    row: dict[str, object] = {
        "cell": code,
        "reason": event.reason,
        "started_at": start,
        "ended_at": max(end, start + 60),
    }
    if event.reason in REPAIRED and end - start >= 8 * 60:
        row |= _timeline(start, end, rng)
    return row


REPAIRED = ("gun-force", "drive", "cable", "network", "water", "hem-roller", "pump")
CAUSES = {
    "gun-force": "force sensor plug loose",
    "drive": "drive tripped on load, reset",
    "cable": "signal wire broken at the wrist",
    "network": "field-bus plug seated again",
    "water": "strainer loaded, cleaned",
    "hem-roller": "roller bearing dry, greased",
    "pump": "check valve stuck, cleaned",
}


def _timeline(start: int, end: int, rng: np.random.Generator) -> dict[str, object]:
    """Called, arrived, cause found, repaired, restarted, in whole minutes."""
    shares = np.sort(rng.uniform(0.1, 0.95, 4))
    moments: list[object] = [
        start + int(share * (end - start)) // 60 * 60 for share in shares
    ]
    names = ("called_at", "arrived_at", "cause_found_at", "repaired_at")
    return dict(zip(names, moments, strict=True)) | {"restarted_at": end}


def counts(
    at: str, run: Run, axis: Axis, planned: list[PlannedShift], rng: np.random.Generator
) -> list[dict[str, object]]:
    """Bodies that left the last cell, per shift and variant."""
    starts = [int(shift.starts_at.timestamp()) for shift in planned]
    made: Counter[tuple[int, str]] = Counter()
    for second, variant in run.bodies:
        index = int(np.searchsorted(starts, axis.clock(second), side="right")) - 1
        made[(index, variant)] += 1
    rows: list[dict[str, object]] = []
    for index, shift in enumerate(planned):
        for variant in VARIANTS:
            total = made[(index, variant)]
            good = int(rng.binomial(total, YIELD))
            scrap = int(rng.binomial(total - good, 0.3))
            rows.append(
                {
                    "at": at,
                    "date": shift.production_date,
                    "shift": shift.name,
                    "variant": variant,
                    "total": total,
                    "good": good,
                    "rework": total - good - scrap,
                    "scrap": scrap,
                }
            )
    return rows
