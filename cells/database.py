"""What an error of the database says about the database, and not about the work.

Codes from PostgreSQL's manual, appendix A, and from SQLite's "Result and Error Codes".
"""

from enum import StrEnum
from typing import Any

from django.db import DatabaseError, InterfaceError, OperationalError


class Trouble(StrEnum):
    AWAY = "away"  # it does not answer, or cannot read and write its own files
    FULL = "full"  # there is no room for what it should keep
    BUSY = "busy"  # others hold what this work needs, or there are too many of them


_POSTGRESQL = {
    "08": Trouble.AWAY,  # connection
    "57P": Trouble.AWAY,  # shut down, starting up
    "58": Trouble.AWAY,  # its own files
    "53100": Trouble.FULL,
    "53": Trouble.BUSY,  # memory, connections
    "40001": Trouble.BUSY,
    "40P01": Trouble.BUSY,  # deadlock
    "55P03": Trouble.BUSY,  # a lock that was not waited for
}

#: A file system's quota has no code of its own: what failed was to lengthen a file.
INTERNAL = "XX000"
GROWING = ("mdextend", "mdzeroextend")

_SQLITE = {
    5: Trouble.BUSY,
    6: Trouble.BUSY,  # locked
    13: Trouble.FULL,
    8: Trouble.AWAY,  # read only
    10: Trouble.AWAY,  # its own files
    14: Trouble.AWAY,  # cannot open
}


def trouble(error: BaseException | None) -> Trouble | None:
    """None: the database did its work, and the fault lies in what it was asked."""
    if not isinstance(error, DatabaseError | InterfaceError):
        return None
    code = getattr(error.__cause__, "sqlite_errorcode", None)
    if code is not None:
        return _SQLITE.get(code & 0xFF)
    state = getattr(error.__cause__, "sqlstate", None)
    if state is None:  # nothing came back from a server
        broken = isinstance(error, OperationalError | InterfaceError)
        return Trouble.AWAY if broken else None
    if state == INTERNAL and _was_growing(error.__cause__):
        return Trouble.FULL
    known = (start for start in _POSTGRESQL if state.startswith(start))
    first = max(known, key=len, default=None)
    return None if first is None else _POSTGRESQL[first]


def _was_growing(cause: Any) -> bool:
    return cause.diag.source_function in GROWING
