"""A person per line, who sends again whatever was not answered.

What the server acknowledged goes into the journal, one line each. Each write has a key
that stands in what is stored, so that two records of one deed are seen.
"""

import json
import random
import threading
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from http import HTTPStatus
from typing import Any

from django.db import connection
from django.db.utils import DatabaseError

from cells import clock
from config.drill import home
from config.drill.browser import Browser, NoAnswer
from config.drill.plant import REASONS, shift_at
from maintenance.models import Reason, Stop
from oee.models import Variant

#: How a form says that the same was kept before, when its answer was lost.
KEPT_ALREADY = (
    "already has a stop",
    "is already counted",
    "was confirmed by",
    "is withdrawn: reinstate it",
)


class Journal:
    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._file = home.JOURNAL.open("a", encoding="utf-8")
        self.amounts: Counter[str] = Counter()

    def note(self, what: str, **facts: Any) -> None:
        with self._lock:
            self.amounts[what] += 1
            self._file.write(json.dumps({"what": what, **facts}, default=str) + "\n")
            self._file.flush()

    def close(self) -> None:
        self._file.close()


@dataclass
class Logged:
    """A stop that the server has acknowledged."""

    key: str
    reason: int
    start: datetime
    end: datetime


class Person(threading.Thread):
    """``stop``: begin nothing more. ``give_up``: nor wait for an answer."""

    def __init__(
        self, line: str, browser: Browser, journal: Journal, rng: random.Random
    ) -> None:
        super().__init__(name=line, daemon=True)
        self.stop, self.give_up = threading.Event(), threading.Event()
        self.refused: list[str] = []
        self._line = line
        self._browser = browser
        self.journal = journal
        self._rng = rng
        self._number = 0
        self._mine: list[Logged] = []
        self._free: dict[tuple[str, str], datetime] = {}
        self._closed = shift_at(clock.now())
        self._reasons = dict(Reason.objects.values_list("code", "pk"))
        self._variant = Variant.objects.get().pk
        self._cells = [f"{line}-{n}" for n in (10, 20, 30)]

    def run(self) -> None:
        try:
            while not self.stop.is_set():
                self._do_something()
                self.stop.wait(self._rng.uniform(0.05, 0.4))
        finally:
            connection.close()

    def _do_something(self) -> None:
        before = clock.now() - timedelta(minutes=30)
        if shift_at(before) != self._closed:
            self._closed = shift_at(before)
            self._close(*self._closed)
        self._rng.choice([self._log, self._log, self._log, self._correct, self._take])()

    def _key(self) -> str:
        self._number += 1
        return f"{self._line}/{self._number}"

    def _log(self) -> None:
        """Two minutes that ended a minute ago, in the shift that runs."""
        start = clock.now().replace(second=0) - timedelta(minutes=3)
        end = start + timedelta(minutes=2)
        cell, reason = self._rng.choice(self._cells), self._rng.choice(REASONS)
        day, name = shift_at(start)
        taken = self._free.get((cell, reason), start) > start
        if taken or shift_at(end) != (day, name):
            return
        self._free[cell, reason] = end
        key = self._key()
        form = {
            "do": "stop",
            "reason": str(self._reasons[reason]),
            "started_at": f"{start:%H:%M}",
            "minutes": "2",
            "note": key,
        }
        if self._send(f"/shift/{self._line}/{day}/{name}/?cell={cell}", form):
            self.journal.note("stop", key=key, end=end)
            self._mine.append(Logged(key, self._reasons[reason], start, end))

    def _correct(self) -> None:
        """Half as long as it was logged."""
        if not (chosen := self._choose()):
            return
        one, stored = chosen
        end = one.start + timedelta(minutes=1)
        path = f"/stops/{stored.pk}/"
        form = {
            "cell": str(stored.cell_id),
            "reason": str(one.reason),
            "started_at": f"{one.start:%Y-%m-%dT%H:%M}",
            "ended_at": f"{end:%Y-%m-%dT%H:%M}",
            "note": one.key,
            "why": "it was shorter",
        }
        seen = self._until_answered(lambda: self._browser.seen(path))
        if self._send(path, {**form, "seen": seen or ""}):
            one.end = end
            self.journal.note("correction", key=one.key, end=end)

    def _take(self) -> None:
        """Withdraw one, now and then."""
        if self._rng.random() < 0.5 or not (chosen := self._choose()):
            return
        one, stored = chosen
        form = {"why": "it never was"}
        if self._send(f"/stops/{stored.pk}/withdraw/", form):
            self._mine.remove(one)
            self.journal.note("withdrawal", key=one.key, end=one.end)

    def _choose(self) -> tuple[Logged, Stop] | None:
        if not self._mine:
            return None
        one = self._rng.choice(self._mine[-20:])
        try:
            return one, Stop.objects.filter(note=one.key).order_by("pk")[0]
        except DatabaseError:
            connection.close()
            return None

    def _close(self, day: Any, name: str) -> None:
        """Count and confirm the shift that has ended."""
        path = f"/shift/{self._line}/{day}/{name}/"
        total = self._rng.randrange(10, 30)
        form = {
            "do": "count",
            "at": self._line,
            "variant": str(self._variant),
            "total": str(total),
            "good": str(total - 1),
            "why": "for the leader",
        }
        where = {"line": self._line, "day": day, "shift": name}
        if self._send(path, form):
            self.journal.note("count", total=total, **where)
        if self._send(path, {"do": "confirm"}):
            self.journal.note("confirmation", **where)

    def _send(self, path: str, form: dict[str, str]) -> bool:
        """Until it is answered. True: it is kept."""
        answer = self._until_answered(lambda: self._browser.post(path, form))
        if answer is None:
            return False
        if answer.status == HTTPStatus.FOUND and "/sign-in/" not in answer.to:
            return True
        if any(words in answer.text for words in KEPT_ALREADY):
            return True
        self.refused.append(f"{path} {form}: {answer.status} {answer.to}")
        return False

    def _until_answered(self, ask: Callable[[], Any]) -> Any:
        while not self.give_up.is_set():
            try:
                return ask()
            except NoAnswer:
                self.journal.amounts["sent again"] += 1
                self.give_up.wait(0.3)
        return None
