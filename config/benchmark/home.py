"""The benchmark's own folder, database and broker, which nothing else uses.

It empties its database again and again, so it must never be given one that somebody
keeps. Servers have to be up before the settings name them: so a first process starts
them, and a second one, with their addresses in its environment, measures.
"""

import fcntl
import os
import secrets
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from django.conf import settings
from django.core.management.base import CommandError

from config import broker
from config.postgresql import start_postgresql

FOLDER = settings.VAR_DIR / "benchmark"
SQLITE_FILE = FOLDER / "plant.sqlite3"
#: PostgreSQL's socket needs a short path.
SOCKETS = Path(tempfile.gettempdir())
PREFIX = "account-benchmark-"


def is_own_database() -> bool:
    """This process has the benchmark's settings, not an installation's."""
    database = settings.DATABASES["default"]
    if database["ENGINE"].endswith("sqlite3"):
        return str(database["NAME"]) == str(SQLITE_FILE)
    folder = Path(database.get("HOST") or "/").parent
    return folder.parent == SOCKETS and folder.name.startswith(PREFIX)


def insist_on_own_database() -> None:
    if not is_own_database():
        raise CommandError(
            f"The database is “{settings.DATABASES['default']['NAME']}”, which is not "
            "the benchmark's own. Start it with: manage.py benchmark."
        )


@contextmanager
def servers(database: str) -> Iterator[dict[str, str]]:
    """Start what the benchmark needs; gives the environment of those who measure."""
    if os.environ.get("DATABASE_URL"):
        raise CommandError(
            "DATABASE_URL is set. The benchmark fills and empties a database of its "
            "own and touches no other. Unset DATABASE_URL and start it again."
        )
    FOLDER.mkdir(parents=True, exist_ok=True)
    with ExitStack() as stack:
        _hold(stack)
        shutil.rmtree(FOLDER)
        FOLDER.mkdir()
        redis_url = broker.new_address()
        redis = broker.start_broker(FOLDER / "broker", redis_url)
        stack.callback(redis.stop)
        url = f"sqlite:///{SQLITE_FILE}"
        if database == "postgresql":
            folder = Path(
                stack.enter_context(tempfile.TemporaryDirectory(prefix=PREFIX))
            )
            # As the demo's SQLite: what a power cut takes from it, nobody misses.
            postgresql, url = start_postgresql(folder, hasty=True)
            stack.callback(postgresql.stop)
        yield {
            **os.environ,
            "DATABASE_URL": url,
            "REDIS_URL": redis_url,
            "SECRET_KEY": secrets.token_urlsafe(40),
            "PYTHONUNBUFFERED": "1",
        }


def _hold(stack: ExitStack) -> None:
    """One benchmark at a time, until this process ends."""
    lock = stack.enter_context((settings.VAR_DIR / "benchmark.lock").open("a+"))
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise CommandError(
            "A benchmark is running from this folder already. Wait for its end, or "
            "stop it with Ctrl-C first."
        ) from None


def manage(*words: str) -> list[str]:
    """A management command for a process of its own, with the same settings."""
    return [sys.executable, str(settings.BASE_DIR / "manage.py"), *words]
