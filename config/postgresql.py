"""A PostgreSQL of one's own, for what must never touch somebody's: tests and trials.

It listens on a socket in a folder that only its own processes know, and on no port.
The folder's path must be short, or the socket's name does not fit.
"""

import os
import shutil
import signal
import subprocess
import time
from pathlib import Path

import psycopg

from config.processes import Child

# PostgreSQL's signal for "end the sessions and stop"; SIGTERM would wait for them.
FAST_SHUTDOWN = signal.SIGINT

#: For data that nobody misses after a power cut.
HASTY = (
    *("-c", "fsync=off"),
    *("-c", "synchronous_commit=off"),
    *("-c", "full_page_writes=off"),
)


#: Where Debian keeps the programs of a server, by its version.
INSTALLED = Path("/usr/lib/postgresql")


def start_postgresql(directory: Path, *, hasty: bool) -> tuple[Child, str]:
    """A server in `directory`, and its DATABASE_URL.

    Started again in the same folder it has the same data and the same address.
    """
    # The server refuses to run as root.
    user = "postgres" if os.geteuid() == 0 else None
    home = directory / "pg"
    if not home.exists():
        _make_cluster(home, user)
    child = Child(
        "postgresql",
        [
            program("postgres"),
            *("-D", home / "data"),
            *("-k", home),
            *("-c", "listen_addresses="),
            *(HASTY if hasty else ()),
        ],
        log=directory / "postgresql.log",
        user=user,
        farewell=FAST_SHUTDOWN,
    )
    _wait_for(child, home)
    address = str(home).replace("/", "%2F")
    return child, f"postgresql://account@{address}/postgres"


def _make_cluster(home: Path, user: str | None) -> None:
    home.mkdir()
    if user:
        home.parent.chmod(0o711)
        shutil.chown(home, user)
    subprocess.run(
        [
            program("initdb"),
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


def program(name: str) -> Path:
    """A server's programs are mostly not on PATH."""
    found = shutil.which(name)
    if found:
        return Path(found)
    installed = sorted(INSTALLED.glob(f"*/bin/{name}"))
    if not installed:
        raise RuntimeError(
            f"There is no {name} on this machine. Install PostgreSQL’s programs: "
            "apt-get install postgresql"
        )
    return installed[-1]


def _wait_for(child: Child, socket_folder: Path, patience: float = 20) -> None:
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
