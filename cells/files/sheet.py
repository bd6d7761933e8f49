"""One kind of file, row by row into the database, in bulk.

A subclass says what a row means (`read`), by which fields two records are the same
(`key`) and which of them a later file may correct (`facts`). The same key is the same
record: an unchanged one is left alone, a changed one is a correction made by the
import. A column that the file leaves out corrects nothing.
"""

from collections.abc import Callable, Iterable, Iterator
from copy import copy
from dataclasses import replace
from functools import cached_property
from operator import itemgetter
from typing import Any, BinaryIO, ClassVar, Generic, TypeVar

from django.db import models

from cells import trail
from cells.bulk import insert_all
from cells.csv_files import Contract, Fault, header_of, read_rows
from cells.files.making import Maker
from cells.files.run import Kind, Outcome, Row, Run, noted
from cells.models import Change

M = TypeVar("M", bound=models.Model)

CHUNK = 2000  # rows looked up and written at once


class Sheet(Generic[M]):
    file: ClassVar[str]
    model: type[M]
    key: ClassVar[tuple[str, ...]]  # names of model fields
    facts: ClassVar[tuple[str, ...]]  # names of model fields
    columns: ClassVar[dict[str, str]] = {}  # a field's column, where named otherwise
    revives: ClassVar[bool] = False  # a correction brings back what was withdrawn
    brings: ClassVar[Kind | None] = None  # records that other rows name by their key
    brings_by: ClassVar[str] = ""  # the one column of that key, if it is one
    brings_too: ClassVar[tuple[Kind, ...]] = ()  # what else hangs on its rows

    def __init__(self, run: Run) -> None:
        self.run = run
        self.make = Maker(self.model)
        self.contract = self._noting(self.make_contract())
        self.outcome = Outcome(self.file)
        self.lines: dict[Any, int] = {}  # the line of each key of the contract
        self._queue: list[tuple[Row, M]] = []
        self._counted: set[int] = set()  # lines that are new or changed

    # What a subclass says.

    def make_contract(self) -> Contract:
        raise NotImplementedError

    def read(self, row: Row) -> M | None:
        """The record that a row means, not saved; None where it is at fault."""
        raise NotImplementedError

    def stored(self, records: list[M]) -> "models.QuerySet[M]":
        """At least those stored records that have the keys of these."""
        return self.model._default_manager.all()

    def may_create(self, row: Row, record: M) -> bool:
        """Asked of each new record before it is saved."""
        return True

    def may_correct(self, row: Row, before: M, after: M) -> bool:
        """Asked of each changed record before it is saved."""
        return True

    def is_saved(self, row: Row, record: M, before: M | None) -> None:
        """Told of each new and changed record; `before` is as it was."""

    def finish(self) -> None:
        """After the last row is written."""

    # What all of them do.

    def load(self, stream: BinaryIO, total: int) -> None:
        """Load one file; what is wrong with it is appended to the run's faults."""
        self.given = set(header_of(stream))
        before, lost = len(self.run.faults), False
        for number, (line, values) in enumerate(self._rows(stream), start=1):
            row = Row(self.run, self.contract, line, values)
            record = self.read(row)
            if record is not None and row.good:
                self.take(row, record)
            lost = lost or not row.good
            if number % CHUNK == 0 and self.run.progress is not None:
                self.run.progress(self.file, number, total)
        self.flush()
        self.finish()
        self._say_if_unsure(self.run.faults[before:], lost)
        self.run.outcomes.append(self.outcome)
        if self.run.progress is not None:
            self.run.progress(self.file, total, total)

    def _noting(self, contract: Contract) -> Contract:
        """The contract, with the key of each row remembered, good or not."""
        if self.brings is None or not self.brings_by:
            return contract
        named = self.run.named[self.brings.word]
        columns = [
            replace(column, read=noted(column.read, named))
            if column.name == self.brings_by
            else column
            for column in contract.columns
        ]
        return replace(contract, columns=columns)

    def _say_if_unsure(self, faults: list[Fault], lost: bool) -> None:
        """Rows that were lost are only known by key where one column is the key."""
        unsure = {kind.word for kind in self.brings_too if faults or lost}
        if self.brings is not None:
            by_key = self.brings_by and all(fault.column for fault in faults)
            if (faults or lost) and not by_key:
                unsure.add(self.brings.word)
        self.run.unsure |= unsure

    def _rows(self, stream: BinaryIO) -> Iterator[tuple[int, dict[str, Any]]]:
        return read_rows(stream, self.contract, self.run.faults, self.lines)

    def take(self, row: Row, record: M) -> None:
        self._queue.append((row, record))
        if len(self._queue) >= CHUNK:
            self.flush()

    def flush(self) -> None:
        """Write what was taken: the new records at once, then the corrections."""
        queue, self._queue = self._queue, []
        there = self._there([record for _, record in queue]) if queue else {}
        new, changed = [], []
        for row, record in queue:
            known = there.get(self.key_of(record))
            if known is None:
                new.append((row, record))
            elif known[1:] != self.facts_of(record):
                changed.append((row, record, known[0]))
            else:
                record.pk = known[0]
                self.is_unchanged(record)
        # What ends in one row may make room for what begins in another.
        self._correct(changed)
        self._create(new)
        self.outcome.unchanged += len(queue) - len(new) - len(changed)

    def is_unchanged(self, record: M) -> None:
        """Told of each record that is stored already as it is."""

    @cached_property
    def key_of(self) -> Callable[[M], tuple[Any, ...]]:
        return _getter(self._attnames(self.key))

    @property
    def given_facts(self) -> tuple[str, ...]:
        """The facts that the file has a column for."""
        return tuple(
            name for name in self.facts if self.columns.get(name, name) in self.given
        )

    @cached_property
    def facts_of(self) -> Callable[[M], tuple[Any, ...]]:
        """Of the given facts, so known once the header is read."""
        return _getter(self._attnames(self.given_facts))

    def _attnames(self, names: Iterable[str]) -> list[str]:
        return [self._field(name).attname for name in names]

    def _field(self, name: str) -> "models.Field[Any, Any]":
        field = self.model._meta.get_field(name)
        assert isinstance(field, models.Field)  # keys and facts are columns
        return field

    def _there(self, records: list[M]) -> dict[tuple[Any, ...], tuple[Any, ...]]:
        """(id, the given facts) of the stored records, by key."""
        return self._by_key(self.stored(records).order_by())

    def _by_key(
        self, records: "models.QuerySet[M]"
    ) -> dict[tuple[Any, ...], tuple[Any, ...]]:
        key, facts = self._attnames(self.key), self._attnames(self.given_facts)
        rows = records.values_list("pk", *key, *facts)
        end = 1 + len(key)
        return {row[1:end]: (row[0], *row[end:]) for row in rows}

    def _create(self, new: list[tuple[Row, M]]) -> None:
        new = [(row, record) for row, record in new if self.may_create(row, record)]
        self.create([record for _, record in new])
        for row, record in new:
            self._counted.add(row.line)
            self.is_saved(row, record, None)
        self.outcome.new += len(new)

    def create(self, records: list[M]) -> None:
        self.model._default_manager.bulk_create(records, batch_size=CHUNK)

    def _correct(self, changed: list[tuple[Row, M, Any]]) -> None:
        stored = self._stored_by_id([pk for _, _, pk in changed])
        changes: list[Change] = []
        saved = []
        for row, record, pk in changed:
            before = stored[pk]
            new = {name: getattr(record, name) for name in self.given_facts}
            if self.revives:
                new["withdrawn"] = False
            after = copy(before)
            for name, value in new.items():
                setattr(after, name, value)
            if self.may_correct(row, before, after):
                changes += self.changes(before, new)
                saved.append((row, after, before))
        fields = {change.field for change in changes}
        if fields:
            self.model._default_manager.bulk_update(
                [after for _, after, _ in saved], fields, batch_size=500
            )
        Change.objects.bulk_create(changes, batch_size=CHUNK)
        for row, after, before in saved:
            self._counted.add(row.line)
            self.is_saved(row, after, before)
        self.outcome.changed += len(saved)

    def _stored_by_id(self, ids: list[Any]) -> dict[Any, M]:
        """With all that a trail names them by."""
        relations = [
            name for name in (*self.key, *self.facts) if self._field(name).is_relation
        ]
        rows = self.model._default_manager.select_related(*relations)
        return rows.in_bulk(ids) if ids else {}

    def changes(self, before: models.Model, new: dict[str, Any]) -> list[Change]:
        """The trail of a correction that this file makes."""
        return trail.changes_between(
            before,
            new,
            by=None,
            why=f"load_plant {self.file}",
            door="import",
            at=self.run.now,
        )

    def correct_one(self, record: models.Model, new: dict[str, Any]) -> None:
        """A correction of a record that hangs on a row's own."""
        Change.objects.bulk_create(self.changes(record, new))
        for name, value in new.items():
            setattr(record, name, value)
        record.save(update_fields=list(new))

    def also_changed(self, row: Row) -> None:
        """A row counts once, whatever of it was new or changed."""
        if row.line not in self._counted:
            self._counted.add(row.line)
            self.outcome.unchanged -= 1
            self.outcome.changed += 1


class LongSheet(Sheet[M]):
    """A file of very many rows, whose new records are not asked for their ids."""

    def create(self, records: list[M]) -> None:
        insert_all(records)


def _getter(names: list[str]) -> Callable[[Any], tuple[Any, ...]]:
    """Of a record, these attributes; a relation's id is slow to read otherwise."""
    if len(names) < 2:
        return lambda record: tuple([vars(record)[name] for name in names])
    get = itemgetter(*names)
    return lambda record: get(vars(record))
