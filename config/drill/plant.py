"""Four lines of three cells that work around the clock in shifts of half an hour."""

from datetime import date, datetime, time, timedelta
from decimal import Decimal

from django.contrib.auth.models import User
from django.core.management import call_command
from django.core.management.base import CommandError

from cells import clock, shifts
from cells.models import Area, Cell, Line, Plant, ShiftPattern
from config.drill import home
from maintenance.models import Reason
from oee.models import IdealCycle, Variant

LINES = ("A1", "A2", "B1", "B2")
SHIFT_S = 1800
REASONS = ("breakdown", "setup", "quality_hold", "minor", "people", "blocked")


def build(password: str, *, real_seconds: float) -> None:
    """With shifts for as long as the drill may take, and a day more."""
    if not home.is_own_database():
        raise CommandError("This is not the drill's own database.")
    call_command("migrate", verbosity=0)
    Plant.objects.create(pk=1, name="Drill", time_zone="UTC")
    area = Area.objects.create(code="DRILL", name="Drill")
    _make_floor(area)
    plant_time = timedelta(seconds=real_seconds * home.SPEED)
    _make_patterns(area, clock.today() + plant_time + timedelta(days=2))
    for code in REASONS:
        Reason.objects.create(code=code, name=code, loss_class=code)
    for trouble in shifts.extend(today=clock.today()):
        raise CommandError(trouble)
    for line in LINES:
        User.objects.create_superuser(line, password=password)


def shift_at(moment: datetime) -> tuple[date, str]:
    """Production date and name of the shift that runs then."""
    return moment.date(), f"S{(moment.hour * 3600 + moment.minute * 60) // SHIFT_S:02}"


def _make_floor(area: Area) -> None:
    variant = Variant.objects.create(code="V", name="Body")
    for order, code in enumerate(LINES):
        line = Line.objects.create(code=code, name=code, area=area, order=order)
        cells = [
            Cell.objects.create(code=f"{code}-{n}", name=code, line=line, order=n)
            for n in (10, 20, 30)
        ]
        line.counting_cell = cells[-1]
        line.save()
        IdealCycle.objects.bulk_create(
            IdealCycle(
                cell=cell,
                variant=variant,
                seconds=Decimal(55),
                valid_from=date(2020, 1, 1),
            )
            for cell in cells
        )


def _make_patterns(area: Area, last: date) -> None:
    midnight = datetime.combine(date(2020, 1, 1), time())
    half_hour = timedelta(seconds=SHIFT_S)
    ShiftPattern.objects.bulk_create(
        ShiftPattern(
            area=area,
            name=shift_at(midnight + n * half_hour)[1],
            weekdays="mon-sun",
            start=(midnight + n * half_hour).time(),
            end=(midnight + (n + 1) * half_hour).time(),
            breaks="",
            valid_from=clock.today(),
            valid_to=last,
        )
        for n in range(86_400 // SHIFT_S)
    )
