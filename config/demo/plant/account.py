"""Stops, tallies, counts and the rest of the demo plant's four weeks."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from cells.working_time.patterns import PlannedShift
from config.demo.plant import calendar, events, layout, logged, running
from config.demo.plant.layout import LINES, ZONE, DemoLine
from config.demo.plant.sheets import Row, moment, second, write

#: Where the demo's clock starts: the leader of the Early shift is about to log.
NOW = datetime(2026, 3, 31, 13, 50, tzinfo=ZONE)
MOMENTS = {
    "started_at",
    "ended_at",
    "called_at",
    "arrived_at",
    "cause_found_at",
    "repaired_at",
    "restarted_at",
}
STOP_COLUMNS = (
    "ref",
    "cell",
    "position",
    "reason",
    "started_at",
    "ended_at",
    "note",
    "called_at",
    "arrived_at",
    "cause_found_at",
    "repaired_at",
    "restarted_at",
    "cause",
)


def write_account(folder: Path) -> None:
    stops: list[Row] = []
    log = logged.Log()
    plan: list[Row] = []
    confirmed: list[Row] = []
    for index, line in enumerate(LINES):
        rng = np.random.default_rng([layout.SEED, index])
        planned = calendar.shifts(line)
        of_line = _line_log(line, planned, rng)
        stops += of_line.stops
        log.tallies += of_line.tallies
        log.counts += _without(of_line.counts, planned, rng)
        plan += _plan(line, planned)
        confirmed += _confirmed(line, planned, rng)
    log.counts.append(
        {
            "at": "FR2",
            "variant": "H",
            "total": 64,
            "good": 63,
            "starts_at": "2026-03-21T06:00",
            "ends_at": "2026-03-21T09:00",
        }
    )
    write(folder, "stops", _as_known_now(stops + _told_stops()), STOP_COLUMNS)
    write(folder, "tallies", log.tallies)
    write(
        folder,
        "counts",
        log.counts,
        (
            "at",
            "date",
            "shift",
            "starts_at",
            "ends_at",
            "variant",
            "total",
            "good",
            "rework",
            "scrap",
        ),
    )
    write(folder, "plan", plan)
    write(folder, "confirmations", confirmed)
    write(folder, "planned_stops", _planned_stops())
    write(
        folder,
        "worked_breaks",
        [
            {
                "cell": "FR1-030",
                "date": "2026-03-18",
                "shift": "Late",
                "break_start": moment(
                    datetime(2026, 3, 18, 18, tzinfo=ZONE).timestamp()
                ),
            }
        ],
    )


def _line_log(
    line: DemoLine, planned: list[PlannedShift], rng: np.random.Generator
) -> logged.Log:
    axis = calendar.axis(planned)
    log = logged.Log()
    for leg in line.legs():
        cycles = {cell.code: layout.true_cycles(line, cell) for cell in leg}
        held = {cell.code: events.events_of(line, cell, axis, rng) for cell in leg}
        full = events.exit_full(line, axis, rng)
        run = running.run_leg(line, leg, cycles, held, full, axis.length, rng)
        for cell in leg:
            stops, tallies = logged.log_cell(
                line, cell.code, run.lived[cell.code], axis, planned, rng
            )
            log.stops += stops
            log.tallies += tallies
        at = f"{line.code}/{leg[0].leg}" if leg[0].leg else line.code
        log.counts += logged.counts(at, run, axis, planned, rng)
    log.tallies = [row for row in log.tallies if not _is_now(row)]
    return log


def _is_now(row: Row) -> bool:
    return row["date"] == layout.TODAY


def _without(
    counts: list[Row], planned: list[PlannedShift], rng: np.random.Generator
) -> list[Row]:
    """Without today, and without the few shifts that nobody counted."""
    lost = {
        (shift.production_date, shift.name) for shift in planned if rng.random() < 0.03
    }
    return [
        row
        for row in counts
        if not _is_now(row) and (row["date"], row["shift"]) not in lost
    ]


def _plan(line: DemoLine, planned: list[PlannedShift]) -> Iterable[Row]:
    target = float(layout.AREAS[line.area][1])
    mean = sum(
        line.cycles[variant] * share for variant, (_, share) in layout.VARIANTS.items()
    )
    for shift in planned:
        seconds = calendar.axis([shift]).length
        yield {
            "line": line.code,
            "date": shift.production_date,
            "shift": shift.name,
            "bodies": round(target * seconds / mean),
        }


def _confirmed(
    line: DemoLine, planned: list[PlannedShift], rng: np.random.Generator
) -> Iterable[Row]:
    for shift in planned:
        late = timedelta(minutes=int(rng.integers(-8, 12)))
        if rng.random() < 0.97 and shift.ends_at + late < NOW:
            yield {
                "line": line.code,
                "date": shift.production_date,
                "shift": shift.name,
                "confirmed_at": moment((shift.ends_at + late).timestamp()),
            }


def _told_stops() -> list[Row]:
    """Stops of the stories that the simulation does not know."""

    def told(cell: str, position: str, reason: str, start: str, end: str) -> Row:
        return {
            "cell": cell,
            "position": position,
            "reason": reason,
            "started_at": second(start),
            "ended_at": second(end),
        }

    return [
        # Two robots down at once: 20 and 18 minutes, 30 in all.
        told("FR2-010", "R2", "gun-force", "2026-03-24T09:00", "2026-03-24T09:20"),
        told("FR2-010", "R3", "cable", "2026-03-24T09:12", "2026-03-24T09:30"),
        # Over the shift change: 20 minutes Early, 25 Late, one event.
        told("CL4-040", "R1", "hem-roller", "2026-03-25T13:40", "2026-03-25T14:25"),
        # Still standing when the demo opens, on the line of the demo's leader.
        told("FR1-040", "R2", "gun-force", "2026-03-31T13:22", "2026-03-31T14:30")
        | {"called_at": second("2026-03-31T13:25")},
    ]


def _planned_stops() -> list[Row]:
    def planned(ref: str, at: str, start: str, end: str, reason: str, said: str) -> Row:
        return {
            "ref": ref,
            "at": at,
            "starts_at": start,
            "ends_at": end,
            "reason": reason,
            "declared_at": said,
        }

    rows = [
        planned(
            f"meeting-{week}",
            area,
            f"2026-03-{day:02d}T06:00",
            f"2026-03-{day:02d}T06:15",
            "meeting",
            "2026-02-27T10:00",
        )
        for week, day in enumerate((3, 10, 17, 24, 31), start=1)
        for area in ("FR",)
    ]
    return [
        *rows,
        planned(
            "pm-fr1-030",
            "FR1-030",
            "2026-03-12T13:00",
            "2026-03-12T13:20",
            "pm",
            "2026-03-10T09:00",
        ),
        # Said after the shift had begun: shown as declared late.
        planned(
            "trial-cl4",
            "CL4",
            "2026-03-26T11:00",
            "2026-03-26T11:45",
            "trial",
            "2026-03-26T11:30",
        ),
    ]


def _as_known_now(stops: list[Row]) -> Iterable[Row]:
    """With refs, as moments, and only as far as it has happened."""
    now = int(NOW.timestamp())
    kept = sorted(stops, key=lambda row: (str(row["started_at"]), row["cell"]))
    apart: dict[tuple[object, object], int] = {}
    for row in kept:
        start, end = int(str(row["started_at"])), int(str(row["ended_at"]))
        key = (row["cell"], row["reason"])
        # Rounded to minutes two of one kind may touch: then they are one stop.
        if start >= now or start < apart.get(key, 0):
            continue
        apart[key] = end
        known = {
            name: moment(int(str(value))) if name in MOMENTS else value
            for name, value in row.items()
            if name not in MOMENTS or int(str(value)) <= now
        }
        known["ref"] = f"{known['started_at']} {row['cell']} {row['reason']}"
        if row["reason"] in logged.CAUSES and "repaired_at" in known:
            known["cause"] = logged.CAUSES[str(row["reason"])]
        yield known
