"""The shifts that a load's calendar and its new lines ask for, made at once.

Where two shifts clash, the rows that asked for them are blamed.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.core.exceptions import ValidationError

from cells import calendar
from cells.csv_files import Fault
from cells.files.kinds import LINES, SHIFTS
from cells.files.run import Row, Run
from cells.files.sheet import Sheet
from cells.models import Area, DayOff, Line, OneOffShift, ShiftPattern
from cells.shifts import Outcome
from cells.working_time.patterns import ClashError, PlannedShift
from cells.working_time.plant_time import local_date
from cells.working_time.weekdays import parse_weekdays

#: What the shifts are made of; where one of these is at fault, clashes say nothing.
FILES = ("areas.csv", "lines.csv", "shift_patterns.csv", "days_off.csv", "shifts.csv")

Record = ShiftPattern | DayOff | OneOffShift


@dataclass(frozen=True)
class Asked:
    """A row that asks for shifts, or for none."""

    file: str
    line: int
    record: Record

    def asks_for(self, shift: PlannedShift, of: Line, run: Run) -> bool:
        one, day = self.record, local_date(shift.starts_at, run.zone)
        if isinstance(one, DayOff) or one.name != shift.name:
            return False
        if one.area_id != of.area_id or one.line_id not in (None, of.pk):
            return False
        if isinstance(one, OneOffShift):
            return one.starts_on == day
        return one.valid_from <= day and day.weekday() in parse_weekdays(one.weekdays)


def note_plan(sheet: Sheet, row: Row, record: Record, first: date) -> None:
    """The lines of this record are planned anew from a date on."""
    run = sheet.run
    run.asked.append(Asked(sheet.file, row.line, record))
    for line in lines_of(run, record.area, record.line):
        run.plan_anew(line, first)


def lines_of(run: Run, area: Area | None, line: Line | None) -> list[Line]:
    if line is not None:
        return [line]
    lines: Iterable[Line] = run.known(LINES).values()
    return [one for one in lines if area is None or one.area_id == area.pk]


def plan_shifts(run: Run) -> None:
    """Make the shifts anew, from the first date that is touched up to the horizon."""
    for line in run.new_lines:
        patterns = ShiftPattern.objects.filter(area=line.area_id)
        for first in patterns.values_list("valid_from", flat=True):
            run.plan_anew(line, first)
    if run.to_plan:
        _plan(run, list(run.to_plan), min(run.to_plan.values()))
    if run.has_refused(*FILES):
        run.unsure.add(SHIFTS.word)


def _plan(run: Run, lines: list[Line], first: date) -> None:
    """All lines at once; where two shifts clash, line by line to name every clash."""
    try:
        _note(run, _replan(lines, first))
    except ValidationError:
        sound = not run.has_refused(*FILES)
        for line in lines:
            try:
                _note(run, _replan([line], first))
            except ValidationError as error:
                run.unsure.add(SHIFTS.word)
                if sound:
                    _blame(run, line, error)


def _replan(lines: list[Line], first: date) -> Outcome:
    return calendar.replan(lines, first, None, by=None, why="load_plant", door="import")


def _note(run: Run, outcome: Outcome) -> None:
    run.touched.new_shifts.update(outcome.created)


def _blame(run: Run, line: Line, error: ValidationError) -> None:
    """The row that asked for one of the two, the more special one if several did."""
    clash = _clash(error)
    asked = [
        one
        for shift in (clash.shifts if clash else ())
        for one in run.asked
        if one.asks_for(shift, line, run)
    ]
    file, number = max(
        ((one.file, one.line) for one in asked),
        key=lambda place: (FILES.index(place[0]), place[1]),
        default=(_first_file(run), None),
    )
    known = {(fault.file, fault.line) for fault in run.faults}
    if number is None or (file, number) not in known:
        run.refuse(Fault(file, number, "", " ".join(error.messages)))


def _clash(error: BaseException | None) -> ClashError | None:
    while error is not None and not isinstance(error, ClashError):
        error = error.__cause__
    return error


def _first_file(run: Run) -> str:
    """Where nothing but stored rows clash, for a new line."""
    there = [file for file in FILES[2:] if (run.directory / file).exists()]
    return there[0] if there else "lines.csv"
