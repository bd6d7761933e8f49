"""Meters and their readings: verbs for adding, entering, confirming, correcting.

A reading that a person enters may ask a question. It is then kept with the question
and moves nothing until a planner has confirmed it. Whoever derives dates from readings
listens to ``reading_changed``.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime
from decimal import Decimal
from typing import NamedTuple
from zoneinfo import ZoneInfo

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.dispatch import Signal

from cells import clock, codes, rights, trail
from cells.metering.history import MeterHistory, MeterReading
from cells.metering.questions import reading_questions
from cells.models import Area, Machine, Meter, Placement, Plant, Reading
from cells.moments import to_seconds
from cells.registry import need_planner
from cells.rights import Role
from cells.shift_plan import production_calendar
from cells.working_time.plant_time import local_date
from cells.working_time.production_calendar import ProductionCalendar

#: Sent inside the transaction with machine_ids, a list: what counts there has changed.
reading_changed = Signal()

ONLY_READERS = "Only a technician or a planner enters meter readings."
ONLY_PLANNERS = "Only a planner confirms a questioned reading."
MOST = Decimal(10) ** 12  # beyond it a value is a slip of the keys


class Entry(NamedTuple):
    meter: Meter
    value: Decimal
    read_at: datetime


def may_read_meters(user: User) -> bool:
    return rights.has_role(user, Role.TECHNICIAN, Role.PLANNER)


@transaction.atomic
def add_meter(
    *, machine: Machine, name: str, unit: str, max_per_hour: Decimal | None, by: User
) -> Meter:
    need_planner(by)
    codes.check_key("name", name)
    if machine.meters.filter(name__iexact=name).exists():
        raise ValidationError(
            {
                "name": f"{machine} has a meter named “{name}” already: give another "
                "name, or change that one."
            }
        )
    meter = Meter(machine=machine, name=name, unit=unit, max_per_hour=max_per_hour)
    meter.full_clean()
    meter.save()
    trail.created([meter], by=by)
    return meter


def change_meter(
    *, meter: Meter, unit: str, max_per_hour: Decimal | None, by: User, why: str
) -> None:
    need_planner(by)
    new = {"unit": unit, "max_per_hour": max_per_hour}
    trail.save_changes(meter, new, by=by, why=why)


def enter_reading(
    *, meter: Meter, value: Decimal, read_at: datetime, by: User
) -> Reading:
    rights.need(may_read_meters(by), ONLY_READERS)
    return record_readings([Entry(meter, value, read_at)], by=by)[0]


@transaction.atomic
def record_readings(entries: Iterable[Entry], *, by: User) -> list[Reading]:
    """Many at once, each held against its own meter's past, all or none.

    For verbs that have asked for their own rights, like completing tasks.
    """
    entries = list(entries)
    moment = clock.now()
    for entry in entries:
        _check_entry(entry, moment)
    _check_no_second(entries)
    histories = histories_of({entry.meter.pk for entry in entries})
    calendars = _calendars([entry.meter.machine_id for entry in entries], histories)
    zone = Plant.current().zone
    readings = []
    for entry in entries:
        history = histories.get(entry.meter.pk, MeterHistory())
        question = _question(entry, history, calendars[entry.meter.machine_id], zone)
        readings.append(
            Reading(
                meter=entry.meter,
                read_at=entry.read_at,
                value=entry.value,
                confirmed=not question,
                question=question,
                by=by,
            )
        )
    Reading.objects.bulk_create(readings, batch_size=1000)
    trail.created(readings, by=by)
    _tell([reading for reading in readings if reading.confirmed])
    return readings


@transaction.atomic
def confirm_reading(*, reading: Reading, by: User, why: str) -> None:
    """Somebody looked again: it counts from now on."""
    rights.need(rights.has_role(by, Role.PLANNER), ONLY_PLANNERS)
    if reading.withdrawn:
        raise ValidationError(
            f"The reading {reading.value} is withdrawn: enter it anew instead."
        )
    if trail.save_changes(reading, {"confirmed": True}, by=by, why=why):
        _tell([reading])


@transaction.atomic
def withdraw_reading(*, reading: Reading, by: User, why: str) -> None:
    _need_correction_rights(reading, by)
    if trail.save_changes(reading, {"withdrawn": True}, by=by, why=why):
        _tell([reading])


@transaction.atomic
def correct_reading(
    *, reading: Reading, value: Decimal, read_at: datetime, by: User, why: str
) -> None:
    """The corrected value may ask a question of its own."""
    _need_correction_rights(reading, by)
    if reading.withdrawn:
        raise ValidationError(
            f"The reading {reading.value} is withdrawn: enter a new one instead."
        )
    if (value, read_at) == (reading.value, reading.read_at):
        return
    entry = Entry(reading.meter, value, read_at)
    _check_entry(entry, clock.now())
    _check_no_second([entry], besides=reading)
    history = histories_of({reading.meter_id}, besides=reading).get(
        reading.meter_id, MeterHistory()
    )
    machine_id = reading.meter.machine_id
    calendar = _calendars([machine_id], {reading.meter_id: history})[machine_id]
    question = _question(entry, history, calendar, Plant.current().zone)
    new = {
        "value": value,
        "read_at": read_at,
        "question": question,
        "confirmed": not question,
    }
    trail.save_changes(reading, new, by=by, why=why)
    _tell([reading])


def histories_of(
    meter_ids: Iterable[int], *, besides: Reading | None = None
) -> dict[int, MeterHistory]:
    """The readings that count, by meter; meters without any are left out."""
    rows = Reading.objects.counting().filter(meter__in=set(meter_ids)).order_by()
    if besides is not None:
        rows = rows.exclude(pk=besides.pk)
    zone = Plant.current().zone
    found: dict[int, list[MeterReading]] = {}
    for meter, read_at, value in rows.values_list("meter_id", "read_at", "value"):
        found.setdefault(meter, []).append(
            MeterReading(
                at=to_seconds(read_at), on=local_date(read_at, zone), value=value
            )
        )
    return {meter: MeterHistory(readings) for meter, readings in found.items()}


def _calendars(
    machine_ids: Iterable[int], histories: Mapping[int, MeterHistory]
) -> dict[int, ProductionCalendar]:
    """By machine, of the area where it stands or stood last; one per area."""
    today = clock.today()
    firsts = [history.dates[0] for history in histories.values() if len(history)]
    known_from = min([today, *firsts])
    idle = ProductionCalendar((), known_from=known_from, known_to=today)
    calendars: dict[int, ProductionCalendar] = dict.fromkeys(machine_ids, idle)
    of_area: dict[int, ProductionCalendar] = {}
    places = Placement.objects.filter(machine__in=calendars).order_by("placed_on")
    places_of = dict(places.values_list("machine_id", "cell__line__area"))
    for area in Area.objects.filter(pk__in=set(places_of.values())):
        of_area[area.pk] = production_calendar(area, known_from)
    return calendars | {machine: of_area[area] for machine, area in places_of.items()}


def _question(
    entry: Entry, history: MeterHistory, production: ProductionCalendar, zone: ZoneInfo
) -> str:
    asked = reading_questions(
        MeterReading(
            at=to_seconds(entry.read_at),
            on=local_date(entry.read_at, zone),
            value=entry.value,
        ),
        history=history,
        production=production,
        max_per_hour=entry.meter.max_per_hour,
    )
    return " ".join(asked)


def _check_entry(entry: Entry, now: datetime) -> None:
    if not entry.value.is_finite() or not 0 <= entry.value <= MOST:
        raise ValidationError(
            {
                "value": f"The reading {entry.value} of {entry.meter} cannot be: a "
                f"meter reads from 0 to {MOST:,}."
            }
        )
    if entry.value != round(entry.value, 3):
        raise ValidationError(
            {
                "value": f"The reading {entry.value} of {entry.meter} has more than "
                "three decimals: round it."
            }
        )
    if entry.read_at > now:
        raise ValidationError(
            {
                "read_at": f"{entry.meter} cannot have been read at "
                f"{_shown(entry.read_at)}, which lies in the future: correct the time."
            }
        )


def _check_no_second(
    entries: Iterable[Entry], *, besides: Reading | None = None
) -> None:
    """One reading of a meter at a moment."""
    seen: dict[tuple[int, datetime], Decimal] = {}
    for entry in entries:
        if (entry.meter.pk, entry.read_at) in seen:
            _refuse_second(entry, seen[entry.meter.pk, entry.read_at])
        seen[entry.meter.pk, entry.read_at] = entry.value
    there = Reading.objects.filter(
        withdrawn=False,
        meter__in={meter for meter, _ in seen},
        read_at__in={read_at for _, read_at in seen},
    )
    if besides is not None:
        there = there.exclude(pk=besides.pk)
    stored = {(reading.meter_id, reading.read_at): reading.value for reading in there}
    for entry in entries:
        if (entry.meter.pk, entry.read_at) in stored:
            _refuse_second(entry, stored[entry.meter.pk, entry.read_at])


def _refuse_second(entry: Entry, value: Decimal) -> None:
    raise ValidationError(
        {
            "read_at": f"{entry.meter} reads {value.normalize():f} at "
            f"{_shown(entry.read_at)} already: correct that reading, or give another "
            "time."
        }
    )


def _need_correction_rights(reading: Reading, by: User) -> None:
    own = reading.by_id == by.pk and may_read_meters(by)
    rights.need(
        own or rights.has_role(by, Role.PLANNER),
        "Only a planner or the technician who entered a reading may correct it.",
    )


def _tell(readings: list[Reading]) -> None:
    machines = sorted({reading.meter.machine_id for reading in readings})
    if machines:
        reading_changed.send(sender=None, machine_ids=machines)


def _shown(moment: datetime) -> str:
    return f"{moment.astimezone(Plant.current().zone):%Y-%m-%d %H:%M}"
