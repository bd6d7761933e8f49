"""What was read from the stored ledger, kept in the cache until the ledger changes.

The cache holds a name for the state of the ledger, a new one after every commit that
wrote to it, and with each kept answer the name of the state that it was read in. So a
corrected stop is on every page as soon as it is in the ledger. If the news of a change
is lost, as when the cache is gone for a moment, no answer outlives ``LONGEST_S``; and
without a cache everything is read from the database each time.
"""

import hashlib
import secrets
from typing import Any

from django.core.cache import cache
from django.core.exceptions import EmptyResultSet
from django.db import transaction
from django.db.models import QuerySet

LONGEST_S = 60
STATE = "ledger-state"


def ledger_changed() -> None:
    """Cell-shifts were written or removed: after the commit, read them anew."""
    transaction.on_commit(_rename)


def rows_of(query: QuerySet[Any, Any]) -> list[Any]:
    """The rows of a query, from the cache if the ledger is still the one it was.

    The query may ask the stored ledger alone: what else it depends on, as which cells
    count, stands in it as values. Its rows are shared by everybody.
    """
    try:
        name = _name(query)
    except EmptyResultSet:  # it can have no rows, as when no cell counts
        return []
    found = cache.get_many([STATE, name])
    state, (of_state, rows) = found.get(STATE), found.get(name, ("", []))
    if state is not None and state == of_state:
        return rows
    if state is None:
        # Before the query: what is committed from now on renames it again.
        cache.add(STATE, _new_name(), timeout=None)
        state = cache.get(STATE)
    rows = list(query)
    if state is not None:
        cache.set(name, (state, rows), timeout=LONGEST_S)
    return rows


def _name(query: QuerySet[Any, Any]) -> str:
    """Its words and its values, so that no two questions share an answer."""
    sql, values = query.query.sql_with_params()
    return "ledger-" + hashlib.blake2b(repr((sql, values)).encode()).hexdigest()[:40]


def _rename() -> None:
    cache.set(STATE, _new_name(), timeout=None)


def _new_name() -> str:
    return secrets.token_hex(8)
