"""Every row behind the account of one cell in one shift, and the rules it follows."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.db.models import Exists, Q

from cells.models import Change, StaleMark, WorkedBreak
from cells.templatetags.figures import exact_minutes, minutes, percent
from maintenance.models import LossClass, PlannedStop, Tally
from oee.account_words import adding_up, balance_of, flags_in_words
from oee.ledger.classes import LOSS_CLASSES
from oee.ledger.sums import MICROSECONDS, Sums
from oee.live import UsedCount
from oee.models import CellShift, Count
from oee.shift_page import CellRow, ShiftPage

NEWEST_CHANGES = 200


@dataclass(frozen=True, kw_only=True)
class Figure:
    name: str
    value: str
    rule: str


@dataclass(frozen=True, kw_only=True)
class CountRow:
    count: Count
    used: UsedCount

    @property
    def ideal_s(self) -> float | None:
        return None if self.used.ideal_us is None else self.used.ideal_us / MICROSECONDS

    @property
    def ideal_total_s(self) -> float | None:
        return self.ideal_s and self.ideal_s * self.count.total

    @property
    def ideal_good_s(self) -> float | None:
        return self.ideal_s and self.ideal_s * self.count.good


class CellShiftPage:
    """``page`` has the cell open."""

    def __init__(self, page: ShiftPage) -> None:
        assert page.cell is not None
        self.page, self.shift, self.cell = page, page.shift, page.cell

    @cached_property
    def row(self) -> CellRow:
        row = self.page.open_row
        assert row is not None  # a cell is open
        return row

    @property
    def sums(self) -> Sums:
        return self.row.account.sums

    @property
    def lead(self) -> str:
        sums, name = self.sums, f"{self.cell} in {self.shift.name}"
        if not sums.busy_s:
            return f"{name}: nothing was planned, so there is no OEE."
        planned = minutes(sums.busy_s)
        if sums.oee is None:
            return f"{name}: {planned} planned, OEE not known without a count."
        return f"{name}: OEE {percent(sums.oee)} of {planned} planned."

    @property
    def remarks(self) -> list[str]:
        return flags_in_words(self.row.account.flags)

    @property
    def line_that_adds_up(self) -> str:
        return balance_of(self.sums).line

    @cached_property
    def stored(self) -> CellShift | None:
        """With ``waits``: something it rests on has changed since."""
        here = {"cell": self.cell, "shift": self.shift}
        rows = CellShift.objects.filter(**here)
        return rows.annotate(waits=Exists(StaleMark.objects.filter(**here))).first()

    @cached_property
    def counts(self) -> list[CountRow]:
        used = {row.count: row for row in self.row.account.counts}
        counts = Count.objects.filter(pk__in=used).select_related(
            "cell", "line", "variant", "entered_by"
        )
        return [CountRow(count=count, used=used[count.pk]) for count in counts]

    @cached_property
    def tallies(self) -> list[tuple[Tally, int]]:
        owned = self.row.account.tally_owned_s
        return [(tally, owned.get(tally.pk, 0)) for tally in self.page.tallies]

    @cached_property
    def planned_stops(self) -> list[PlannedStop]:
        if not self.row.account.planned:
            return []
        places = Q(cell=self.cell) | Q(line=self.cell.line_id)
        rows = PlannedStop.objects.filter(
            places | Q(area=self.cell.line.area_id),
            withdrawn=False,
            starts_at__lt=self.shift.ends_at,
            ends_at__gt=self.shift.starts_at,
        )
        return list(rows.select_related("reason", "area", "line", "cell"))

    @cached_property
    def changes(self) -> list[Change]:
        """What was changed in these rows, newest first."""
        kinds: dict[str, Any] = {
            "stop": [stop.pk for stop in [*self.row.stops, *self.page.withdrawn_stops]],
            "tally": [tally.pk for tally, _ in self.tallies],
            "count": [row.count.pk for row in self.counts],
            "plannedstop": [stop.pk for stop in self.planned_stops],
            "workedbreak": WorkedBreak.objects.filter(
                cell=self.cell, shift=self.shift
            ).values("pk"),
        }
        if self.page.confirmation:
            kinds["shiftconfirmation"] = [self.page.confirmation.pk]
        wanted = Q(pk=None)
        for kind, ids in kinds.items():
            wanted |= Q(kind=kind, record_id__in=ids)
        return list(Change.objects.filter(wanted).select_related("by")[:NEWEST_CHANGES])

    @property
    def account(self) -> list[Figure]:
        """The account as a sum that closes, to the second."""
        return [*self._time(), *self._losses(), *self._output()]

    def _time(self) -> Iterator[Figure]:
        sums = self.sums
        yield _figure("Shift", sums.scheduled_s, "From its start to its end.")
        yield _figure(
            "Breaks", sums.break_s, "Those taken; one worked through is planned time."
        )
        yield _figure(
            "Planned stops",
            sums.planned_s,
            "Their scheduled seconds outside breaks; running over is a stop. "
            f"Declared after the shift began: {exact_minutes(sums.planned_late_s)}.",
        )
        yield _figure("Planned busy time", sums.busy_s, "Shift − breaks − planned.")

    def _losses(self) -> Iterator[Figure]:
        for name in LOSS_CLASSES[1:]:
            word = LossClass(name).label
            yield _figure(
                word[0].upper() + word[1:],
                getattr(self.sums, f"{name}_s"),
                "Seconds that its stops own, then its tallies. Of two stops in one "
                "second the earlier start owns it, then the lower ref."
                if name == "breakdown"
                else "Likewise, of what no class above owns.",
            )

    def _output(self) -> Iterator[Figure]:
        slow_s, reject_s, good_s = self._whole_seconds()
        yield _figure(
            "Slow or unexplained",
            slow_s,
            "Busy − all stops − ideal time of all made. Negative: more was made than "
            "the time allows.",
        )
        yield _figure(
            "Rejects",
            reject_s,
            "Ideal time of what was not good the first time.",
        )
        yield _figure(
            "Good making",
            good_s,
            "Σ ideal cycle × first-time good. The rows from breakdown to this one add "
            "up to the planned busy time, to the second.",
        )

    def _whole_seconds(self) -> tuple[int | None, ...]:
        """Slow, rejects, good making: rounded so that the account still closes."""
        slow_us, reject_us = self.sums.slow_us, self.sums.reject_us
        if slow_us is None or reject_us is None:
            return None, None, None
        shares = [slow_us, reject_us, self.sums.ideal_good_us]
        return tuple(adding_up(shares, MICROSECONDS))

    @property
    def factors(self) -> list[Figure]:
        sums = self.sums
        rows = (
            ("Availability", sums.availability, "Run time ÷ planned busy time."),
            ("Performance", sums.performance, "Ideal time of all made ÷ run time."),
            ("Quality", sums.quality, "Ideal time of good ÷ ideal time of all made."),
            ("OEE", sums.oee, "Ideal time of good ÷ planned busy time."),
            (
                "Stand-alone OEE",
                sums.stand_alone_oee,
                "As OEE, without the time that people, supply, utilities, blocked and "
                "starved took from the cell.",
            ),
        )
        return [
            Figure(name=name, value=percent(ratio), rule=rule)
            for name, ratio, rule in rows
        ]


def _figure(name: str, value_s: int | None, rule: str) -> Figure:
    return Figure(name=name, value=exact_minutes(value_s), rule=rule)
