"""python manage.py compute_oee [--from DATE] [--to DATE] [--all]"""

import time
from datetime import timedelta
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from cells import clock, shifts
from oee.management import arguments
from oee.recompute import bring_up_to_date, mark_all, waiting


class Command(BaseCommand):
    """Shifts are stored eight weeks ahead first, in case no nightly job did."""

    help = (
        "Brings the stored account of every shift that has ended up to date, in this "
        "process. With dates: of these production dates only."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        arguments.add_dates(parser)
        parser.add_argument(
            "--all",
            action="store_true",
            help="compute all of them again, whether they changed or not",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        first, last = arguments.dates_of(options)
        today = clock.today()
        for trouble in shifts.extend(today=today):
            self.stderr.write(f"Shifts were not extended. {trouble}")
        if options["all"]:
            # A shift may belong to the day after it starts; later ones have not begun.
            tomorrow = today + timedelta(days=1)
            mark_all(first, tomorrow if last is None else min(last, tomorrow))
        computed = bring_up_to_date(self.say_how_far, first=first, last=last)
        while waiting(first=first, last=last, but_set_aside=True):
            # A worker is at the same line: this ends when it does.
            time.sleep(0.1)
            computed += bring_up_to_date(self.say_how_far, first=first, last=last)
        done = "cell-shift" if computed == 1 else "cell-shifts"
        self.stderr.write(f"{computed} {done} computed.")
        left = waiting(first=first, last=last)
        left -= waiting(first=first, last=last, but_set_aside=True)
        if left > 0:
            raise CommandError(
                f"{left} of them could not be computed and are set aside: the page "
                "/running/ says which and why."
            )

    def say_how_far(self, computed: int) -> None:
        self.stderr.write(f"{computed} so far …")
