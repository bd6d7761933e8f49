"""What the leader's page of one shift shows. Read when the template asks for it."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from django.contrib.auth.models import User
from django.db.models import Q
from django.urls import reverse

from cells import clock
from cells.drawing import Part, StripStop
from cells.models import Cell, Line, Shift, ShiftBreak
from cells.shifts import may_mark_breaks
from cells.templatetags.figures import clock as clock_words
from maintenance.confirmations import EARLY
from maintenance.models import Reason, ShiftConfirmation, Stop, Tally
from maintenance.reasons import reasons_for
from maintenance.rights import (
    ids_that_may_be_ended,
    may_confirm,
    may_correct_tally,
    may_log_stop,
)
from oee.account_words import Balance, balance_of, flags_in_words, parts_of
from oee.live import CellAccount, Rest, Span
from oee.models import Count
from oee.rights import may_count
from oee.running import live_accounts

SAID_ELSEWHERE = ("count_from_line", "no_count", "not_confirmed")

#: What can be entered for an open cell.
WAYS = {
    "now": "It stands now",
    "stop": "It stood before",
    "tally": "Many short ones",
    "count": "Its own count",
    "breaks": "Breaks",
}


@dataclass(frozen=True, kw_only=True)
class CellRow:
    """One cell of the line in this shift."""

    cell: Cell
    account: CellAccount
    stops: list[Stop]
    strip_stops: list[StripStop]

    @property
    def balance(self) -> Balance:
        return balance_of(self.account.sums)

    @property
    def parts(self) -> list[Part]:
        return parts_of(self.account.sums)

    @property
    def remarks(self) -> list[str]:
        """Without those that the page says in another place."""
        flags = (flag for flag in self.account.flags if flag not in SAID_ELSEWHERE)
        return flags_in_words(tuple(flags))

    @property
    def is_counted_by_line(self) -> bool:
        return "count_from_line" in self.account.flags

    @property
    def standing(self) -> list[Stop]:
        return [stop for stop in self.stops if stop.is_running]

    @property
    def owned_stops(self) -> list[tuple[Stop, int]]:
        """With the seconds that each owns of this shift."""
        owned = self.account.stop_owned_s
        return [(stop, owned.get(stop.pk, 0)) for stop in self.stops]


class ShiftPage:
    """One shift of one line for one person; with ``cell``, that cell is open."""

    def __init__(
        self,
        *,
        shift: Shift,
        user: User,
        before: Shift | None = None,
        after: Shift | None = None,
        asked: Mapping[str, str] | None = None,
    ) -> None:
        self.shift, self.before, self.after = shift, before, after
        self.line: Line = shift.line
        self.user = user
        self.asked = asked or {}
        self.now = clock.now()

    # Where and when

    @cached_property
    def area_cells(self) -> list[Cell]:
        standing = Q(retired_on=None) | Q(retired_on__gt=self.shift.production_date)
        cells = Cell.objects.filter(standing, line__area=self.line.area_id)
        return list(cells.select_related("line__area"))

    @cached_property
    def cells(self) -> list[Cell]:
        return [cell for cell in self.area_cells if cell.line_id == self.line.pk]

    @cached_property
    def neighbours(self) -> list[Cell]:
        """Cells of the area's other lines: whose stops a leader may log, too."""
        others = (cell for cell in self.area_cells if cell.line_id != self.line.pk)
        return [cell for cell in others if may_log_stop(self.user, cell)]

    @cached_property
    def cell(self) -> Cell | None:
        """The open one. None too for a code that is not of this line."""
        code = self.asked.get("cell")
        return next((cell for cell in self.cells if cell.code == code), None)

    @property
    def shown_cells(self) -> list[Cell]:
        return [self.cell] if self.cell else self.cells

    @property
    def url(self) -> str:
        return shift_url(self.shift)

    @property
    def here(self) -> str:
        """This page with its open cell: where a form leads back to."""
        if self.cell is None:
            return self.url
        return f"{self.url}?cell={self.cell.code}&log={self.way}"

    @property
    def before_url(self) -> str:
        return shift_url(self.before) if self.before else ""

    @property
    def after_url(self) -> str:
        return shift_url(self.after) if self.after else ""

    @property
    def has_begun(self) -> bool:
        return self.shift.starts_at <= self.now and not self.shift.is_cancelled

    @property
    def is_running(self) -> bool:
        return self.shift.starts_at <= self.now < self.shift.ends_at

    @property
    def has_ended(self) -> bool:
        return self.shift.ends_at <= self.now

    @cached_property
    def confirmation(self) -> ShiftConfirmation | None:
        return getattr(self.shift, "confirmation", None)

    @property
    def to_confirm_before(self) -> bool:
        """The shift before has ended and nobody said that its log is complete."""
        before = self.before
        return (
            before is not None
            and before.ends_at <= self.now
            and self.is_running
            and not before.is_cancelled
            and not hasattr(before, "confirmation")
            and may_confirm(self.user, self.line)
        )

    # The account

    @cached_property
    def _stops(self) -> list[Stop]:
        stops = Stop.objects.filter(cell__in=self.shown_cells)
        touching = stops.touching(self.shift.starts_at, self.shift.ends_at)
        return list(touching.select_related("cell__line", "reason", "logged_by"))

    @cached_property
    def stops(self) -> list[Stop]:
        return [stop for stop in self._stops if not stop.withdrawn]

    @property
    def withdrawn_stops(self) -> list[Stop]:
        return [stop for stop in self._stops if stop.withdrawn]

    @property
    def stops_at_top(self) -> list[Stop]:
        """What stands now or stood when the shift began."""
        return [
            stop
            for stop in self.stops
            if stop.is_running or stop.started_at < self.shift.starts_at
        ]

    @cached_property
    def may_end(self) -> set[int]:
        return ids_that_may_be_ended(self.user, self.stops)

    @cached_property
    def rests(self) -> list[ShiftBreak]:
        return list(self.shift.breaks.all())

    @cached_property
    def accounts(self) -> dict[int, CellAccount]:
        return live_accounts(self.shift, self.cells, now=self.now)

    @cached_property
    def rows(self) -> list[CellRow]:
        return [self._row(cell) for cell in self.shown_cells]

    @property
    def open_row(self) -> CellRow | None:
        return self._row(self.cell) if self.cell else None

    def _row(self, cell: Cell) -> CellRow:
        stops = [stop for stop in self.stops if stop.cell_id == cell.pk]
        account = self.accounts[cell.pk]
        return CellRow(
            cell=cell,
            account=account,
            stops=stops,
            strip_stops=[
                *map(_planned_on_strip, account.planned),
                *map(_on_strip, stops),
            ],
        )

    @cached_property
    def most_unexplained(self) -> CellRow | None:
        known = [row for row in self.rows if row.balance.unexplained is not None]
        return max(known, key=lambda row: row.balance.unexplained or 0, default=None)

    # Counts

    @cached_property
    def counts(self) -> list[Count]:
        """Of the line and its legs; with an open cell, that cell's own."""
        rows = Count.objects.filter(shift=self.shift, withdrawn=False)
        of = {"cell": self.cell} if self.cell else {"line": self.line}
        return list(
            rows.filter(**of)
            .select_related("cell", "line", "variant", "entered_by")
            .order_by("leg", "variant__code")
        )

    @cached_property
    def may_count(self) -> bool:
        return self.has_begun and may_count(self.user, self.line, self.shift.ends_at)

    @cached_property
    def open_count(self) -> Count | None:
        asked = self.asked.get("count", "")
        return next((count for count in self.counts if str(count.pk) == asked), None)

    # Stops and tallies of the open cell

    @property
    def lead(self) -> str:
        """The sentence a colleague would say."""
        shift, line = self.shift, self.line
        if shift.is_cancelled:
            return f"{line} {shift.name} was cancelled."
        if not self.has_begun:
            return f"{line} {shift.name} begins at {clock_words(shift.starts_at)}."
        if self.confirmation:
            return f"{line} {shift.name} is confirmed."
        if self.has_ended:
            return f"{line} {shift.name} has ended and is not confirmed yet."
        until = f"{line} {shift.name} runs until {clock_words(shift.ends_at)};"
        return until if self.standing_codes else f"{until} no stop is running."

    @property
    def standing_codes(self) -> list[str]:
        """Ends the sentence of a running shift."""
        if self.confirmation or not self.is_running:
            return []
        return sorted({stop.cell.code for stop in self.running_stops})

    @cached_property
    def may_log(self) -> bool:
        return (
            self.cell is not None
            and self.has_begun
            and may_log_stop(
                self.user, self.cell, None if self.is_running else self.shift.ends_at
            )
        )

    @property
    def way(self) -> str:
        """What is being entered: as asked, else the first that is offered."""
        offered = [way for way, _ in self.ways]
        asked = self.asked.get("log", "")
        return asked if asked in offered else next(iter(offered), "")

    @property
    def ways(self) -> list[tuple[str, str]]:
        return [(way, words) for way, words in WAYS.items() if self._is_offered(way)]

    def _is_offered(self, way: str) -> bool:
        """One tap only while the shift runs; and nothing that is not this person's."""
        if way == "count":
            return self.may_count
        if way == "breaks":
            return self.may_mark_breaks
        return self.may_log and (way == "stop" or way == "tally" or self.is_running)

    @cached_property
    def reasons(self) -> list[Reason]:
        assert self.cell is not None
        return reasons_for(self.cell, None if self.asked.get("reasons") else 10)

    @property
    def reasons_are_cut(self) -> bool:
        return len(self.reasons) == 10 and not self.asked.get("reasons")

    @cached_property
    def tallies(self) -> list[Tally]:
        assert self.cell is not None
        if not self.accounts[self.cell.pk].tally_owned_s:
            return []
        rows = Tally.objects.filter(
            shift=self.shift, cell=self.cell, withdrawn=False
        ).select_related("reason", "cell__line", "shift")
        return list(rows)

    @cached_property
    def asked_tally(self) -> Tally | None:
        asked = self.asked.get("tally", "")
        return next((row for row in self.tallies if str(row.pk) == asked), None)

    @property
    def open_tally(self) -> Tally | None:
        """The asked one, if this person may correct it."""
        tally = self.asked_tally
        return tally if tally and may_correct_tally(self.user, tally) else None

    @cached_property
    def may_correct_tallies(self) -> bool:
        return any(may_correct_tally(self.user, tally) for tally in self.tallies)

    @cached_property
    def may_mark_breaks(self) -> bool:
        return self.has_begun and may_mark_breaks(self.user, self.shift)

    @property
    def rests_of_cell(self) -> list[Rest]:
        """The breaks of the open cell."""
        assert self.cell is not None
        return self.accounts[self.cell.pk].rests

    # Confirming

    @property
    def running_stops(self) -> list[Stop]:
        return [stop for stop in self.stops if stop.is_running]

    @property
    def is_closing(self) -> bool:
        """Time to log: the counts are asked for, and the shift can be confirmed."""
        return self.now >= self.shift.ends_at - EARLY

    @cached_property
    def may_confirm(self) -> bool:
        return (
            self.confirmation is None
            and not self.shift.is_cancelled
            and self.is_closing
            and may_confirm(self.user, self.line)
        )


def shift_url(shift: Shift) -> str:
    return reverse("shift", args=[shift.line.code, shift.production_date, shift.name])


def _on_strip(stop: Stop) -> StripStop:
    return StripStop(
        kind=stop.reason.loss_class,
        starts_at=stop.started_at,
        ends_at=stop.ended_at,
        words=stop.reason.name,
    )


def _planned_on_strip(span: Span) -> StripStop:
    return StripStop(kind="planned", starts_at=span.starts_at, ends_at=span.ends_at)
