"""python manage.py rank_cells [--from DATE] [--to DATE] [--by own|all] [--area CODE]"""

from typing import Any, get_args

from django.core.management.base import BaseCommand, CommandParser

from cells.csv_files import write_rows
from oee.management import arguments
from oee.ranking import RankBy, rank
from oee.result_files import RANKING_HEADER, ranking_rows


class Command(BaseCommand):
    help = "Prints the cells by the planned time they lost, most first, as CSV."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--by",
            default="own",
            help="own = by its own fault; all = everything that was lost",
        )
        arguments.add_dates(parser)
        arguments.add_area(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        by = arguments.one_of("--by", options["by"], get_args(RankBy))
        area = arguments.area_of(options)
        first, last = arguments.range_of(options, area)
        arguments.warn_of_waiting(self, first, last, area)
        ranked = rank(first=first, last=last, by=by, area=area)
        write_rows(self.stdout, RANKING_HEADER, ranking_rows(ranked))
