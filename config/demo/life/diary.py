"""Who is going to do what, and when. Doing it when the time has come."""

import heapq
import logging
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from itertools import count, islice

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import OperationalError, transaction

from maintenance.tasks import RowsRefusedError

log = logging.getLogger(__name__)

#: In one transaction: it holds the database's only pen, so not for long.
AT_ONCE = 20


@dataclass(frozen=True, kw_only=True)
class Act:
    """`do` calls a verb, or finds that somebody else was quicker."""

    at: datetime
    words: str
    do: Callable[[], object]


@dataclass(kw_only=True)
class Diary:
    done: int = 0
    refused: int = 0
    _heap: list[tuple[datetime, int, Act]] = field(default_factory=list)
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
        while batch := list(islice(self._due(now), AT_ONCE)):
            try:
                refused = _do_all([act for _, _, act in batch])
            except OperationalError as error:
                log.warning("The database gave way (%s): once more later.", error)
                for entry in batch:
                    heapq.heappush(self._heap, entry)
                return
            self.done += len(batch) - refused
            self.refused += refused

    def _due(self, now: datetime) -> Iterator[tuple[datetime, int, Act]]:
        while self._heap and self._heap[0][0] <= now:
            yield heapq.heappop(self._heap)


@transaction.atomic
def _do_all(acts: Iterable[Act]) -> int:
    """Returns how many were refused."""
    refused = 0
    for act in acts:
        try:
            with transaction.atomic():
                act.do()
        except (ValidationError, PermissionDenied, RowsRefusedError) as refusal:
            refused += 1
            log.warning("%s was refused: %s", act.words, _sentences(refusal))
    return refused


def _sentences(refusal: Exception) -> str:
    if isinstance(refusal, RowsRefusedError):
        return " ".join(map(_sentences, refusal.by_row.values()))
    if isinstance(refusal, ValidationError):
        return " ".join(refusal.messages)
    return str(refusal)
