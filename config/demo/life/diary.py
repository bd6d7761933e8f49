"""Who is going to do what, and when. Doing it when the time has come."""

import heapq
import logging
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from itertools import count

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import OperationalError, transaction

from maintenance.tasks import RowsRefusedError

log = logging.getLogger(__name__)

#: Real seconds that it may hold the database's only pen, and leaves it to others.
HOLD_S, GAP_S = 0.2, 0.05


@dataclass(frozen=True, kw_only=True)
class Act:
    """`do` calls a verb, or finds that somebody else was quicker."""

    at: datetime
    words: str
    do: Callable[[], object]


#: In the order of time; of one moment, in the order in which they were written in.
Entry = tuple[datetime, int, Act]


@dataclass(kw_only=True)
class Diary:
    #: Called after each turn at the database in which something was done.
    after_turn: Callable[[], object] = lambda: None
    done: int = 0
    refused: int = 0
    _heap: list[Entry] = field(default_factory=list)
    _number: Iterator[int] = field(default_factory=count)

    def __len__(self) -> int:
        return len(self._heap)

    def add(self, acts: Iterable[Act]) -> None:
        for act in acts:
            heapq.heappush(self._heap, (act.at, next(self._number), act))

    def behind(self, now: datetime) -> float:
        """How many plant seconds the oldest thing still to do is late."""
        return max(0.0, (now - self._heap[0][0]).total_seconds()) if self._heap else 0.0

    def do_due(self, now: datetime) -> None:
        """All whose moment has come, in their order; what is refused is told.

        Where the database itself gives way (locked, full, gone), what was in hand
        stays in the diary for the next time.
        """
        while self._is_due(now):
            in_hand: list[Entry] = []
            try:
                refused = self._do_some(now, in_hand)
            except OperationalError as error:
                log.warning("The database gave way (%s): once more later.", error)
                for entry in in_hand:
                    heapq.heappush(self._heap, entry)
                return
            self.done += len(in_hand) - refused
            self.refused += refused
            self.after_turn()
            if self._is_due(now):
                time.sleep(GAP_S)

    @transaction.atomic
    def _do_some(self, now: datetime, in_hand: list[Entry]) -> int:
        """Returns how many were refused."""
        refused, began = 0, time.monotonic()
        while self._is_due(now) and time.monotonic() - began < HOLD_S:
            entry = heapq.heappop(self._heap)
            in_hand.append(entry)
            refused += not _is_done(entry[-1])
        return refused

    def _is_due(self, now: datetime) -> bool:
        return bool(self._heap) and self._heap[0][0] <= now


def _is_done(act: Act) -> bool:
    try:
        with transaction.atomic():
            act.do()
    except (ValidationError, PermissionDenied, RowsRefusedError) as refusal:
        log.warning("%s was refused: %s", act.words, _sentences(refusal))
        return False
    return True


def _sentences(refusal: Exception) -> str:
    if isinstance(refusal, RowsRefusedError):
        return " ".join(map(_sentences, refusal.by_row.values()))
    if isinstance(refusal, ValidationError):
        return " ".join(refusal.messages)
    return str(refusal)
