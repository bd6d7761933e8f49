"""The seam between stored facts and due dates: what is due where, on which date.

Facts are placements, readings, completions (done tasks) and routines. Everything is
read in bulk, worked out by ``maintenance.planning`` and never guessed; tasks are kept
in step with it by ``maintenance.open_tasks``.
"""

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import cache
from typing import Any, NamedTuple

from django.db.models import Exists, OuterRef, Q

from cells.metering.history import MeterHistory
from cells.meters import histories_of
from cells.models import Area, Machine, Meter, Placement, Plant, Reading
from cells.moments import to_seconds
from cells.shift_plan import production_calendar
from cells.working_time.plant_time import day_start, local_date
from cells.working_time.production_calendar import ProductionCalendar
from maintenance.models import FirstDue, Routine, Task
from maintenance.planning.due_dates import Completion, Due, DueInputs, next_due
from maintenance.planning.routine_rule import RoutineRule

#: What a task says of its window.
WINDOW = (
    "due",
    "earliest",
    "latest",
    "bound_by",
    "meter_limit",
    "meter_not_read",
    "missed",
    "window_closed_on",
)
#: What a done one says besides.
JUDGED = (*WINDOW, "verdict")

#: Up to so many clocks are asked for by name; beyond it, reading all costs less.
BY_NAME = 500


class Done(NamedTuple):
    """A done task, as it is stored."""

    pk: int
    machine_id: int | None
    done_at: datetime
    reading: Decimal | None
    judged: tuple[Any, ...]  # JUDGED


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """One routine on one machine or place, with all that its dates go by."""

    routine: Routine
    clock: str  # as in Task.clock
    machine: Machine
    placement: Placement  # where it stands on the day of asking
    inputs: DueInputs
    #: In order of time, aligned with inputs.completions; all of them only if asked for.
    done: tuple[Done, ...]

    def due(self, on: date) -> Due:
        return next_due(self.inputs, on=on)


def clock_of(routine: Routine, placement: Placement) -> str:
    """What the routine's clock follows: the serial number, or the place."""
    if routine.follows == Routine.Follows.PLACE:
        return place_clock(placement.cell_id, placement.position)
    return machine_clock(placement.machine_id)


def machine_clock(machine_id: int) -> str:
    return f"m:{machine_id}"


def place_clock(cell_id: int, position: str) -> str:
    return f"p:{cell_id}:{position}"


def is_for(routine: Routine, machine: Machine) -> bool:
    """The routine is for this kind, and the machine carries all of its tags."""
    return machine.kind in routine.kinds and set(routine.tags) <= set(machine.tags)


def subjects(
    on: date,
    *,
    machines: Collection[int] | None = None,
    routines: Collection[int] | None = None,
    whole_record: bool = False,
) -> list[Subject]:
    """Every routine on everything that it is for and that stands somewhere on a day.

    ``machines``: only the clocks of these machines and of the places where they stand.
    What is dated after ``on`` is left out of account. A due date goes by the last
    completion alone, so only that is read unless the ``whole_record`` is to be judged.
    """
    plans = _routines(on, routines)
    placements = _placements(on, machines)
    # Of the thousands of machines most are of a few kinds and carry the same tags.
    plans_for: dict[tuple[str, ...], list[Routine]] = {}
    pairs = []
    for placement in placements:
        machine = placement.machine
        alike = (machine.kind, *machine.tags)
        if alike not in plans_for:
            plans_for[alike] = [one for one in plans if is_for(one, machine)]
        pairs += [(routine, placement) for routine in plans_for[alike]]
    if not pairs:
        return []
    facts = _Facts.of(pairs, on, whole_record)
    return [facts.subject(routine, placement) for routine, placement in pairs]


def _routines(on: date, ids: Collection[int] | None) -> list[Routine]:
    rows = Routine.objects.filter(
        Q(retired_on=None) | Q(retired_on__gt=on),
        Q(valid_from=None) | Q(valid_from__lte=on),
    )
    return list(rows if ids is None else rows.filter(pk__in=ids))


def _placements(on: date, machines: Collection[int] | None) -> list[Placement]:
    rows = Placement.objects.on(on).select_related(
        "machine", "cell", "cell__line", "cell__line__area"
    )
    rows = rows.filter(Q(cell__retired_on=None) | Q(cell__retired_on__gt=on))
    if machines is not None:
        rows = rows.filter(machine__in=machines)
    return list(rows.order_by("cell__code", "position", "machine__serial"))


@dataclass(frozen=True, kw_only=True)
class _Facts:
    """What was read for many subjects at once."""

    histories: dict[tuple[int, str], MeterHistory]  # by machine and meter name
    done: dict[tuple[int, str], tuple[Done, ...]]  # by routine and clock
    first_placed: dict[str, date]  # by clock
    first_dues: dict[tuple[int, int], date]  # by routine and machine
    calendars: dict[int, ProductionCalendar]  # by area
    rule_of: Callable[[Routine], RoutineRule]
    reading_given: Callable[[Routine, Done], Decimal | None]
    date_of: Callable[[datetime], date]

    @classmethod
    def of(
        cls, pairs: list[tuple[Routine, Placement]], on: date, whole_record: bool
    ) -> "_Facts":
        machines = {placement.machine_id for _, placement in pairs}
        meters = _meters(pairs, machines)
        histories = histories_of(meters)
        zone = Plant.current().zone
        done = _done(pairs, day_start(on + timedelta(days=1), zone), whole_record)
        return cls(
            histories={meters[meter]: history for meter, history in histories.items()},
            done=done,
            first_placed=_first_placed(pairs),
            first_dues={
                (routine, machine): due
                for routine, machine, due in FirstDue.objects.filter(
                    machine__in=machines
                ).values_list("routine_id", "machine_id", "due")
            },
            calendars=_calendars(pairs, histories.values(), on),
            rule_of=cache(rule_of),
            reading_given=_readings_given(pairs, done),
            date_of=lambda moment: local_date(moment, zone),
        )

    def subject(self, routine: Routine, placement: Placement) -> Subject:
        clock = clock_of(routine, placement)
        done = self.done.get((routine.pk, clock), ())
        machine = placement.machine
        placed = self.first_placed[clock]
        inputs = DueInputs(
            rule=self.rule_of(routine),
            clock_start=max(placed, routine.valid_from or placed),
            production=self.calendars[placement.cell.line.area_id],
            first_due=self.first_dues.get((routine.pk, machine.pk)),
            completions=[self._completion(routine, one) for one in done],
            readings=self.histories.get((machine.pk, routine.meter), MeterHistory()),
        )
        return Subject(
            routine=routine,
            clock=clock,
            machine=machine,
            placement=placement,
            inputs=inputs,
            done=done,
        )

    def _completion(self, routine: Routine, done: Done) -> Completion:
        return Completion(
            at=to_seconds(done.done_at),
            on=self.date_of(done.done_at),
            reading=self.reading_given(routine, done),
        )


def rule_of(routine: Routine) -> RoutineRule:
    return RoutineRule(
        every_days=routine.every_days,
        every_units=routine.every_units,
        anchor="calendar" if routine.anchor == "calendar" else "completion",
        safety=routine.safety,
    )


def _meters(
    pairs: list[tuple[Routine, Placement]], machines: set[int]
) -> dict[int, tuple[int, str]]:
    """Ids of the meters that the routines go by: {id: (machine, name)}."""
    names = {routine.meter for routine, _ in pairs if routine.meter}
    rows = Meter.objects.filter(name__in=names)
    return {
        meter: (machine, name)
        for meter, machine, name in rows.values_list("id", "machine_id", "name")
        if machine in machines
    }


def _done(
    pairs: list[tuple[Routine, Placement]], before: datetime, whole_record: bool
) -> dict[tuple[int, str], tuple[Done, ...]]:
    """Completions before a moment by routine and clock, in order of time."""
    done = Task.objects.done().filter(done_at__lt=before)
    rows = done.filter(routine__in={routine.pk for routine, _ in pairs})
    clocks = {clock_of(routine, placement) for routine, placement in pairs}
    if len(clocks) <= BY_NAME:
        rows = rows.filter(clock__in=clocks)
    if not whole_record:
        same = done.filter(routine=OuterRef("routine"), clock=OuterRef("clock"))
        rows = rows.filter(~Exists(same.filter(done_at__gt=OuterRef("done_at"))))
    found: dict[tuple[int, str], list[Done]] = {}
    own = ("pk", "machine_id", "done_at", "reading")
    columns = rows.order_by("done_at").values_list("routine_id", "clock", *own, *JUDGED)
    for routine, clock, pk, machine, done_at, reading, *judged in columns.iterator(
        5000
    ):
        assert done_at is not None  # only completions get here
        done_one = Done(pk, machine, done_at, reading, tuple(judged))
        found.setdefault((routine, clock), []).append(done_one)
    return {key: tuple(tasks) for key, tasks in found.items()}


def _first_placed(pairs: list[tuple[Routine, Placement]]) -> dict[str, date]:
    """When each clock's machine, or place, first had anything placed."""
    cells = {placement.cell_id for _, placement in pairs}
    machines = {placement.machine_id for _, placement in pairs}
    rows = Placement.objects.order_by()
    if len(machines) <= BY_NAME:
        rows = rows.filter(Q(machine__in=machines) | Q(cell__in=cells))
    first: dict[str, date] = {}
    columns = ("machine_id", "cell_id", "position", "placed_on")
    for machine, cell, position, placed_on in rows.values_list(*columns):
        for clock in (machine_clock(machine), place_clock(cell, position)):
            first[clock] = min(first.get(clock, placed_on), placed_on)
    return first


def _calendars(
    pairs: list[tuple[Routine, Placement]],
    histories: Iterable[MeterHistory],
    on: date,
) -> dict[int, ProductionCalendar]:
    """One per area, known from the oldest reading on."""
    since = min([on, *(history.dates[0] for history in histories if len(history))])
    areas = {placement.cell.line.area_id for _, placement in pairs}
    return {
        area.pk: production_calendar(area, since)
        for area in Area.objects.filter(pk__in=areas)
    }


def _readings_given(
    pairs: list[tuple[Routine, Placement]],
    done: dict[tuple[int, str], tuple[Done, ...]],
) -> Callable[[Routine, Done], Decimal | None]:
    """The reading given with a completion, as it counts today.

    It is stored as a reading like any other, so a correction or an open question
    about it is found there; None while it does not count. At a place it may be of the
    machine that stood there then.
    """
    with_one = [
        task for tasks in done.values() for task in tasks if task.reading is not None
    ]
    machines = {task.machine_id for task in with_one}
    moments = {task.done_at for task in with_one}
    rows = Reading.objects.counting().filter(
        meter__machine__in=machines,
        meter__name__in={routine.meter for routine, _ in pairs},
    )
    if len(moments) <= BY_NAME:
        rows = rows.filter(read_at__in=moments)
    columns = ("meter__machine_id", "meter__name", "read_at", "value")
    given = {
        (machine, meter, read_at): value
        for machine, meter, read_at, value in rows.order_by().values_list(*columns)
    }

    def reading(routine: Routine, task: Done) -> Decimal | None:
        if task.reading is None or task.machine_id is None:
            return None
        return given.get((task.machine_id, routine.meter, task.done_at))

    return reading
