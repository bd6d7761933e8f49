"""The small known cast of the tests: one plant and the people in it.

``the_cast()`` makes all of it; the ``make_`` functions make one thing each, with a
default for everything a test does not care about.
"""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.contrib.auth.models import Group, User

from cells.models import (
    Area,
    Cell,
    Duty,
    Line,
    Machine,
    Meter,
    Placement,
    Plant,
    Reading,
    Shift,
    ShiftBreak,
    ShiftPattern,
)
from cells.rights import Role

BERLIN = ZoneInfo("Europe/Berlin")
MONDAY = date(2026, 3, 2)
TUESDAY = date(2026, 3, 3)
BREAKS = "09:00-09:10;11:30-12:00"


def at(clock: str, on: date = MONDAY) -> datetime:
    """What the plant's clock shows on a date, as a moment: at("06:05")."""
    wall = datetime.combine(on, time.fromisoformat(clock), tzinfo=BERLIN)
    return wall.astimezone(UTC)


#: Monday noon, in the middle of the early shift.
NOW = at("12:00")


def make_plant() -> Plant:
    return Plant.objects.create(pk=1, name="Testwerk", time_zone="Europe/Berlin")


def make_area(code: str = "BODY", name: str = "Body shop") -> Area:
    return Area.objects.create(code=code, name=name)


def make_line(
    code: str = "L1", *, area: Area, name: str = "Underbody", order: int = 1
) -> Line:
    return Line.objects.create(code=code, area=area, name=name, order=order)


def make_cell(code: str = "L1-10", *, line: Line, **facts: object) -> Cell:
    given = {"name": f"Cell {code}", "order": 10, **facts}
    return Cell.objects.create(code=code, line=line, **given)


def make_machine(
    serial: str = "W-0001",
    kind: str = "weld",
    *,
    cell: Cell | None = None,
    position: str = "R01",
    placed_on: date = date(2025, 1, 6),
    **facts: object,
) -> Machine:
    """A machine; with a cell, it stands there since placed_on."""
    machine = Machine.objects.create(serial=serial, kind=kind, **facts)
    if cell is not None:
        Placement.objects.create(
            machine=machine, cell=cell, position=position, placed_on=placed_on
        )
    return machine


def make_meter(
    machine: Machine,
    name: str = "motion hours",
    *,
    unit: str = "h",
    max_per_hour: str | None = "1",
) -> Meter:
    most = None if max_per_hour is None else Decimal(max_per_hour)
    return Meter.objects.create(
        machine=machine, name=name, unit=unit, max_per_hour=most
    )


def make_reading(
    meter: Meter, value: str, *, read_at: datetime, **facts: object
) -> Reading:
    return Reading.objects.create(
        meter=meter, read_at=read_at, value=Decimal(value), **facts
    )


def make_pattern(
    area: Area,
    name: str = "Early",
    *,
    start: str = "06:00",
    end: str = "14:00",
    breaks: str = BREAKS,
    weekdays: str = "mon-fri",
    line: Line | None = None,
    valid_from: date = date(2026, 1, 5),
    **facts: object,
) -> ShiftPattern:
    """The pattern only: no shift is made from it."""
    return ShiftPattern.objects.create(
        area=area,
        line=line,
        name=name,
        weekdays=weekdays,
        start=time.fromisoformat(start),
        end=time.fromisoformat(end),
        breaks=breaks,
        valid_from=valid_from,
        **facts,
    )


def make_shift(
    line: Line,
    name: str = "Early",
    *,
    on: date = MONDAY,
    start: str = "06:00",
    end: str = "14:00",
    breaks: str = BREAKS,
) -> Shift:
    """A shift by the plant's clock; an end not after the start is on the next day."""
    starts_at = at(start, on)
    shift = Shift.objects.create(
        line=line,
        production_date=on,
        name=name,
        starts_at=starts_at,
        ends_at=_first_after(end, on, starts_at),
    )
    for text in filter(None, breaks.split(";")):
        begins, ends = text.split("-")
        begins_at = at(begins, on)
        if begins_at < starts_at:
            begins_at = at(begins, on + timedelta(days=1))
        ends_at = _first_after(ends, on, begins_at)
        ShiftBreak.objects.create(shift=shift, starts_at=begins_at, ends_at=ends_at)
    return shift


def _first_after(clock: str, on: date, moment: datetime) -> datetime:
    same_day = at(clock, on)
    return same_day if same_day > moment else at(clock, on + timedelta(days=1))


def make_user(
    name: str,
    *roles: Role,
    areas: tuple[Area, ...] = (),
    lines: tuple[Line, ...] = (),
    superuser: bool = False,
) -> User:
    """A person with roles and duties; sign in with client.force_login(user)."""
    user = User.objects.create(
        username=name, is_superuser=superuser, is_staff=superuser
    )
    user.groups.set(Group.objects.filter(name__in=[role.value for role in roles]))
    for area in areas:
        Duty.objects.create(user=user, area=area)
    for line in lines:
        Duty.objects.create(user=user, line=line)
    return user


@dataclass(kw_only=True)
class People:
    leader: User  # leads line L1
    technician: User
    planner: User
    area_manager: User  # has area BODY
    plant_manager: User
    safety_officer: User
    reader: User  # signed in, no role
    admin: User
    stranger: User  # leads line P1 of the other area


def make_people(line: Line, other_line: Line) -> People:
    return People(
        leader=make_user("leader", Role.TEAM_LEADER, lines=(line,)),
        technician=make_user("technician", Role.TECHNICIAN),
        planner=make_user("planner", Role.PLANNER),
        area_manager=make_user("area-manager", Role.AREA_MANAGER, areas=(line.area,)),
        plant_manager=make_user("plant-manager", Role.PLANT_MANAGER),
        safety_officer=make_user("safety-officer", Role.SAFETY_OFFICER),
        reader=make_user("reader"),
        admin=make_user("admin", superuser=True),
        stranger=make_user("stranger", Role.TEAM_LEADER, lines=(other_line,)),
    )


@dataclass(kw_only=True)
class Cast:
    plant: Plant
    area: Area  # BODY
    line: Line  # L1, counted at L1-30
    cells: list[Cell]  # L1-10, L1-20, L1-30
    other_line: Line  # P1, of the area PAINT, without a counting cell
    other_cell: Cell  # P1-10
    robot: Machine  # W-0001, weld, at L1-10 R01
    handler: Machine  # H-0001, handling, at L1-20 R01
    gate: Machine  # G-0001, safety gate, at L1-10 GATE1
    meter: Meter  # the robot's motion hours
    patterns: list[ShiftPattern]  # Early and Late of BODY, mon-fri
    early: Shift  # L1, Monday 06:00 to 14:00, breaks BREAKS: 26,400 s of work
    late: Shift  # L1, Monday 14:00 to 22:00, break 18:00-18:30: 27,000 s of work
    people: People
    #: Monday early of the other line.
    other_early: Shift = field(repr=False)


def the_cast() -> Cast:
    plant = make_plant()
    area, other_area = make_area(), make_area("PAINT", "Paint shop")
    line, other_line = make_line(area=area), make_line("P1", area=other_area)
    cells = [make_cell(f"L1-{order}", line=line, order=order) for order in (10, 20, 30)]
    other_cell = make_cell("P1-10", line=other_line)
    line.counting_cell = cells[2]
    line.save()
    robot = make_machine(cell=cells[0])
    return Cast(
        plant=plant,
        area=area,
        line=line,
        cells=cells,
        other_line=other_line,
        other_cell=other_cell,
        robot=robot,
        handler=make_machine("H-0001", "handling", cell=cells[1]),
        gate=make_machine("G-0001", "gate", cell=cells[0], position="GATE1"),
        meter=make_meter(robot),
        patterns=[
            make_pattern(area),
            make_pattern(
                area, "Late", start="14:00", end="22:00", breaks="18:00-18:30"
            ),
        ],
        early=make_shift(line),
        late=make_shift(line, "Late", start="14:00", end="22:00", breaks="18:00-18:30"),
        people=make_people(line, other_line),
        other_early=make_shift(other_line),
    )
