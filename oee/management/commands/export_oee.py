"""python manage.py export_oee --by PLACE --every PERIOD [--basis BASIS]"""

from typing import Any, get_args

from django.core.management.base import BaseCommand, CommandParser

from cells.csv_files import write_rows
from oee.management import arguments
from oee.reports import By, Every, roll_up
from oee.result_files import OEE_HEADER, oee_rows
from oee.rollups import BASES


class Command(BaseCommand):
    help = "Prints the account and its OEE by place and period as CSV."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--by", help=", ".join(get_args(By)))
        parser.add_argument("--every", help=", ".join(get_args(Every)))
        parser.add_argument(
            "--basis",
            default="counting",
            help="; ".join(f"{name} = {words}" for name, words in BASES.items()),
        )
        arguments.add_dates(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        by = arguments.one_of("--by", options["by"], get_args(By))
        every = arguments.one_of("--every", options["every"], get_args(Every))
        basis = arguments.one_of("--basis", options["basis"], BASES)
        first, last = arguments.range_of(options, area=None)
        arguments.warn_of_waiting(self, first, last)
        rolled = roll_up(by=by, every=every, basis=basis, first=first, last=last)
        write_rows(self.stdout, OEE_HEADER, oee_rows(rolled))
