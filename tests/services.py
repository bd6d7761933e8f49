"""The real servers that the tests talk to, as children of the test session.

Redis always; PostgreSQL when TEST_DATABASE=postgresql, else SQLite in a file, so that
a worker of its own sees the same database. They are up before Django reads its
settings, and their addresses travel where an installation puts its own: in the
environment.
"""

import os
import shutil
import tempfile
from pathlib import Path

import pytest

from config.broker import new_address, start_broker
from config.postgresql import start_postgresql
from config.processes import Child


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
        self._children: dict[str, Child] = {}

    def start(self) -> None:
        os.environ["REDIS_URL"] = new_address()
        os.environ["DATABASE_URL"] = f"sqlite:///{self.directory / 'unused.sqlite3'}"
        self.start_broker()
        if self._database == "postgresql":
            self.start_database()

    def stop(self) -> None:
        for child in reversed(self._children.values()):
            child.stop()
        shutil.rmtree(self.directory)

    # For the tests that break them: whoever stops one starts it again.

    def start_broker(self) -> None:
        self._children["broker"] = start_broker(
            self.directory / "redis", os.environ["REDIS_URL"]
        )

    def empty_broker(self) -> None:
        """Killed at once, with its data gone."""
        self._children.pop("broker").kill()
        shutil.rmtree(self.directory / "redis")

    def start_database(self) -> None:
        self._children["database"], os.environ["DATABASE_URL"] = start_postgresql(
            self.directory, hasty=True
        )

    def stop_database(self) -> None:
        self._children.pop("database").stop()
