"""python manage.py export_cell_shifts [--from DATE] [--to DATE] [--area CODE]"""

from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from cells.csv_files import write_rows
from oee.management import arguments
from oee.result_files import CELL_SHIFTS_HEADER, cell_shift_rows


class Command(BaseCommand):
    help = "Prints the stored account of every cell and shift as CSV."

    def add_arguments(self, parser: CommandParser) -> None:
        arguments.add_dates(parser)
        arguments.add_area(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        area = arguments.area_of(options)
        first, last = arguments.range_of(options, area)
        arguments.warn_of_waiting(self, first, last, area)
        rows = cell_shift_rows(first=first, last=last, area=area)
        write_rows(self.stdout, CELL_SHIFTS_HEADER, rows)
