"""Insert very many rows at once, when nobody asks for their ids.

Django's bulk_create compiles each statement anew and costs a hundred millionths of a
second a row. One statement for all rows, or PostgreSQL's COPY, costs a tenth of that,
which is what makes a file of a million stops load in minutes.
"""

from collections.abc import Iterable, Iterator, Sequence
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
    """Insert rows of a model's fields, by attname; all but the id must be named."""
    database = router.db_for_write(model)
    connection = connections[database]
    fields: list[Any] = [model._meta.get_field(name) for name in names]
    ready = list(_as_stored(fields, rows, connection))
    if not ready:
        return
    quote = connection.ops.quote_name
    columns = ", ".join(quote(str(field.column)) for field in fields)
    into = f"{quote(model._meta.db_table)} ({columns})"
    with transaction.atomic(using=database):
        if connection.vendor == "postgresql":
            _copy(connection, into, ready)
        else:
            places = ", ".join(["%s"] * len(fields))
            with connection.cursor() as cursor:
                cursor.executemany(f"INSERT INTO {into} VALUES ({places})", ready)


def _copy(connection: BaseDatabaseWrapper, into: str, rows: list[Any]) -> None:
    with (
        connection.wrap_database_errors,
        connection.cursor() as cursor,
        cursor.copy(f"COPY {into} FROM STDIN") as copy,
    ):
        for row in rows:
            copy.write_row(row)


def _as_stored(
    fields: Sequence[Any], rows: Iterable[Sequence[Any]], connection: Any
) -> Iterator[Sequence[Any]]:
    """Column by column, as most columns hold what every database takes."""
    columns = zip(*rows, strict=True)
    return zip(
        *[
            _column(field, values, connection)
            for field, values in zip(fields, columns, strict=False)
        ],
        strict=True,
    )


def _column(field: Any, values: Sequence[Any], connection: Any) -> Sequence[Any]:
    if set(map(type, values)) <= _PLAIN:
        return values
    if isinstance(field, MomentField):
        return [value and to_seconds(value) for value in values]
    return [
        value if value is None else field.get_db_prep_save(value, connection)
        for value in values
    ]
