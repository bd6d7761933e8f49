"""A long list of ids as one value of a query.

Django's "in" writes a placeholder for each id, which for some thousands of them costs
more than the query, and SQLite refuses more than 32,766.
"""

import json
from collections.abc import Iterable
from typing import Any

from django.db.models import BooleanField, F, Func, Q


def among(field: str, ids: Iterable[int]) -> Q:
    """Where the field, of this model, is one of these ids."""
    return Q(_Among(field, ids))


class _Among(Func):
    output_field = BooleanField()

    def __init__(self, field: str, ids: Iterable[int], **extra: Any) -> None:
        super().__init__(F(field), **extra)
        self._ids = list(ids)

    def as_sqlite(self, compiler: Any, connection: Any, **extra: Any) -> Any:
        field, values = compiler.compile(self.source_expressions[0])
        asked = f"{field} IN (SELECT value FROM json_each(%s))"
        return asked, [*values, json.dumps(self._ids)]

    def as_postgresql(self, compiler: Any, connection: Any, **extra: Any) -> Any:
        field, values = compiler.compile(self.source_expressions[0])
        return f"{field} = ANY(%s)", [*values, self._ids]
