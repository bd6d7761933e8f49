"""Write very many rows at once, when nobody asks for the ids of new ones.

Django's bulk_create and bulk_update compile each statement anew and cost a hundred
millionths of a second a row and more. One statement for all rows, or PostgreSQL's COPY,
costs a tenth of that, which is what makes a file of a million stops load in minutes.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import repeat
from operator import itemgetter
from typing import Any

from django.db import connections, models, router, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from cells.moments import MomentField, to_seconds

#: Values that every database takes as they are.
_PLAIN = {str, int, bool, type(None)}


def insert_all(records: Sequence[models.Model]) -> None:
    """Insert records of one model, which have no ids yet and get none here."""
    if not records:
        return
    model = type(records[0])
    names = [
        field.attname for field in model._meta.concrete_fields if not field.primary_key
    ]
    # A relation's id is slow to read in any other way.
    insert_rows(model, names, map(itemgetter(*names), map(vars, records)))


def insert_rows(
    model: type[models.Model], names: Sequence[str], rows: Iterable[Sequence[Any]]
) -> None:
    """Insert rows of these fields, by attname; the others get their defaults."""
    connection = connections[router.db_for_write(model)]
    fields = _fields(model, names)
    columns = list(_columns(fields, rows, connection))
    if not columns:
        return
    for field in model._meta.concrete_fields:
        if field not in fields and not field.primary_key:
            fields.append(field)
            (default,) = _column(field, [field.get_default()], connection)
            columns.append(repeat(default, len(columns[0])))
    into = ", ".join(_quoted(connection, str(field.column)) for field in fields)
    into = f"{_quoted(connection, model._meta.db_table)} ({into})"
    ready = list(zip(*columns, strict=True))
    with transaction.atomic(using=connection.alias):
        if connection.vendor == "postgresql":
            _copy(connection, into, ready)
        else:
            places = ", ".join(["%s"] * len(fields))
            with connection.cursor() as cursor:
                cursor.executemany(f"INSERT INTO {into} VALUES ({places})", ready)


def update_rows(
    model: type[models.Model], names: Sequence[str], rows: Iterable[Sequence[Any]]
) -> None:
    """Update these fields, by attname, in rows that each end in the record's id."""
    connection = connections[router.db_for_write(model)]
    pk = model._meta.pk
    fields = _fields(model, names)
    ready = list(zip(*_columns([*fields, pk], rows, connection), strict=True))
    if not ready:
        return
    sets = ", ".join(f"{_quoted(connection, str(one.column))} = %s" for one in fields)
    table = _quoted(connection, model._meta.db_table)
    where = f"{_quoted(connection, str(pk.column))} = %s"
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        cursor.executemany(f"UPDATE {table} SET {sets} WHERE {where}", ready)


def _fields(model: type[models.Model], names: Sequence[str]) -> list[Any]:
    return [model._meta.get_field(name) for name in names]


def _quoted(connection: Any, name: str) -> str:
    quoted: str = connection.ops.quote_name(name)
    return quoted


def _copy(connection: BaseDatabaseWrapper, into: str, rows: list[Any]) -> None:
    with (
        connection.wrap_database_errors,
        connection.cursor() as cursor,
        cursor.copy(f"COPY {into} FROM STDIN") as copy,
    ):
        for row in rows:
            copy.write_row(row)


def _columns(
    fields: Sequence[Any], rows: Iterable[Sequence[Any]], connection: Any
) -> Iterator[Any]:
    """As the database takes them; none where there is no row."""
    columns = list(zip(*rows, strict=True))
    for field, values in zip(fields if columns else (), columns, strict=True):
        yield _column(field, values, connection)


def _column(field: Any, values: Sequence[Any], connection: Any) -> Sequence[Any]:
    # Most columns hold nothing else.
    if set(map(type, values)) <= _PLAIN:
        return values
    if isinstance(field, MomentField):
        return [None if value is None else to_seconds(value) for value in values]
    if isinstance(field, models.JSONField):
        return [field.get_db_prep_save(value, connection) for value in values]
    # Dates and numbers repeat.
    ready = {
        value: value if value is None else field.get_db_prep_save(value, connection)
        for value in set(values)
    }
    return [ready[value] for value in values]
