"""python manage.py load_plant DIR [--check]"""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from cells.files.run import Outcome
from config import loading


class Command(BaseCommand):
    help = (
        "Loads whatever of the plant's CSV files a directory holds, all or nothing. "
        "Every fault is printed as file, line, column and reason. Loading twice is "
        "safe: the same key is the same record, and a changed row is a correction."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("directory", metavar="DIR")
        parser.add_argument(
            "--check",
            action="store_true",
            help="Only check: say what would be new or changed, and save nothing.",
        )

    def handle(self, *, directory: str, check: bool, **options: Any) -> None:
        report = loading.load(directory, check=check)
        for fault in report.faults:
            self.stderr.write(str(fault))
        if report.faults:
            some = len(report.faults)
            raise CommandError(
                f"{some} fault{'s'[: some > 1]}: nothing was loaded. Correct "
                f"{'them' if some > 1 else 'it'} and load again."
            )
        for outcome in report.outcomes:
            self.stderr.write(_line(outcome))
        if check:
            self.stderr.write("Only checked: nothing was loaded.")


def _line(outcome: Outcome) -> str:
    return (
        f"{outcome.file}: {outcome.new:,} new, {outcome.changed:,} changed, "
        f"{outcome.unchanged:,} unchanged"
    )
