"""Who is at a piece of work right now, known by a lock that dies with its process.

PostgreSQL keeps it for the session. SQLite has no such lock, and all its processes are
on one machine, so there it is a lock on a file beside the database.
"""

import contextlib
import fcntl
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from hashlib import sha256
from pathlib import Path

from django.db import DatabaseError, connection


@contextmanager
def claimed(name: str) -> Iterator[bool]:
    """False: somebody else is at it."""
    claim = _in_postgresql if connection.vendor == "postgresql" else _beside_sqlite
    with claim(name) as mine:
        yield mine


@contextmanager
def claimed_of(names: Iterable[str], *, most: int) -> Iterator[list[str]]:
    """Those of the names, in their order, that nobody else is at."""
    with ExitStack() as stack:
        mine: list[str] = []
        for name in names:
            if len(mine) == most:
                break
            if stack.enter_context(claimed(name)):
                mine.append(name)
        yield mine


@contextmanager
def _in_postgresql(name: str) -> Iterator[bool]:
    number = int.from_bytes(sha256(name.encode()).digest()[:8], signed=True)
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_lock(%s)", [number])
        (mine,) = cursor.fetchone()
    try:
        yield mine
    finally:
        if mine:
            # A session that broke off has lost its locks by that.
            with contextlib.suppress(DatabaseError), connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_unlock(%s)", [number])


@contextmanager
def _beside_sqlite(name: str) -> Iterator[bool]:
    folder = Path(f"{connection.settings_dict['NAME']}-claims")
    folder.mkdir(exist_ok=True)
    with (folder / sha256(name.encode()).hexdigest()).open("w") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            yield False
        else:
            yield True
