"""readings.csv, and the readings that other files bring.

Loading confirms a reading, but refuses one that is below the last one of its meter.
Whether it is can only be told once every file's readings are in, so each file's are
noted and the meters that they touched are walked once at the end.
"""

from collections.abc import Iterable, Iterator
from datetime import datetime
from itertools import chain, islice, pairwise
from typing import Any

from django.db.models import QuerySet

from cells.csv_cells import code, decimal, moment
from cells.csv_files import Column, Contract, Fault
from cells.files.kinds import MACHINES, find_meter
from cells.files.run import Row, Run, on_the_clock
from cells.files.sheet import LongSheet
from cells.meters import MOST
from cells.models import Meter, Reading
from cells.moments import to_seconds

METERS_AT_ONCE = 200

value_of_meter = decimal(0, MOST, 3)


class ReadingSheet(LongSheet[Reading]):
    file = "readings.csv"
    model = Reading
    key = ("meter", "read_at")
    facts = ("value", "confirmed")
    value_column = "value"

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("serial", code(40)),
                Column("meter", code(40)),
                Column("read_at", moment(self.run.zone)),
                Column("value", value_of_meter),
            ],
            key=("serial", "meter", "read_at"),
        )

    @property
    def given_facts(self) -> tuple[str, ...]:
        return self.facts  # loading confirms

    def read(self, row: Row) -> Reading | None:
        machine = row.find(MACHINES, "serial")
        meter = machine and find_meter(row, machine, row["meter"], "meter")
        if row["read_at"] > self.run.now:
            row.refuse(
                "read_at",
                f"{row['serial']} {row['meter']} cannot have been read at "
                f"{on_the_clock(row['read_at'])}, which lies in the future: correct "
                "the time.",
            )
        if meter is None:
            return None
        return self.reading(meter, row["read_at"], row["value"])

    def reading(self, meter: Meter, read_at: datetime, value: Any) -> Reading:
        return self.make(meter=meter, read_at=read_at, value=value, confirmed=True)

    def stored(self, records: list[Reading]) -> QuerySet[Reading]:
        return Reading.objects.filter(
            meter__in={one.meter_id for one in records},
            read_at__in={one.read_at for one in records},
        )

    def _there(self, records: list[Reading]) -> dict[tuple[Any, ...], tuple[Any, ...]]:
        """One that a person withdrew stays withdrawn, until another value comes."""
        rows = (
            self.stored(records)
            .order_by()
            .values_list("meter_id", "read_at", "withdrawn", "value", "pk", "confirmed")
        )
        stored = {row[:4]: row[4:] for row in rows}
        by_key = {
            key[:2]: (pk, key[3], confirmed)
            for key, (pk, confirmed) in stored.items()
            if not key[2]
        }
        for one in records:
            withdrawn = stored.get((one.meter_id, one.read_at, True, one.value))
            if withdrawn is not None:
                by_key.setdefault(
                    (one.meter_id, one.read_at), (withdrawn[0], *self.facts_of(one))
                )
        return by_key

    def may_correct(self, row: Row, before: Reading, after: Reading) -> bool:
        if self.run.readings.has(before):
            row.refuse(
                self.value_column,
                f"{after.meter} reads {plain(before.value)} at "
                f"{on_the_clock(before.read_at)} in another file of this load, not "
                f"{plain(after.value)}: correct one of them.",
            )
        return row.good

    def is_saved(self, row: Row, record: Reading, before: Reading | None) -> None:
        self.run.readings.add(record, row.line, self.file, self.value_column)


def check_rising(run: Run) -> None:
    """Refuse what this load brought below the reading before it, or above the next."""
    noted = {row[:2]: row[2:] for row in run.readings.rows()}
    meters = iter(sorted({meter for meter, _ in noted}))
    while some := list(islice(meters, METERS_AT_ONCE)):
        for before, after in _falling(some):
            late = noted.get((after.meter_id, to_seconds(after.read_at)))
            place = late or noted.get((before.meter_id, to_seconds(before.read_at)))
            if place is not None:
                number, line = place
                file, column = run.readings.files[number]
                words = _below(before, after) if late else _above(before, after)
                run.refuse(Fault(file, line, column, words))


def _falling(meters: Iterable[int]) -> Iterator[tuple[Reading, Reading]]:
    readings = Reading.objects.counting().filter(meter__in=meters)
    rows = readings.order_by("meter_id", "read_at")
    falls = [
        (last, pk)
        for (last, of_meter, before), (pk, meter, after) in pairwise(
            rows.values_list("pk", "meter_id", "value")
        )
        if meter == of_meter and after < before
    ]
    wanted = set(chain.from_iterable(falls))
    named = readings.select_related("meter__machine").in_bulk(wanted)
    return ((named[last], named[pk]) for last, pk in falls)


def _below(before: Reading, after: Reading) -> str:
    return (
        f"The reading {plain(after.value)} of {after.meter} at "
        f"{on_the_clock(after.read_at)} is below the last one ({plain(before.value)} "
        f"at {on_the_clock(before.read_at)}): correct one of them."
    )


def _above(before: Reading, after: Reading) -> str:
    return (
        f"The reading {plain(before.value)} of {before.meter} at "
        f"{on_the_clock(before.read_at)} is above the next one ({plain(after.value)} "
        f"at {on_the_clock(after.read_at)}): correct one of them."
    )


def plain(value: Any) -> str:
    return f"{value.normalize():f}"
