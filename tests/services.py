"""The real servers that the tests talk to, as children of the test session.

Redis always; PostgreSQL when TEST_DATABASE=postgresql, else SQLite in a file, so that
a worker of its own sees the same database. They are up before Django reads its
settings, and their addresses travel where an installation puts its own: in the
environment.
"""

import os
import shutil
import signal
import subprocess
import tempfile
import time
from pathlib import Path

import psycopg
import pytest

from config.broker import new_address, start_broker
from config.processes import Child

# PostgreSQL's signal for "end the sessions and stop"; SIGTERM would wait for them.
FAST_SHUTDOWN = signal.SIGINT


class Services:
    def __init__(self, database: str) -> None:
        if database not in ("sqlite", "postgresql"):
            raise pytest.UsageError(
                f"TEST_DATABASE is “{database}”. Set it to sqlite or postgresql."
            )
        self._database = database
        # Not pytest's own folder: a socket's path must be short.
        self.directory = Path(tempfile.mkdtemp(prefix="account-tests-"))
        self.sqlite_file = self.directory / "tests.sqlite3"
        self._children: list[Child] = []

    def start(self) -> None:
        os.environ["REDIS_URL"] = redis_url = new_address()
        self._children.append(start_broker(self.directory / "redis", redis_url))
        os.environ["DATABASE_URL"] = f"sqlite:///{self.directory / 'unused.sqlite3'}"
        if self._database == "postgresql":
            postgres, os.environ["DATABASE_URL"] = start_postgresql(self.directory)
            self._children.append(postgres)

    def stop(self) -> None:
        for child in reversed(self._children):
            child.stop()
        shutil.rmtree(self.directory)


def start_postgresql(directory: Path) -> tuple[Child, str]:
    """A server that listens on a socket in `directory` only, and its DATABASE_URL."""
    # The server refuses to run as root.
    user = "postgres" if os.geteuid() == 0 else None
    home = directory / "pg"
    home.mkdir()
    if user:
        directory.chmod(0o711)
        shutil.chown(home, user)
    subprocess.run(
        [
            _postgresql_program("initdb"),
            *("--pgdata", home / "data"),
            *("--username", "account"),
            *("--auth", "trust"),  # whoever may enter the folder may enter the database
            *("--encoding", "UTF8"),
            *("--locale", "C.UTF-8"),
            "--no-sync",
        ],
        user=user,
        check=True,
        capture_output=True,
        cwd=home,
    )
    child = Child(
        "postgresql",
        [
            _postgresql_program("postgres"),
            *("-D", home / "data"),
            *("-k", home),
            *("-c", "listen_addresses="),
            *("-c", "fsync=off"),
            *("-c", "synchronous_commit=off"),
            *("-c", "full_page_writes=off"),
        ],
        log=directory / "postgresql.log",
        user=user,
        farewell=FAST_SHUTDOWN,
    )
    _wait_for_postgresql(child, home)
    address = str(home).replace("/", "%2F")
    return child, f"postgresql://account@{address}/postgres"


def _postgresql_program(name: str) -> Path:
    """Debian keeps the server's programs off PATH."""
    found = shutil.which(name)
    if found:
        return Path(found)
    installed = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    if not installed:
        raise RuntimeError(
            f"There is no {name}. Install postgresql, as tests/run does."
        )
    return installed[-1]


def _wait_for_postgresql(
    child: Child, socket_folder: Path, patience: float = 20
) -> None:
    deadline = time.monotonic() + patience
    while child.runs and time.monotonic() < deadline:
        try:
            psycopg.connect(
                host=str(socket_folder), user="account", dbname="postgres"
            ).close()
        except psycopg.OperationalError:
            time.sleep(0.05)
        else:
            return
    child.stop()
    raise RuntimeError(f"PostgreSQL did not start. It said:\n{child.last_words()}")
