"""From an empty folder to a plant whose account is up to date."""

import multiprocessing
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError

from config.demo.bar import Bar, Tell
from config.loading import load
from oee.recompute import bring_up_to_date, waiting

SMALL_FILES = settings.BASE_DIR / "fixtures" / "demo"
MAKING = "Making the plant"
LOADING = "Loading it"
ACCOUNT = "Computing its account"
OPENING = "Opening it"
#: About how long each step takes against the others.
SHARES = {MAKING: 15.0, LOADING: 60.0, ACCOUNT: 15.0, OPENING: 10.0}


@contextmanager
def migrated() -> Iterator[None]:
    """Make the tables meanwhile, on the machine's other core."""
    # Forked, it has all code loaded; nothing here has opened the database yet.
    child = multiprocessing.get_context("fork").Process(target=_migrate, daemon=True)
    child.start()
    yield
    child.join()
    if child.exitcode:
        raise CommandError("The tables were not made: its words are above.")


def _migrate() -> None:
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_DFL)
    call_command("migrate", verbosity=0)


def load_plant(folder: Path, bar: Bar) -> None:
    """As anybody's files are loaded."""
    with bar.step(LOADING) as tell:
        report = load(folder, progress=FileProgress(folder, tell))
    if report.faults:
        faults = "\n".join(str(fault) for fault in report.faults)
        raise CommandError(f"The demo's files in {folder} have faults:\n{faults}")


class FileProgress:
    """Files weigh what they hold; what is worked out of all of them, the rest."""

    REST = 0.4

    def __init__(self, folder: Path, tell: Tell) -> None:
        self._sizes = {path.name: path.stat().st_size for path in folder.glob("*.csv")}
        self._all = sum(self._sizes.values())
        self._whole = self._all * (1 + self.REST)
        self._tell = tell
        self._done: dict[str, float] = {}

    def __call__(self, name: str, done: int, total: int) -> None:
        weight = self._sizes.get(name, self._all * self.REST)
        self._done[name] = weight * done / max(total, 1)
        self._tell(sum(self._done.values()), self._whole, name)


def compute_account(bar: Bar) -> None:
    with bar.step(ACCOUNT) as tell:
        total = waiting()
        bring_up_to_date(lambda done: tell(done, total, ""))
