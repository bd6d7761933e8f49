"""How often a piece of work was begun and not finished.

A job that kills its worker comes back for ever: the queue sends it again. So a piece
of work is written down before it is begun, in a transaction of its own, and the note
is removed once it is done. A note that is left when nobody is at the piece is a try
that failed. After three the piece is set aside, the others go on, and the page
/running/ shows it until somebody presses "try again".

What the database's own absence breaks is no fault of the piece and is not counted.
"""

import contextlib
import logging
import os
import socket
from collections.abc import Callable, Iterable, Mapping
from datetime import datetime

from celery import current_app
from celery.exceptions import SoftTimeLimitExceeded
from django.contrib.auth.models import User
from django.db import DatabaseError, connection, transaction
from django.db.models import F, QuerySet
from django.utils import timezone

from cells import stale, trail
from cells.claims import claimed
from cells.database import trouble
from cells.models import Attempt
from cells.rights import has_role, need

log = logging.getLogger(__name__)

TRIES = 3


def set_aside() -> QuerySet[Attempt]:
    """What is not tried any more until somebody says so, the oldest first."""
    return Attempt.objects.exclude(set_aside_at=None).order_by("set_aside_at", "piece")


def try_again(attempt: Attempt, *, by: User) -> None:
    """It has three tries again, from now on."""
    need(
        has_role(by),
        "Only an administrator may have work tried again that was set aside.",
    )
    with transaction.atomic():
        trail.removed(attempt, by=by, why="To be tried again.")
        piece = attempt.piece
        attempt.delete()
        transaction.on_commit(lambda: _ask_for(piece))


def begin(pieces: Mapping[str, str]) -> list[str]:
    """Note that these (each with its words) are begun now. Call it with their claims.

    Returns those that may be: the others have been set aside.
    """
    server = _server_since()
    known = {
        attempt.piece: attempt for attempt in Attempt.objects.filter(piece__in=pieces)
    }
    with transaction.atomic():
        return [
            piece
            for piece, words in pieces.items()
            if _begin(known.get(piece) or Attempt(piece=piece, tries=0), words, server)
        ]


def left_over(pieces: Iterable[str]) -> set[str]:
    """Those that were tried and failed. Call it with their claims."""
    tried = Attempt.objects.filter(
        piece__in=list(pieces), tries__gte=1, server=_server_since()
    )
    return set(tried.values_list("piece", flat=True))


def done(pieces: Iterable[str]) -> None:
    """In the transaction of the work itself, where it has one."""
    Attempt.objects.filter(piece__in=list(pieces)).delete()


def failed(pieces: Iterable[str], error: Exception) -> None:
    """Keep what it said, and go on, unless the database is to blame or time is up."""
    if trouble(error):
        _take_back(pieces)
        raise error
    for attempt in Attempt.objects.filter(piece__in=list(pieces)):
        attempt.fault = f"{type(error).__name__}: {error}"
        attempt.save(update_fields=["fault"])
        log.error(
            "%s failed, try %s of %s.", attempt, attempt.tries, TRIES, exc_info=error
        )
        if attempt.tries >= TRIES:
            _set_aside(attempt)
    if isinstance(error, SoftTimeLimitExceeded):
        raise error  # soon the worker is killed


def carry_out(piece: str, words: str, do: Callable[[], object]) -> None:
    """A whole job, under the name of its task: tried, counted, and set aside."""
    with claimed(piece) as mine:
        if not mine or not begin({piece: words}):
            return
        try:
            do()
        except Exception as error:
            failed([piece], error)
        else:
            done([piece])


def _take_back(pieces: Iterable[str]) -> None:
    """This try does not count. If the database is still away, its restart tells."""
    with contextlib.suppress(DatabaseError):
        Attempt.objects.filter(piece__in=list(pieces)).update(
            tries=F("tries") - 1, server=_server_since()
        )


def _begin(attempt: Attempt, words: str, server: str) -> bool:
    if attempt.set_aside_at is not None:
        return False
    if attempt.tries and attempt.server != server:
        attempt.tries -= 1  # the server's restart broke it off
    if attempt.tries >= TRIES:
        _set_aside(attempt)
        return False
    attempt.words = words
    attempt.tries += 1
    attempt.began_at = _now()
    attempt.process = f"{socket.gethostname()} {os.getpid()}"
    attempt.server = server
    attempt.fault = ""
    attempt.save()
    return True


def _set_aside(attempt: Attempt) -> None:
    attempt.set_aside_at = _now()
    attempt.save()
    log.error(
        "%s is set aside after %s tries. The last one, by process %s, %s.",
        attempt,
        attempt.tries,
        attempt.process,
        f"said: {attempt.fault}" if attempt.fault else "was killed without a word",
    )


def _ask_for(piece: str) -> None:
    if "/" in piece:  # a part of the account
        stale.marked.send_robust(sender=None)
        return
    try:
        current_app.send_task(piece, retry=False)
    except Exception as error:  # whatever the broker's client raises
        log.warning("No queue (%s): %s is tried at its next hour.", error, piece)


def _server_since() -> str:
    """Changes when the database's server starts anew; SQLite has none."""
    if connection.vendor != "postgresql":
        return ""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_postmaster_start_time()")
        return str(cursor.fetchone()[0])


def _now() -> datetime:
    return timezone.now().replace(microsecond=0)
