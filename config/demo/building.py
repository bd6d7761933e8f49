"""From an empty folder to a plant whose account is up to date."""

from collections.abc import Callable
from typing import Protocol

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError

from config.loading import load
from oee.recompute import bring_up_to_date, waiting

FILES = settings.BASE_DIR / "fixtures" / "demo"
WIDTH = 30  # of the bar, in characters


class Terminal(Protocol):
    def write(self, msg: str, *, ending: str | None = None) -> object: ...

    def flush(self) -> None: ...

    def isatty(self) -> bool: ...


def build_plant(say: Terminal) -> None:
    """Migrate, load the files and compute the account, telling how far it is."""
    progress = bar_on(say)
    call_command("migrate", verbosity=0)
    report = load(FILES, progress=progress)
    if report.faults:
        faults = "\n".join(str(fault) for fault in report.faults)
        raise CommandError(f"The demo's files in {FILES} have faults:\n{faults}")
    total = waiting()
    bring_up_to_date(lambda done: progress("the account", done, total))


def bar_on(say: Terminal) -> Callable[[str, int, int], None]:
    """A bar that grows on a terminal; elsewhere a line for each thing that is done."""

    def show(name: str, done: int, total: int) -> None:
        filled = WIDTH * done // max(total, 1)
        bar = "█" * filled + "░" * (WIDTH - filled)
        text = f"  {name:20} {bar} {done:7,} of {total:,}"
        if done >= total:
            say.write(f"\r{text}" if say.isatty() else f"  {name}: {total:,}")
        elif say.isatty():
            say.write(f"\r{text}", ending="")
            say.flush()

    return show
