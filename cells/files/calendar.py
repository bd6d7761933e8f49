"""The calendar: shift_patterns.csv, days_off.csv, shifts.csv, worked_breaks.csv."""

from datetime import datetime, time
from typing import Any, BinaryIO

from django.core.exceptions import ValidationError

from cells import calendar
from cells.csv_cells import code, integer, moment, text
from cells.csv_files import Column, Contract
from cells.files.kinds import AREAS, CELLS, LINES, find_shift
from cells.files.planning import lines_of, note_plan
from cells.files.run import Kind, Row
from cells.files.sheet import Sheet
from cells.models import (
    Area,
    DayOff,
    Line,
    OneOffShift,
    Shift,
    ShiftBreak,
    ShiftPattern,
    WorkedBreak,
)
from cells.working_time.breaks import check_breaks, format_breaks, parse_breaks
from cells.working_time.plant_time import (
    format_clock_time,
    local_date,
    parse_clock_time,
    parse_date,
    parse_moment,
    to_wall,
)
from cells.working_time.weekdays import format_weekdays, parse_weekdays


class PatternSheet(Sheet[ShiftPattern]):
    file = "shift_patterns.csv"
    model = ShiftPattern
    key = ("area", "line", "name", "weekdays", "start", "valid_from")
    facts = ("end", "breaks", "valid_to", "date_offset")

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("area", code(20)),
                Column("line", code(20), optional=True),
                Column("name", code(40)),
                Column("weekdays", parse_weekdays),
                Column("start", parse_clock_time),
                Column("end", parse_clock_time),
                Column("breaks", parse_breaks, may_be_empty=True, default=()),
                Column("valid_from", parse_date),
                Column("valid_to", parse_date, optional=True),
                Column("date_offset", integer(-1, 1), optional=True, default=0),
            ],
            key=self.key,
        )

    def read(self, row: Row) -> ShiftPattern | None:
        try:
            check_breaks(row["breaks"], row["start"], row["end"])
        except ValueError as error:
            row.refuse("breaks", str(error))
        if row["valid_to"] is not None and row["valid_to"] < row["valid_from"]:
            row.refuse(
                "valid_to",
                f"{row['valid_to']} lies before {row['valid_from']}, from which it is "
                "valid: change one.",
            )
        area, line = find_place(row)
        if area is None:
            return None
        return ShiftPattern(
            area=area,
            line=line,
            name=row["name"],
            weekdays=format_weekdays(row["weekdays"]),
            start=row["start"],
            end=row["end"],
            breaks=format_breaks(row["breaks"]),
            valid_from=row["valid_from"],
            valid_to=row["valid_to"],
            date_offset=row["date_offset"],
        )

    def is_saved(
        self, row: Row, record: ShiftPattern, before: ShiftPattern | None
    ) -> None:
        note_plan(self, row, record, record.valid_from)


class DayOffSheet(Sheet[DayOff]):
    file = "days_off.csv"
    model = DayOff
    key = ("date", "area", "line")
    facts = ("name",)

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("date", parse_date),
                Column("area", code(20), optional=True),
                Column("line", code(20), optional=True),
                Column("name", text(80)),
            ],
            key=self.key,
        )

    def read(self, row: Row) -> DayOff | None:
        area, line = find_place(row)
        return DayOff(date=row["date"], area=area, line=line, name=row["name"])

    def is_saved(self, row: Row, record: DayOff, before: DayOff | None) -> None:
        if before is None:
            note_plan(self, row, record, record.date)


class OneOffSheet(Sheet[OneOffShift]):
    file = "shifts.csv"
    model = OneOffShift
    key = ("area", "line", "name", "starts_on")
    facts = ("starts_at", "ends_at", "breaks")

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("area", code(20)),
                Column("line", code(20), optional=True),
                Column("name", code(40)),
                Column("starts_at", moment(self.run.zone)),
                Column("ends_at", moment(self.run.zone)),
                Column("breaks", parse_breaks, optional=True, default=()),
            ],
            key=("area", "line", "name", "starts_at"),
        )

    def load(self, stream: BinaryIO, total: int) -> None:
        self.cancelling: list[tuple[Row, OneOffShift]] = []
        self.lines_by_key: dict[tuple[Any, ...], int] = {}
        super().load(stream, total)

    def read(self, row: Row) -> OneOffShift | None:
        breaks = format_breaks(row["breaks"])
        try:
            calendar.check_one_off(
                row["name"], row["starts_at"], row["ends_at"], breaks
            )
        except ValidationError as error:
            row.refuse_all(error)
        area, line = find_place(row)
        if area is None:
            return None
        one_off = OneOffShift(
            area=area,
            line=line,
            name=row["name"],
            starts_on=local_date(row["starts_at"], self.run.zone),
            starts_at=row["starts_at"],
            ends_at=row["ends_at"],
            breaks=breaks,
        )
        self._check_one_of_a_date(row, one_off)
        if one_off.starts_at == one_off.ends_at:
            self.cancelling.append((row, one_off))
        return one_off

    def is_saved(
        self, row: Row, record: OneOffShift, before: OneOffShift | None
    ) -> None:
        note_plan(self, row, record, record.starts_on)

    def finish(self) -> None:
        for row, one_off in self.cancelling:
            lines = lines_of(self.run, one_off.area, one_off.line)
            try:
                calendar.check_cancels_something(lines, one_off.name, one_off.starts_on)
            except ValidationError as error:
                row.refuse_all(error)

    def _check_one_of_a_date(self, row: Row, one_off: OneOffShift) -> None:
        first = self.lines_by_key.setdefault(self.key_of(one_off), row.line)
        if first != row.line:
            row.refuse(
                "starts_at",
                f"Lines {first} and {row.line} are both for {one_off}: keep one of "
                "them.",
            )


def find_place(row: Row) -> tuple[Area | None, Line | None]:
    """What the columns area and line name; a line stands in its area."""
    area, line = row.find(AREAS, "area"), row.find(LINES, "line")
    if area is not None and line is not None:
        try:
            calendar.check_line(area, line)
        except ValidationError as error:
            row.refuse_all(error)
    return area, line


def _breaks() -> dict[int, list[datetime]]:
    found: dict[int, list[datetime]] = {}
    rows = ShiftBreak.objects.order_by("starts_at").values_list("shift_id", "starts_at")
    for shift, starts_at in rows.iterator(chunk_size=2000):
        found.setdefault(shift, []).append(starts_at)
    return found


BREAKS = Kind("break", "shift_patterns.csv", _breaks)


class WorkedBreakSheet(Sheet[WorkedBreak]):
    """One that a person withdrew stays withdrawn."""

    file = "worked_breaks.csv"
    model = WorkedBreak
    key = ("cell", "shift", "break_start")
    facts = ()

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("cell", code(20)),
                Column("date", parse_date),
                Column("shift", code(40)),
                Column("break_start", self._clock_or_moment),
            ],
            key=("cell", "date", "shift", "break_start"),
        )

    def _clock_or_moment(self, cell: str) -> time | datetime:
        """A shift has each time of day once, so 09:00 is as good as a moment."""
        if len(cell) <= len("09:00:00"):
            return parse_clock_time(cell)
        return parse_moment(cell, self.run.zone)

    def read(self, row: Row) -> WorkedBreak | None:
        cell = row.find(CELLS, "cell")
        shift = cell and find_shift(row, cell.line)
        if shift is None:
            return None
        starts = self.run.known(BREAKS).get(shift.pk, [])
        break_start = self._break(row["break_start"], starts)
        if break_start is None:
            row.refuse("break_start", self._no_such_break(shift, starts))
            return None
        return WorkedBreak(cell=cell, shift=shift, break_start=break_start)

    def stored(self, records: list[WorkedBreak]) -> Any:
        return WorkedBreak.objects.filter(shift__in={one.shift_id for one in records})

    def is_saved(
        self, row: Row, record: WorkedBreak, before: WorkedBreak | None
    ) -> None:
        self.run.touched.pairs.add((record.cell_id, record.shift_id))

    def _break(
        self, wanted: time | datetime, starts: list[datetime]
    ) -> datetime | None:
        for start in starts:
            if wanted in (start, to_wall(start, self.run.zone).time()):
                return start
        return None

    def _no_such_break(self, shift: Shift, starts: list[datetime]) -> str:
        clocks = [
            format_clock_time(to_wall(start, self.run.zone).time()) for start in starts
        ]
        its = f"its breaks start at {', '.join(clocks)}" if clocks else "it has none"
        return f"No break of shift {shift} starts then: {its}."
