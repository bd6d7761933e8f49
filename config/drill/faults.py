"""What strikes, and how it ends."""

import random
import time
from collections import Counter
from collections.abc import Callable

from django.contrib.auth.models import User
from django.db import connection
from django.db.utils import DatabaseError

from cells import attempts, clock
from cells.models import Cell, Shift
from config.drill import home
from config.drill.servers import Servers, has_a_server


class Faults:
    """One at a time, at random, until the time is over."""

    def __init__(self, servers: Servers, rng: random.Random, longest_s: float) -> None:
        self.amounts: Counter[str] = Counter()
        self._servers = servers
        self._rng = rng
        self._longest_s = longest_s
        self._kinds: dict[str, Callable[[], None]] = {
            "worker killed": lambda: self._kill("worker"),
            "job’s process killed": lambda: servers.kill_a_child_of("worker"),
            "beat killed": lambda: self._kill("beat"),
            "broker back empty": self._empty_broker,
            "web server killed": lambda: self._kill("web"),
            "request’s process killed": lambda: servers.kill_a_child_of("web"),
            "worker an hour ahead": self._wrong_clock,
        }
        if has_a_server():
            self._kinds["database stopped"] = self._stop_database
            self._kinds["database crashed"] = self._crash_database

    def strike_until(self, deadline: float) -> None:
        """Every kind once first, if there is time; then whichever."""
        turn: list[str] = []
        while time.monotonic() < deadline:
            if not turn:
                turn = self._rng.sample(list(self._kinds), len(self._kinds))
            kind = turn.pop()
            self.amounts[kind] += 1
            self._kinds[kind]()
            self._servers.start_again_who_fell()
            self._look_after_the_poison()
            self._wait(0.5, 4)

    def end(self) -> None:
        self._servers.stop("wrong worker")
        home.POISON.unlink(missing_ok=True)
        self._servers.start_again_who_fell()

    def _wait(self, least_s: float, most_s: float) -> None:
        time.sleep(self._rng.uniform(least_s, most_s))

    def _kill(self, name: str) -> None:
        self._servers.kill(name)
        self._wait(0, 1)
        self._servers.start(name)

    def _empty_broker(self) -> None:
        self._servers.empty_the_broker()
        self._wait(0, 2)
        self._servers.start("broker")

    def _wrong_clock(self) -> None:
        """It stays until the next of its kind."""
        self._servers.stop("wrong worker")
        self._servers.start("wrong worker")

    def _stop_database(self) -> None:
        self._servers.stop("database")
        self._wait(0.5, self._longest_s)
        self._servers.start("database")

    def _crash_database(self) -> None:
        self._servers.crash_the_database()
        self._wait(0, 1)
        self._servers.start("database")

    def _look_after_the_poison(self) -> None:
        """A cell-shift that will end soon is poisoned; once set aside, mended."""
        try:
            if not home.POISON.exists():
                self._poison()
            elif attempts.set_aside().exists():
                home.POISON.unlink()
                for one in attempts.set_aside():
                    attempts.try_again(one, by=User.objects.earliest("pk"))
                    self.amounts["poison set aside, and tried again"] += 1
        except DatabaseError:
            connection.close()  # it was away meanwhile

    def _poison(self) -> None:
        now = clock.now()
        running = Shift.objects.filter(starts_at__lte=now, ends_at__gt=now)
        shift = self._rng.choice(list(running.order_by("pk")))
        cell = self._rng.choice(list(Cell.objects.filter(line=shift.line_id)))
        home.POISON.write_text(f"{cell.pk} {shift.pk}")
        self.amounts["poison"] += 1
