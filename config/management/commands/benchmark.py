"""python manage.py benchmark"""

import importlib
import os
import platform
import subprocess
import sys
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection
from django.utils import timezone

from config.benchmark import NAMES, home


class Command(BaseCommand):
    help = (
        "Measures the tool on data that it makes itself, in a database of its own, "
        "and prints ratios from that one run."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "names", nargs="*", metavar="NAME", help=f"Of {', '.join(NAMES)}."
        )
        parser.add_argument(
            "--database", choices=("sqlite", "postgresql"), default="sqlite"
        )
        parser.add_argument(
            "--small",
            action="store_true",
            help="Very little data: shows that it works, says nothing about speed.",
        )

    def handle(
        self, *args: Any, names: list[str], database: str, small: bool, **options: Any
    ) -> None:
        unknown = sorted(set(names) - set(NAMES))
        if unknown:
            raise CommandError(
                f"There is no benchmark “{unknown[0]}”. Choose of {', '.join(NAMES)}."
            )
        if home.is_own_database():
            self.measure(names or list(NAMES), small)
        else:
            with home.servers(database) as environment:
                status = subprocess.call(sys.orig_argv, env=environment)
            if status:
                raise CommandError("The benchmark did not get to its end.")

    def measure(self, names: list[str], small: bool) -> None:
        call_command("migrate", verbosity=0)
        self.say(heading())
        for name in names:
            module = importlib.import_module(f"config.benchmark.{name}")
            self.say(f"\n{name}")
            module.run(lambda line: self.say(f"  {line}"), small=small)

    def say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()


def heading() -> str:
    """What a figure is worth nothing without."""
    if connection.vendor == "sqlite":
        import sqlite3

        database = f"SQLite {sqlite3.sqlite_version}"
    else:
        with connection.cursor() as cursor:
            cursor.execute("SHOW server_version")
            database = f"PostgreSQL {cursor.fetchone()[0]}"
    cores = len(os.sched_getaffinity(0))
    return (
        f"{timezone.now():%Y-%m-%d}, {cores} cores, {database}, "
        f"Python {platform.python_version()}"
    )
