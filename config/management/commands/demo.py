"""python manage.py demo"""

import os
import signal
import sys
import time
from datetime import datetime
from pathlib import Path
from types import FrameType
from typing import Any, NoReturn

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from config.demo import home
from config.demo.bar import Bar
from config.demo.building import (
    MAKING,
    OPENING,
    SHARES,
    SMALL_FILES,
    compute_account,
    load_plant,
    migrated,
)
from config.demo.people import PEOPLE, create_people
from config.demo.plant.description import ZONE, Plant
from config.demo.plant.files import write_plant
from config.demo.plants import SMALL, plant_of
from config.demo.servers import Servers
from config.environment import FASTEST

USUAL_SPEED = 60


class Command(BaseCommand):
    help = (
        "Builds the demo plant afresh, starts everything, prints the address and one "
        "sign-in per role, and stops everything on Ctrl-C."
    )

    #: They would load every page's code twice over, which the web server does too.
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--port",
            type=int,
            default=8000,
            help="Listen here on 127.0.0.1; the next free port if it is taken.",
        )
        parser.add_argument(
            "--small",
            action="store_true",
            help="Open the small plant, of 24 cells and four weeks.",
        )
        parser.add_argument(
            "--live",
            action="store_true",
            help="Let the plant run on: shifts end, stops begin, people log them.",
        )
        parser.add_argument(
            "--speed",
            type=int,
            help="With --live: how many times as fast as the clock the plant runs; "
            f"{USUAL_SPEED} if it is left out, so a minute a second.",
        )

    def handle(
        self,
        *args: Any,
        port: int,
        small: bool,
        live: bool,
        speed: int | None,
        **options: Any,
    ) -> None:
        check_port(port)
        check_speed(speed, live=live)
        which = SMALL if small else datetime.now(ZONE).date().isoformat()
        plant = plant_of(which)
        if not settings.DEMO:
            become_the_demo(plant.now)
        home.insist_on_own_database()
        # A script's background job is born deaf to SIGINT; here it must work there too.
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, end_politely)
        try:
            self.run(port, which, plant, (speed or USUAL_SPEED) if live else 0)
        except KeyboardInterrupt:
            self.stderr.write("Stopped.")

    def run(self, port: int, which: str, plant: Plant, speed: int) -> None:
        """`speed` 0: nothing lives on but the clock."""
        self.stderr.style_func = None  # how far it is, is no error
        with home.take(), Servers() as servers:
            servers.start_broker()
            bar = Bar(self.stderr, SHARES)
            with migrated():
                files = SMALL_FILES if which == SMALL else make_files(plant, bar)
            load_plant(files, bar)
            password = create_people()
            # They load their code on the other core while this one computes.
            servers.start_web(port, speed=max(1, speed))
            if speed:
                servers.start_life(which)
            compute_account(bar)
            with bar.step(OPENING):
                servers.start_jobs()
                servers.wait_until_open()
            bar.finish()
            self.welcome(servers.address, password, plant, speed)
            while True:
                servers.insist_that_all_run()
                time.sleep(1)

    def welcome(self, address: str, password: str, plant: Plant, speed: int) -> None:
        width = max(len(person.username) for person in PEOPLE)
        people = "\n".join(
            f"  {person.username:{width}}  {person.does}" for person in PEOPLE
        )
        lives = f"It lives on, {speed} times as fast as the clock.\n" if speed else ""
        self.stdout.write(
            f"\nThe demo plant is open at {address}\n"
            f"Its clock started on {plant.now:%A %d %B %Y at %H:%M}. {plant.moved}\n"
            f"{lives}"
            f"Sign in with the password {password} (a new one at each start) as\n"
            f"{people}\n"
            "Ctrl-C stops everything; the next start builds the plant afresh."
        )
        self.stdout.flush()


def check_port(port: int) -> None:
    if not 1024 <= port <= 65_535:
        raise CommandError(
            f"--port is {port}. Give a number from 1024 to 65535, like 8000."
        )


def check_speed(speed: int | None, *, live: bool) -> None:
    if speed is None:
        return
    if not live:
        raise CommandError(
            f"--speed is {speed}, but only a live demo runs faster than the clock. Add "
            "--live, or leave --speed out."
        )
    if not 1 <= speed <= FASTEST:
        raise CommandError(
            f"--speed is {speed}. Give a whole number from 1 (as fast as the clock) to "
            f"{FASTEST}, like {USUAL_SPEED}."
        )


def make_files(plant: Plant, bar: Bar) -> Path:
    folder = home.FOLDER / "files"
    folder.mkdir()
    with bar.step(MAKING) as tell:
        write_plant(folder, plant, lambda name, done, total: tell(done, total, name))
    return folder


def become_the_demo(clock: datetime) -> NoReturn:
    """The same command again in this very process, with the demo's own settings."""
    sys.stdout.flush()
    os.execve(sys.executable, sys.orig_argv, home.environment(clock))


def end_politely(number: int, frame: FrameType | None) -> NoReturn:
    raise KeyboardInterrupt
