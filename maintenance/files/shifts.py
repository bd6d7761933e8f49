"""tallies.csv and confirmations.csv: what a leader says of a shift."""

from django.db.models import QuerySet

from cells.csv_cells import code, integer, moment
from cells.csv_files import Column, Contract
from cells.files.kinds import CELLS, LINES, find_shift
from cells.files.run import Row, on_the_clock
from cells.files.sheet import LongSheet, Sheet
from cells.models import Shift
from cells.working_time.plant_time import parse_date
from maintenance import stop_rules, tallies
from maintenance.confirmations import EARLY
from maintenance.files.kinds import REASONS
from maintenance.files.stops import was_retired
from maintenance.models import ShiftConfirmation, Tally

DAY_S = 86_400


class TallySheet(LongSheet[Tally]):
    """One that a person withdrew comes back only with other numbers."""

    file = "tallies.csv"
    model = Tally
    key = ("cell", "shift", "reason")
    facts = ("times", "seconds")
    revives = True

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("cell", code(20)),
                Column("date", parse_date),
                Column("shift", code(40)),
                Column("reason", code(40)),
                Column("times", integer(1, DAY_S)),
                Column("seconds", integer(0, DAY_S)),
            ],
            key=("cell", "date", "shift", "reason"),
        )

    def read(self, row: Row) -> Tally | None:
        cell, reason = row.find(CELLS, "cell"), row.find(REASONS, "reason")
        shift = cell and find_shift(row, cell.line)
        if reason is None or shift is None:
            return None
        tally = self.make(
            cell=cell,
            shift=shift,
            reason=reason,
            times=row["times"],
            seconds=row["seconds"],
            logged_at=self.run.now,
        )
        faults = tallies.faults(tally)
        if shift.starts_at > self.run.now:
            faults["shift"] = tallies.not_begun(shift)
        if was_retired(reason, shift.starts_at):
            faults.setdefault("reason", stop_rules.retired_reason(reason))
        if stop_rules.cell_retired(cell, shift.starts_at):
            faults.setdefault("cell", stop_rules.retired_cell(cell))
        for column, words in faults.items():
            row.refuse(column, words)
        return tally

    def stored(self, records: list[Tally]) -> QuerySet[Tally]:
        return Tally.objects.filter(shift__in={one.shift_id for one in records})

    def is_saved(self, row: Row, record: Tally, before: Tally | None) -> None:
        self.run.touched.pairs.add((record.cell_id, record.shift_id))


class ConfirmationSheet(Sheet[ShiftConfirmation]):
    file = "confirmations.csv"
    model = ShiftConfirmation
    key = ("shift",)
    facts = ("confirmed_at",)

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("line", code(20)),
                Column("date", parse_date),
                Column("shift", code(40)),
                Column("confirmed_at", moment(self.run.zone)),
            ],
            key=("line", "date", "shift"),
        )

    def read(self, row: Row) -> ShiftConfirmation | None:
        line = row.find(LINES, "line")
        shift: Shift | None = line and find_shift(row, line)
        confirmed_at = row["confirmed_at"]
        if confirmed_at > self.run.now:
            row.refuse(
                "confirmed_at",
                f"It cannot have been confirmed at {on_the_clock(confirmed_at)}, which "
                "lies in the future: correct the time.",
            )
        if shift is None:
            return None
        if shift.is_cancelled:
            row.refuse(
                "shift", f"Shift {shift} is cancelled: there is nothing to confirm."
            )
        elif confirmed_at < shift.ends_at - EARLY:
            row.refuse(
                "confirmed_at",
                f"Shift {shift} ends at {on_the_clock(shift.ends_at)}: it cannot be "
                f"confirmed before {on_the_clock(shift.ends_at - EARLY)}.",
            )
        return self.make(shift=shift, confirmed_at=confirmed_at)

    def stored(self, records: list[ShiftConfirmation]) -> QuerySet[ShiftConfirmation]:
        shifts = [one.shift_id for one in records]
        return ShiftConfirmation.objects.filter(shift__in=shifts)

    def is_saved(
        self, row: Row, record: ShiftConfirmation, before: ShiftConfirmation | None
    ) -> None:
        if before is None:
            self.run.touched.lines.add((record.shift.line_id, record.shift_id))
