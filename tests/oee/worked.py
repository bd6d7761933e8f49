"""Shifts as a worked example tells them, entered by the verbs; what commands print."""

import csv
from collections.abc import Mapping
from datetime import date, datetime, timedelta
from decimal import Decimal
from io import StringIO

import time_machine
from django.contrib.auth.models import User
from django.core.management import call_command

from cells.calendar import set_one_off_shift
from cells.models import Area, Cell, Line, Shift
from cells.rights import Role
from cells.shifts import work_through_break
from maintenance.models import Reason
from maintenance.planned_stops import declare_planned_stop
from maintenance.stops import log_stop
from oee.counts import enter_count
from oee.cycles import set_ideal_cycle
from oee.models import Variant
from tests.builders import (
    MONDAY,
    at,
    make_cell,
    make_line,
    make_user,
)

#: {seconds per body at best: (made, good the first time)}
Bodies = Mapping[str, tuple[int, int]]


def reason_of(loss_class: str, code: str = "") -> Reason:
    code = code or loss_class
    return Reason.objects.get_or_create(
        code=code, defaults={"name": code, "loss_class": loss_class}
    )[0]


def work(
    area: Area,
    code: str,
    *,
    minutes: int,
    on: date = MONDAY,
    breaks: str = "",
    worked_through: bool = False,
    planned: int = 0,
    bodies: Bodies | None = None,
    **stops: int,
) -> Cell:
    """A line that is one counting cell, in one shift of so many minutes from 06:00.

    ``stops``: minutes by loss class, one after the other from the shift's start.
    ``planned``: minutes before the shift's end, declared an hour before it starts.
    """
    cell = a_cell(area, code)
    start = at("06:00", on)
    end = start + timedelta(minutes=minutes)
    shift = plan_shift(cell.line, start, end, breaks=breaks)
    if planned:
        with time_machine.travel(start - timedelta(hours=1), tick=False):
            declare_planned_stop(
                place=cell,
                starts_at=end - timedelta(minutes=planned),
                ends_at=end,
                reason=reason_of("planned"),
                by=None,
            )
    with time_machine.travel(end, tick=False):
        stop_one_after_the_other(cell, start, stops)
        count(cell, shift, bodies or {})
        if worked_through:
            for rest in shift.breaks.all():
                work_through_break(
                    cell=cell, shift=shift, break_start=rest.starts_at, by=planner()
                )
    return cell


def plan_shift(
    line: Line, start: datetime, end: datetime, name: str = "Early", breaks: str = ""
) -> Shift:
    with time_machine.travel(start - timedelta(days=1), tick=False):
        set_one_off_shift(
            area=line.area,
            line=line,
            name=name,
            starts_at=start,
            ends_at=end,
            breaks=breaks,
            by=planner(),
        )
    return line.shifts.get(starts_at=start)


def planner() -> User:
    return User.objects.filter(username="planner").first() or make_user(
        "planner", Role.PLANNER
    )


def a_cell(area: Area, code: str) -> Cell:
    line = Line.objects.filter(code=code).first()
    if line is not None:
        return line.cells.get()
    line = make_line(code, area=area)
    line.counting_cell = make_cell(f"{code}-10", line=line)
    line.save()
    return line.counting_cell


def stop_one_after_the_other(
    cell: Cell, start: datetime, stops: Mapping[str, int]
) -> None:
    for loss_class, minutes in stops.items():
        end = start + timedelta(minutes=minutes)
        log_stop(
            cell=cell,
            reason=reason_of(loss_class),
            started_at=start,
            ended_at=end,
            by=None,
        )
        start = end


def count(at: Cell | Line, shift: Shift, bodies: Bodies) -> None:
    """Variants are told by their cycle, so a cell gets the cycle of each."""
    cells = [at] if isinstance(at, Cell) else []
    for seconds, (made, good) in bodies.items():
        variant = a_variant(seconds)
        for cell in cells:
            set_ideal_cycle(
                cell=cell,
                variant=variant,
                seconds=Decimal(seconds),
                valid_from=MONDAY,
                why="time study",
                by=None,
            )
        enter_count(at=at, shift=shift, variant=variant, total=made, good=good, by=None)


def a_variant(code: str) -> Variant:
    return Variant.objects.get_or_create(code=code, defaults={"name": code})[0]


def printed(command: str, *arguments: str) -> list[dict[str, str]]:
    """The rows that a command prints."""
    out = StringIO()
    call_command(command, *arguments, stdout=out, stderr=StringIO())
    return list(csv.DictReader(StringIO(out.getvalue())))


def said(command: str, *arguments: str) -> str:
    """What a command says beside its results."""
    err = StringIO()
    call_command(command, *arguments, stdout=StringIO(), stderr=err)
    return err.getvalue()


def figure(text: str) -> float | None:
    return float(text) if text else None
