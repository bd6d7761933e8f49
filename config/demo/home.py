"""The demo's own folder and database, which nothing else uses.

The demo makes sign-ins whose password it prints, so it must never make them in a
database that somebody keeps. It writes one file only, and starts that file anew each
time.
"""

import fcntl
import os
import secrets
import shutil
import time
from datetime import datetime
from typing import IO

from django.conf import settings
from django.core.management.base import CommandError

from config import broker

FOLDER = settings.VAR_DIR / "demo"
DATABASE = FOLDER / "plant.sqlite3"
DATABASE_URL = f"sqlite:///{DATABASE}"


def environment(clock: datetime) -> dict[str, str]:
    """What makes a process one of the demo's: its clock stands at `clock` now."""
    if os.environ.get("DATABASE_URL"):
        raise CommandError(
            "DATABASE_URL is set. The demo keeps its plant and its sign-ins in a "
            "database of its own and touches no other. Unset DATABASE_URL and start "
            "the demo again."
        )
    return {
        **os.environ,
        "CLOCK_OFFSET": str(round(clock.timestamp() - time.time())),
        "DATABASE_URL": DATABASE_URL,
        "DEBUG": "no",
        "DEMO": "yes",
        "REDIS_URL": _redis_url(),
        "SECRET_KEY": secrets.token_urlsafe(40),
    }


def _redis_url() -> str:
    """The caller's, if it is up; else an address for a broker of the demo's own."""
    url = os.environ.get("REDIS_URL")
    if url and not broker.answers(url):
        raise CommandError(
            "REDIS_URL names a Redis that does not answer. Start it, or unset "
            "REDIS_URL and the demo brings its own."
        )
    return url or broker.new_address()


def insist_on_own_database() -> None:
    """Checked again in the process that makes the sign-ins, whoever set DEMO."""
    name = str(settings.DATABASES["default"]["NAME"])
    if not settings.DEMO or name != str(DATABASE):
        raise CommandError(
            f"The database is “{name}”, which is not the demo's own. Unset DEMO and "
            "DATABASE_URL and start the demo again."
        )


def take() -> IO[str]:
    """An empty folder, held by this process until it ends."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    lock = (settings.VAR_DIR / "demo.lock").open("a+")
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise CommandError(
            "A demo is running from this folder already. Stop it with Ctrl-C first."
        ) from None
    shutil.rmtree(FOLDER)
    FOLDER.mkdir()
    return lock
