"""python manage.py drill --minutes N"""

import subprocess
import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from config.drill import home
from config.drill.running import drill


class Command(BaseCommand):
    help = (
        "Runs a small plant in a database of its own, breaks its parts at random, and "
        "says whether anything was lost. Needs the development packages."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--minutes", type=float, default=1, help="Up to 60.")
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument(
            "--database", choices=("sqlite", "postgresql"), default="postgresql"
        )

    def handle(
        self, *args: Any, minutes: float, seed: int, database: str, **options: Any
    ) -> None:
        if not 0 < minutes <= 60:
            raise CommandError(f"--minutes is {minutes}. Give above 0 and up to 60.")
        if home.is_own_database():
            if not drill(minutes * 60, seed, self.say):
                raise CommandError("Something was lost, doubled or wrong: see above.")
            return
        with home.environment(database) as environment:
            status = subprocess.call(sys.orig_argv, env=environment)
        if status:
            raise SystemExit(status)

    def say(self, words: str) -> None:
        self.stdout.write(words)
        self.stdout.flush()
