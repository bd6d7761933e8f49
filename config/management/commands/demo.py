"""python manage.py demo"""

import os
import signal
import sys
import time
from types import FrameType
from typing import Any, NoReturn

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from config.demo import home
from config.demo.building import build_plant
from config.demo.people import PEOPLE, create_people
from config.demo.servers import Servers


class Command(BaseCommand):
    help = (
        "Builds the demo plant afresh, starts everything, prints the address and one "
        "sign-in per role, and stops everything on Ctrl-C."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--port",
            type=int,
            default=8000,
            help="Listen here on 127.0.0.1; the next free port if it is taken.",
        )

    def handle(self, *args: Any, port: int, **options: Any) -> None:
        if not 1024 <= port <= 65_535:
            raise CommandError(
                f"--port is {port}. Give a number from 1024 to 65535, like 8000."
            )
        if not settings.DEMO:
            become_the_demo()
        home.insist_on_own_database()
        # A script's background job is born deaf to SIGINT; here it must work there too.
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, end_politely)
        try:
            self.run(port)
        except KeyboardInterrupt:
            self.stderr.write("Stopped.")

    def run(self, port: int) -> None:
        self.stderr.style_func = None  # how far it is, is no error
        with home.take(), Servers() as servers:
            servers.start_broker()
            self.step("Building the plant")
            build_plant(self.stderr)
            password = create_people()
            self.step("Starting the web server, the worker and the clock")
            servers.start(port)
            servers.wait_until_open()
            self.welcome(servers.address, password)
            while True:
                servers.insist_that_all_run()
                time.sleep(1)

    def step(self, words: str) -> None:
        self.stderr.write(f"{words} …")

    def welcome(self, address: str, password: str) -> None:
        width = max(len(person.username) for person in PEOPLE)
        people = "\n".join(
            f"  {person.username:{width}}  {person.does}" for person in PEOPLE
        )
        self.stdout.write(
            f"\nThe demo plant is open at {address}\n"
            f"Sign in with the password {password} (a new one at each start) as\n"
            f"{people}\n"
            "Ctrl-C stops everything; the next start builds the plant afresh."
        )
        self.stdout.flush()


def become_the_demo() -> NoReturn:
    """The same command again in this very process, with the demo's own settings."""
    sys.stdout.flush()
    os.execve(sys.executable, sys.orig_argv, home.environment())


def end_politely(number: int, frame: FrameType | None) -> NoReturn:
    raise KeyboardInterrupt
