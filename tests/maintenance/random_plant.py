"""A small plant with a random past, and its due dates by asking row after row.

The plant has what makes clocks go wrong: a swap, a move, a place left empty, readings
that are questioned, withdrawn or dated later, routines that follow the place, that are
retired or not valid yet.
"""

import random
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from cells.metering.history import MeterReading
from cells.models import DayOff, Machine, Meter, Placement, Reading, Shift
from maintenance.models import FirstDue, Routine, Task
from maintenance.planning.due_dates import Completion
from maintenance.planning.routine_rule import RoutineRule
from tests.builders import BERLIN, Cast, at, make_machine
from tests.maintenance.planning.oracle import Case
from tests.maintenance.task_cast import make_routine

DAY = timedelta(days=1)
STORED = (date(2025, 11, 3), date(2026, 3, 13))  # production dates with stored shifts
PAST = date(2025, 11, 10)


def make_past(cast: Cast, seed: int) -> None:
    rng = random.Random(seed)
    _make_shifts(cast, rng)
    machines = _make_machines(cast, rng)
    for machine in machines:
        _make_readings(machine, rng)
    for number in range(6):
        routine = _make_routine(number, rng)
        _make_completions(routine, rng)
        if rng.random() < 0.3 and not Task.objects.filter(routine=routine).exists():
            FirstDue.objects.create(
                routine=routine,
                machine=rng.choice(machines),
                due=date(2026, 2, 2) + rng.randrange(60) * DAY,
                why="spread",
            )


def _make_shifts(cast: Cast, rng: random.Random) -> None:
    Shift.objects.all().delete()
    for pattern in cast.patterns:
        type(pattern).objects.filter(pk=pattern.pk).update(valid_from=date(2025, 1, 6))
    for _ in range(4):
        day = STORED[1] + rng.randrange(1, 60) * DAY
        DayOff.objects.get_or_create(date=day, area=cast.area, name="off")
    day, shifts = STORED[0], []
    while day <= STORED[1]:
        if day.weekday() < 5 and rng.random() < 0.9:
            start = at("06:00", day)
            shifts.append(
                Shift(
                    line=cast.line,
                    production_date=day,
                    name="Early",
                    starts_at=start,
                    ends_at=start + timedelta(hours=8),
                )
            )
        day += DAY
    Shift.objects.bulk_create(shifts)


def _make_machines(cast: Cast, rng: random.Random) -> list[Machine]:
    """R01 of the first cell is swapped, one machine moves, one place is left empty."""
    Placement.objects.all().delete()
    cells = cast.cells
    one, two, three, four = (
        make_machine(f"R{n}", tags=["hot"] if rng.random() < 0.5 else [])
        for n in range(4)
    )
    swap = date(2025, 12, 1) + rng.randrange(80) * DAY
    move = date(2025, 12, 1) + rng.randrange(80) * DAY
    for machine, cell, position, placed_on, removed_on in (
        (one, cells[0], "R01", date(2025, 9, 1), swap),
        (two, cells[0], "R01", swap, None),
        (three, cells[1], "R01", date(2025, 10, 6), move),
        (three, cells[2], "R02", move, None),
        (four, cells[1], "R09", date(2025, 11, 3), None),
        (one, cells[2], "R03", swap + 3 * DAY, None),
    ):
        Placement.objects.create(
            machine=machine,
            cell=cell,
            position=position,
            placed_on=placed_on,
            removed_on=removed_on,
        )
    return [one, two, three, four]


def _hours(machine: Machine, moment: datetime) -> Decimal:
    """What the machine's meter shows, always rising."""
    days = (moment - datetime(2025, 11, 1, tzinfo=UTC)) / DAY
    return Decimal(machine.pk * 100 + int(days * (4 + machine.pk % 5)))


def _make_readings(machine: Machine, rng: random.Random) -> None:
    meter = Meter.objects.create(machine=machine, name="hours", unit="h")
    for _ in range(rng.randrange(10)):
        read_at = _moment(rng)
        _read(meter, read_at, rng)


def _read(meter: Meter, read_at: datetime, rng: random.Random) -> Reading:
    fate = rng.random()
    reading, _ = Reading.objects.get_or_create(
        meter=meter,
        read_at=read_at,
        defaults={
            "value": _hours(meter.machine, read_at),
            "confirmed": fate > 0.2,
            "question": "" if fate > 0.2 else "Is it so?",
            "withdrawn": fate > 0.9,
        },
    )
    return reading


def _make_routine(number: int, rng: random.Random) -> Routine:
    units = rng.choice([None, None, 90, 250, 900])
    return make_routine(
        f"r{number}",
        every_days=rng.choice([7, 28, 45, 90] if units is None else [None, 28, 90]),
        every_units=units and Decimal(units),
        meter="hours" if units else "",
        anchor=rng.choice(["completion", "calendar"]),
        safety=rng.random() < 0.3,
        follows=rng.choice(["machine", "machine", "place"]),
        tags=["hot"] if rng.random() < 0.2 else [],
        valid_from=rng.choice([None, None, date(2025, 12, 15), date(2026, 4, 1)]),
        retired_on=rng.choice([None] * 6 + [date(2026, 2, 10)]),
    )


def _make_completions(routine: Routine, rng: random.Random) -> None:
    for _ in range(rng.randrange(14)):
        placed = rng.choice(list(Placement.objects.select_related("machine")))
        done_at = _moment(rng)
        follows_place = routine.follows == "place"
        clock = (
            f"p:{placed.cell_id}:{placed.position}"
            if follows_place
            else f"m:{placed.machine_id}"
        )
        if Task.objects.filter(routine=routine, clock=clock, done_at=done_at).exists():
            continue
        given = None
        if routine.meter and rng.random() < 0.5:
            given = _read(placed.machine.meters.get(), done_at, rng).value
        Task.objects.create(
            routine=routine,
            machine=placed.machine,
            cell=placed.cell,
            position=placed.position,
            clock=clock,
            opened_on=PAST,
            done_at=done_at,
            found="normal",
            reading=given,
            closed_why="recorded by mistake: x" if rng.random() < 0.1 else "",
        )


def _moment(rng: random.Random) -> datetime:
    day = PAST + rng.randrange(130) * DAY  # some of them after the day of asking
    return at(f"{rng.randrange(24):02}:{rng.randrange(60):02}", day)


# The same questions, asked row after row.


def cases(on: date) -> Iterator[tuple[Routine, Placement, Case]]:
    producing = _producing()
    for routine in Routine.objects.all():
        if routine.retired_on and routine.retired_on <= on:
            continue
        if routine.valid_from and routine.valid_from > on:
            continue
        for placed in Placement.objects.all():
            stands = placed.placed_on <= on and not (
                placed.removed_on and placed.removed_on <= on
            )
            wanted = all(tag in placed.machine.tags for tag in routine.tags)
            if stands and placed.machine.kind in routine.kinds and wanted:
                yield routine, placed, _case(routine, placed, producing)


def _case(routine: Routine, placed: Placement, producing: set[date]) -> Case:
    machine = placed.machine
    if routine.follows == "place":
        same = {"cell": placed.cell, "position": placed.position}
        done = Task.objects.filter(clock=f"p:{placed.cell_id}:{placed.position}")
    else:
        same = {"machine": machine}
        done = Task.objects.filter(clock=f"m:{machine.pk}")
    placed_on = min(one.placed_on for one in Placement.objects.filter(**same))
    first = FirstDue.objects.filter(routine=routine, machine=machine).first()
    completions = [
        _completion(task)
        for task in done.filter(routine=routine).order_by("done_at")
        if task.done_at is not None and task.closed_why == ""
    ]
    return Case(
        rule=RoutineRule(
            every_days=routine.every_days,
            every_units=routine.every_units,
            anchor=routine.anchor,
            safety=routine.safety,
        ),
        clock_start=max(placed_on, routine.valid_from or placed_on),
        first_due=first and first.due,
        completions=completions,
        readings=_readings(machine, routine),
        produces=lambda day: day in producing,
    )


def _completion(task: Task) -> Completion:
    value = None
    if task.reading is not None:
        given = Reading.objects.filter(
            meter__machine=task.machine,
            meter__name=task.routine.meter,
            read_at=task.done_at,
            confirmed=True,
            withdrawn=False,
        ).first()
        value = given and given.value
    return Completion(at=_seconds(task.done_at), on=_day(task.done_at), reading=value)


def _readings(machine: Machine, routine: Routine) -> list[MeterReading]:
    rows = Reading.objects.filter(
        meter__machine=machine, meter__name=routine.meter
    ).order_by("read_at")
    return [
        MeterReading(at=_seconds(row.read_at), on=_day(row.read_at), value=row.value)
        for row in rows
        if row.confirmed and not row.withdrawn
    ]


def _producing() -> set[date]:
    """Dates with a stored shift; after the last of them, workdays that are not off."""
    stored = {shift.production_date for shift in Shift.objects.all()}
    off = {one.date for one in DayOff.objects.all()}
    ahead = (max(stored) + number * DAY for number in range(1, 3000))
    return stored | {day for day in ahead if day.weekday() < 5 and day not in off}


def _seconds(moment: datetime) -> int:
    return int(moment.timestamp())


def _day(moment: datetime) -> date:
    return moment.astimezone(BERLIN).date()
