"""planned_stops.csv"""

from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import QuerySet

from cells.csv_cells import code, moment, text
from cells.csv_files import Column, Contract
from cells.files.kinds import AREAS, CELLS, LINES
from cells.files.run import Row, on_the_clock, unknown
from cells.files.sheet import Sheet
from maintenance import planned_stops
from maintenance.files.kinds import REASONS
from maintenance.files.stops import was_retired
from maintenance.models import PlannedStop
from maintenance.stop_rules import retired_reason


class PlannedStopSheet(Sheet[PlannedStop]):
    file = "planned_stops.csv"
    model = PlannedStop
    key = ("ref",)
    facts = ("area", "line", "cell", "starts_at", "ends_at", "reason", "declared_at")
    columns = {"area": "at", "line": "at", "cell": "at"}
    revives = True

    def make_contract(self) -> Contract:
        at = moment(self.run.zone)
        return Contract(
            self.file,
            [
                Column("ref", text(60)),
                Column("at", code(20)),
                Column("starts_at", at),
                Column("ends_at", at),
                Column("reason", code(40)),
                Column("declared_at", at),
            ],
            key=("ref",),
        )

    def load(self, *args: Any) -> None:
        self.written: list[tuple[Row, PlannedStop]] = []
        super().load(*args)

    def read(self, row: Row) -> PlannedStop | None:
        place, reason = self._place(row), row.find(REASONS, "reason")
        if row["declared_at"] > self.run.now:
            row.refuse(
                "declared_at",
                f"It cannot have been declared at {on_the_clock(row['declared_at'])}, "
                "which lies in the future: correct the time.",
            )
        if not place or reason is None:
            return None
        times = {name: row[name] for name in ("starts_at", "ends_at", "declared_at")}
        planned = PlannedStop(ref=row["ref"], reason=reason, **place, **times)
        faults = planned_stops.faults(planned)
        if was_retired(reason, planned.starts_at):
            faults.setdefault("reason", retired_reason(reason))
        for column, words in faults.items():
            row.refuse(column, words)
        return planned

    def stored(self, records: list[PlannedStop]) -> QuerySet[PlannedStop]:
        return PlannedStop.objects.filter(ref__in=[one.ref for one in records])

    def may_correct(self, row: Row, before: PlannedStop, after: PlannedStop) -> bool:
        began = before.starts_at <= self.run.now
        if began and planned_stops.covers_more(before, after):
            row.refuse_all(ValidationError(planned_stops.grows(before)))
        return row.good

    def is_saved(
        self, row: Row, record: PlannedStop, before: PlannedStop | None
    ) -> None:
        self.written.append((row, record))
        for planned in filter(None, (before, record)):
            if not planned.withdrawn:
                for cell in planned_stops.cell_ids(planned):
                    self.run.touched.span(cell, planned.starts_at, planned.ends_at)

    def finish(self) -> None:
        """Of two for one place, reason and time, the later row is blamed."""
        for row, planned in reversed(self.written):
            found = not planned.withdrawn and planned_stops.declared_already(planned)
            if found:
                row.refuse_all(ValidationError(found))
                # Out of the other's way; of a load with a fault nothing is saved.
                PlannedStop.objects.filter(pk=planned.pk).update(withdrawn=True)

    def _place(self, row: Row) -> dict[str, Any]:
        for kind in (CELLS, LINES, AREAS):
            found = self.run.known(kind).get(row["at"])
            if found is not None:
                return {kind.word: found}
        if any(
            self.run.may_be_refused(kind, row["at"]) for kind in (CELLS, LINES, AREAS)
        ):
            row.skip()
        else:
            words = unknown(self.run, CELLS, row["at"])
            row.refuse("at", f"{words} A line or an area will do as well.")
        return {}
