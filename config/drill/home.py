"""The drill's own folder, database and broker, which nothing else uses.

A first process holds the folder and chooses the addresses; a second one, with these in
its environment, starts the servers and breaks them.
"""

import fcntl
import os
import secrets
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from django.conf import settings
from django.core.management.base import CommandError

from config import broker

FOLDER = settings.VAR_DIR / "drill"
SQLITE_FILE = FOLDER / "plant.sqlite3"
JOURNAL = FOLDER / "journal.jsonl"
#: Names the cell-shift that kills whoever computes it, while it is there.
POISON = FOLDER / "poison"
#: PostgreSQL's socket needs a short path.
SOCKETS = Path(tempfile.gettempdir())
PREFIX = "account-drill-"

#: Times real time, so that shifts end every few seconds.
SPEED = 300


@contextmanager
def environment(database: str) -> Iterator[dict[str, str]]:
    """For the process that runs the drill, and for the children that it starts."""
    if os.environ.get("DATABASE_URL"):
        raise CommandError(
            "DATABASE_URL is set. The drill breaks a database of its own and touches "
            "no other. Unset DATABASE_URL and start it again."
        )
    with ExitStack() as stack:
        _hold(stack)
        shutil.rmtree(FOLDER, ignore_errors=True)
        FOLDER.mkdir()
        url = f"sqlite:///{SQLITE_FILE}"
        if database == "postgresql":
            sockets = stack.enter_context(tempfile.TemporaryDirectory(prefix=PREFIX))
            url = f"postgresql://account@{f'{sockets}/pg'.replace('/', '%2F')}/postgres"
        yield {
            **os.environ,
            "CLOCK_OFFSET": "0",
            "CLOCK_SINCE": str(int(time.time())),
            "CLOCK_SPEED": str(SPEED),
            "DATABASE_URL": url,
            "DEBUG": "no",
            "DEMO": "yes",
            "PYTHONUNBUFFERED": "1",
            "REDIS_URL": broker.new_address(),
            "SECRET_KEY": secrets.token_urlsafe(60),
        }


def is_own_database() -> bool:
    """This process has the drill's settings, not an installation's."""
    database = settings.DATABASES["default"]
    if database["ENGINE"].endswith("sqlite3"):
        return str(database["NAME"]) == str(SQLITE_FILE)
    folder = socket_folder()
    return folder.parent == SOCKETS and folder.name.startswith(PREFIX)


def socket_folder() -> Path:
    """Where PostgreSQL has its folder."""
    return Path(settings.DATABASES["default"].get("HOST") or "/").parent


def _hold(stack: ExitStack) -> None:
    """One drill at a time, until this process ends."""
    settings.VAR_DIR.mkdir(parents=True, exist_ok=True)
    lock = stack.enter_context((settings.VAR_DIR / "drill.lock").open("a+"))
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise CommandError(
            "A drill is running from this folder already. Wait for its end, or stop it "
            "with Ctrl-C first."
        ) from None
