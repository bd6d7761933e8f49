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
        self._children: list[Child] = []

    def start(self) -> None:
        os.environ["REDIS_URL"] = redis_url = new_address()
        self._children.append(start_broker(self.directory / "redis", redis_url))
        os.environ["DATABASE_URL"] = f"sqlite:///{self.directory / 'unused.sqlite3'}"
        if self._database == "postgresql":
            postgres, os.environ["DATABASE_URL"] = start_postgresql(
                self.directory, hasty=True
            )
            self._children.append(postgres)

    def stop(self) -> None:
        for child in reversed(self._children):
            child.stop()
        shutil.rmtree(self.directory)
