"""Time on the clock, and of this process's own work: the first is what people wait."""

import os
import subprocess
import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from tempfile import TemporaryFile
from typing import IO, Any

from django.db import connection

MEBIBYTE = 1024  # of the kernel's kilobytes


@dataclass(frozen=True, kw_only=True)
class Took:
    clock_s: float
    cpu_s: float  # without that of a database's server
    peak_mib: float = 0.0  # of a process of its own

    def __add__(self, other: "Took") -> "Took":
        return Took(
            clock_s=self.clock_s + other.clock_s, cpu_s=self.cpu_s + other.cpu_s
        )

    def __str__(self) -> str:
        return f"{self.clock_s:.1f} s ({self.cpu_s:.1f} s of this process)"

    def over(self, other: "Took") -> str:
        """As a ratio; of a server's work only the clock knows."""
        clock = f"{self.clock_s / other.clock_s:.2f} ×"
        if connection.vendor == "postgresql":
            return clock
        return (
            f"{clock} by the clock, {self.cpu_s / other.cpu_s:.2f} × of processor time"
        )


def timed(work: Callable[[], Any]) -> tuple[Took, Any]:
    clock, cpu = time.perf_counter(), time.process_time()
    done = work()
    took = Took(clock_s=time.perf_counter() - clock, cpu_s=time.process_time() - cpu)
    return took, done


def run_apart(*commands: Sequence[str]) -> list[Took]:
    """These commands at once, each in a process of its own that must succeed."""
    with ExitStack() as stack:
        words = [stack.enter_context(TemporaryFile()) for _ in commands]
        began = time.perf_counter()
        processes = [
            subprocess.Popen(command, stdout=said, stderr=said)
            for command, said in zip(commands, words, strict=True)
        ]
        return [
            _waited(process, said, began)
            for process, said in zip(processes, words, strict=True)
        ]


def _waited(process: subprocess.Popen, said: IO[bytes], began: float) -> Took:
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        said.seek(0)
        raise RuntimeError(f"{process.args!r} failed: {said.read().decode()}")
    return Took(
        clock_s=time.perf_counter() - began,
        cpu_s=used.ru_utime + used.ru_stime,
        peak_mib=used.ru_maxrss / MEBIBYTE,
    )
