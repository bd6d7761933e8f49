"""A little of everything in one plant, and who may write it where.

``PAGES`` names an example of every address of the site, ``writes`` every form of it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from datetime import date
from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User

from cells.models import (
    AreaTarget,
    Attempt,
    Bank,
    DayOff,
    OneOffShift,
    Reading,
    ShiftPattern,
    WorkedBreak,
)
from cells.rights import Role
from maintenance.models import (
    PlannedStop,
    Routine,
    SafetyAlert,
    Stop,
    Tally,
    Task,
)
from maintenance.planned_stops import declare_planned_stop
from maintenance.stops import withdraw_stop
from maintenance.tallies import log_tally
from maintenance.tasks import complete_task
from oee.models import CellShift, Count, IdealCycle, ProductionPlan, Variant
from tests.builders import (
    MONDAY,
    NOW,
    TUESDAY,
    Cast,
    People,
    at,
    make_line,
    make_machine,
    make_pattern,
    make_reading,
    make_shift,
    make_user,
    the_cast,
)
from tests.maintenance.stop_cast import Reasons, a_stop, make_reasons
from tests.maintenance.task_cast import (
    keep_in_step,
    make_routine,
    make_step,
    open_task,
    report,
)
from tests.oee.stored import an_account

FRIDAY = date(2026, 2, 27)
EARLY = ("L1", MONDAY, "Early")


@dataclass(kw_only=True)
class Site:
    cast: Cast
    reasons: Reasons
    friday: date  # line L1 worked its early shift
    running: Stop  # a breakdown at L1-10, logged by the leader
    stop: Stop  # of the same cell, over
    withdrawn: Stop
    planned: PlannedStop  # a meeting of line L1 tomorrow
    tally: Tally  # at L1-20
    variant: Variant
    count: Count  # of line L1, Monday early
    own_count: Count  # of cell L1-20, beside the line's
    between: Count  # of line L1 on Sunday, where no shift was planned
    reading: Reading  # the technician's
    questioned: Reading
    wipe: Routine  # at the robot
    light: Routine  # a safety test at the gate
    look: Routine  # an operator's round at the handling robot
    done: Task  # the first wipe, by the technician
    failed: Task  # the first safety test
    alert: SafetyAlert
    night: ShiftPattern  # from next month on
    day_off: DayOff
    one_off: OneOffShift
    aside: Attempt  # a nightly job that failed three times
    #: A leader of line L2, one of no line, and the manager of PAINT, by their roles.
    others: dict[str, User]
    tasks: dict[str, Task] = field(default_factory=dict)  # open, by routine


def make_site() -> Site:
    """At NOW, a Monday noon."""
    cast = the_cast()
    reasons = make_reasons()
    friday = make_shift(cast.line, on=FRIDAY)
    make_machine("W-0002")
    AreaTarget.objects.create(
        area=cast.area, oee=Decimal("0.8"), valid_from=date(2026, 1, 1)
    )
    Bank.objects.create(from_cell=cast.cells[0], to_cell=cast.cells[1], capacity=4)
    WorkedBreak.objects.create(
        cell=cast.cells[0], shift=cast.early, break_start=at("09:00")
    )
    site = Site(
        cast=cast,
        reasons=reasons,
        friday=friday.production_date,
        others=_others(cast),
        **_stops(cast, reasons),
        **_counts(cast),
        **_work(cast),
        night=make_pattern(
            cast.area,
            "Night",
            start="22:00",
            end="06:00",
            breaks="",
            valid_from=date(2026, 4, 1),
        ),
        day_off=DayOff.objects.create(
            date=date(2026, 4, 3), area=cast.area, name="Good Friday"
        ),
        one_off=OneOffShift.objects.create(
            area=cast.area,
            name="Overtime",
            starts_on=date(2026, 3, 14),
            starts_at=at("06:00", date(2026, 3, 14)),
            ends_at=at("12:00", date(2026, 3, 14)),
        ),
        aside=Attempt.objects.create(
            piece="cells.jobs.extend_shifts",
            words="The shifts of the next eight weeks",
            tries=3,
            began_at=at("02:00"),
            process="a-host 4711",
            set_aside_at=at("02:01"),
        ),
    )
    for routine, machine in _open_ones(site):
        site.tasks[routine.code] = open_task(routine, machine)
    return site


def _others(cast: Cast) -> dict[str, User]:
    beside = make_line("L2", area=cast.area, name="Doors", order=2)
    paint = (cast.other_line.area,)
    return {
        "neighbour": make_user("neighbour", Role.TEAM_LEADER, lines=(beside,)),
        "spare_leader": make_user("spare-leader", Role.TEAM_LEADER),
        "other_manager": make_user("other-manager", Role.AREA_MANAGER, areas=paint),
    }


#: The cast's people and the others.
ROLES = (
    *(role.name for role in fields(People)),
    *("neighbour", "spare_leader", "other_manager"),
)


def people(site: Site) -> dict[str, User]:
    """By role."""
    cast = {role.name: getattr(site.cast.people, role.name) for role in fields(People)}
    return {**cast, **site.others}


def _open_ones(site: Site) -> Iterator[tuple[Routine, Any]]:
    yield site.wipe, site.cast.robot
    yield site.light, site.cast.gate
    yield site.look, site.cast.handler


def _stops(cast: Cast, reasons: Reasons) -> dict[str, Any]:
    leader = cast.people.leader
    withdrawn = a_stop(cast, reasons.jam, "08:00", "08:02")
    return {
        "running": a_stop(cast, reasons.stuck, "11:45", None, position="R01"),
        "stop": a_stop(cast, reasons.stuck, "07:00", "07:20", note="a note"),
        "withdrawn": withdraw_stop(stop=withdrawn, why="a slip", by=leader),
        "planned": declare_planned_stop(
            place=cast.line,
            starts_at=at("10:00", TUESDAY),
            ends_at=at("10:15", TUESDAY),
            reason=reasons.meeting,
            by=cast.people.planner,
        ),
        "tally": log_tally(
            cell=cast.cells[1],
            shift=cast.early,
            reason=reasons.jam,
            times=7,
            seconds=540,
            by=leader,
        ),
    }


def _counts(cast: Cast) -> dict[str, Any]:
    variant = Variant.objects.create(code="S4", name="Sedan")
    for cell in cast.cells:
        IdealCycle.objects.create(
            cell=cell, variant=variant, seconds=Decimal(60), valid_from=FRIDAY
        )
    ProductionPlan.objects.create(shift=cast.early, bodies=400)
    CellShift.objects.bulk_create(
        an_account(cell, cast.early, breakdown_s=1200, counted=True, made=9, good=9)
        for cell in cast.cells
    )
    numbers = {"variant": variant, "total": 200, "good": 190, "entered_at": NOW}
    sunday = date(2026, 3, 1)
    return {
        "variant": variant,
        "count": Count.objects.create(line=cast.line, shift=cast.early, **numbers),
        "own_count": Count.objects.create(
            cell=cast.cells[1], shift=cast.early, **numbers
        ),
        "between": Count.objects.create(
            line=cast.line,
            starts_at=at("10:00", sunday),
            ends_at=at("12:00", sunday),
            **numbers,
        ),
    }


def _work(cast: Cast) -> dict[str, Any]:
    technician = {"by": cast.people.technician}
    wipe = make_routine(meter="motion hours", every_units=Decimal(500))
    make_step(wipe, unit="mm", act_high=Decimal(9))
    light = make_routine("light", kinds=["gate"], safety=True, anchor="calendar")
    look = make_routine("look", kinds=["handling"], skills=["O"])
    keep_in_step()
    done = complete_task(**report(cast, open_task(wipe, cast.robot)))
    failed = complete_task(
        **report(cast, open_task(light, cast.gate), found="failed", note="no light")
    )
    keep_in_step()
    return {
        "reading": make_reading(cast.meter, "100", read_at=at("06:00"), **technician),
        "questioned": make_reading(
            cast.meter,
            "90",
            read_at=at("10:00"),
            confirmed=False,
            question="It is below the last one.",
            **technician,
        ),
        "wipe": wipe,
        "light": light,
        "look": look,
        "done": done.task,
        "failed": failed.task,
        "alert": failed.alert,
    }


def each(names: str, arguments: tuple[Any, ...]) -> dict[str, tuple[Any, ...]]:
    return dict.fromkeys(names.split(), arguments)


def pages(site: Site) -> dict[str, tuple[Any, ...]]:
    """The arguments of an example of every address, by the address's name."""
    area, line, cell, serial = ("BODY",), ("L1",), ("L1-10",), ("W-0001",)
    stop, wipe = (site.stop.pk,), ("wipe",)
    night = (site.night.pk,)
    return {
        **each(
            "home login logout admin_sign_in registry registry_health area_add "
            "line_add cell_add machine_add readings calendar pattern_add day_off_add "
            "one_off_set trail stopped stop_start stops planned_stops reasons due "
            "complete_many alerts compliance routines routine_add plant ranking "
            "definitions my_shift variants running",
            (),
        ),
        **each("area_edit target_set area", area),
        **each("line_edit counting_cell labels line line_counts line_plan", line),
        **each(
            "cell_short cell cell_edit cell_lockout cell_retire bank_set cell_label "
            "cell_account cell_cycles",
            cell,
        ),
        **each(
            "machine_short machine machine_edit machine_place machine_remove "
            "machine_swap machine_label meter_add",
            serial,
        ),
        "meter_edit": (site.cast.meter.pk,),
        "reading": (site.reading.pk,),
        **each("pattern_change pattern_end pattern_remove", night),
        "day_off_remove": (site.day_off.pk,),
        "one_off_remove": (site.one_off.pk,),
        **each("stop stop_withdraw stop_reinstate", stop),
        "stop_tap": (site.running.pk, "called_at"),
        **each("planned_stop planned_stop_withdraw", (site.planned.pk,)),
        **each("reason reason_retire reason_offer", ("stuck-tip",)),
        "task": (site.tasks["wipe"].pk,),
        **each("task_correct task_withdraw", (site.done.pk,)),
        "alert_accept": (site.alert.pk,),
        **each(
            "routine routine_edit routine_retire routine_steps routine_spread",
            wipe,
        ),
        "routine_first_due": ("look", "H-0001"),
        "count_between": (site.between.pk,),
        "variant": ("S4",),
        **each("shift shift_sheet", EARLY),
        "cell_shift": ("L1-10", MONDAY, "Early"),
    }
