"""python manage.py export_due [--on DATE] [--days N]"""

from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from cells import clock
from cells.csv_files import write_rows
from cells.working_time.plant_time import parse_date
from maintenance.due_rows import HEADER, due_rows

DAYS = 14
MOST_DAYS = 3650


class Command(BaseCommand):
    help = (
        "Prints what is due, late ones included, as CSV. What is dated after DATE is "
        "left out of account."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--on", metavar="DATE", help="like 2026-03-02; else today")
        parser.add_argument(
            "--days",
            metavar="N",
            default=str(DAYS),
            help=f"what falls due up to so many days after DATE; else {DAYS}",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        on, days = _date(options["on"]), _days(str(options["days"]))
        write_rows(self.stdout, HEADER, due_rows(on=on, days=days))


def _date(text: str | None) -> date:
    try:
        return clock.today() if text is None else parse_date(text)
    except ValueError as error:
        raise CommandError(f"--on: {error}") from error


def _days(text: str) -> int:
    if not (text.isdecimal() and len(text) < 10 and int(text) <= MOST_DAYS):
        raise CommandError(
            f"--days is “{text}”: give a whole number of days from 0 to {MOST_DAYS}."
        )
    return int(text)
