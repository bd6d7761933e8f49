"""Child processes that leave nothing behind.

Each child leads a session of its own, so that Ctrl-C reaches only the parent and the
parent decides the order of the farewells. On Linux the kernel says farewell for a
parent that was killed outright.
"""

import contextlib
import ctypes
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

PR_SET_PDEATHSIG = 1  # from linux/prctl.h


class Child:
    """A running child; `log` holds everything that it said."""

    def __init__(
        self,
        name: str,
        command: Sequence[str | Path],
        *,
        log: Path,
        environment: Mapping[str, str] | None = None,
        text_in: str = "",
        user: str | None = None,
        farewell: signal.Signals = signal.SIGTERM,
    ) -> None:
        self.name = name
        self.log = log
        self._farewell = farewell
        with log.open("wb") as output:
            self._process = subprocess.Popen(
                [str(part) for part in command],
                env=None if environment is None else dict(environment),
                stdin=subprocess.PIPE,
                stdout=output,
                stderr=subprocess.STDOUT,
                start_new_session=True,
                user=user,
                # Called after the change of user, which would undo it.
                preexec_fn=_die_with(os.getpid(), farewell),
            )
        assert self._process.stdin is not None
        # One that is gone already has told its log why.
        with contextlib.suppress(BrokenPipeError), self._process.stdin as stdin:
            stdin.write(text_in.encode())

    @property
    def pid(self) -> int:
        return self._process.pid

    @property
    def runs(self) -> bool:
        return self._process.poll() is None

    def last_words(self, lines: int = 20) -> str:
        text = self.log.read_text(encoding="utf-8", errors="replace")
        return "\n".join(text.splitlines()[-lines:])

    def say_farewell(self) -> None:
        """Ask it to end, without waiting for it."""
        if self.runs:
            self._process.send_signal(self._farewell)

    def stop(self, patience: float = 10) -> None:
        """Say farewell, wait so many seconds, then end whatever is left of it."""
        if self.runs:
            self.say_farewell()
            with contextlib.suppress(subprocess.TimeoutExpired):
                self._process.wait(patience)
        self.kill()

    def kill(self) -> None:
        """End the child and its own children at once."""
        with contextlib.suppress(ProcessLookupError):  # nobody of its group is left
            os.killpg(self.pid, signal.SIGKILL)
        self._process.wait()


def _die_with(parent: int, farewell: signal.Signals) -> Callable[[], None] | None:
    if sys.platform != "linux":
        return None
    libc = ctypes.CDLL(None)  # looked up before the fork, where that is safe

    def ask_the_kernel() -> None:
        libc.prctl(PR_SET_PDEATHSIG, int(farewell))
        if os.getppid() != parent:  # it died in between
            os._exit(1)

    return ask_the_kernel


def free_port() -> int:
    """A port of the loopback interface on which nobody listens now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def is_free(port: int) -> bool:
    """Nobody listens on this port of the loopback interface now."""
    with socket.socket() as probe:
        # As the servers do, so that one that has just ended does not count.
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            return False
    return True
