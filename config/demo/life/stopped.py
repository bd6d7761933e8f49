"""A stop as it is put down while it lasts: started, attended to, ended."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from django.contrib.auth.models import User

from cells.models import Cell
from config.demo.life.diary import Act
from maintenance.models import LossClass, Reason, Stop
from maintenance.stops import correct_stop, end_stop, log_stop, record_moment

#: Nobody puts down a wait while it lasts; all else is tapped when it begins.
WAITS = {LossClass.BLOCKED, LossClass.STARVED}


@dataclass(kw_only=True)
class Stopped:
    cell: Cell
    reason: Reason
    started_at: datetime
    ended_at: datetime
    leader: User
    technician: User
    position: str = ""
    note: str = ""
    moments: Mapping[str, datetime]  # of its repair, by field
    cause: str = ""
    stop: Stop | None = None  # once it is on record

    def acts(self) -> Iterator[Act]:
        if self.stop is None and self.reason.loss_class in WAITS:
            yield self._act(self.ended_at, "writing down", self._write_down)
            return
        if self.stop is None:
            yield self._act(self.started_at, "starting", self._start)
        for which, at in self.moments.items():
            if self.stop is None or getattr(self.stop, which) is None:
                yield self._act(at, which, partial(self._record, which, at))
        yield self._act(self.ended_at, "ending", self._end)

    def _act(self, at: datetime, what: str, do: Callable[[], object]) -> Act:
        words = f"{self.cell} “{self.reason}”, {what} at {at:%Y-%m-%d %H:%M} UTC,"
        return Act(at=at, words=words, do=do)

    def _start(self) -> None:
        self.stop = self._log(ended_at=None)

    def _write_down(self) -> None:
        self.stop = self._log(ended_at=self.ended_at)

    def _log(self, ended_at: datetime | None) -> Stop:
        return log_stop(
            cell=self.cell,
            reason=self.reason,
            started_at=self.started_at,
            ended_at=ended_at,
            position=self.position,
            note=self.note,
            by=self.leader,
        )

    def _record(self, which: str, at: datetime) -> None:
        stop = self._running()
        if stop is None or getattr(stop, which) is not None:
            return
        by = self.leader if which == "called_at" else self.technician
        stop = record_moment(stop=stop, which=which, by=by, at=at)
        if which == "repaired_at" and self.cause:
            why = "as found at the repair"
            correct_stop(stop=stop, changes={"cause": self.cause}, why=why, by=by)

    def _end(self) -> None:
        stop = self._running()
        if stop is not None:
            end_stop(stop=stop, by=self.leader, at=self.ended_at)

    def _running(self) -> Stop | None:
        """Unless it was refused, or a visitor of the demo has ended it."""
        if self.stop is None:
            return None
        running = Stop.objects.running().select_related("cell__line__area", "reason")
        return running.filter(pk=self.stop.pk).first()
