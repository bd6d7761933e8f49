"""stops.csv: the one file that may hold a million rows."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from math import inf

from django.db.models import Q, QuerySet
from django.utils.timezone import localdate

from cells.csv_cells import code, integer, moment, text, yes_no
from cells.csv_files import Column, Contract
from cells.files.kinds import CELLS, POSITIONS
from cells.files.run import Row, Run, on_the_clock
from cells.files.sheet import LongSheet
from cells.moments import seconds_of
from maintenance import stop_rules
from maintenance.files.kinds import REASONS
from maintenance.models import Reason, Stop

LEDGER_FACTS = ("cell_id", "reason_id", "started_at", "ended_at", "withdrawn")
FOREVER = datetime.max.replace(tzinfo=UTC)
MOST_WAIT = 31 * 86_400  # seconds

MOMENTS = (
    "started_at",
    "ended_at",
    "called_at",
    "arrived_at",
    "cause_found_at",
    "repaired_at",
    "restarted_at",
    "first_good_at",
)


class StopSheet(LongSheet[Stop]):
    file = "stops.csv"
    model = Stop
    key = ("ref",)
    facts = (
        "cell",
        "position",
        "reason",
        *MOMENTS,
        "note",
        "parts_wait_s",
        "cause",
        "withdrawn",
    )

    def __init__(self, run: Run) -> None:
        super().__init__(run)
        self.this_second = run.now + timedelta(seconds=1)
        #: Running stops are written last, when those before them have ended.
        self.running: list[tuple[Row, Stop]] = []
        self.written: set[int] = set()  # lines
        self.cells: set[int] = set()
        self.first, self.last = FOREVER, run.now

    def make_contract(self) -> Contract:
        at = moment(self.run.zone)
        return Contract(
            self.file,
            [
                Column("ref", text(60)),
                Column("cell", code(20)),
                Column("position", code(40), optional=True, default=""),
                Column("reason", code(40)),
                Column("started_at", at),
                *[Column(name, at, optional=True) for name in MOMENTS[1:]],
                Column("note", text(500), optional=True, default=""),
                Column("parts_wait_s", integer(0, MOST_WAIT), optional=True),
                Column("cause", text(200), optional=True, default=""),
                Column("withdrawn", yes_no, optional=True, default=False),
            ],
            key=("ref",),
        )

    def read(self, row: Row) -> Stop | None:
        cell, reason = row.find(CELLS, "cell"), row.find(REASONS, "reason")
        if cell is None or reason is None:
            return None
        # Every column is a field.
        known = {**row.values, "cell": cell, "reason": reason}
        stop = self.make(**known, logged_at=self.run.now)
        self._check(row, stop)
        return stop

    def _check(self, row: Row, stop: Stop) -> None:
        faults = stop_rules.faults(stop, now=self.run.now, long_ok=True)
        if was_retired(stop.reason, stop.started_at):
            faults.setdefault("reason", stop_rules.retired_reason(stop.reason))
        if stop_rules.cell_retired(stop.cell, stop.started_at):
            faults.setdefault("cell", stop_rules.retired_cell(stop.cell))
        positions = self.run.known(POSITIONS).get(stop.cell_id, set())
        if stop.position and stop.position not in positions:
            row.miss(
                POSITIONS,
                stop.position,
                "position",
                stop_rules.unknown_position(stop, positions),
            )
        for column, reason in faults.items():
            row.refuse(column, reason)

    def take(self, row: Row, record: Stop) -> None:
        if record.is_running:
            self.running.append((row, record))
        else:
            super().take(row, record)

    def stored(self, records: list[Stop]) -> QuerySet[Stop]:
        return Stop.objects.filter(ref__in=[stop.ref for stop in records])

    def is_saved(self, row: Row, record: Stop, before: Stop | None) -> None:
        if before is None or any(
            getattr(before, name) != getattr(record, name) for name in LEDGER_FACTS
        ):
            self.written.add(row.line)
            self.cells.add(record.cell_id)
            self.first = min(self.first, record.started_at)
            for stop in filter(None, (before, record)):
                if not stop.withdrawn:
                    end = stop.ended_at or self.this_second
                    self.run.touched.span(stop.cell_id, stop.started_at, end)

    def may_create(self, row: Row, record: Stop) -> bool:
        return self._is_of_sane_length(row, record)

    def may_correct(self, row: Row, before: Stop, after: Stop) -> bool:
        # A stop whose length a person accepted is not asked about it again.
        return (before.started_at, before.ended_at) == (
            after.started_at,
            after.ended_at,
        ) or self._is_of_sane_length(row, after)

    def _is_of_sane_length(self, row: Row, stop: Stop) -> bool:
        end = stop.ended_at or self.run.now
        if end - stop.started_at <= stop_rules.LONGEST:
            return True
        until = f"to {on_the_clock(end)}" if stop.ended_at else "and still running"
        row.refuse(
            "ended_at",
            f"From {on_the_clock(stop.started_at)} {until} is longer than "
            f"{stop_rules.LONGEST.days} days: correct the dates, or write it as "
            "several stops, one after the other.",
        )
        return False

    def finish(self) -> None:
        self._take_running()
        self.flush()
        if self.written:
            self._refuse_overlaps()

    def _take_running(self) -> None:
        """One running stop of a cell and reason: the second is told of the first."""
        self.flush()
        stops = Stop.objects.running().select_related("cell", "reason")
        there = {(stop.cell_id, stop.reason_id): stop for stop in stops}
        for row, stop in self.running:
            other = there.setdefault((stop.cell_id, stop.reason_id), stop)
            if other.ref == stop.ref:
                super().take(row, stop)
            else:
                row.refuse(
                    "reason", f"{stop_rules.running_already(other)}{_ref(other)}"
                )

    def _refuse_overlaps(self) -> None:
        """Two stops of one cell and reason in the same seconds are one stop."""
        for pks in self._overlapping():
            stops = Stop.objects.select_related("cell", "reason").in_bulk(pks)
            other, mine = (stops[pk] for pk in pks)
            if self._line_of(mine) is None:
                mine, other = other, mine
            line = self._line_of(mine)
            if line is not None:
                words = stop_rules.overlaps(other) + _ref(other, self._line_of(other))
                self.run.refuse(self.contract.fault(line, "started_at", words))

    def _overlapping(self) -> Iterator[tuple[int, int]]:
        """Ids of two that overlap, the earlier first, near what was written."""
        stops = Stop.objects.standing().filter(
            cell__in=self.cells, started_at__lt=self.last
        )
        stops = stops.filter(Q(ended_at=None) | Q(ended_at__gt=self.first))
        stops = stops.order_by("cell_id", "reason_id", "started_at", "ref")
        span = (seconds_of("started_at"), seconds_of("ended_at"))
        rows = stops.values_list("pk", "cell_id", "reason_id", *span)
        of_cell, of_reason, reaches, until = 0, 0, 0, 0.0
        for pk, cell, reason, start, end in rows.iterator(chunk_size=5000):
            same = cell == of_cell and reason == of_reason
            if same and start < until:
                yield reaches, pk
            if not same or end is None or end > until:
                of_cell, of_reason, reaches = cell, reason, pk
                until = inf if end is None else end

    def _line_of(self, stop: Stop) -> int | None:
        """Where this file wrote it, if it did."""
        line = self.lines.get(stop.ref)
        return line if line in self.written else None


def was_retired(reason: Reason, at: datetime) -> bool:
    """What happened while a reason was in use may come in later."""
    return reason.retired_on is not None and reason.retired_on <= localdate(at)


def _ref(stop: Stop, line: int | None = None) -> str:
    where = f", line {line}" if line else ""
    return f" (Its ref is {stop.ref}{where}.)"
