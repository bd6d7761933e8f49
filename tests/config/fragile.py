"""A job whose process dies at the first attempt, for the worker of one test."""

import os
import signal
from pathlib import Path

from celery import shared_task


@shared_task
def die_then_write(file: str) -> None:
    attempts = Path(file)
    if not attempts.exists():
        attempts.write_text("died\n")
        os.kill(os.getpid(), signal.SIGKILL)
    with attempts.open("a") as words:
        words.write("done\n")
