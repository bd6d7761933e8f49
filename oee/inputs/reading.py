"""Rows as columns of numbers, read past the models.

A moment is an integer in the database and stays one. What Django makes of a row costs
more than all that the ledger does with it.
"""

from collections.abc import Sequence
from itertools import chain
from typing import Any

import numpy as np
import pandas as pd
from django.core.exceptions import EmptyResultSet
from django.db import connections
from django.db.models import QuerySet

from oee.ledger.cover import IntArray

#: PostgreSQL's binary format: its signature, flags and no extension; -1 ends the rows.
HEADER = b"PGCOPY\n\xff\r\n\0" + bytes(8)
TRAILER = b"\xff\xff"


def fetch(rows: QuerySet, columns: Sequence[str]) -> pd.DataFrame:
    """The columns of a query as they are stored, of any kind."""
    try:
        sql, parameters = _compiled(rows, columns)
    except EmptyResultSet:  # a list of no ids
        return pd.DataFrame(columns=list(columns))
    with connections[rows.db].cursor() as cursor:
        cursor.execute(sql, parameters)
        return pd.DataFrame(cursor.fetchall(), columns=list(columns))


def read_integers(rows: QuerySet, columns: Sequence[str]) -> list[IntArray]:
    """Columns that hold whole numbers and nothing else, an array each."""
    connection: Any = connections[rows.db]
    try:
        sql, parameters = _compiled(rows, columns)
    except EmptyResultSet:
        return [np.empty(0, np.int64) for _ in columns]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            names = [f"c{n}" for n in range(len(columns))]
            wide = ", ".join(f"{name}::int8" for name in names)
            copy = (
                f"COPY (SELECT {wide} FROM ({sql}) AS r ({', '.join(names)})) "
                "TO STDOUT (FORMAT binary)"
            )
            copy = connection.ops.compose_sql(copy, parameters)
            with connection.wrap_database_errors, cursor.copy(copy) as out:
                return _from_binary(b"".join(out), len(columns))
        cursor.execute(sql, parameters)
        # Row by row past Django's cursor, so that no list of them is kept.
        with connection.wrap_database_errors:
            values = np.fromiter(chain.from_iterable(cursor.cursor), np.int64)
    table = values.reshape(-1, len(columns))
    return [np.ascontiguousarray(table[:, n]) for n in range(len(columns))]


def _compiled(rows: QuerySet, columns: Sequence[str]) -> tuple[str, tuple]:
    # A slice needs its order, nothing else does.
    unordered = rows if rows.query.is_sliced else rows.order_by()
    query = unordered.values_list(*columns).query
    return query.get_compiler(connection=connections[rows.db]).as_sql()


def _from_binary(copied: bytes, columns: int) -> list[IntArray]:
    """Each row: how many columns, and before each value its length in bytes."""
    row = np.dtype(
        [
            ("columns", ">i2"),
            *((name, kind) for n in range(columns) for name, kind in _field(n)),
        ]
    )
    table = np.frombuffer(copied[len(HEADER) : -len(TRAILER)], row)
    if not all((table[f"length{n}"] == 8).all() for n in range(columns)):
        raise ValueError("A column that must hold whole numbers only holds a NULL.")
    return [table[f"value{n}"].astype(np.int64) for n in range(columns)]


def _field(n: int) -> list[tuple[str, str]]:
    return [(f"length{n}", ">i4"), (f"value{n}", ">i8")]
